"""The format of a file of sound, told only if the file is whole: cut, empty and damaged ones are problems."""

from __future__ import annotations

from contextlib import ExitStack
from dataclasses import dataclass
from io import BytesIO
from typing import BinaryIO

from fairhearing.api import AudioFormat, ImportProblem, Recognition, SourceFile, unreadable
from fairhearing_builtins.importers.audio_header import DataChunk, Form, data_chunk, form_of

# What a decoder gives for the length of a FLAC file that does not say it is far above any real one: 2^36 frames are the
# most that FLAC can say (RFC 9639, 8.2).
_MOST_FRAMES = 1 << 36


@dataclass(frozen=True, slots=True, kw_only=True)
class SoundFormat:
    """The format of a whole file, and what is doubtful about it."""

    format: AudioFormat
    caveats: tuple[str, ...] = ()


def recognise_sound(file: SourceFile, kinds: frozenset[str]) -> Recognition:
    """Yes to WAV, RF64, W64 and FLAC of these kinds by their first bytes; a damaged one too, so that it is told."""
    kind = getattr(file.item, "kind", "scores")
    if kind not in kinds:
        return Recognition(claims=False, why=f"reads sound of kind {' or '.join(sorted(kinds))}, not {kind}")
    form = form_of(file.data)
    if form is None:
        return Recognition(claims=False, why=f"it begins as {_shown(file.data)}: not WAV, RF64, W64 or FLAC")
    return Recognition(claims=True, why=form)


def _shown(head: bytes) -> str:
    return "nothing (the file is empty)" if not head else repr(head[:8])


def opened(file: SourceFile, stack: ExitStack) -> BinaryIO:
    """The bytes of the file as a stream, open as long as the stack is."""
    stream: BinaryIO = BytesIO(file.data) if file.location is None else file.location.open("rb")
    stack.enter_context(stream)
    return stream


def sound_format(file: SourceFile) -> SoundFormat:
    """The format, from the header alone.

    Raises
    ------
    ImportProblem
        The file is no sound that can be read, holds none, or is cut.
    """
    form = form_of(file.data)
    if form is None:
        raise ImportProblem(
            f"it begins as {_shown(file.data)}: not WAV, RF64, W64 or FLAC",
            where=file.path,
            try_="save it anew as WAV, RF64, W64 or FLAC",
        )
    size = file.size or len(file.data)
    with ExitStack() as stack:
        try:
            stream = opened(file, stack)
            chunk = data_chunk(stream, form, size)
            caveats = () if chunk is None else _caveats(chunk)
            if chunk is not None:
                _check_not_empty(file, chunk.promised, chunk.there)
            stream.seek(0)
            found = _format(file, stream)
        except OSError as error:
            raise unreadable(error, file.path) from error
    if chunk is not None:
        _check_whole(file, chunk, found, form)
    elif found.n_frames >= _MOST_FRAMES:
        raise ImportProblem(
            f"the header of this {form} file does not say how long the recording is",
            where=file.path,
            try_="write the file anew with a program that closes it, or save it as WAV",
        )
    _check_not_empty(file, found.n_frames, size)
    return SoundFormat(format=found, caveats=caveats)


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
        raise no_sound(file, error) from error


def no_sound(file: SourceFile, error: Exception) -> ImportProblem:
    """The problem of a file that no decoder can read."""
    return ImportProblem(
        f"the file cannot be read as sound: {' '.join(str(error).split())}",
        where=file.path,
        try_="save the recording anew as WAV, RF64, W64 or FLAC",
    )


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
