"""Fractional-octave smoothing of power spectra, straight to the frequencies at which it is wanted."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.intp]


def smoothed_power(
    frequency_hz: FloatArray, power: FloatArray, bands_per_octave: float, at_hz: FloatArray
) -> FloatArray:
    r"""Mean of `power` over ln f in a window of an octave's fraction around each frequency of `at_hz`.

    .. math:: \frac{1}{\ln f_2 - \ln f_1} \int_{\ln f_1}^{\ln f_2} P \, d(\ln f),
       \quad f_{1,2} = f \, G^{\mp 1 / (2 b)}, \; G = 10^{3/10}

    with P linear over ln f between the points of `frequency_hz` and b `bands_per_octave`; G is the octave ratio of
    IEC 61260-1:2014, 5.2. A window that reaches over an end of the data is cut there. Every sum is one of positive
    numbers: a window in a valley is as exact as one on a peak, which differences of a running total are not.

    Power is smoothed, not the level in dB nor the complex response: a narrow dip is filled rather than averaged.

    Parameters
    ----------
    frequency_hz : (n,) hertz, rising, > 0, n >= 2
    power : (..., n), >= 0
    bands_per_octave : float, > 0
        3 for a third of an octave; any fraction, whole or not.
    at_hz : (k,) hertz
        Within the range of `frequency_hz`, in any order.

    Returns
    -------
    (..., k)

    Raises
    ------
    ValueError
        Shapes do not fit, frequencies do not rise from above zero, `at_hz` leaves their range, or the fraction is not
        positive.

    Examples
    --------
    >>> frequency = np.linspace(1.0, 1000.0, 1000)
    >>> pink = smoothed_power(frequency, 1 / frequency, 3, np.array([100.0]))
    >>> round(100 * float(pink[0]), 4)  # (sqrt(r) - 1/sqrt(r)) / ln r with r = 10^(1/10)
    1.0022
    """
    _check(frequency_hz, power, bands_per_octave, at_hz)
    x = np.log(frequency_hz)
    half = np.log(10.0) * 0.15 / bands_per_octave
    low = np.maximum(np.log(at_hz) - half, x[0])
    high = np.minimum(np.log(at_hz) + half, x[-1])
    # The measured points inside of each window: `first` to `last`; none if last < first.
    first = np.searchsorted(x, low, side="left")
    last = np.searchsorted(x, high, side="right") - 1
    rows = np.ascontiguousarray(power, dtype=float).reshape(-1, len(x))
    integral = _edges(x, rows, low, high, first, last) + _inner(x, rows, first, last)
    return np.asarray((integral / (high - low)).reshape(*power.shape[:-1], len(at_hz)))


def _check(frequency_hz: FloatArray, power: FloatArray, bands_per_octave: float, at_hz: FloatArray) -> None:
    if frequency_hz.ndim != 1 or len(frequency_hz) < 2 or power.ndim < 1 or power.shape[-1] != len(frequency_hz):
        raise ValueError(f"{power.shape} values do not stand at {frequency_hz.shape} frequencies, two or more")
    if not (frequency_hz[0] > 0 and np.all(np.diff(frequency_hz) > 0)):
        raise ValueError("the frequencies do not rise from above 0 Hz")
    if not 0 < bands_per_octave < np.inf:
        raise ValueError(f"a window of 1/{bands_per_octave} octave")
    if at_hz.size and not (at_hz.min() >= frequency_hz[0] and at_hz.max() <= frequency_hz[-1]):
        raise ValueError(f"wanted at {at_hz.min():g} to {at_hz.max():g} Hz, outside of the data")


def _edges(
    x: FloatArray, rows: FloatArray, low: FloatArray, high: FloatArray, first: IntArray, last: IntArray
) -> FloatArray:
    """The integral from each window's edges to the measured points next to them, and half a step beyond these."""
    n = len(x)
    at_low, at_high = _broken_line(x, rows, low), _broken_line(x, rows, high)
    head = np.minimum(first, n - 1)
    tail = np.maximum(last, 0)
    step_in = np.where(last > first, x[np.minimum(head + 1, n - 1)] - x[head], 0.0)
    step_out = np.where(last > first, x[tail] - x[np.maximum(tail - 1, 0)], 0.0)
    with_points = 0.5 * (
        (x[head] - low) * at_low
        + (x[head] - low + step_in) * rows[:, head]
        + (high - x[tail]) * at_high
        + (high - x[tail] + step_out) * rows[:, tail]
    )
    without = 0.5 * (high - low) * (at_low + at_high)
    return np.where(last < first, without, with_points)


def _broken_line(x: FloatArray, rows: FloatArray, at: FloatArray) -> FloatArray:
    """Each row at `at`, linear between its points."""
    left = np.clip(np.searchsorted(x, at, side="right") - 1, 0, len(x) - 2)
    share = (at - x[left]) / (x[left + 1] - x[left])
    return (1 - share) * rows[:, left] + share * rows[:, left + 1]


def _inner(x: FloatArray, rows: FloatArray, first: IntArray, last: IntArray) -> FloatArray:
    """The rest of the integral: the points strictly between `first` and `last`, each with its step."""
    begin = first + 1
    has_any = last > begin
    out = np.zeros((len(rows), len(first)))
    if not has_any.any():
        return out
    begin, end = begin[has_any], last[has_any]
    cuts = np.unique(np.concatenate([begin, end]))
    weight = np.zeros(len(x))
    weight[1:-1] = 0.5 * (x[2:] - x[:-2])
    start, stop = int(cuts[0]), int(cuts[-1])
    buffer = np.empty(stop - start)
    pieces = np.empty((len(rows), len(cuts) - 1))
    for row, piece in zip(rows, pieces, strict=True):  # row by row, so that the product stays in the cache
        np.multiply(row[start:stop], weight[start:stop], out=buffer)
        np.add.reduceat(buffer, cuts[:-1] - start, out=piece)
    out[:, has_any] = _range_sums(pieces, np.searchsorted(cuts, begin), np.searchsorted(cuts, end) - 1)
    return out


def _range_sums(pieces: FloatArray, left: IntArray, right: IntArray) -> FloatArray:
    """Sums of `pieces` from `left` to `right`, both included, without a difference.

    In the smallest block of 2, 4, 8, … that holds both ends, they lie in different halves: the sum is one running sum
    from the middle to the left and one to the right.
    """
    n_levels = max(1, int(pieces.shape[1] - 1).bit_length())
    padded = np.zeros((len(pieces), 1 << n_levels))
    padded[:, : pieces.shape[1]] = pieces
    out = pieces[:, left]
    # frexp gives the place of the highest bit in which the two ends differ.
    level_of = np.frexp((left ^ right).astype(float))[1] - 1
    for level in np.unique(level_of[left != right]):
        blocks = padded.reshape(len(pieces), -1, 2, 1 << int(level))
        to_left = np.cumsum(blocks[:, :, 0, ::-1], axis=-1)
        to_right = np.cumsum(blocks[:, :, 1, :], axis=-1)
        here = np.flatnonzero((level_of == level) & (left != right))
        size = 1 << int(level)
        block, l_in, r_in = left[here] // (2 * size), left[here] % size, right[here] % size
        out[:, here] = to_left[:, block, size - 1 - l_in] + to_right[:, block, r_in]
    return out
