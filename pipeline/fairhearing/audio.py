"""What a recording is and what a summary of one promises: format, file, Summary, Accumulator, and a summary's key."""

from __future__ import annotations

import dataclasses
import json
import struct
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, BinaryIO, Protocol, runtime_checkable

from fairhearing.session import Kind, Playing, Point

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]

# EBU Tech 3306: the size that says "see the chunk ds64". In a plain WAV it is what a pipe leaves.
_NOT_SAID = 0xFFFFFFFF
_MOST_CHUNKS = 10_000


@dataclass(frozen=True, slots=True, kw_only=True)
class AudioFormat:
    """How the samples of a file are laid out. `subtype`: the coding of a sample, such as PCM_24 or FLOAT."""

    rate_hz: int
    n_channels: int
    n_frames: int
    subtype: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordingFile:
    """A file of sound, by reference: its format, and what tells whether it is still the same file. Never samples.

    `full_scale_pa`: the sound pressure (Pa) of a sample value of 1.0 where the importer found it, by a calibrator.
    """

    format: AudioFormat
    sha256: str
    size: int  # byte
    modified_ns: int
    full_scale_pa: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class RiffChunk:
    """A chunk of a WAV or RF64 file: its word, where its content begins, how many bytes it says it has (None: not)."""

    word: bytes
    begins: int
    length: int | None


def riff_chunks(stream: BinaryIO) -> Iterator[RiffChunk]:
    """The chunks of a WAV or RF64 file up to that of the samples, `data`; its length by `ds64` where that says it.

    EBU Tech 3306. The stream may be moved between two of them.
    """
    at, long_size = 12, None
    for _ in range(_MOST_CHUNKS):
        stream.seek(at)
        head = stream.read(8)
        if len(head) < 8:
            return
        word, length = head[:4], struct.unpack("<I", head[4:])[0]
        if word == b"data":
            yield RiffChunk(word=word, begins=at + 8, length=long_size if length == _NOT_SAID else length)
            return
        if word == b"ds64":
            sizes = stream.read(16)
            long_size = struct.unpack("<QQ", sizes)[1] if len(sizes) == 16 else None
        yield RiffChunk(word=word, begins=at + 8, length=length)
        at += 8 + length + length % 2


@runtime_checkable
class Accumulator(Protocol):
    """What a summary keeps while one recording goes by."""

    def update(self, block: FloatArray) -> None:
        """Take in the next frames: (n_frames, n_channels), full scale 1.0. `block` is read-only, and reused after.

        In memory it may lie frame by frame or channel by channel.
        """
        ...

    def result(self) -> Mapping[str, FloatArray]:
        """The arrays of all frames so far, at least one, by name. Where blocks began and ended does not matter."""
        ...


@runtime_checkable
class Summary(Protocol):
    """What is wanted of a recording, as a frozen dataclass of parameters: numbers, text, truth values, tuples of them.

    Results are kept by the recording's content, `name`, `version` and the parameters: a summary whose arrays change
    gets another version.
    """

    @property
    def name(self) -> str:
        """One word for what is summarised, as `block-levels`."""
        ...

    @property
    def version(self) -> str:
        """Changes whenever the same samples give other arrays."""
        ...

    def start(self, format: AudioFormat) -> Accumulator:
        """An accumulator for one recording; it shares nothing with any other."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Recording:
    """One recording with what it is of, and the summaries of it that were asked for. Arrays are read-only.

    `full_scale_pa`, `full_scale_v`: the sound pressure (Pa) or voltage (V) that a sample value of 1.0 stands for.
    `applied`: what was done to know that, a line each.
    `summaries`: the arrays of each summary by its key; `summary` finds them.
    """

    kind: Kind
    point: Point
    playing: Playing
    seat: str | None
    condition: str | None
    repeat: str
    channel: str | None
    programme: str | None
    path: str
    format: AudioFormat
    full_scale_pa: float | None = None
    full_scale_v: float | None = None
    in_place: bool = False
    applied: tuple[str, ...] = ()
    summaries: Mapping[str, Mapping[str, FloatArray]] = field(default_factory=dict, compare=False, repr=False)

    def summary(self, summary: Summary) -> Mapping[str, FloatArray]:
        """The arrays of a summary that the analyser declared in its needs.

        Raises
        ------
        KeyError
            It was not declared, or not with these parameters.
        """
        return self.summaries[summary_key(summary)]


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordingSource:
    """A recording with the file that it is in."""

    recording: Recording
    file: RecordingFile


def summary_parameters(summary: Summary) -> str:
    """The parameters of a summary as JSON in one form only: keys sorted, no blanks, whole numbers without a point.

    Numbers are written as RFC 8785 has them, so that 1 and 1.0, which are equal, give one key.

    Raises
    ------
    TypeError
        It is no dataclass, or a parameter is no number, text, truth value, None or tuple of such.
    ValueError
        A parameter is not finite.

    Examples
    --------
    >>> from fairhearing.acoustics.summaries import BlockLevels
    >>> summary_parameters(BlockLevels(block_s=2.0))
    '{"block_s":2}'
    """
    if not dataclasses.is_dataclass(summary) or isinstance(summary, type):
        raise TypeError(f"{type(summary).__name__} is no dataclass of parameters")
    values = {f.name: _plain(getattr(summary, f.name), f.name) for f in dataclasses.fields(summary)}
    return json.dumps(values, allow_nan=False, sort_keys=True, separators=(",", ":"), ensure_ascii=False)


def summary_key(summary: Summary) -> str:
    """What tells one summary from another: name, version and parameters. Raises as `summary_parameters`.

    Examples
    --------
    >>> from fairhearing.acoustics.summaries import BlockLevels
    >>> summary_key(BlockLevels(block_s=0.1))
    'block-levels 3 {"block_s":0.1}'
    """
    for part in (summary.name, summary.version):
        if not isinstance(part, str) or not part.strip():
            raise TypeError(f"name and version of {type(summary).__name__} are text, not {part!r}")
    return f"{summary.name} {summary.version} {summary_parameters(summary)}"


def _plain(value: object, name: str) -> object:
    if isinstance(value, tuple):
        return [_plain(entry, name) for entry in value]
    if isinstance(value, float) and value.is_integer():
        return int(value)
    if value is None or isinstance(value, (bool, int, float, str)):
        return value
    raise TypeError(f"parameter {name} is a {type(value).__name__}, not a number, text, truth value, None or tuple")
