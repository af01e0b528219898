"""Cells of frequency of a low spectrum: how a decimated stream is told in them, for the whole and window by window."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

HIGHEST_HZ = 400.0
FINE_TOP_HZ = 25.0
CELLS_PER_HZ = 64
TAPER_S = 8.0
_CELLS_PER_OCTAVE = 24  # above the fine ones
_SAME_HZ = 1e-9  # a frequency on an edge is above it, whatever its last bit
_OVERSAMPLED = 4  # of a wave at a fifth of the rate 1/cos(pi/20), 0.1 dB, is missed at most


def window_edges(step_hz: float) -> FloatArray:
    """Edges of the cells of a window: one for each of its bins up to about 25 Hz, then 1/24 octave each, in whole bins.

    Parameters
    ----------
    step_hz : float, hertz, > 0
        Between two bins.

    Returns
    -------
    (n_cells + 1,) hertz, rising from 0
    """
    n_fine = round(FINE_TOP_HZ / step_hz)
    n_octaves = np.log2(HIGHEST_HZ / FINE_TOP_HZ)
    wide = n_fine * 2.0 ** np.arange(0, n_octaves + 1e-9, 1 / _CELLS_PER_OCTAVE)
    bins = np.unique(np.concatenate([np.arange(n_fine), np.round(wide)]))
    edges: FloatArray = np.maximum(0.0, (bins - 0.5) * step_hz)
    return edges


def window_scale(
    shape: FloatArray, edge_hz: FloatArray, rate_hz: float, response: Callable[[FloatArray], FloatArray]
) -> tuple[npt.NDArray[np.intp], FloatArray]:
    r"""First bin of each cell and the end of the last, and :math:`2 / (N |H|^2 \sum w_n^2)` for each bin before it.

    Parameters
    ----------
    shape : (n,)
        Of the windows.
    edge_hz : (n_cells + 1,), of `window_edges`
    rate_hz : float, hertz
    response : function of (n_bins,) hertz
        Magnitude that is divided out.
    """
    n = len(shape)
    first = np.round(edge_hz * n / rate_hz + 0.5).astype(np.intp)
    first[0] = 0
    scale: FloatArray = 2 / (n * float(np.sum(shape**2))) / response(np.arange(first[-1]) * (rate_hz / n)) ** 2
    scale[0] /= 2
    return first, scale


def hann(n: int) -> FloatArray:
    """Hann window of a periodic transform, (n,)."""
    found: FloatArray = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(n) / n)
    return found


def squared_magnitude(values: npt.NDArray[np.complex128]) -> FloatArray:
    """Of complex values, without the root that `abs` takes."""
    found: FloatArray = np.square(values.real)
    found += np.square(values.imag)
    return found


def bin_edges_hz(n: int, rate_hz: float) -> FloatArray:
    """Edges of the bins of a transform of n values up to about 400 Hz, each bin in the middle of two: from 0, hertz."""
    step_hz = rate_hz / n
    edges: FloatArray = np.maximum(0.0, (np.arange(round(HIGHEST_HZ / step_hz) + 1) - 0.5) * step_hz)
    return edges


def bin_powers(values: FloatArray, shape: FloatArray, scale: FloatArray) -> tuple[FloatArray, int]:
    """Sum over all windows with half overlap of the mean square in each bin, (n_channels, n_bins); and how many fit.

    Parameters
    ----------
    values : (n_channels, n)
    shape : (n_window,)
    scale : (n_bins,), of `window_scale`
    """
    n = len(shape)
    n_windows = max(0, values.shape[1] // (n // 2) - 1)
    if not n_windows:
        return np.zeros((len(values), len(scale))), 0
    windows = np.lib.stride_tricks.sliding_window_view(values, n, axis=1)[:, :: n // 2]
    power: FloatArray = squared_magnitude(np.fft.rfft(windows * shape)[..., : len(scale)]).sum(axis=1) * scale
    return power, n_windows


def window_powers(shaped: FloatArray, first_bin: npt.NDArray[np.intp], scale: FloatArray) -> FloatArray:
    """Mean square in each cell (n_cells, n_channels) of a window (n_channels, n) that was multiplied with its shape.

    Parameters
    ----------
    shaped : (n_channels, n)
    first_bin : (n_cells + 1,), of `window_scale`
    scale : (n_bins,), of `window_scale`
    """
    power = squared_magnitude(np.fft.rfft(shaped)[:, : len(scale)]) * scale
    return np.add.reduceat(power, first_bin[:-1], axis=1).T


def empty_cells(n_channels: int) -> dict[str, FloatArray]:
    """What `slow_part` cannot say of a recording that is too short."""
    return {
        "cell_power": np.full((round(FINE_TOP_HZ * CELLS_PER_HZ), n_channels), np.nan),
        "subsonic_peak": np.full(n_channels, np.nan),
    }


def slow_part(
    stream: FloatArray,
    rate_hz: float,
    response: Callable[[FloatArray], FloatArray],
    limits_hz: tuple[float, float, float],
    shape: FloatArray,
    window_power: FloatArray,
) -> dict[str, FloatArray]:
    """Cells of the whole stream and the peak of its subsonic wave; fine cells of its windows go into `window_power`.

    Parameters
    ----------
    stream : (n_channels, n)
    rate_hz : float, hertz
    response : function of (n_bins,) hertz
        Magnitude that is divided out.
    limits_hz : lowest, end of subsonic, end of what the stream holds; hertz
    shape : (n_window,)
        Of windows with half overlap.
    window_power : (n_windows, n_cells, n_channels)
        Written over in its first cells, up to 25 Hz; as many windows as fit into the stream, or fewer.

    Returns
    -------
    dict with ``cell_power`` (n_cells, n_channels) and ``subsonic_peak`` (n_channels,)
    """
    lowest_hz, subsonic_hz, top_hz = limits_hz
    n = stream.shape[1]
    n_used = int(np.searchsorted(np.arange(n // 2 + 1) * (rate_hz / n), top_hz))
    frequency = np.arange(n_used) * (rate_hz / n)
    inverse = 1 / response(frequency)
    n_cells = round(FINE_TOP_HZ * CELLS_PER_HZ)
    n_fine = int(np.searchsorted(frequency + _SAME_HZ, FINE_TOP_HZ))
    cell = np.floor((frequency[:n_fine] + _SAME_HZ) * CELLS_PER_HZ).astype(np.intp)
    audible = frequency + _SAME_HZ >= lowest_hz
    taper = taper_of(n, rate_hz)
    scale = 2 / (n * (n - 2 * len(taper) + 2 * float(taper @ taper)))
    cells, peaks = [], []
    for channel, values in enumerate(stream):
        # One channel after the other, so that less is held.
        spectrum = np.fft.rfft(_tapered(values, taper))[:n_used] * inverse
        spectrum[0] = 0.0
        power = squared_magnitude(spectrum[:n_fine]) * scale
        cells.append(np.bincount(cell, weights=power, minlength=n_cells))
        spectrum *= audible
        _fine_windows(np.fft.irfft(spectrum, n), shape, rate_hz, window_power[:, :, channel])
        peaks.append(_peak(spectrum[: int(np.searchsorted(frequency + _SAME_HZ, subsonic_hz))], n))
    return {"cell_power": np.array(cells).T, "subsonic_peak": np.array(peaks)}


def taper_of(n: int, rate_hz: float) -> FloatArray:
    """Rise of the weight at the beginning of a stream: half a Hann window, 8 s, or a sixteenth of a shorter stream."""
    n_taper = min(round(TAPER_S * rate_hz), n // 16)
    return 0.5 - 0.5 * np.cos(np.pi * (np.arange(n_taper) + 0.5) / n_taper)


def _tapered(values: FloatArray, taper: FloatArray) -> FloatArray:
    """Values less their weighted mean, faded in and out: what is cut off at the ends would be spread over all bands."""
    n = len(taper)
    total = values[n:-n].sum() + taper @ values[:n] + taper[::-1] @ values[-n:]
    found: FloatArray = values - total / (len(values) - 2 * n + 2 * taper.sum())
    found[:n] *= taper
    found[-n:] *= taper[::-1]
    return found


def _peak(spectrum: npt.NDArray[np.complex128], n: int) -> float:
    """Largest magnitude of the wave, looked at between its n values too; the spectrum is written over."""
    from scipy.fft import irfft, next_fast_len

    # As short as holds the spectrum, of a length that the transform takes quickly; between its values more often.
    n_short = next_fast_len(2 * len(spectrum), real=True)
    n_turns = -(-_OVERSAMPLED * n // n_short)
    turn = np.exp(2j * np.pi / (n_short * n_turns) * np.arange(len(spectrum)))
    found = 0.0
    for _ in range(n_turns):
        wave = irfft(spectrum, n_short)
        # `maximum` keeps a NaN, which `max` would lose.
        found = float(np.maximum(found, np.maximum(wave.max(), -wave.min())))
        spectrum *= turn
    return found * (n_short / n)


def _fine_windows(values: FloatArray, shape: FloatArray, rate_hz: float, power: FloatArray) -> None:
    """Power of each window's bins up to 25 Hz, into the first cells of `power` (n_windows, n_cells)."""
    n = len(shape)
    n_fine = round(FINE_TOP_HZ * n / rate_hz)
    for index, found in enumerate(power):
        start = index * (n // 2)
        spectrum = np.fft.rfft(values[start : start + n] * shape)[:n_fine]
        found[:n_fine] = np.abs(spectrum) ** 2 * (2 / (n * float(shape @ shape)))
        found[0] /= 2
