"""Exact decimation of a stream: linear-phase anti-alias filters whose response is known and can be divided out."""

from __future__ import annotations

import copy
import math

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

# What lies above the band that is kept is folded back onto it this much weaker. 24 bits reach 144 dB below full scale;
# programme at the frequencies that fold lies well below full scale.
ATTENUATION_DB = 120.0
# OpenBLAS multiplies matrices with m n k above this (its SMP_THRESHOLD_MIN x GEMM_MULTITHREAD_THRESHOLD) on several
# threads, which then fight with those of the pass over the recording.
_MOST_PRODUCTS = 65_536 * 4
_PART = 256


def anti_alias_taps(
    rate_hz: float, factor: int, highest_hz: float, attenuation_db: float = ATTENUATION_DB
) -> FloatArray:
    r"""Taps of a linear-phase low-pass that keeps up to `highest_hz` clear when every `factor`-th value is taken.

    Sinc under a Kaiser window, cut-off at half the new rate; stop band from :math:`f_s / D - f_h`, so that nothing
    folds below :math:`f_h`. Odd length, unity at 0 Hz.

    Parameters
    ----------
    rate_hz : float, hertz, > 0
        Of the values that come in.
    factor : int, >= 1
    highest_hz : float, hertz, > 0
        Below half the new rate.
    attenuation_db : float, dB, > 21

    Returns
    -------
    (n_taps,) array

    Raises
    ------
    ValueError
        `highest_hz` is not below half the new rate.

    References
    ----------
    J. F. Kaiser, Proc. IEEE Int. Symp. Circuits and Systems (1974) 20-23: length and shape of the window.

    Examples
    --------
    >>> taps = anti_alias_taps(48_000.0, 12, 400.0)
    >>> len(taps) % 2, round(float(taps.sum()), 12)
    (1, 1.0)
    """
    new_rate_hz = rate_hz / factor
    if not 0 < 2 * highest_hz < new_rate_hz:
        raise ValueError(f"{highest_hz} Hz cannot be kept at {new_rate_hz} values per second")
    width = 2 * math.pi * (new_rate_hz - 2 * highest_hz) / rate_hz
    half = math.ceil((attenuation_db - 7.95) / (2.285 * width) / 2)
    beta = 0.1102 * (attenuation_db - 8.7)
    at = np.arange(-half, half + 1)
    taps: FloatArray = np.sinc(at * (new_rate_hz / rate_hz)) * np.kaiser(2 * half + 1, beta)
    taps /= taps.sum()
    return taps


def magnitude(taps: FloatArray, rate_hz: float, frequency_hz: FloatArray) -> FloatArray:
    """Magnitude of the response of symmetric taps of odd length.

    Parameters
    ----------
    taps : (n_taps,)
    rate_hz : float, hertz
        Of the values that come in.
    frequency_hz : (n,) hertz

    Returns
    -------
    (n,) array; negative where the phase is turned over, which is nowhere in the pass band
    """
    half = len(taps) // 2
    weights = np.concatenate([taps[half : half + 1], 2 * taps[half + 1 :]])
    found = np.empty(len(frequency_hz))
    # In parts: the table of cosines of a long recording would be larger than the recording.
    for start in range(0, len(frequency_hz), _PART):
        part = frequency_hz[start : start + _PART]
        found[start : start + _PART] = np.cos(np.outer(2 * np.pi / rate_hz * part, np.arange(half + 1))) @ weights
    return found


class Decimator:
    """Takes in a stream channel by channel and gives every `factor`-th value of it, filtered.

    Only values for which the filter is wholly on the stream come out: the first stands for the frame (n_taps - 1) / 2,
    and nothing is made up beyond the ends. Where the stream is cut changes no more than rounding.

    Parameters
    ----------
    taps : (n_taps,), of `anti_alias_taps`
    factor : int, >= 1
    n_channels : int, >= 1
    n_together : int, >= 1
        Values that come out together, of one row of a matrix product: more cost more products and fewer sums.
    """

    def __init__(self, taps: FloatArray, factor: int, n_channels: int, n_together: int = 1) -> None:
        self.row_length = factor * n_together
        n_parts = -(-(len(taps) + self.row_length - factor) // self.row_length)
        # Part q holds the taps that a row meets in the outputs of the q-th row before it.
        matrix = np.zeros((n_parts * self.row_length, n_together))
        for output in range(n_together):
            matrix[output * factor : output * factor + len(taps), output] = taps
        parts = matrix.reshape(n_parts, self.row_length, n_together)
        self._matrix: FloatArray = np.ascontiguousarray(np.concatenate(list(parts), axis=1))
        self._n_parts, self._n_together = n_parts, n_together
        self._n_rows = max(1, _MOST_PRODUCTS // self._matrix.size)
        self._factor, self._n_taps = factor, len(taps)
        self._n_in = self._n_out = self._n_held = 0
        self._rest: FloatArray = np.empty((n_channels, 0))
        # Kept: asking for memory anew with each call costs more than the arithmetic.
        self._products: FloatArray = np.empty((n_channels, n_parts, self._matrix.shape[1]))

    def feed(self, values: FloatArray) -> FloatArray:
        """The values (n_channels, n_out) that `values` (n_channels, n_in) complete."""
        n_channels, held = len(values), self._n_held
        self._n_in += values.shape[1]
        if self._rest.shape[1]:
            values = np.concatenate([self._rest, values], axis=1)
        n_rows = values.shape[1] // self.row_length
        self._rest = values[:, n_rows * self.row_length :].copy()
        products = self._room(held + n_rows)
        for channel in range(n_channels):
            rows = values[channel, : n_rows * self.row_length].reshape(n_rows, self.row_length)
            for start in range(0, n_rows, self._n_rows):
                stop = min(start + self._n_rows, n_rows)
                np.matmul(rows[start:stop], self._matrix, out=products[channel, held + start : held + stop])
        n_out, width = max(0, held + n_rows - self._n_parts + 1), self._n_together
        found = np.zeros((n_channels, n_out, width))
        for part in range(self._n_parts if n_out else 0):
            found += products[:, part : part + n_out, part * width : (part + 1) * width]
        self._n_held = held + n_rows - n_out
        if n_out:
            products[:, : self._n_held] = products[:, n_out : n_out + self._n_held].copy()
        self._n_out += n_out * width
        return found.reshape(n_channels, n_out * width)

    def _room(self, n_rows: int) -> FloatArray:
        """Products with room for so many rows, those that are held first."""
        if self._products.shape[1] < n_rows:
            larger = np.empty((len(self._products), n_rows, self._products.shape[2]))
            larger[:, : self._n_held] = self._products[:, : self._n_held]
            self._products = larger
        return self._products

    def finish(self) -> FloatArray:
        """The values still to come of which the filter is wholly on the stream; nothing may be fed after."""
        n_left = max(0, (self._n_in - self._n_taps) // self._factor + 1) - self._n_out
        found = self.feed(np.zeros((len(self._rest), self._n_parts * self.row_length)))
        return found[:, :n_left]

    def copy(self) -> Decimator:
        """One that goes on from here by itself."""
        other = copy.copy(self)
        other._products = self._products[:, : self._n_held].copy()
        return other
