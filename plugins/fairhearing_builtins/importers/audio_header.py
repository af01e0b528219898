"""How much sound the header of a WAV, RF64 or W64 file promises, against what the file holds; no sample is read."""

from __future__ import annotations

import struct
from dataclasses import dataclass
from typing import BinaryIO, Literal

from fairhearing.api import riff_chunks

Form = Literal["WAV", "RF64", "W64", "FLAC"]

# Sony Wave64: a GUID in place of each four-letter word; sizes hold the 24 bytes of GUID and size too.
_W64_RIFF = b"riff\x2e\x91\xcf\x11\xa5\xd6\x28\xdb\x04\xc1\x00\x00"
_W64_DATA = b"data\xf3\xac\xd3\x11\x8c\xd1\x00\xc0\x4f\x8e\xdb\x8a"
_W64_WAVE = b"wave\xf3\xac\xd3\x11\x8c\xd1\x00\xc0\x4f\x8e\xdb\x8a"
_MOST_CHUNKS = 10_000


@dataclass(frozen=True, slots=True, kw_only=True)
class DataChunk:
    """Where the samples begin, how many bytes the header says they have (None: not said), how many bytes follow."""

    begins: int
    promised: int | None
    there: int


def form_of(head: bytes) -> Form | None:
    """What a file is by its first bytes; None if it is none of the four."""
    if head.startswith(b"fLaC"):
        return "FLAC"
    if head.startswith(_W64_RIFF) and head[24:40] == _W64_WAVE:
        return "W64"
    if head[8:12] == b"WAVE":
        return {b"RIFF": "WAV", b"RF64": "RF64"}.get(head[:4])  # type: ignore[return-value]
    return None


def data_chunk(stream: BinaryIO, form: Form, size: int) -> DataChunk | None:
    """The chunk of samples of a WAV, RF64 or W64 file of `size` bytes; None if it has none, or is FLAC."""
    if form == "FLAC":
        return None
    return _in_w64(stream, size) if form == "W64" else _in_riff(stream, size)


def _in_riff(stream: BinaryIO, size: int) -> DataChunk | None:
    for chunk in riff_chunks(stream):
        if chunk.word == b"data":
            return DataChunk(begins=chunk.begins, promised=chunk.length, there=size - chunk.begins)
    return None


def _in_w64(stream: BinaryIO, size: int) -> DataChunk | None:
    at = 40
    for _ in range(_MOST_CHUNKS):
        stream.seek(at)
        head = stream.read(24)
        if len(head) < 24:
            return None
        length = struct.unpack("<Q", head[16:])[0]
        if head[:16] == _W64_DATA:
            return DataChunk(begins=at + 24, promised=max(0, length - 24), there=size - at - 24)
        if length < 24:
            return None
        at += length + (-length) % 8
    return None
