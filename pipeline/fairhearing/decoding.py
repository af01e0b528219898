"""Opens a file of sound for reading in order: whole-number WAV by a decoder of our own, all else by libsndfile."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO, Protocol

from fairhearing.acoustics._loops import take_apart
from fairhearing.audio import AudioFormat, riff_chunks
from fairhearing.threads import read_ahead

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt
    import soundfile

    FloatArray = npt.NDArray[np.float64]

# What libsndfile calls them: bytes of a sample.
_BYTES = {"PCM_16": 2, "PCM_24": 3, "PCM_32": 4}
_AHEAD = 1 << 16  # frames that are decoded together
_PCM, _EXTENSIBLE = 1, 0xFFFE  # Microsoft, WAVEFORMATEXTENSIBLE: the format tags


class Samples(Protocol):
    """Samples in order; `whole_numbers`: none of them can be anything but finite."""

    whole_numbers: bool

    def read_into(self, buffer: FloatArray) -> int:
        """Fill `buffer` (n_frames, n_channels, in any order in memory) from its start; how many frames were left."""
        ...


@contextmanager
def open_samples(location: Path, format: AudioFormat, first_frame: int = 0) -> Iterator[Samples]:
    """The samples of a file, full scale 1.0, from a frame on; both decoders give the same bits.

    Parameters
    ----------
    first_frame : int, >= 0
        0 unless `begins_anywhere`.

    Raises
    ------
    OSError, soundfile.SoundFileError
        The file cannot be read.
    """
    with location.open("rb", buffering=0) as stream:
        begins = whole_numbers_begin(stream, format)
        if begins is not None:
            stream.seek(begins + first_frame * format.n_channels * _BYTES[format.subtype])
            yield _WholeNumbers(stream, format, format.n_frames - first_frame)
            return
    import soundfile

    with soundfile.SoundFile(location) as file, closing(_Decoded(file, format)) as samples:
        yield samples


def begins_anywhere(location: Path, format: AudioFormat) -> bool:
    """Whether a file can be read from any frame on, at the cost of hardly more than a copy."""
    with location.open("rb", buffering=0) as stream:
        return whole_numbers_begin(stream, format) is not None


class _Decoded:
    """What libsndfile decodes, ahead and in a thread of its own."""

    def __init__(self, file: soundfile.SoundFile, format: AudioFormat) -> None:
        import numpy as np

        self.whole_numbers = format.subtype in _BYTES
        self._file = file
        # As whole numbers they take half the room on their way from one processor to the other.
        kind = np.int32 if self.whole_numbers else np.float64
        self._scale = 2.0**-31 if self.whole_numbers else 1.0
        self._stream = read_ahead(self._fill, [np.empty((_AHEAD, format.n_channels), kind) for _ in range(3)])
        self._frames: npt.NDArray[np.int32] | FloatArray = np.empty((0, format.n_channels))

    def _fill(
        self, buffers: Iterator[npt.NDArray[np.int32] | FloatArray]
    ) -> Iterator[npt.NDArray[np.int32] | FloatArray]:
        for buffer in buffers:
            frames = self._file.read(out=buffer)
            if not len(frames):
                return
            yield frames

    def read_into(self, buffer: FloatArray) -> int:
        import numpy as np

        n_done = 0
        while n_done < len(buffer):
            if not len(self._frames):
                self._frames = next(self._stream, self._frames)
            some = self._frames[: len(buffer) - n_done]
            if not len(some):
                break
            np.multiply(some, self._scale, out=buffer[n_done : n_done + len(some)])
            self._frames = self._frames[len(some) :]
            n_done += len(some)
        return n_done

    def close(self) -> None:
        self._stream.close()


class _WholeNumbers:
    """Little-endian whole numbers of 2, 3 or 4 bytes, each over 2^15, 2^23 or 2^31."""

    whole_numbers = True

    def __init__(self, stream: BinaryIO, format: AudioFormat, n_frames: int) -> None:
        self._stream, self._n_left = stream, n_frames
        self._n_bytes, self._n_channels = _BYTES[format.subtype], format.n_channels
        self._raw = bytearray()

    def read_into(self, buffer: FloatArray) -> int:
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
            self._take_apart(buffer[:n_frames].T)
        return n_frames

    def _take_apart(self, channels: FloatArray) -> None:
        """What was read, channel by channel."""
        import numpy as np

        if self._n_bytes == 3:
            take_apart(self._raw, channels)
            return
        whole = np.frombuffer(self._raw, dtype=f"<i{self._n_bytes}", count=channels.size, offset=1)
        for channel, values in enumerate(channels):
            np.multiply(whole[channel :: self._n_channels], 2.0 ** (1 - 8 * self._n_bytes), out=values)


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
