"""The importer of recordings: WAV, RF64, W64 and FLAC by reference; looks at headers, keeps no sample."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from contextlib import ExitStack
from io import BytesIO
from pathlib import Path
from typing import BinaryIO

from fairhearing.api import (
    AudioFormat,
    Importer,
    ImportProblem,
    Reading,
    Recognition,
    RecordingFile,
    Session,
    SourceFile,
    hookimpl,
)
from fairhearing_builtins.importers.audio_header import DataChunk, Form, data_chunk, form_of

# What a decoder gives for the length of a FLAC file that does not say it is far above any real one: 2^36 frames are the
# most that FLAC can say (RFC 9639, 8.2).
_MOST_FRAMES = 1 << 36
_SAMPLES = Path(__file__).parent / "samples"


class SoundFiles:
    """Reads the format of a recording; a file that is cut, empty or damaged in its header is a problem."""

    name = "recording"
    version = "1"
    kinds = frozenset({"recording"})
    samples = (_SAMPLES / "two_tones.wav", _SAMPLES / "two_tones.flac")

    def recognise(self, file: SourceFile) -> Recognition:
        """Yes to WAV, RF64, W64 and FLAC by their first bytes; a damaged one is claimed, so that the fault is told."""
        kind = getattr(file.item, "kind", "scores")
        if kind not in self.kinds:
            return Recognition(claims=False, why=f"reads recordings, not {kind}")
        form = form_of(file.data)
        if form is None:
            return Recognition(claims=False, why=f"it begins as {_shown(file.data)}: not WAV, RF64, W64 or FLAC")
        return Recognition(claims=True, why=form)

    def read(self, files: Sequence[SourceFile], session: Session) -> Iterable[Reading]:
        """The format of each file, or its problem."""
        for file in files:
            try:
                yield _read(file)
            except ImportProblem as problem:
                yield Reading(path=file.path, problem=problem)


def _shown(head: bytes) -> str:
    return "nothing (the file is empty)" if not head else repr(head[:8])


def _read(file: SourceFile) -> Reading:
    form = form_of(file.data)
    assert form is not None
    size = file.size or len(file.data)
    with ExitStack() as stack:
        try:
            stream: BinaryIO = BytesIO(file.data) if file.location is None else file.location.open("rb")
            stack.enter_context(stream)
            chunk = data_chunk(stream, form, size)
            caveats = () if chunk is None else _caveats(chunk)
            if chunk is not None:
                _check_not_empty(file, chunk.promised, chunk.there)
            stream.seek(0)
            found = _format(file, stream)
        except OSError as error:
            raise ImportProblem(
                f"the file cannot be read: {error.strerror}", where=file.path, try_="check the file and its permissions"
            ) from error
    if chunk is not None:
        _check_whole(file, chunk, found, form)
    elif found.n_frames >= _MOST_FRAMES:
        raise ImportProblem(
            f"the header of this {form} file does not say how long the recording is",
            where=file.path,
            try_="write the file anew with a program that closes it, or save it as WAV",
        )
    _check_not_empty(file, found.n_frames, size)
    content = RecordingFile(format=found, sha256=file.sha256, size=file.size, modified_ns=file.modified_ns)
    return Reading(path=file.path, content=content, caveats=caveats)


def _format(file: SourceFile, stream: BinaryIO) -> AudioFormat:
    import soundfile

    try:
        with soundfile.SoundFile(stream) as sound:
            return AudioFormat(
                rate_hz=int(sound.samplerate),
                n_channels=int(sound.channels),
                n_frames=int(sound.frames),
                subtype=str(sound.subtype),
            )
    except soundfile.SoundFileError as error:
        raise ImportProblem(
            f"the file cannot be read as sound: {' '.join(str(error).split())}",
            where=file.path,
            try_="save the recording anew as WAV, RF64, W64 or FLAC",
        ) from error


def _caveats(chunk: DataChunk) -> tuple[str, ...]:
    if chunk.promised is None:
        return ("the header does not say how long the recording is: whether it is whole cannot be told",)
    return ()


def _check_not_empty(file: SourceFile, promised: int | None, there: int) -> None:
    if promised == 0:
        raise ImportProblem(
            f"the header says that there is no sound in it (0 bytes); {there} bytes follow",
            where=file.path,
            try_="the recorder did not close the file: let it repair the file, or copy it again",
        )


def _check_whole(file: SourceFile, chunk: DataChunk, found: AudioFormat, form: Form) -> None:
    if chunk.promised is None or chunk.promised <= chunk.there:
        return
    share = chunk.there / chunk.promised
    raise ImportProblem(
        f"the {form} file is cut: its header says {chunk.promised} bytes of sound, {chunk.there} are there "
        f"({100 * share:.1f} %; the last whole frame is {found.n_frames - 1}, "
        f"{found.n_frames / found.rate_hz:.3f} s after the beginning)",
        where=file.path,
        try_="copy the file again from where it was recorded",
    )


@hookimpl
def fairhearing_importers() -> list[Importer]:
    """The importer of this module."""
    return [SoundFiles()]
