"""Opens a file of sound for reading in order: whole-number WAV by a decoder of our own, all else by libsndfile."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO, Protocol

from fairhearing.audio import AudioFormat, riff_chunks

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]

# What libsndfile calls them: bytes of a sample.
_BYTES = {"PCM_16": 2, "PCM_24": 3, "PCM_32": 4}
_PCM, _EXTENSIBLE = 1, 0xFFFE  # Microsoft, WAVEFORMATEXTENSIBLE: the format tags


class Samples(Protocol):
    """Samples in order; `whole_numbers`: none of them can be anything but finite."""

    whole_numbers: bool

    def read_into(self, buffer: FloatArray) -> int:
        """Fill `buffer` (n_frames, n_channels, in any order in memory) from its start; how many frames were left."""
        ...


@contextmanager
def open_samples(location: Path, format: AudioFormat) -> Iterator[Samples]:
    """The samples of a file, full scale 1.0; both decoders give the same bits.

    Raises
    ------
    OSError, soundfile.SoundFileError
        The file cannot be read.
    """
    with location.open("rb", buffering=0) as stream:
        begins = whole_numbers_begin(stream, format)
        if begins is not None:
            stream.seek(begins)
            yield _WholeNumbers(stream, format)
            return
    import soundfile

    with soundfile.SoundFile(location) as file:
        yield _Decoded(file)


class _Decoded:
    whole_numbers = False

    def __init__(self, file: object) -> None:
        self._file = file
        self._frames: FloatArray | None = None

    def read_into(self, buffer: FloatArray) -> int:
        import numpy as np

        if buffer.flags.c_contiguous:
            return len(self._file.read(out=buffer))  # type: ignore[attr-defined]
        if self._frames is None or self._frames.shape != buffer.shape:
            self._frames = np.empty(buffer.shape)
        n_frames = len(self._file.read(out=self._frames))  # type: ignore[attr-defined]
        buffer[:n_frames] = self._frames[:n_frames]
        return n_frames


class _WholeNumbers:
    """Little-endian whole numbers of 2, 3 or 4 bytes, each over 2^15, 2^23 or 2^31."""

    whole_numbers = True

    def __init__(self, stream: BinaryIO, format: AudioFormat) -> None:
        self._stream, self._n_left = stream, format.n_frames
        self._n_bytes, self._n_channels = _BYTES[format.subtype], format.n_channels
        self._raw = bytearray()
        self._upper: npt.NDArray[np.int32] | None = None

    def read_into(self, buffer: FloatArray) -> int:
        import numpy as np

        n_of_frame = self._n_bytes * self._n_channels
        n_wanted = min(len(buffer), self._n_left) * n_of_frame
        # One byte stands before the samples, and the three of a sample are read as the upper of four: so they have
        # their sign, and the fourth, of the sample before, is cut off.
        if len(self._raw) < n_wanted + 1:
            self._raw = bytearray(len(buffer) * n_of_frame + 1)
        view = memoryview(self._raw)[1 : n_wanted + 1]
        n_read = 0
        while n_read < n_wanted and (n_more := self._stream.readinto(view[n_read:])):  # type: ignore[attr-defined]
            n_read += n_more
        n_frames = n_read // n_of_frame
        self._n_left -= n_frames
        if n_frames:
            whole, scale = self._whole(n_frames * self._n_channels)
            for channel, values in enumerate(buffer[:n_frames].T):
                np.multiply(whole[channel :: self._n_channels], scale, out=values)
        return n_frames

    def _whole(self, n_values: int) -> tuple[npt.NDArray[np.signedinteger], float]:
        """The whole numbers of what was read, and what makes samples of them."""
        import numpy as np

        if self._n_bytes != 3:
            whole = np.frombuffer(self._raw, dtype=f"<i{self._n_bytes}", count=n_values, offset=1)
            return whole, 2.0 ** (1 - 8 * self._n_bytes)
        if self._upper is None or len(self._upper) < n_values:
            self._upper = np.empty(n_values, np.int32)
        upper = np.ndarray((n_values,), dtype="<i4", buffer=self._raw, strides=(3,))
        return np.bitwise_and(upper, np.int32(-256), out=self._upper[:n_values]), 2.0**-31


def whole_numbers_begin(stream: BinaryIO, format: AudioFormat) -> int | None:
    """Where the samples of a WAV or RF64 file begin, if they are what `format` says and all there; else None."""
    n_bytes = _BYTES.get(format.subtype)
    stream.seek(0)
    head = stream.read(12)
    if n_bytes is None or head[:4] not in (b"RIFF", b"RF64") or head[8:12] != b"WAVE":
        return None
    size = stream.seek(0, 2)
    fits = False
    for chunk in riff_chunks(stream):
        if chunk.word == b"fmt ":
            stream.seek(chunk.begins)
            fits = _fits(stream.read(min(chunk.length or 0, 40)), n_bytes, format)
        elif chunk.word == b"data":
            needed = format.n_frames * format.n_channels * n_bytes
            return chunk.begins if fits and needed <= min(chunk.length or 0, size - chunk.begins) else None
    return None


def _fits(chunk: bytes, n_bytes: int, format: AudioFormat) -> bool:
    """Whether a fmt chunk says whole numbers of so many bytes, so many channels, and nothing unusual."""
    if len(chunk) < 16:
        return False
    tag, n_channels, rate_hz, _, n_of_frame, n_bits = struct.unpack("<HHIIHH", chunk[:16])
    if tag == _EXTENSIBLE and len(chunk) >= 26:
        tag = struct.unpack("<H", chunk[24:26])[0]
    said = (tag, n_channels, rate_hz, n_of_frame, n_bits)
    return said == (_PCM, format.n_channels, format.rate_hz, n_bytes * n_channels, 8 * n_bytes)
