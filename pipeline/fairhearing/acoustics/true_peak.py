"""Peak of the samples and of the wave between them (ITU-R BS.1770-5, Annex 2), made in one pass over a recording."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
import numpy.typing as npt

from fairhearing.acoustics.summaries import SampledFormat

FloatArray = npt.NDArray[np.float64]

# BS.1770-5, Annex 2: at least four times the samples below 96 kHz; at 96 kHz twice as many will do.
_FOUR_TIMES_BELOW_HZ = 96_000
# A windowed sinc over 24 samples (Kaiser, beta 5): up to 0.42 of the rate flat within 0.05 dB.
_HALF_LENGTH = 12
_KAISER_BETA = 5.0
_RUN = 128  # samples that are passed over or looked at together
_PART = 16  # samples of a run whose wave is made by one row of a matrix product
_RUNS_AT_ONCE = 256
_SINGLE_PRECISION = 1e-4  # more than what single precision may miss, relative to the peak


@dataclass(frozen=True, slots=True)
class TruePeak:
    r"""Largest magnitude of the samples and of the oversampled wave of each channel, over the whole recording.

    The wave is taken at 4 points a sample below 96 kHz, at 2 from there on, by a windowed sinc that passes through the
    samples. Runs of samples too small to hold the peak are passed over: between samples below a the wave stays below a
    times the largest sum of the magnitudes of the filter's taps, 2.4. Before and after the recording lies silence.
    Arrays of the result:

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
    version: ClassVar[str] = "1"

    def start(self, format: SampledFormat) -> _Peaks:
        """An accumulator for one recording."""
        return _Peaks(oversampling(format.rate_hz), format.n_channels)


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


class _Peaks:
    """Chunks of whole runs with the samples on either side that the filter reaches; `_n_held` of them are filled."""

    def __init__(self, n_points: int, n_channels: int) -> None:
        taps = interpolation_taps(n_points)
        self._bound = float(np.abs(taps).sum(axis=1).max())
        self._matrix = _part_matrix(taps)
        n_parts = _RUNS_AT_ONCE * _RUN // _PART
        # Room is made once: memory that is asked for anew for each chunk costs more time than the product.
        self._single = self._matrix.astype(np.float32)
        self._gathered = np.empty((n_parts, len(self._matrix)), dtype=np.float32)
        self._waves = np.empty((n_parts, self._matrix.shape[1]), dtype=np.float32)
        self._magnitude = np.empty((_RUNS_AT_ONCE, _RUN))
        # Silence lies before the first sample.
        self._chunk = np.zeros((n_channels, _RUNS_AT_ONCE * _RUN + 2 * _HALF_LENGTH))
        self._n_held = 2 * _HALF_LENGTH
        self._sample_peak, self._true_peak = np.zeros(n_channels), np.zeros(n_channels)

    def update(self, block: FloatArray) -> None:
        """Take in the next frames."""
        n_channels, length = self._chunk.shape
        if block.ndim != 2 or block.shape[1] != n_channels:
            raise ValueError(f"a block of shape {block.shape} has not {n_channels} channels")
        at = 0
        while at < len(block):
            n_taken = min(length - self._n_held, len(block) - at)
            self._chunk[:, self._n_held : self._n_held + n_taken] = block[at : at + n_taken].T
            self._n_held += n_taken
            at += n_taken
            if self._n_held == length:
                self._sample_peak, self._true_peak = self._looked(self._chunk)
                self._chunk[:, : 2 * _HALF_LENGTH] = self._chunk[:, -2 * _HALF_LENGTH :]
                self._n_held = 2 * _HALF_LENGTH

    def result(self) -> Mapping[str, FloatArray]:
        """The peaks of all frames so far."""
        rest = self._chunk.copy()
        rest[:, self._n_held :] = 0.0  # silence comes after the last sample
        last = np.zeros_like(self._chunk)
        last[:, : 2 * _HALF_LENGTH] = rest[:, -2 * _HALF_LENGTH :]
        sample_peak, true_peak = self._looked(rest)
        sample_peak, true_peak = self._looked(last, sample_peak, true_peak)
        return {"sample_peak": sample_peak, "true_peak": true_peak}

    def _looked(
        self, chunk: FloatArray, sample_peak: FloatArray | None = None, true_peak: FloatArray | None = None
    ) -> tuple[FloatArray, FloatArray]:
        """The peaks so far and of a chunk; the samples at its ends that have no neighbours in it belong to others."""
        samples = self._sample_peak.copy() if sample_peak is None else sample_peak.copy()
        waves = self._true_peak.copy() if true_peak is None else true_peak.copy()
        for channel, values in enumerate(chunk):
            np.abs(values[_HALF_LENGTH:-_HALF_LENGTH].reshape(-1, _RUN), out=self._magnitude)
            of_run = self._magnitude.max(axis=1)
            samples[channel] = np.maximum(samples[channel], of_run.max())
            waves[channel] = np.maximum(waves[channel], samples[channel])
            waves[channel] = self._wave_peak(values, of_run, waves[channel])
        return samples, waves

    def _wave_peak(self, values: FloatArray, of_run: FloatArray, so_far: float) -> float:
        """The larger of `so_far` and the peak of the wave in the runs that could exceed it."""
        near = of_run.copy()
        np.maximum(near[1:], of_run[:-1], out=near[1:])
        np.maximum(near[:-1], of_run[1:], out=near[:-1])
        near[0] = np.maximum(near[0], np.abs(values[:_HALF_LENGTH]).max())
        near[-1] = np.maximum(near[-1], np.abs(values[-_HALF_LENGTH:]).max())
        # A sample that is NaN is never passed over.
        chosen = np.flatnonzero(~(near * self._bound <= so_far))
        n_parts = _RUN // _PART
        rows = (chosen[:, None] * n_parts + np.arange(n_parts)).ravel()
        if not len(rows):
            return so_far
        windows = np.lib.stride_tricks.sliding_window_view(values, _PART + 2 * _HALF_LENGTH)[::_PART]
        return self._peak_of(windows, rows, so_far)

    def _peak_of(self, windows: FloatArray, rows: npt.NDArray[np.intp], so_far: float) -> float:
        """As above: in single precision where it may lie, there in double precision what it is."""
        gathered, waves = self._gathered[: len(rows)], self._waves[: len(rows)]
        gathered[:] = windows if len(rows) == len(windows) else windows[rows]
        np.matmul(gathered, self._single, out=waves)
        top = float(np.maximum(waves.max(), -waves.min()))
        if top * (1 + _SINGLE_PRECISION) <= so_far:
            return so_far
        if np.isnan(top):
            return top
        near_top = (np.abs(waves) >= top * (1 - _SINGLE_PRECISION)).any(axis=1)
        return max(so_far, float(np.abs(windows[rows[near_top]] @ self._matrix).max()))


def _part_matrix(taps: FloatArray) -> FloatArray:
    """What a part with its neighbours is multiplied by: (samples, points between the samples of the part)."""
    n_points, n_taps = taps.shape
    matrix = np.zeros((_PART + n_taps, _PART, n_points))
    for index in range(_PART):
        # The first sample of the part stands at _HALF_LENGTH; the points after it reach from 11 before to 12 after it.
        matrix[index + 1 : index + 1 + n_taps, index] = taps.T
    return matrix.reshape(_PART + n_taps, -1)
