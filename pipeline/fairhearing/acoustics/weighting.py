"""Frequency weightings A, C, Z (IEC 61672-1:2013), G (ISO 7196:1995) and K (ITU-R BS.1770-5) by formula on any grid."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Literal

import numpy as np
import numpy.typing as npt

from fairhearing.acoustics.k_filter import k_gain

FloatArray = npt.NDArray[np.float64]
Weighting = Literal["A", "C", "G", "K", "Z"]

# IEC 61672-1:2013, Annex E: the frequencies that the poles follow from.
_REFERENCE_HZ, _LOWER_HZ, _UPPER_HZ, _A_HZ = 1000.0, 10**1.5, 10**3.9, 10**2.45
# ISO 7196:1995, Table 1: the poles of G in hertz, each with its conjugate; four zeros at 0.
_G_POLES_HZ = (complex(-0.707, 0.707), complex(-19.27, 5.16), complex(-14.11, 14.11), complex(-5.16, 19.27))
_G_REFERENCE_HZ = 10.0
# Below two bins the density is not that of sound: a steady offset leaks there.
_BINS_OF_OFFSET = 2
_K_HIGHEST_HZ = 24_000.0  # half the rate that the filter of BS.1770 is given for


def _poles_hz() -> tuple[float, float, float, float]:
    """The pole frequencies f1 to f4 of IEC 61672-1:2013, Annex E: 20.60, 107.7, 737.9, 12194 Hz."""
    half = math.sqrt(0.5)
    c = (_LOWER_HZ * _UPPER_HZ) ** 2
    b = (_REFERENCE_HZ**2 + c / _REFERENCE_HZ**2 - half * (_LOWER_HZ**2 + _UPPER_HZ**2)) / (1 - half)
    root = math.sqrt(b * b - 4 * c)
    golden = math.sqrt(5)
    f1, f4 = math.sqrt((-b - root) / 2), math.sqrt((-b + root) / 2)
    return f1, (3 - golden) / 2 * _A_HZ, (3 + golden) / 2 * _A_HZ, f4


_F1_HZ, _F2_HZ, _F3_HZ, _F4_HZ = _poles_hz()


def _c_power(f: FloatArray) -> FloatArray:
    return (_F4_HZ**2 * f**2 / ((f**2 + _F1_HZ**2) * (f**2 + _F4_HZ**2))) ** 2


def _a_power(f: FloatArray) -> FloatArray:
    return _c_power(f) * f**4 / ((f**2 + _F2_HZ**2) * (f**2 + _F3_HZ**2))


def _g_power(f: FloatArray) -> FloatArray:
    power = f**8
    for pole in _G_POLES_HZ:
        power = power / (np.abs((1j * f - pole) * (1j * f - pole.conjugate())) ** 2)
    return power


def _normalised(power: Callable[[FloatArray], FloatArray], at_hz: float) -> Callable[[FloatArray], FloatArray]:
    reference = float(power(np.array(at_hz)))
    return lambda f: power(f) / reference


_POWER: Mapping[str, Callable[[FloatArray], FloatArray]] = {
    "A": _normalised(_a_power, _REFERENCE_HZ),
    "C": _normalised(_c_power, _REFERENCE_HZ),
    "G": _normalised(_g_power, _G_REFERENCE_HZ),
    "K": k_gain,
    "Z": np.ones_like,
}


def weighting_power(frequency_hz: npt.ArrayLike, weighting: Weighting) -> FloatArray:
    """Factor by which a weighting multiplies the power at each frequency: 1 at 1 kHz (G: at 10 Hz; K: about 1.17).

    A and C: IEC 61672-1:2013, Annex E; Z is 1. G: ISO 7196:1995, poles of Table 1. K: the filter of BS.1770-5 at
    48 kHz, up to 24 kHz; its constant -0.691 dB is not in it.

    Parameters
    ----------
    frequency_hz : array, hertz, >= 0
    weighting : "A", "C", "G", "K" or "Z"

    Returns
    -------
    array of the same shape, >= 0

    Raises
    ------
    ValueError
        A frequency is negative or not finite (K: above 24 kHz), or there is no such weighting.

    Notes
    -----
    The standards' tables are rounded to 0.1 dB and hold at the exact frequencies 10^(n/10), not at the nominal ones.

    Examples
    --------
    >>> weighting_power([100.0, 1000.0], "A").round(4).tolist()
    [0.0122, 1.0]
    """
    frequency = np.asarray(frequency_hz, dtype=np.float64)
    if not np.all(np.isfinite(frequency) & (frequency >= 0)):
        raise ValueError("a frequency is negative or not finite")
    if weighting not in _POWER:
        raise ValueError(f"there is no weighting {weighting!r}: A, C, G, K or Z")
    return _POWER[weighting](frequency)


def weighting_db(frequency_hz: npt.ArrayLike, weighting: Weighting) -> FloatArray:
    """The weighting in decibel, 10 lg of `weighting_power`.

    Parameters
    ----------
    frequency_hz : array, hertz, > 0
    weighting : "A", "C", "G", "K" or "Z"

    Returns
    -------
    array of the same shape, dB

    Raises
    ------
    ValueError
        As `weighting_power`; a frequency is 0.

    Examples
    --------
    >>> float(weighting_db(10**1.5, "A").round(1)), float(weighting_db(10**1.5, "C").round(1))
    (-39.4, -3.0)
    """
    frequency = np.asarray(frequency_hz, dtype=np.float64)
    if np.any(frequency == 0):
        raise ValueError("at 0 Hz a weighting has no level")
    return 10 * np.log10(weighting_power(frequency, weighting))


def weighted_mean_square(frequency_hz: npt.ArrayLike, power_density: npt.ArrayLike, weighting: Weighting) -> FloatArray:
    r"""Mean square of the weighted signal, from its power spectral density: :math:`\sum_k S(f_k) W(f_k) \Delta f`.

    Parameters
    ----------
    frequency_hz : array (n_bins,), hertz
        Equally spaced from 0.
    power_density : array (n_bins, …), per hertz
        One-sided, as `PowerSpectrum` gives it. The bins at 0 and one spacing are left out: a steady offset leaks there.
    weighting : "A", "C", "G", "K" or "Z"

    Returns
    -------
    array (…), the unit of the density times hertz

    Raises
    ------
    ValueError
        There are fewer than three bins, or they do not begin at 0; as `weighting_power`.

    Notes
    -----
    A Welch spectrum counts the first and last half window less than the rest: where those are louder or softer, the
    level is off by about their share of the whole.

    Examples
    --------
    >>> float(weighted_mean_square(np.arange(5.0), np.ones(5), "Z"))
    3.0
    """
    frequency, density = np.asarray(frequency_hz, dtype=np.float64), np.asarray(power_density, dtype=np.float64)
    if frequency.ndim != 1 or len(frequency) < 3 or frequency[0] != 0 or len(density) != len(frequency):
        raise ValueError("the spectrum has to have three bins or more, equally spaced from 0 Hz")
    used = frequency[_BINS_OF_OFFSET:]
    within = used[used <= _K_HIGHEST_HZ] if weighting == "K" else used
    kept = density[_BINS_OF_OFFSET : _BINS_OF_OFFSET + len(within)]
    total: FloatArray = np.tensordot(weighting_power(within, weighting), kept, axes=(0, 0)) * frequency[1]
    return total
