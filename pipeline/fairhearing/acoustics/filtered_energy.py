"""Mean square of a filtered signal, block by block, without making the filtered signal: faster than any filter.

A row of samples x and the states s before it give the row's output as y = T x + O s, T and O fixed matrices. The energy
of a block is then the sum over (i, j) of G T'T, G the Gram matrix of its rows, and of s' (2 O'T x + O'O s) over its
rows. The states before each row follow from those before a group of rows, and so on, by matrix products. All arithmetic
is done on chunks of a fixed length, so that no bit of a result depends on where the blocks that come in begin.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fairhearing.acoustics.chunks import Chunks
from fairhearing.acoustics.k_filter import FilterStates
from fairhearing.acoustics.products import multiply

FloatArray = npt.NDArray[np.float64]

# Rows of about this many samples are the fastest, from 12 to 32 hardly slower.
_ROW_LENGTHS = (24, 20, 21, 16, 18, 22, 25, 15, 19, 17, 23, 14, 13, 12)
_BLOCKS_OF_CHUNK = 50
_MOST_IN_GROUP = 10
# The states long after the last sound: smaller numbers would become subnormal, which makes each product slow.
_NOTHING = 1e-60


def block_frames(rate_hz: float, block_s: float) -> int:
    """Frames in a block: a whole number of rows, at most a few off `rate_hz` times `block_s`.

    Examples
    --------
    >>> block_frames(48_000, 0.1), block_frames(44_100, 0.1), block_frames(11_025, 0.1)
    (4800, 4410, 1102)
    """
    wanted = max(1, round(rate_hz * block_s))
    for off in range(max(_ROW_LENGTHS)):
        for n_frames in (wanted - off, wanted + off):
            if n_frames > 0 and _row_length(n_frames):
                return n_frames
    raise ValueError(f"{block_s} s at {rate_hz} Hz are too few frames for a block")


def _row_length(n_frames: int) -> int | None:
    return next((length for length in _ROW_LENGTHS if n_frames % length == 0), None)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Level:
    """Groups of `size` rows: states before each from what enters (`within`), and from the state before all (`across`);
    `leave` gives what the group as a whole adds to the state after it; `found` and `carried` are room to work in."""

    size: int
    within: FloatArray
    across: FloatArray
    leave: FloatArray
    left: FloatArray
    found: FloatArray
    carried: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class _Plan:
    """How the states before each row are found: levels from the rows up, and what takes a state over all rows.

    Room is made once: memory that is asked for anew for each chunk costs more time than the products.
    """

    levels: tuple[_Level, ...]
    over_all: FloatArray
    entering: FloatArray
    crossed: FloatArray
    reached: FloatArray
    gram: FloatArray


class FilteredEnergy:
    """Mean square of each block of a filtered recording, per channel; fed with blocks of any length.

    Parameters
    ----------
    states : FilterStates
    n_frames_of_block : int
        As `block_frames` gives it.
    n_channels : int, >= 1

    Raises
    ------
    ValueError
        The block is no whole number of rows.
    """

    def __init__(self, states: FilterStates, n_frames_of_block: int, n_channels: int) -> None:
        length = _row_length(n_frames_of_block)
        if length is None:
            raise ValueError(f"a block of {n_frames_of_block} frames is no whole number of rows: see block_frames")
        self._length, self._n_states = length, len(states.drive)
        self._rows_of_block = n_frames_of_block // length
        self._enter, self._cross, self._reach, self._weights = _row_matrices(states, length)
        n_rows = _BLOCKS_OF_CHUNK * self._rows_of_block
        power = np.linalg.matrix_power(states.transition, length)
        self._plan = _plan(power, n_channels, n_rows, _BLOCKS_OF_CHUNK, length)
        self._plan_of_block = _plan(power, n_channels, self._rows_of_block, 1, length)
        self._state = np.zeros((n_channels, self._n_states))
        self._chunks = Chunks(n_rows * length, n_channels)

    def feed(self, block: FloatArray) -> Iterator[FloatArray]:
        """Mean squares (n_blocks, n_channels) of the blocks that are full now, in order.

        Raises
        ------
        ValueError
            `block` is not (n_frames, n_channels).
        """
        for chunk in self._chunks.feed(block):
            energy, self._state = self._energies(chunk, self._state, self._plan)
            self._state[np.abs(self._state) < _NOTHING] = 0.0
            yield energy

    def rest(self) -> FloatArray:
        """Mean squares (n_blocks, n_channels) of the full blocks held that `feed` has not given; changes nothing."""
        held = self._chunks.rest
        n_frames = self._length * self._rows_of_block
        state, found = self._state, [np.empty((0, len(held)))]
        for begin in range(0, held.shape[1] - n_frames + 1, n_frames):
            energy, state = self._energies(held[:, begin : begin + n_frames], state, self._plan_of_block)
            found.append(energy)
        return np.concatenate(found)

    def _energies(self, chunk: FloatArray, state: FloatArray, plan: _Plan) -> tuple[FloatArray, FloatArray]:
        """Mean square of each block in a chunk (n_channels, n_frames), and the state after it."""
        n_blocks = plan.gram.shape[1]
        rows, by_channel = chunk.reshape(len(chunk), -1, self._length), (len(chunk), -1, self._n_states)
        multiply(rows, self._enter, plan.entering.reshape(by_channel))
        multiply(rows, self._cross, plan.crossed.reshape(by_channel))
        before, after = _states(state, plan)
        multiply(before, self._reach, plan.reached)
        np.add(plan.reached, plan.crossed, out=plan.reached)
        blocks = chunk.reshape(len(chunk), n_blocks, self._rows_of_block, self._length)
        np.matmul(blocks.swapaxes(-1, -2), blocks, out=plan.gram)
        energy = plan.gram.reshape(*plan.gram.shape[:2], -1) @ self._weights
        by_block = (len(chunk), n_blocks, -1)
        energy += np.vecdot(plan.reached.reshape(by_block), before.reshape(by_block))
        # Rounding may leave less than nothing where all is taken away.
        mean: FloatArray = np.maximum(energy.T, 0.0) / (self._rows_of_block * self._length)
        return mean, after


def _row_matrices(states: FilterStates, length: int) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """What a row of samples is multiplied by for what it adds to the states after it, and for 2 O'T x: (length,
    n_states) each; what the states before it are multiplied by, O'O; and the weights of a row's Gram matrix, T'T."""
    n_states = len(states.drive)
    reach = np.empty((length, n_states))  # output of each sample from the states before the row
    enter = np.empty((length, n_states))
    output, drive = states.output, states.drive
    for index in range(length):
        reach[index], enter[length - 1 - index] = output, drive
        output, drive = output @ states.transition, states.transition @ drive
    response = np.concatenate([[states.through], reach[:-1] @ states.drive])
    lag = np.subtract.outer(np.arange(length), np.arange(length))
    toeplitz = np.where(lag >= 0, response[np.abs(lag)], 0.0)
    return enter, 2 * toeplitz.T @ reach, reach.T @ reach, (toeplitz.T @ toeplitz).ravel()


def _group_sizes(n_rows: int) -> list[int]:
    """Factors of the number of rows, small ones gathered up to 10."""
    sizes: list[int] = []
    rest, factor = n_rows, 2
    while rest > 1:
        while rest % factor:
            factor = factor + 1 if factor * factor <= rest else rest
        rest //= factor
        if sizes and sizes[-1] * factor <= _MOST_IN_GROUP:
            sizes[-1] *= factor
        else:
            sizes.append(factor)
    return sizes


def _plan(power: FloatArray, n_channels: int, n_rows: int, n_blocks: int, length: int) -> _Plan:
    """The plan for a number of rows of each channel; `power` takes the states over one row."""
    n, levels, n_groups = len(power), [], n_rows * n_channels
    for size in _group_sizes(n_rows):
        powers = [np.eye(n)]
        for _ in range(size):
            powers.append(powers[-1] @ power)
        within = np.zeros((size * n, size * n))
        for late in range(size):
            for early in range(late):
                within[early * n : (early + 1) * n, late * n : (late + 1) * n] = powers[late - 1 - early].T
        n_groups //= size
        levels.append(
            _Level(
                size=size,
                within=within,
                across=np.concatenate([p.T for p in powers[:-1]], axis=1),
                leave=np.concatenate([p.T for p in powers[size - 1 :: -1]], axis=0),
                left=np.empty((n_groups, n)),
                found=np.empty((n_groups, size * n)),
                carried=np.empty((n_groups, size * n)),
            )
        )
        power = powers[size]
    return _Plan(
        levels=tuple(levels),
        over_all=power.T,
        entering=np.empty((n_rows * n_channels, n)),
        crossed=np.empty((n_rows * n_channels, n)),
        reached=np.empty((n_rows * n_channels, n)),
        gram=np.empty((n_channels, n_blocks, length, length)),
    )


def _states(state: FloatArray, plan: _Plan) -> tuple[FloatArray, FloatArray]:
    """States before each row of all channels, (n_channels n_rows, n_states), and those after the last of each."""
    n_states = state.shape[1]
    entering, gathered = plan.entering, []
    for level in plan.levels:
        gathered.append(entering.reshape(-1, level.size * n_states))
        multiply(gathered[-1], level.leave, level.left)
        entering = level.left
    before = state
    for level, group in zip(reversed(plan.levels), reversed(gathered), strict=True):
        multiply(group, level.within, level.found)
        multiply(before, level.across, level.carried)
        np.add(level.found, level.carried, out=level.found)
        before = level.found.reshape(-1, n_states)
    return before, entering + state @ plan.over_all
