"""Exact decimation of a stream: linear-phase anti-alias filters whose response is known and can be divided out."""

from __future__ import annotations

import copy
import math

import numpy as np
import numpy.typing as npt

from fairhearing.acoustics.products import multiply

FloatArray = npt.NDArray[np.float64]

# What lies above the band that is kept is folded back onto it this much weaker. 24 bits reach 144 dB below full scale;
# programme at the frequencies that fold lies well below full scale.
ATTENUATION_DB = 120.0
COMB_ATTENUATION_DB = (
    119.0  # five sections, where the band is a tenth of the new rate; a decibel more would need a sixth
)
_PART = 256
_MOST_SECTIONS = 40


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


def comb_taps(
    rate_hz: float, factor: int, highest_hz: float, attenuation_db: float = COMB_ATTENUATION_DB
) -> FloatArray:
    r"""Taps of a linear-phase low-pass that stops only what would fold below `highest_hz`: half as many, not flat.

    A product of sections :math:`\sum_{n<D} z^{-n} e^{2 \pi j n \delta / f_s}`, each of which is zero at
    :math:`k f_s / D + \delta` for all k but 0. The :math:`\delta` are Chebyshev nodes in :math:`\pm f_h`, as many as
    the attenuation needs. What lies between the stop bands is left to the next stage; the response below
    :math:`f_h`, which falls by less than 1 dB where :math:`f_h` is a tenth of the new rate, is known by `magnitude`.
    Odd length, unity at 0 Hz.

    Parameters
    ----------
    rate_hz : float, hertz, > 0
        Of the values that come in.
    factor : int, >= 2
    highest_hz : float, hertz, > 0
        At most a fifth of the new rate.
    attenuation_db : float, dB, > 0
        Below the least magnitude up to `highest_hz`.

    Returns
    -------
    (n_taps,) array

    Raises
    ------
    ValueError
        `highest_hz` is above a fifth of the new rate, or there is nothing to decimate.

    Examples
    --------
    >>> len(comb_taps(96_000.0, 24, 400.0)), len(anti_alias_taps(96_000.0, 24, 400.0))
    (117, 237)
    """
    new_rate_hz = rate_hz / factor
    if factor < 2 or not 0 < 5 * highest_hz <= new_rate_hz:
        raise ValueError(f"{highest_hz} Hz is above a fifth of {new_rate_hz} values per second, or nothing is left out")
    within = np.linspace(-1.0, 1.0, 41) * highest_hz
    kept = np.abs(within[within >= 0])
    folding = (np.arange(1, factor // 2 + 1)[:, None] * new_rate_hz + within).ravel()
    for n_sections in range(1, _MOST_SECTIONS):
        taps = _comb(rate_hz, factor, highest_hz * np.cos(np.pi * (np.arange(n_sections) + 0.5) / n_sections))
        loudest = np.abs(magnitude(taps, rate_hz, folding)).max() / np.abs(magnitude(taps, rate_hz, kept)).min()
        if loudest <= 10 ** (-attenuation_db / 20):
            return taps
    raise ValueError(f"{attenuation_db} dB cannot be had in {_MOST_SECTIONS} sections")


def _comb(rate_hz: float, factor: int, offset_hz: FloatArray) -> FloatArray:
    taps = np.ones(1, dtype=np.complex128)
    for offset in offset_hz:
        taps = np.convolve(taps, np.exp(2j * np.pi * offset / rate_hz * (np.arange(factor) - (factor - 1) / 2)))
    found = taps.real
    if len(found) % 2 == 0:
        found = np.convolve(found, [0.5, 0.5])
    symmetric: FloatArray = (found + found[::-1]) / (2 * found.sum())
    return symmetric


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
        rows = values[:, : n_rows * self.row_length].reshape(n_channels, n_rows, self.row_length)
        multiply(rows, self._matrix, products[:, held : held + n_rows])
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
