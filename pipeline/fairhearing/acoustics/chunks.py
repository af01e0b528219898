"""Cuts a stream that comes in blocks of any length into chunks of one length, and says what a stream is."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Protocol

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]


class SampledFormat(Protocol):
    """What a summary must know of a recording before its first sample."""

    @property
    def rate_hz(self) -> int:
        """Frames per second."""
        ...

    @property
    def n_channels(self) -> int:
        """Samples per frame."""
        ...

    @property
    def n_frames(self) -> int:
        """Length of the whole recording."""
        ...


class Chunks:
    """Cuts what comes in blocks of any length into chunks of one length, channel by channel.

    All arithmetic is done on such chunks, so that no bit of a result depends on where blocks began.
    """

    def __init__(self, n_frames: int, n_channels: int) -> None:
        self._chunk = np.empty((n_channels, n_frames))
        self._n_held = 0

    def feed(self, block: FloatArray) -> Iterator[FloatArray]:
        """Each chunk (n_channels, n_frames) that is full now; it is overwritten after. Raises as `check`.

        A chunk may be a read-only part of the block itself: where a block that lies channel by channel holds one whole,
        nothing is copied.
        """
        self.check(block)
        n_frames, at = self._chunk.shape[1], 0
        in_place = block.strides[0] == block.itemsize
        while at < len(block):
            if in_place and not self._n_held and len(block) - at >= n_frames:
                yield block[at : at + n_frames].T
                at += n_frames
                continue
            n_taken = min(n_frames - self._n_held, len(block) - at)
            self._chunk[:, self._n_held : self._n_held + n_taken] = block[at : at + n_taken].T
            self._n_held += n_taken
            at += n_taken
            if self._n_held == n_frames:
                self._n_held = 0
                yield self._chunk

    def check(self, block: FloatArray) -> None:
        """Raise ValueError for a block that has another number of channels."""
        if block.ndim != 2 or block.shape[1] != len(self._chunk):
            raise ValueError(f"a block of shape {block.shape} has not {len(self._chunk)} channels")

    @property
    def rest(self) -> FloatArray:
        """What has come after the last full chunk: (n_channels, fewer frames), perhaps none."""
        return self._chunk[:, : self._n_held]
