"""Peak of the samples and of the wave between them (ITU-R BS.1770-5, Annex 2), made in one pass over a recording."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
import numpy.typing as npt

from fairhearing.acoustics.chunks import Chunks, SampledFormat
from fairhearing.acoustics.products import multiply

FloatArray = npt.NDArray[np.float64]
Singles = npt.NDArray[np.float32]

# BS.1770-5, Annex 2: at least four times the samples below 96 kHz; at 96 kHz twice as many will do.
_FOUR_TIMES_BELOW_HZ = 96_000
# A windowed sinc over 24 samples (Kaiser, beta 5): up to 0.42 of the rate flat within 0.05 dB.
_HALF_LENGTH = 12
_KAISER_BETA = 5.0
_RUN = 480  # samples that are passed over or looked at together
_PART = 16  # samples of a run whose wave is made by one row of a matrix product
_CHUNK_S = 1.0
_INNER = slice(_HALF_LENGTH, -_HALF_LENGTH)  # of a chunk, without the neighbours of its ends
_ROUNDED = 1e-6  # more than what single precision takes from a bound, relative to the largest sample near
_SINGLE_PRECISION = 1e-4  # more than what single precision may miss, relative to the peak


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
    """Chunks of whole runs, each with the last samples before it: what is looked at lies half a filter behind."""

    def __init__(self, format: SampledFormat) -> None:
        taps = interpolation_taps(oversampling(format.rate_hz))
        bounds = bounds_of_taps(taps)
        self._chord, self._bend = np.float32(bounds.chord.max()), np.float32(bounds.bend.max())
        self._matrix = _part_matrix(taps)
        self._single = self._matrix.astype(np.float32)
        n_channels, n_runs = format.n_channels, max(1, round(_CHUNK_S * format.rate_hz / _RUN))
        self._chunks = Chunks(n_runs * _RUN, n_channels)
        # Silence lies before the first sample.
        self._before = np.zeros((n_channels, 2 * _HALF_LENGTH))
        # Room is made once: memory that is asked for anew for each chunk costs more time than the arithmetic.
        n_samples, n_parts = n_runs * _RUN + 2 * _HALF_LENGTH, n_runs * _RUN // _PART
        self._rounded, self._steps, self._work = np.empty((3, n_channels, n_samples), dtype=np.float32)
        windows = np.lib.stride_tricks.sliding_window_view(self._rounded, len(self._matrix), axis=1)
        self._windows = windows[:, ::_PART]
        self._gathered = np.empty((n_parts, len(self._matrix)), dtype=np.float32)
        self._waves = np.empty((n_parts, self._matrix.shape[1]), dtype=np.float32)
        self._sample_peak, self._true_peak = np.zeros(n_channels), np.zeros(n_channels)

    def update(self, block: FloatArray) -> None:
        """Take in the next frames."""
        for chunk in self._chunks.feed(block):
            self._look(self._before, chunk, self._sample_peak, self._true_peak)
            self._before = chunk[:, -2 * _HALF_LENGTH :].copy()

    def result(self) -> Mapping[str, FloatArray]:
        """The peaks of all frames so far."""
        rest = self._chunks.rest
        samples, waves = self._sample_peak.copy(), self._true_peak.copy()
        # Silence comes after the last sample.
        padded = np.zeros((len(rest), self._rounded.shape[1] - 2 * _HALF_LENGTH))
        padded[:, : rest.shape[1]] = rest
        self._look(self._before, padded, samples, waves)
        self._look(padded[:, -2 * _HALF_LENGTH :], np.zeros_like(padded), samples, waves)
        return {"sample_peak": samples, "true_peak": waves}

    def _look(self, before: FloatArray, chunk: FloatArray, samples: FloatArray, waves: FloatArray) -> None:
        """Raise the peaks so far by those of a chunk; its last samples lack neighbours yet and belong to the next."""
        self._rounded[:, : 2 * _HALF_LENGTH] = before
        self._rounded[:, 2 * _HALF_LENGTH :] = chunk
        of_run = self._largest(np.abs(self._rounded[:, _INNER], out=self._work[:, _INNER]))
        # Rounding is monotonous: where the largest rounded sample is below, so is every sample.
        for channel in np.flatnonzero(~(of_run.max(axis=1) < samples.astype(np.float32))):
            inner = np.concatenate([before[channel, _HALF_LENGTH:], chunk[channel, :-_HALF_LENGTH]])
            # `maximum` keeps a NaN, which `max` would lose.
            samples[channel] = np.maximum(samples[channel], np.abs(inner).max())
        np.maximum(waves, samples, out=waves)
        bounds = self._bounds(of_run)
        # Of samples below a each second difference is rounded by less than a millionth of a.
        after = np.abs(self._rounded[:, -_HALF_LENGTH:]).max(axis=1)
        # A sample that is NaN is never passed over.
        passed = bounds <= (waves - _ROUNDED * np.maximum(waves, after))[:, None]
        for channel in np.flatnonzero(~passed.all(axis=1)):
            chosen = np.flatnonzero(~passed[channel])
            parts = (chosen[:, None] * (_RUN // _PART) + np.arange(_RUN // _PART)).ravel()
            near = self._near_the_top(int(channel), parts, waves[channel])
            if len(near):
                # In double precision what the peak is, where in single precision it may lie.
                values = np.concatenate([before[channel], chunk[channel]])
                windows = values[near[:, None] * _PART + np.arange(len(self._matrix))]
                waves[channel] = np.maximum(waves[channel], np.abs(windows @ self._matrix).max())

    def _largest(self, magnitude: Singles) -> Singles:
        """Of each run of a chunk: (n_channels, n_runs)."""
        found: Singles = magnitude.reshape(len(magnitude), -1, _RUN).max(axis=2)
        return found

    def _bounds(self, of_run: Singles) -> Singles:
        """What the wave between the samples of each run cannot exceed; of those in `_rounded`."""
        rounded = self._rounded
        steps = np.subtract(rounded[:, 1:], rounded[:, :-1], out=self._steps[:, :-1])
        bends = np.subtract(steps[:, 1:], steps[:, :-1], out=self._work[:, :-2])  # column k is that of sample k + 1
        np.abs(bends, out=bends)
        n_near = _HALF_LENGTH - 1
        own = self._largest(bends[:, n_near:-n_near])
        near = own.copy()
        np.maximum(near[:, 1:], own[:, :-1], out=near[:, 1:])
        np.maximum(near[:, :-1], own[:, 1:], out=near[:, :-1])
        np.maximum(near[:, 0], bends[:, :n_near].max(axis=1), out=near[:, 0])
        np.maximum(near[:, -1], bends[:, -n_near:].max(axis=1), out=near[:, -1])
        # The wave after the last sample of a run lies between that and the first of the next.
        ends = np.maximum(of_run, np.abs(rounded[:, _HALF_LENGTH + _RUN :: _RUN]))
        found: Singles = self._chord * ends + self._bend * near
        return found

    def _near_the_top(self, channel: int, parts: npt.NDArray[np.intp], so_far: float) -> npt.NDArray[np.intp]:
        """Those of some parts of a channel where the wave may be highest, and higher than `so_far`; perhaps none."""
        gathered, waves = self._gathered[: len(parts)], self._waves[: len(parts)]
        gathered[:] = self._windows[channel, parts]
        multiply(gathered, self._single, waves)
        top = float(np.maximum(waves.max(), -waves.min()))
        if top * (1 + _SINGLE_PRECISION) <= so_far:
            return parts[:0]
        # Where a sample is NaN, no comparison holds.
        return parts[~(np.abs(waves) < top * (1 - _SINGLE_PRECISION)).all(axis=1)]


def _part_matrix(taps: FloatArray) -> FloatArray:
    """What a part with its neighbours is multiplied by: (samples, points between the samples of the part)."""
    n_points, n_taps = taps.shape
    matrix = np.zeros((_PART + n_taps, _PART, n_points))
    for index in range(_PART):
        # The first sample of the part stands at _HALF_LENGTH; the points after it reach from 11 before to 12 after it.
        matrix[index + 1 : index + 1 + n_taps, index] = taps.T
    return matrix.reshape(_PART + n_taps, -1)
