"""Base-ten fractional-octave bands (IEC 61260-1) and band levels of a measured curve."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

# IEC 61260-1:2014, Annex E: nominal midbands of one decade of third octaves.
NOMINAL_DECADE = (1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0)
# IEC 61260-1:2014, 5.2: the octave ratio G = 10^(3/10), the reference frequency 1000 Hz.
REFERENCE_HZ = 1000.0
HALF_BAND_LN = np.log(10.0) / 20.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Bands:
    """Third-octave bands: nominal midband, exact lower and upper edge, each (n_bands,), hertz."""

    nominal_hz: FloatArray
    lower_hz: FloatArray
    upper_hz: FloatArray


def third_octave_bands(lowest_nominal_hz: float, highest_nominal_hz: float) -> Bands:
    r"""The third-octave bands whose nominal frequency lies from `lowest_nominal_hz` to `highest_nominal_hz`.

    Exact midbands are :math:`1000 \cdot 10^{x/10}`, edges :math:`10^{\pm 1/20}` away (IEC 61260-1:2014, 5.2 to 5.5).

    Parameters
    ----------
    lowest_nominal_hz, highest_nominal_hz : float, hertz, > 0

    Returns
    -------
    Bands
        Rising; empty if no nominal frequency lies in the range.

    Raises
    ------
    ValueError
        A limit is not positive, or the lower exceeds the upper.

    Examples
    --------
    >>> third_octave_bands(31.5, 80).nominal_hz.tolist()
    [31.5, 40.0, 50.0, 63.0, 80.0]
    """
    if not 0 < lowest_nominal_hz <= highest_nominal_hz:
        raise ValueError(f"no bands from {lowest_nominal_hz} to {highest_nominal_hz} Hz")
    first = int(np.floor(10 * np.log10(lowest_nominal_hz))) - 1
    last = int(np.ceil(10 * np.log10(highest_nominal_hz))) + 1
    index = np.arange(first, last + 1)
    nominal = np.array([NOMINAL_DECADE[i % 10] * 10.0 ** (i // 10) for i in index])
    # Nominal frequencies are decimal numbers; the tolerance only absorbs their binary rounding.
    keep = (nominal >= lowest_nominal_hz * (1 - 1e-9)) & (nominal <= highest_nominal_hz * (1 + 1e-9))
    exact = 10.0 ** (index[keep] / 10.0)
    return Bands(
        nominal_hz=nominal[keep],
        lower_hz=exact * 10.0 ** (-1 / 20),
        upper_hz=exact * 10.0 ** (1 / 20),
    )


def mean_over_log_frequency(
    frequency_hz: FloatArray, power: FloatArray, lower_hz: FloatArray, upper_hz: FloatArray
) -> FloatArray:
    r"""Mean of `power` over ln f between edges, NaN where the data do not reach both edges.

    .. math:: \frac{1}{\ln f_2 - \ln f_1} \int_{\ln f_1}^{\ln f_2} P \, d(\ln f)

    with P linear over ln f between the measured points.

    Parameters
    ----------
    frequency_hz : (n,) hertz, rising, > 0, n >= 2
    power : (..., n)
    lower_hz, upper_hz : (k,) hertz

    Returns
    -------
    (..., k)
    """
    x = np.log(frequency_hz)
    steps = np.diff(x) * 0.5 * (power[..., 1:] + power[..., :-1])
    total = np.concatenate([np.zeros_like(power[..., :1]), np.cumsum(steps, axis=-1)], axis=-1)
    low, high = np.log(lower_hz), np.log(upper_hz)
    mean = (_integral(x, power, total, high) - _integral(x, power, total, low)) / (high - low)
    # Files round frequencies; an edge missed by a rounding is reached.
    covered = (low >= x[0] - 1e-6) & (high <= x[-1] + 1e-6)
    return np.where(covered, mean, np.nan)


def band_level_db(frequency_hz: FloatArray, power: FloatArray, bands: Bands) -> FloatArray:
    """Level of each band, 10 lg of the mean of `power` over ln f between its exact edges; NaN where not covered.

    Parameters
    ----------
    frequency_hz : (n,) hertz, rising, > 0
    power : (..., n), >= 0
    bands : Bands

    Returns
    -------
    (..., n_bands), dB

    Examples
    --------
    >>> grid = np.geomspace(10, 100, 200)
    >>> bands = third_octave_bands(20, 20)
    >>> round(float(band_level_db(grid, np.full(200, 100.0), bands)[0]), 6)
    20.0
    """
    mean = mean_over_log_frequency(frequency_hz, power, bands.lower_hz, bands.upper_hz)
    with np.errstate(divide="ignore", invalid="ignore"):
        level = 10 * np.log10(mean)
    return np.where(np.isfinite(level), level, np.nan)


def third_octave_smoothed(frequency_hz: FloatArray, power: FloatArray) -> FloatArray:
    """Running mean of `power` over ln f, a third of an octave wide, cut at the ends of the data.

    Parameters
    ----------
    frequency_hz : (n,) hertz, rising, > 0
    power : (..., n)

    Returns
    -------
    (..., n)
    """
    lower = np.maximum(frequency_hz * np.exp(-HALF_BAND_LN), frequency_hz[0])
    upper = np.minimum(frequency_hz * np.exp(HALF_BAND_LN), frequency_hz[-1])
    return mean_over_log_frequency(frequency_hz, power, lower, upper)


def _integral(x: FloatArray, power: FloatArray, total: FloatArray, at: FloatArray) -> FloatArray:
    """Integral of the broken line from x[0] to `at`."""
    left = np.clip(np.searchsorted(x, at, side="right") - 1, 0, len(x) - 2)
    step = at - x[left]
    slope = (power[..., left + 1] - power[..., left]) / (x[left + 1] - x[left])
    return total[..., left] + step * (power[..., left] + 0.5 * step * slope)
