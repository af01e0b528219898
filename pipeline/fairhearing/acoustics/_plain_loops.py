"""The loops of _loops.c in numpy and scipy: the same numbers up to rounding, for where those are not built."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

_AT_ONCE = 4096


def energies(
    channels: tuple[FloatArray, FloatArray],
    sections: FloatArray,
    state: FloatArray,
    sums: FloatArray,
    n_summed: int,
    energy: FloatArray,
    n_frames: int,
) -> None:
    """As `_loops.energies`."""
    from scipy.signal import sosfilt

    for index, values in enumerate(channels):
        output, after = sosfilt(sections, values, zi=state[index].reshape(2, 2))
        squares, begin = output * output, 0
        for block, end in enumerate(range(n_frames - n_summed, len(values) + 1, n_frames)):
            energy[block, index] = _after(sums[index], squares[begin:end]) / n_frames
            sums[index], begin = 0.0, end
        state[index], sums[index] = after.ravel(), _after(sums[index], squares[begin:])


def _after(so_far: float, values: FloatArray) -> float:
    """The sum when the values have been added one after the other, so that no bit depends on where a stream is cut."""
    return float(np.add.accumulate(np.concatenate([[so_far], values]))[-1])


def levels(blocks: FloatArray, found: FloatArray) -> None:
    """As `_loops.levels`."""
    found[:] = blocks.sum(axis=1), (blocks * blocks).sum(axis=1), blocks.max(axis=1), blocks.min(axis=1)


def raise_peaks(values: FloatArray, taps: FloatArray, peaks: FloatArray) -> None:
    """As `_loops.raise_peaks`, every point looked at."""
    n_taps = taps.shape[1]
    middle = n_taps // 2 - 1
    # `maximum` keeps a NaN, which `max` would lose.
    samples = np.abs(values[middle : len(values) - n_taps + middle + 2]).max()
    peaks[:] = np.maximum(peaks, samples)
    windows = np.lib.stride_tricks.sliding_window_view(values, n_taps)
    for begin in range(0, len(windows), _AT_ONCE):
        peaks[1] = np.maximum(peaks[1], np.abs(windows[begin : begin + _AT_ONCE] @ taps.T).max())


def every(values: FloatArray, taps: FloatArray, factor: int, found: FloatArray) -> None:
    """As `_loops.every`."""
    windows = np.lib.stride_tricks.sliding_window_view(values, len(taps))[::factor][: len(found)]
    np.vecdot(windows, taps, out=found)


def total(values: FloatArray) -> float:
    """As `_loops.total`."""
    return float(values.sum())


def add_squares(parts: npt.NDArray[np.float32], sums: FloatArray) -> None:
    """As `_loops.add_squares`."""
    for window in parts.astype(np.float64):
        sums += window[0::2] ** 2 + window[1::2] ** 2


def take_apart(raw: bytearray, found: FloatArray) -> None:
    """As `_loops.take_apart`."""
    n_channels, n_frames = found.shape
    upper: npt.NDArray[np.int32] = np.ndarray((n_frames * n_channels,), dtype="<i4", buffer=raw, strides=(3,))
    for channel, values in enumerate(found):
        np.multiply(upper[channel::n_channels] & np.int32(-256), 2.0**-31, out=values)
