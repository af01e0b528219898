"""Mean square of a filtered signal, block by block, in one pass over its samples."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from fairhearing.acoustics._loops import energies
from fairhearing.acoustics.k_filter import FilterStates, states_of

FloatArray = npt.NDArray[np.float64]

# Blocks are whole numbers of runs of one of these lengths, as when they were made by products of matrices.
_RUN_LENGTHS = (24, 20, 21, 16, 18, 22, 25, 15, 19, 17, 23, 14, 13, 12)
# The states long after the last sound: smaller numbers would become subnormal, which makes each product slow.
_NOTHING = 1e-60


def block_frames(rate_hz: float, block_s: float) -> int:
    """Frames in a block: a whole number of short runs, at most a few off `rate_hz` times `block_s`.

    Examples
    --------
    >>> block_frames(48_000, 0.1), block_frames(44_100, 0.1), block_frames(11_025, 0.1)
    (4800, 4410, 1102)
    """
    wanted = max(1, round(rate_hz * block_s))
    for off in range(max(_RUN_LENGTHS)):
        for n_frames in (wanted - off, wanted + off):
            if n_frames > 0 and _has_runs(n_frames):
                return n_frames
    raise ValueError(f"{block_s} s at {rate_hz} Hz are too few frames for a block")


def _has_runs(n_frames: int) -> bool:
    return any(n_frames % length == 0 for length in _RUN_LENGTHS)


class FilteredEnergy:
    """Mean square of each block of a filtered recording, per channel; fed with blocks of any length.

    Parameters
    ----------
    states : FilterStates
        Of four states: a cascade of two sections of the second order.
    n_frames_of_block : int
        As `block_frames` gives it.
    n_channels : int, >= 1

    Raises
    ------
    ValueError
        The block has another length than `block_frames` gives, or the filter is no such cascade.
    """

    def __init__(self, states: FilterStates, n_frames_of_block: int, n_channels: int) -> None:
        if not _has_runs(n_frames_of_block):
            raise ValueError(f"a block of {n_frames_of_block} frames is none of those that block_frames gives")
        self._n_frames, self._n_channels = n_frames_of_block, n_channels
        self._sections = _sections_of(states)
        self._state: FloatArray = np.zeros((n_channels, 4))
        self._sum: FloatArray = np.zeros(n_channels)
        self._n_summed = 0

    def feed(self, block: FloatArray) -> Iterator[FloatArray]:
        """Mean squares (n_blocks, n_channels) of the blocks that are full now.

        Raises
        ------
        ValueError
            `block` is not (n_frames, n_channels).
        """
        if block.ndim != 2 or block.shape[1] != self._n_channels:
            raise ValueError(f"a block of shape {block.shape} has not {self._n_channels} channels")
        n_blocks, n_left = divmod(self._n_summed + len(block), self._n_frames)
        energy = np.empty((n_blocks, self._n_channels))
        channels = [np.ascontiguousarray(channel) for channel in block.T]
        # Two at a time: where one sample waits for the one before it, that of the other channel is made meanwhile.
        for first in range(0, self._n_channels, 2):
            two = [first, min(first + 1, self._n_channels - 1)]
            state, sums = self._state[two], self._sum[two]
            pair = channels[two[0]], channels[two[1]]
            energy[:, two] = energies(pair, self._sections, state, sums, self._n_summed, self._n_frames)
            self._state[two], self._sum[two] = state, sums
        self._n_summed = n_left
        self._state[np.abs(self._state) < _NOTHING] = 0.0
        yield energy

    def rest(self) -> FloatArray:
        """Mean squares of full blocks that `feed` has not given: there are none, (0, n_channels)."""
        return np.empty((0, self._n_channels))


def _sections_of(states: FilterStates) -> FloatArray:
    """The two sections of a cascade, rows b0 b1 b2 1 a1 a2."""
    transition = states.transition
    if transition.shape == (4, 4):
        (a1, a2), (g1, g2) = -transition[:2, 0], -transition[2:, 2]
        e0 = states.output[0]
        e1, e2 = transition[2:, 0] + np.array([g1, g2]) * e0
        b0 = states.through / e0
        b1, b2 = states.drive[:2] + np.array([a1, a2]) * b0
        sections = np.array([[b0, b1, b2, 1.0, a1, a2], [e0, e1, e2, 1.0, g1, g2]])
        again = states_of(sections)
        same = (again.transition, transition), (again.drive, states.drive), (again.output, states.output)
        if all(np.allclose(one, other, rtol=1e-9, atol=1e-12) for one, other in same):
            return sections
    raise ValueError("the filter is no cascade of two sections in transposed direct form II")
