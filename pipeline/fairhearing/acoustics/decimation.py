"""Exact decimation of a stream: linear-phase anti-alias filters whose response is known and can be divided out."""

from __future__ import annotations

import copy
import math

import numpy as np
import numpy.typing as npt

from fairhearing.acoustics._loops import every

FloatArray = npt.NDArray[np.float64]

# What lies above the band that is kept is folded back onto it this much weaker. 24 bits reach 144 dB below full scale;
# programme at the frequencies that fold lies well below full scale.
ATTENUATION_DB = 120.0
COMB_ATTENUATION_DB = (
    119.0  # five sections, where the band is a tenth of the new rate; a decibel more would need a sixth
)
_PART = 1024
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
    found = np.empty(len(frequency_hz))
    for start in range(0, len(found), _PART):
        # A sum of cosines of multiples of one angle, by Clenshaw's recurrence; a part at a time, which holds little.
        twice = 2 * np.cos(2 * np.pi / rate_hz * np.asarray(frequency_hz[start : start + _PART], dtype=np.float64))
        one, other = np.zeros(len(twice)), np.zeros(len(twice))
        for weight in 2 * taps[:half]:
            one, other = weight + twice * one - other, one
        found[start : start + _PART] = taps[half] + 0.5 * twice * one - other
    return found


class Decimator:
    """Takes in a stream channel by channel and gives every `factor`-th value of it, filtered.

    Only values for which the filter is wholly on the stream come out: the first stands for the frame (n_taps - 1) / 2,
    and nothing is made up beyond the ends. No bit of a value depends on where the stream is cut.

    Parameters
    ----------
    taps : (n_taps,), of `anti_alias_taps`
    factor : int, >= 1
    n_channels : int, >= 1
    n_together : int, >= 1
        Values come out in multiples of this, but for the last.
    """

    def __init__(self, taps: FloatArray, factor: int, n_channels: int, n_together: int = 1) -> None:
        self.row_length = factor * n_together
        self._taps = np.ascontiguousarray(taps)
        self._factor, self._n_together = factor, n_together
        self._rest: FloatArray = np.empty((n_channels, 0))

    def feed(self, values: FloatArray) -> FloatArray:
        """The values (n_channels, n_out) that `values` (n_channels, n_in) complete, `n_together` at a time."""
        n_held = self._rest.shape[1]
        n_out = max(0, (n_held + values.shape[1] - len(self._taps)) // self._factor + 1)
        return self._made(values, n_out - n_out % self._n_together)

    def finish(self) -> FloatArray:
        """The values still to come of which the filter is wholly on the stream; nothing may be fed after."""
        n_out = max(0, (self._rest.shape[1] - len(self._taps)) // self._factor + 1)
        return self._made(np.empty((len(self._rest), 0)), n_out)

    def _made(self, values: FloatArray, n_out: int) -> FloatArray:
        """So many values; what later ones need is kept."""
        held, factor = self._rest, self._factor
        n_held = held.shape[1]
        # What begins within what is held is made from that and the first of what comes; the rest where it lies.
        n_across = min(n_out, -(-n_held // factor))
        n_begun = n_across * factor
        across = np.concatenate([held, values[:, : max(0, n_begun - factor + len(self._taps) - n_held)]], axis=1)
        found = np.empty((len(held), n_out))
        for channel, one in enumerate(found):
            one[:n_across] = every(across[channel], self._taps, factor, n_across)
            if n_across < n_out:
                rest = np.ascontiguousarray(values[channel, n_begun - n_held :])
                one[n_across:] = every(rest, self._taps, factor, n_out - n_across)
        n_done = n_out * factor
        self._rest = (
            values[:, n_done - n_held :].copy()
            if n_done >= n_held
            else np.concatenate([held[:, n_done:], values], axis=1)
        )
        return found

    def copy(self) -> Decimator:
        """One that goes on from here by itself."""
        return copy.copy(self)
