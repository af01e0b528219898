"""The one pass over a recording: all summaries of it that are not kept yet, fed block by block, then kept."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from fairhearing.audio import Accumulator, AudioFormat, Recording, RecordingSource, Summary, summary_key
from fairhearing.calling import call_plugin
from fairhearing.contracts import Analyser, session_file
from fairhearing.errors import FairHearingError, ImportProblem, InputProblem, PluginProblem
from fairhearing.manifest.listing import sha256_of
from fairhearing.progress import Progress
from fairhearing.store import Store
from fairhearing.store.read import StoredSession
from fairhearing.store.recordings import read_summary, update_modified, write_summary

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]

Arrays = Mapping[str, "FloatArray"]

_LEAST_BLOCK, _MOST_BLOCK = 1 << 12, 1 << 18  # frames; a block is about a second, within these


@dataclass(frozen=True, slots=True, kw_only=True)
class Lacking:
    """A summary of a recording that cannot be had, and why."""

    path: str
    key: str
    problem: FairHearingError


@dataclass(frozen=True, slots=True, kw_only=True)
class Summarised:
    """The recordings of a session with their summaries, and what could not be had."""

    recordings: tuple[Recording, ...] = ()
    lacking: tuple[Lacking, ...] = ()

    @property
    def problems(self) -> tuple[FairHearingError, ...]:
        """Each reason once."""
        return tuple({str(lack.problem): lack.problem for lack in self.lacking}.values())


def wanted_summaries(recording: Recording, analysers: Sequence[Analyser]) -> dict[str, Summary]:
    """The summaries of a recording that any analyser which reads it declares, by key."""
    reading = [a for a in analysers if recording.kind in a.needs.kinds and recording.point in a.needs.points]
    found = {summary_key(summary): summary for analyser in reading for summary in analyser.needs.summaries}
    return dict(sorted(found.items()))


def summarise(store: Store, stored: StoredSession, analysers: Sequence[Analyser], progress: Progress) -> Summarised:
    """Every summary that the analysers need: those kept as they are, the others from one pass over each file.

    What is made is kept in the store; the transaction is the caller's. A recording that cannot be read, and a summary
    that fails, is told in `lacking` and costs nothing else.
    """
    done: list[Recording] = []
    lacking: list[Lacking] = []
    for index, source in enumerate(stored.recordings):
        progress.step("reading recordings", index, len(stored.recordings))
        wanted = wanted_summaries(source.recording, analysers)
        kept = {key: read_summary(store, source.file.sha256, summary) for key, summary in wanted.items()}
        new = {key: summary for key, summary in wanted.items() if kept[key] is None}
        for key, made in _make(store, stored, source, new).items():
            if isinstance(made, FairHearingError):
                lacking.append(Lacking(path=source.recording.path, key=key, problem=made))
            else:
                write_summary(store, source.file.sha256, wanted[key], made)
                kept[key] = read_summary(store, source.file.sha256, wanted[key])
        had = {key: arrays for key, arrays in kept.items() if arrays is not None}
        done.append(replace(source.recording, summaries=had))
    if stored.recordings:
        progress.step("reading recordings", len(stored.recordings), len(stored.recordings))
    return Summarised(recordings=tuple(done), lacking=tuple(lacking))


def _make(
    store: Store, stored: StoredSession, source: RecordingSource, summaries: Mapping[str, Summary]
) -> Mapping[str, Arrays | FairHearingError]:
    """The arrays of each summary, or why there are none; without summaries the file is not touched."""
    if not summaries:
        return {}
    try:
        location = _located(store, stored, source)
        return read_once(location, source.recording.path, source.file.format, summaries)
    except InputProblem as problem:
        return dict.fromkeys(summaries, problem)


def _located(store: Store, stored: StoredSession, source: RecordingSource) -> Path:
    """Where the file lies, if it still has the bytes that were imported; the hash is taken where its time differs."""
    file, path = source.file, source.recording.path
    session = stored.inputs.session
    location = session_file(session, path)
    try:
        status = location.stat()
        same = status.st_size == file.size
        if same and status.st_mtime_ns != file.modified_ns:
            same = sha256_of(location) == file.sha256
    except OSError as error:
        raise ImportProblem(
            f"the recording with sha256 {file.sha256} must be read again and cannot be: {error.strerror}",
            where=path,
            try_="put the file back, or import the session folder from where it lies now",
        ) from error
    if not same:
        raise ImportProblem(
            f"the recording must be read again and is another file now: {status.st_size} bytes, not the {file.size} "
            f"with sha256 {file.sha256}",
            where=path,
            try_="import the session anew, or put the file back that was imported",
        )
    if status.st_mtime_ns != file.modified_ns:
        current = replace(source, file=replace(file, modified_ns=status.st_mtime_ns))
        update_modified(store, session.id, stored.revision, [current])
    return location


def read_once(
    location: Path, path: str, format: AudioFormat, summaries: Mapping[str, Summary]
) -> dict[str, Arrays | FairHearingError]:
    """The arrays of every summary, or its failure, by key, from one read of the file.

    Raises
    ------
    ImportProblem
        The file cannot be read to its end, or holds a sample that is no finite number.
    """
    made: dict[str, Arrays | FairHearingError] = {}
    running: dict[str, Accumulator] = {}
    for key, summary in summaries.items():
        try:
            running[key] = call_plugin(summary.name, summary.version, path, partial(summary.start, format))
        except PluginProblem as problem:
            made[key] = problem
    for block in blocks(location, path, format):
        for key, accumulator in list(running.items()):
            try:
                summary = summaries[key]
                call_plugin(summary.name, summary.version, path, partial(accumulator.update, block))
            except PluginProblem as problem:
                made[key] = problem
                del running[key]
        if not running:
            break
    for key, accumulator in running.items():
        try:
            summary = summaries[key]
            made[key] = call_plugin(summary.name, summary.version, path, partial(_checked_arrays, accumulator))
        except PluginProblem as problem:
            made[key] = problem
    return dict(sorted(made.items()))


def blocks(location: Path, path: str, format: AudioFormat) -> Iterator[FloatArray]:
    """The samples in order, about a second at a time: (n_frames, n_channels), read-only, one buffer for all of them.

    Raises
    ------
    ImportProblem
        As `read_once`.
    """
    import numpy as np
    import soundfile

    buffer = np.empty((min(_MOST_BLOCK, max(_LEAST_BLOCK, format.rate_hz)), format.n_channels))
    n_done = 0
    try:
        with soundfile.SoundFile(location) as file:
            while n_done < format.n_frames and len(block := file.read(out=buffer)) > 0:
                _check_finite(block, n_done, path, format)
                block.setflags(write=False)
                yield block
                n_done += len(block)
    except (soundfile.SoundFileError, OSError) as error:
        raise _ends_early(n_done, path, format, f" ({' '.join(str(error).split())})") from error
    if n_done < format.n_frames:
        raise _ends_early(n_done, path, format, "")


def _ends_early(n_done: int, path: str, format: AudioFormat, why: str) -> ImportProblem:
    rate = format.rate_hz
    return ImportProblem(
        f"the recording ends at or after frame {n_done} ({n_done / rate:.3f} s) of {format.n_frames} "
        f"({format.n_frames / rate:.3f} s){why}",
        where=path,
        try_="copy the file again from where it was recorded",
    )


def _check_finite(block: FloatArray, n_before: int, path: str, format: AudioFormat) -> None:
    import numpy as np

    with np.errstate(all="ignore"):
        # One sum is cheaper than a look at each sample; it is finite only if all of them are.
        if np.isfinite(block.sum()):
            return
    at = np.argwhere(~np.isfinite(block))
    if not len(at):
        return
    frame, channel = (int(index) for index in at[0])
    n = n_before + frame
    raise ImportProblem(
        f"the sample of channel {channel + 1} in frame {n} ({n / format.rate_hz:.3f} s) is {block[frame, channel]}, "
        "not a finite number",
        where=path,
        try_="export the recording anew, in whole-number samples if it can be had",
    )


def _checked_arrays(accumulator: Accumulator) -> dict[str, FloatArray]:
    """What the accumulator gives, as arrays of float64; raises for what a store cannot keep."""
    import numpy as np

    arrays: dict[str, FloatArray] = {}
    for name, values in accumulator.result().items():
        found = np.asarray(values)
        if not isinstance(name, str) or found.dtype.kind not in "biuf":
            raise TypeError(f"its array {name!r} holds {found.dtype}, not real numbers")
        arrays[name] = found.astype(np.float64)
    if not arrays:
        raise ValueError("it returned no array")
    return arrays
