"""What a low spectrum says of a band: power in the whole recording and in each window; and the power of all sound."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
Arrays = Mapping[str, FloatArray]

AUDIBLE_TOP_HZ, AUDIBLE_SHARE_OF_RATE = 20_000.0, 0.45


def shares_of_cells(edge_hz: FloatArray, lower_hz: float, upper_hz: float) -> FloatArray:
    """How much of each cell lies between two frequencies.

    Parameters
    ----------
    edge_hz : (n_cells + 1,) hertz, rising
    lower_hz, upper_hz : float, hertz

    Returns
    -------
    (n_cells,) from 0 to 1

    Raises
    ------
    ValueError
        The cells do not reach both frequencies, or the lower is not below the upper.

    Examples
    --------
    >>> shares_of_cells(np.array([0.0, 1.0, 2.0, 3.0]), 0.5, 2.0).tolist()
    [0.5, 1.0, 0.0]
    """
    if not edge_hz[0] <= lower_hz < upper_hz <= edge_hz[-1]:
        raise ValueError(f"{lower_hz:g} to {upper_hz:g} Hz is no band within {edge_hz[0]:g} to {edge_hz[-1]:g} Hz")
    inside = np.minimum(edge_hz[1:], upper_hz) - np.maximum(edge_hz[:-1], lower_hz)
    shares: FloatArray = np.clip(inside, 0.0, None) / np.diff(edge_hz)
    return shares


def band_power(low: Arrays, lower_hz: float, upper_hz: float) -> FloatArray:
    """Mean square of the whole recording between two frequencies: up to 25 Hz of all of it, above of its windows.

    Parameters
    ----------
    low : arrays of `LowSpectrum`
    lower_hz, upper_hz : float, hertz, up to about 400

    Returns
    -------
    (n_channels,) full scale squared; NaN where the recording is too short

    Raises
    ------
    ValueError
        As `shares_of_cells`.
    """
    edges, top_hz = low["cell_edge_hz"], _join_hz(low)
    found = np.zeros(low["cell_power"].shape[1])
    if lower_hz < top_hz:
        found = found + shares_of_cells(edges, lower_hz, min(upper_hz, top_hz)) @ low["cell_power"]
    if upper_hz > top_hz:
        windows = window_band_power(low, max(lower_hz, top_hz), upper_hz)
        found = found + (windows.mean(axis=0) if len(windows) else np.nan)
    return found


def _join_hz(low: Arrays) -> float:
    """Where the fine cells end and those of windows go on: on an edge of both."""
    edges = low["window_edge_hz"]
    return float(edges[edges <= low["cell_edge_hz"][-1]][-1])


def window_band_power(low: Arrays, lower_hz: float, upper_hz: float, lowest_hz: float = 0.0) -> FloatArray:
    """Mean square of each window between two frequencies.

    Parameters
    ----------
    low : arrays of `LowSpectrum`
    lower_hz, upper_hz : float, hertz, up to about 400
    lowest_hz : float, hertz
        Of the summary. A band that begins there takes all below it too, which is nothing but what windows smear.

    Returns
    -------
    (n_windows, n_channels) full scale squared

    Raises
    ------
    ValueError
        As `shares_of_cells`.
    """
    shares = shares_of_cells(low["window_edge_hz"], 0.0 if lower_hz <= lowest_hz else lower_hz, upper_hz)
    found: FloatArray = np.einsum("wkc,k->wc", low["window_power"], shares)
    return found


def spectrum(low: Arrays, edge_hz: FloatArray) -> FloatArray:
    """Mean power density between each two edges: (n_edges - 1, n_channels), full scale squared per hertz.

    Parameters
    ----------
    low : arrays of `LowSpectrum`
    edge_hz : (n_edges,) hertz, rising, up to about 400

    Raises
    ------
    ValueError
        As `shares_of_cells`.
    """
    top_hz = _join_hz(low)
    below = _cumulative(low["cell_edge_hz"], low["cell_power"], np.minimum(edge_hz, top_hz))
    if edge_hz[-1] > top_hz:
        windows = low["window_power"]
        mean = windows.mean(axis=0) if len(windows) else np.full(windows.shape[1:], np.nan)
        below = below + _cumulative(low["window_edge_hz"], mean, np.maximum(edge_hz, top_hz))
    found: FloatArray = np.diff(below, axis=0) / np.diff(edge_hz)[:, None]
    return found


def _cumulative(edge_hz: FloatArray, power: FloatArray, at_hz: FloatArray) -> FloatArray:
    """Power below each frequency: (n, n_channels)."""
    if not edge_hz[0] <= at_hz[0] <= at_hz[-1] <= edge_hz[-1]:
        raise ValueError(f"{at_hz[0]:g} to {at_hz[-1]:g} Hz is no band within {edge_hz[0]:g} to {edge_hz[-1]:g} Hz")
    total = np.concatenate([np.zeros((1, power.shape[1])), np.cumsum(power, axis=0)])
    return np.array([np.interp(at_hz, edge_hz, column) for column in total.T]).T


def wide_power(low: Arrays, lower_hz: float, upper_hz: float) -> FloatArray:
    """Mean square between two frequencies from the coarse spectrum; up to half the rate.

    Parameters
    ----------
    low : arrays of `LowSpectrum`
    lower_hz, upper_hz : float, hertz
        Well above the width of a bin, about 94 Hz.

    Returns
    -------
    (n_channels,) full scale squared
    """
    frequency = low["wide_frequency_hz"]
    half = frequency[1] / 2
    edges = np.concatenate([[0.0], frequency[:-1] + half, frequency[-1:]])
    found: FloatArray = shares_of_cells(edges, lower_hz, min(upper_hz, float(edges[-1]))) @ low["wide_power"]
    return found


def audible_top_hz(rate_hz: float) -> float:
    """The lower of 20 kHz and 0.45 of the sample rate.

    Examples
    --------
    >>> audible_top_hz(96_000), audible_top_hz(44_100)
    (20000.0, 19845.0)
    """
    return min(AUDIBLE_TOP_HZ, AUDIBLE_SHARE_OF_RATE * rate_hz)


def whole_power(low: Arrays, mean_square: FloatArray, lowest_hz: float, rate_hz: float) -> FloatArray:
    r"""Mean square from `lowest_hz` to the lower of 20 kHz and 0.45 of the rate.

    :math:`\overline{x^2} - \bar x^2` less what the cells hold below `lowest_hz` and the coarse spectrum above the upper
    limit: all frames count, and no window smears the bass.

    Parameters
    ----------
    low : arrays of `LowSpectrum`
    mean_square : (n_channels,) full scale squared
        Of all frames, of `BlockLevels`.
    lowest_hz, rate_hz : float, hertz

    Returns
    -------
    (n_channels,) full scale squared

    Notes
    -----
    What lies above the upper limit is known from every fourth stretch of time: where it holds a large share of all, the
    result is an estimate.
    """
    below = band_power(low, 0.0, lowest_hz)
    above = wide_power(low, audible_top_hz(rate_hz), rate_hz)
    left: FloatArray = np.maximum(mean_square - low["mean"] ** 2 - below - above, 0.0)
    return left


def weighted_power(low: Arrays, edge_hz: FloatArray, weight: FloatArray) -> FloatArray:
    """Mean square with a factor on the power between each two edges.

    Parameters
    ----------
    low : arrays of `LowSpectrum`
    edge_hz : (n + 1,) hertz, rising
    weight : (n,) of power

    Returns
    -------
    (n_channels,) full scale squared
    """
    found: FloatArray = (spectrum(low, edge_hz) * (weight * np.diff(edge_hz))[:, None]).sum(axis=0)
    return found
