"""Peak of the samples and of the wave between them (ITU-R BS.1770-5, Annex 2), made in one pass over a recording."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
import numpy.typing as npt

from fairhearing.acoustics._loops import raise_peaks
from fairhearing.acoustics.chunks import SampledFormat

FloatArray = npt.NDArray[np.float64]

# BS.1770-5, Annex 2: at least four times the samples below 96 kHz; at 96 kHz twice as many will do.
_FOUR_TIMES_BELOW_HZ = 96_000
# A windowed sinc over 24 samples (Kaiser, beta 5): up to 0.42 of the rate flat within 0.05 dB.
_HALF_LENGTH = 12
_KAISER_BETA = 5.0
_N_NEAR = 2 * _HALF_LENGTH - 1  # samples that a wave shares with the next block


@dataclass(frozen=True, slots=True)
class TruePeak:
    r"""Largest magnitude of the samples and of the oversampled wave of each channel, over the whole recording.

    The wave is taken at 4 points a sample below 96 kHz, at 2 from there on, by a windowed sinc that passes through the
    samples; before and after the recording lies silence. Runs of samples that cannot hold the peak are passed over: see
    `bounds_of_taps`. Arrays of the result:

    - ``sample_peak``: (n_channels,), full scale, >= 0
    - ``true_peak``: (n_channels,), full scale, >= ``sample_peak``

    References
    ----------
    Recommendation ITU-R BS.1770-5 (11/2023), Annex 2.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> tone = np.sin(2 * np.pi * np.arange(4800) / 4 + np.pi / 4)[:, None]  # no sample meets a crest
    >>> peak = TruePeak().start(SimpleNamespace(rate_hz=48_000, n_channels=1, n_frames=4800))
    >>> peak.update(tone * np.hanning(4800)[:, None])
    >>> {name: round(float(values[0]), 2) for name, values in peak.result().items()}
    {'sample_peak': 0.71, 'true_peak': 1.0}
    """

    name: ClassVar[str] = "true-peak"
    version: ClassVar[str] = "2"

    def start(self, format: SampledFormat) -> _Peaks:
        """An accumulator for one recording."""
        return _Peaks(format)


def oversampling(rate_hz: float) -> int:
    """How many points a sample the wave is taken at.

    Examples
    --------
    >>> oversampling(44_100), oversampling(96_000)
    (4, 2)
    """
    return 4 if rate_hz < _FOUR_TIMES_BELOW_HZ else 2


def interpolation_taps(n_points: int) -> FloatArray:
    """Taps of each point between two samples, (n_points - 1, 24): the twelfth sample lies before it, the next after.

    Examples
    --------
    >>> interpolation_taps(2).shape, round(float(interpolation_taps(2).sum()), 2)
    ((1, 24), 1.0)
    """
    offset = np.arange(1, n_points)[:, None] / n_points
    distance = np.arange(1 - _HALF_LENGTH, _HALF_LENGTH + 1) - offset
    window = np.i0(_KAISER_BETA * np.sqrt(1 - (distance / _HALF_LENGTH) ** 2)) / np.i0(_KAISER_BETA)
    taps: FloatArray = np.sinc(distance) * window
    return taps


@dataclass(frozen=True, slots=True, kw_only=True)
class Bounds:
    """The wave is no larger than `chord` times the larger of the two samples it lies between plus `bend` times the
    largest second difference of the samples that its filter reaches; for each point between two samples."""

    chord: FloatArray
    bend: FloatArray


def bounds_of_taps(taps: FloatArray) -> Bounds:
    r"""How far the wave between two samples can be from the chord through them.

    The taps are parted into a chord, :math:`w_0 x_0 + w_1 x_1`, with the sum :math:`w_0 + w_1 = \sum h_k` and the first
    moment :math:`w_1 = \sum k h_k` of all taps, and what is left, :math:`r`. Sum and first moment of r are zero, so its
    z-transform has a double zero at 1, and it is a second difference, :math:`r_k = g_{k-1} - 2 g_k + g_{k+1}`; g is the
    sum of the sum of r, two taps shorter. Therefore :math:`y = w_0 x_0 + w_1 x_1 + \sum_j g_j (x_{j-1} - 2 x_j +
    x_{j+1})` exactly, and :math:`|y| \le (|w_0| + |w_1|) \max(|x_0|, |x_1|) + \sum |g_j| \max |\Delta^2 x|`. Music has
    little at the top of its range, and so small second differences: the bound is little above the samples, where the
    sum of the magnitudes of all taps, 2.4, passes over hardly anything.

    Parameters
    ----------
    taps : (n_points, 24), of `interpolation_taps`

    Returns
    -------
    Bounds

    Examples
    --------
    >>> bounds = bounds_of_taps(interpolation_taps(2))
    >>> [float(values[0].round(2)) for values in (bounds.chord, bounds.bend)]
    [1.0, 0.43]
    """
    at = np.arange(1 - _HALF_LENGTH, _HALF_LENGTH + 1)
    last = taps @ at
    first = taps.sum(axis=1) - last
    left = taps.copy()
    left[:, _HALF_LENGTH - 1] -= first
    left[:, _HALF_LENGTH] -= last
    twice_summed = np.cumsum(np.cumsum(left, axis=1), axis=1)
    return Bounds(chord=np.abs(first) + np.abs(last), bend=np.abs(twice_summed).sum(axis=1))


class _Peaks:
    """Each block with the last samples before it: a wave that a block does not hold whole is made with the next."""

    def __init__(self, format: SampledFormat) -> None:
        self._taps = interpolation_taps(oversampling(format.rate_hz))
        bounds = bounds_of_taps(self._taps)
        self._chord, self._bend = float(bounds.chord.max()), float(bounds.bend.max())
        # Silence lies before the first sample.
        self._before = np.zeros((format.n_channels, _N_NEAR))
        self._peaks = np.zeros((format.n_channels, 2))

    def update(self, block: FloatArray) -> None:
        """Take in the next frames."""
        if block.ndim != 2 or block.shape[1] != len(self._before):
            raise ValueError(f"a block of shape {block.shape} has not {len(self._before)} channels")
        for channel, values in enumerate(block.T):
            self._look(np.ascontiguousarray(values), self._before[channel], self._peaks[channel])

    def _look(self, values: FloatArray, before: FloatArray, peaks: FloatArray) -> None:
        """Raise the peaks of a channel, and keep the end of its samples in `before`."""
        across = np.concatenate([before, values[:_N_NEAR]])
        self._raise(across, peaks)
        self._raise(values, peaks)
        before[:] = values[-_N_NEAR:] if len(values) >= _N_NEAR else across[-_N_NEAR:]

    def _raise(self, values: FloatArray, peaks: FloatArray) -> None:
        if len(values) > _N_NEAR:
            raise_peaks(values, self._taps, self._chord, self._bend, peaks)

    def result(self) -> Mapping[str, FloatArray]:
        """The peaks of all frames so far."""
        before, found = self._before.copy(), self._peaks.copy()
        for last, peaks in zip(before, found, strict=True):
            # Silence comes after the last sample.
            self._look(np.zeros(_N_NEAR), last, peaks)
        return {"sample_peak": found[:, 0], "true_peak": found.max(axis=1)}
