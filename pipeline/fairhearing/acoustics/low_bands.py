"""What a low spectrum says of a band: power in the whole recording and in each window; and the power of all sound."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fairhearing.acoustics.low_cells import FINE_TOP_HZ
from fairhearing.acoustics.weighting import Weighting, weighting_power

FloatArray = npt.NDArray[np.float64]
Arrays = Mapping[str, FloatArray]

_SAME_HZ, _BESIDE = 1e-9, 1e-6
_REACH = 6  # bins, beyond which a Hann window spreads less than a hundred-thousandth of a tone
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


@dataclass(frozen=True, slots=True, kw_only=True)
class WholeSpectrum:
    """Edges of cells from 0 Hz to half the rate, hertz, (n_cells + 1,); mean square in each, (n_cells, n_channels)."""

    edge_hz: FloatArray
    power: FloatArray


def whole_spectrum(low: Arrays) -> WholeSpectrum:
    """All that a low spectrum knows: fine cells up to 25 Hz, bins of 10/9 Hz up to 400 Hz, then bins of about 23 Hz.

    It takes the place of one spectrum with windows of a second over all samples, which alone cost more time than all
    else that is asked of a recording: below 400 Hz, where a second's resolution is needed, a hundredth of the samples
    is enough, and above it what is spread wide is known from every fourth stretch.

    Parameters
    ----------
    low : arrays of `LowSpectrum`

    Returns
    -------
    WholeSpectrum
        Of a recording shorter than two periods of the lowest frequency nothing below about 2 Hz, where its offset lies;
        NaN where it is shorter than 1 s.

    Notes
    -----
    What lies above 400 Hz is known from every fourth stretch of 1/23 s: over some minutes of a programme within a few
    hundredths of a decibel, and for two recordings of the same section better.
    """
    bins, bin_power = low["bin_edge_hz"], low["bin_power"]
    edges, power = low["cell_edge_hz"], low["cell_power"]
    if np.isnan(power).any():
        # An offset lies in the first two bins.
        nothing = np.zeros((1, bin_power.shape[1]))
        whole = WholeSpectrum(edge_hz=np.append(0.0, bins[2:]), power=np.concatenate([nothing, bin_power[2:]]))
    else:
        join_hz = float(bins[bins <= FINE_TOP_HZ][-1])
        inside = np.append(edges[edges < join_hz - _SAME_HZ], join_hz)
        fine = WholeSpectrum(edge_hz=inside, power=np.diff(_cumulative(edges, power, inside), axis=0))
        whole = _continued(fine, bins, bin_power)
    return _continued(whole, _wide_edges(low), low["wide_power"])


def _continued(below: WholeSpectrum, edge_hz: FloatArray, power: FloatArray) -> WholeSpectrum:
    """A spectrum, and above it the cells of a coarser one made with Hann windows.

    Such windows spread a tone over three bins. What they spread from below over the join is known from the finer
    spectrum and taken away, and what is left over just below the join was spread from above it and belongs there: else
    a tone near the join would count up to half as much again, or half as much.
    """
    join_hz, step_hz = float(below.edge_hz[-1]), float(edge_hz[2] - edge_hz[1])
    centre = (below.edge_hz[1:] + below.edge_hz[:-1]) / 2
    first = max(0, math.floor(join_hz / step_hz) - _REACH)
    # All that is left over up to here makes one cell, at least half a bin wide.
    upto = int(np.searchsorted(edge_hz[1:], join_hz + step_hz / 2 - _SAME_HZ))
    bins = np.arange(first, min(upto + _REACH, len(power)))
    near = centre >= join_hz - 2 * _REACH * step_hz
    left = power[first:].copy()
    left[: len(bins)] -= _hann_spread(bins[:, None] - centre[near] / step_hz) @ below.power[near]
    left = np.concatenate([left[: upto + 1 - first].sum(axis=0, keepdims=True), left[upto + 1 - first :]])
    return WholeSpectrum(
        edge_hz=np.concatenate([below.edge_hz, edge_hz[upto + 1 :]]),
        power=np.concatenate([below.power, np.maximum(left, 0.0)]),
    )


def _hann_spread(distance: FloatArray) -> FloatArray:
    r"""Share of a tone's power in a bin so many bins away: :math:`\frac{2}{3} (\mathrm{sinc}(d) / (1 - d^2))^2`."""
    beside = np.abs(np.abs(distance) - 1) < _BESIDE
    d = np.where(beside, 0.0, distance)
    found: FloatArray = 2 / 3 * np.where(beside, 0.5, np.sinc(d) / (1 - d**2)) ** 2
    return found


def weighted_whole_power(low: Arrays, weighting: Weighting, lowest_hz: float) -> FloatArray:
    r"""Mean square of the weighted signal, :math:`\sum_k P_k W(f_k)` over all cells from `lowest_hz` on.

    Parameters
    ----------
    low : arrays of `LowSpectrum`
    weighting : "A", "C", "G", "K" or "Z"
    lowest_hz : float, hertz
        Cells below it, where a steady offset lies, are left out.

    Returns
    -------
    (n_channels,) full scale squared; NaN where the recording is shorter than 1 s

    Raises
    ------
    ValueError
        As `weighting_power`.

    Notes
    -----
    Within a cell the weighting is that of its middle; a tone is spread over three bins. That shifts its A-weighted
    level by less than 0.001 dB at 1 kHz and 0.01 dB at 100 Hz, and by up to 0.25 dB just above 25 and 400 Hz, where
    cells become wider.
    """
    found = whole_spectrum(low)
    middle = (found.edge_hz[1:] + found.edge_hz[:-1]) / 2
    used = found.edge_hz[:-1] >= lowest_hz
    total: FloatArray = weighting_power(middle[used], weighting) @ found.power[used]
    return total


def _wide_edges(low: Arrays) -> FloatArray:
    frequency = low["wide_frequency_hz"]
    return np.concatenate([[0.0], frequency[:-1] + frequency[1] / 2, frequency[-1:]])


def wide_power(low: Arrays, lower_hz: float, upper_hz: float) -> FloatArray:
    """Mean square between two frequencies from the coarse spectrum; up to half the rate.

    Parameters
    ----------
    low : arrays of `LowSpectrum`
    lower_hz, upper_hz : float, hertz
        Well above the width of a bin, about 23 Hz.

    Returns
    -------
    (n_channels,) full scale squared
    """
    edges = _wide_edges(low)
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
