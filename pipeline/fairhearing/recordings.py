"""The one pass over a recording: all summaries of it that are not kept yet, fed block by block, then kept."""

from __future__ import annotations

import time
from collections.abc import Generator, Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from dataclasses import dataclass, replace
from functools import partial
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING

from fairhearing.audio import Accumulator, AudioFormat, Recording, RecordingSource, Summary, summary_key
from fairhearing.calling import call_plugin
from fairhearing.contracts import Analyser, declared_summaries, session_file
from fairhearing.decoding import begins_anywhere, open_samples
from fairhearing.errors import FairHearingError, ImportProblem, InputProblem, PluginProblem
from fairhearing.manifest.listing import sha256_of
from fairhearing.progress import Progress
from fairhearing.session import Session
from fairhearing.store import Store
from fairhearing.store.read import StoredSession
from fairhearing.store.recordings import read_summary, update_modified, write_summary
from fairhearing.threads import halves

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]

Arrays = Mapping[str, "FloatArray"]

_LEAST_BLOCK, _MOST_BLOCK = 1 << 12, 1 << 20  # frames; a block is about a second, within these
_N_TRIED = 3  # blocks from which it is known how long each summary takes


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


def wanted_summaries(session: Session, recording: Recording, analysers: Sequence[Analyser]) -> dict[str, Summary]:
    """The summaries of a recording that any analyser which reads it declares, by key."""
    reading = [a for a in analysers if recording.kind in a.needs.kinds and recording.point in a.needs.points]
    asked = [summary for analyser in reading for summary in summaries_asked_for(analyser, session)]
    return dict(sorted((summary_key(summary), summary) for summary in asked))


def summaries_asked_for(analyser: Analyser, session: Session) -> tuple[Summary, ...]:
    """What an analyser declares; where it fails to say so, its needs: the failure is told when it is run."""
    try:
        where = f"session {session.id}"
        return call_plugin(analyser.name, analyser.version, where, partial(declared_summaries, analyser, session))
    except PluginProblem:
        return analyser.needs.summaries


def summarise(store: Store, stored: StoredSession, analysers: Sequence[Analyser], progress: Progress) -> Summarised:
    """Every summary that the analysers need: those kept as they are, the others from one pass over each file.

    What is made is kept in the store; the transaction is the caller's. A recording that cannot be read, and a summary
    that fails, is told in `lacking` and costs nothing else.
    """
    done: list[Recording] = []
    lacking: list[Lacking] = []
    for index, source in enumerate(stored.recordings):
        progress.step("reading recordings", index, len(stored.recordings))
        wanted = wanted_summaries(stored.inputs.session, source.recording, analysers)
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
    running: list[_Running] = []
    for key, summary in summaries.items():
        try:
            accumulator = call_plugin(summary.name, summary.version, path, partial(summary.start, format))
            running.append(_Running(key=key, summary=summary, path=path, accumulator=accumulator))
        except PluginProblem as problem:
            made[key] = problem
    if running:
        _feed(running, location, path, format)
    made |= {one.key: one.problem for one in running if one.problem is not None}
    running = [one for one in running if one.problem is None]
    for one in running:
        try:
            check = partial(_checked_arrays, one.accumulator)
            made[one.key] = call_plugin(one.summary.name, one.summary.version, path, check)
        except PluginProblem as problem:
            made[one.key] = problem
    return dict(sorted(made.items()))


def _feed(running: Sequence[_Running], location: Path, path: str, format: AudioFormat) -> None:
    """Feed all of them with all blocks.

    Where that is cheap, two threads go through the file side by side, each for about half of the work: what one
    processor has taken apart, another would have to fetch from it.
    """
    with closing(blocks(location, path, format)) as stream:
        _update(running, islice(stream, _N_TRIED))
        n_tried = min(format.n_frames, _N_TRIED * _block_frames(format))
        if n_tried == format.n_frames or not begins_anywhere(location, format):
            _update(running, stream)
            return
        here, there = halves(running, lambda one: one.seconds)
        with ThreadPoolExecutor(1) as pool, closing(blocks(location, path, format, n_tried)) as other:
            beside = pool.submit(_update, there, other)
            _update(here, stream)
            beside.result()


def _update(running: Sequence[_Running], stream: Iterable[FloatArray]) -> None:
    for block in stream:
        for one in running:
            one.update(block)
        if all(one.problem is not None for one in running):
            return


@dataclass(slots=True, kw_only=True)
class _Running:
    """A summary under way: its failure if it had one, and the time that it took so far."""

    key: str
    summary: Summary
    path: str
    accumulator: Accumulator
    problem: PluginProblem | None = None
    seconds: float = 0.0

    def update(self, block: FloatArray) -> None:
        if self.problem is not None:
            return
        began = time.perf_counter()
        try:
            update = partial(self.accumulator.update, block)
            call_plugin(self.summary.name, self.summary.version, self.path, update)
        except PluginProblem as problem:
            self.problem = problem
        self.seconds += time.perf_counter() - began


def _block_frames(format: AudioFormat) -> int:
    # With every call into machine code the threads pass on the interpreter: that costs more than what a block that
    # fits a processor's cache would save.
    return min(_MOST_BLOCK, max(_LEAST_BLOCK, 2 * format.rate_hz))


def blocks(location: Path, path: str, format: AudioFormat, first_frame: int = 0) -> Generator[FloatArray, None, None]:
    """The samples in order, in blocks (n_frames, n_channels), read-only, in one buffer that is used again.

    Each block lies channel by channel in memory: it is taken apart once, for all summaries. `first_frame`: 0 unless
    `begins_anywhere`.

    Raises
    ------
    ImportProblem
        As `read_once`.
    """
    import numpy as np
    import soundfile

    buffer = np.empty((format.n_channels, _block_frames(format))).T
    n_done = first_frame
    try:
        with open_samples(location, format, first_frame) as samples:
            while n_done < format.n_frames:
                block = buffer[: samples.read_into(buffer)]
                if not len(block):
                    break
                if not samples.whole_numbers:
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
