"""A summary of a recording from half a hertz to the bass: exact energies of the whole, and energies along its time."""

from __future__ import annotations

import copy
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache, partial
from typing import ClassVar

import numpy as np
import numpy.typing as npt

from fairhearing.acoustics._loops import total
from fairhearing.acoustics.chunks import Chunks, SampledFormat
from fairhearing.acoustics.decimation import Decimator, anti_alias_taps, comb_taps, magnitude
from fairhearing.acoustics.low_cells import (
    CELLS_PER_HZ,
    FINE_TOP_HZ,
    HIGHEST_HZ,
    bin_edges_hz,
    bin_powers,
    empty_cells,
    hann,
    slow_part,
    squared_magnitude,
    taper_of,
    window_edges,
    window_powers,
    window_scale,
)
from fairhearing.acoustics.wide_spectrum import WideSpectrum

FloatArray = npt.NDArray[np.float64]

LOWEST_RATE_HZ = 1000
_MIDDLE_HZ, _LOW_HZ = 4000, 1000  # rates that the first two stages come down to, or a little above
_LAST_FACTOR = 10
SLOW_TOP_HZ = 30.0  # kept clear by the last stage: somewhat more than the fine cells reach
_ENVELOPE_S, _ENVELOPE_HZ = 0.1, (200.0, HIGHEST_HZ)
_SAME_HZ = 1e-9
_BIN_S = 0.9  # so that a recording of 1 s holds a window behind the filters
_CHUNK_S = 2.0
_TOGETHER = (4, 20, 10)  # of each stage; tried out


@dataclass(frozen=True, slots=True)
class LowSpectrum:
    r"""Energy of a recording below 400 Hz in fine cells of frequency, for the whole and along its time, per channel.

    The stream is decimated to about 1000 and 100 values per second behind linear-phase filters (119 dB on all that
    would fold onto what is kept), whose response is divided out. Of the whole recording: the mean is removed, eight
    seconds at either end are faded (Hann; else what is cut off there would be spread over all bands), then
    :math:`P_k = 2 |X_k|^2 / (N |H|^2 \sum w_n^2)` with one transform over all N values, so that the cells sum to the
    weighted mean square (Parseval) and hold a tone within 1/T of it. Along its time: windows of the faded stream of
    `window_s` with half overlap and the shape :math:`\sin(\pi (n + 1/2) / N)`, whose squares sum to one; what lies
    below `lowest_hz` is taken out of the whole before. Arrays of the result, full scale squared unless said otherwise:

    - ``cell_edge_hz``: (n_cells + 1,), from 0 to 25 Hz, 1/64 Hz apart; ``cell_power``: (n_cells, n_channels); NaN where
      the recording is shorter than two periods of `lowest_hz`
    - ``window_edge_hz``: (n_window_cells + 1,); ``window_power``: (n_windows, n_window_cells, n_channels)
    - ``window_start_s``: (n_windows,), second; ``window_faded``: (n_windows,), 1 where the stream is faded, else 0
    - ``envelope``: (n_steps, n_channels), 200-400 Hz in steps of ``envelope_step_s`` (1,), second
    - ``bin_edge_hz``: (n + 1,), from 0 to about 400 Hz, 10/9 Hz apart; ``bin_power``: (n, n_channels), mean over Hann
      windows of 0.9 s with half overlap, each with its offset; NaN if none fits
    - ``wide_frequency_hz``: (n_bins,); ``wide_power``: (n_bins, n_channels): every fourth stretch of time up to half
      the rate, Hann windows
    - ``mean``: (n_channels,), full scale, of all frames
    - ``subsonic_peak``: (n_channels,), full scale: largest magnitude of the wave from `lowest_hz` to `subsonic_hz`
    - ``duration_s``: (1,), second

    A filter that is not wholly on the recording gives nothing: a tenth of a second at either end is left out of all but
    ``mean`` and ``wide_power``. Beside the result it holds 1.6 kB for each second of two channels.

    Parameters
    ----------
    window_s : float, second, >= 2
    lowest_hz : float, hertz, > 0, at most 1
    subsonic_hz : float, hertz, above `lowest_hz`, at most 25

    Raises
    ------
    ValueError
        A parameter is out of its range; or the recording has fewer than 1000 frames per second.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> frames = np.arange(40_000)
    >>> low = LowSpectrum().start(SimpleNamespace(rate_hz=2000, n_channels=1, n_frames=40_000))
    >>> low.update(0.5 + 0.1 * np.sin(2 * np.pi * 3 * frames / 2000)[:, None])
    >>> found = low.result()
    >>> round(float(found["cell_power"][32:1280].sum()), 6), round(float(found["mean"][0]), 6)  # 0.1 ** 2 / 2
    (0.005, 0.5)
    """

    name: ClassVar[str] = "low-spectrum"
    version: ClassVar[str] = "4"
    window_s: float = 8.0
    lowest_hz: float = 0.5
    subsonic_hz: float = 20.0

    def __post_init__(self) -> None:
        if not (math.isfinite(self.window_s) and self.window_s >= 2):
            raise ValueError(f"window_s is {self.window_s}, not 2 s or more")
        if not 0 < self.lowest_hz <= 1:
            raise ValueError(f"lowest_hz is {self.lowest_hz}, not above 0 and at most 1 Hz")
        if not self.lowest_hz < self.subsonic_hz <= FINE_TOP_HZ:
            raise ValueError(f"subsonic_hz is {self.subsonic_hz}, not above lowest_hz and at most {FINE_TOP_HZ} Hz")

    def start(self, format: SampledFormat) -> _Low:
        """An accumulator for one recording."""
        if format.rate_hz < LOWEST_RATE_HZ:
            raise ValueError(f"{format.rate_hz} frames per second are too few for a spectrum up to {HIGHEST_HZ:g} Hz")
        return _Low(self, format)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Plan:
    """What follows from the rate and the length of windows alone: made once for all recordings that share them."""

    filters: tuple[tuple[FloatArray, float], ...]  # taps, and the rate of what comes in
    factors: tuple[int, ...]
    low_rate_hz: float
    n_window: int  # whole at both rates, and even at the lower
    n_step: int
    sine: FloatArray
    slow_sine: FloatArray
    hann: FloatArray
    step_scale: FloatArray  # of the bins of a step that the envelope takes in; 0 for the others
    edge_hz: FloatArray
    first_bin: npt.NDArray[np.intp]
    scale: FloatArray
    bin_hann: FloatArray
    bin_edge_hz: FloatArray
    bin_scale: FloatArray

    @property
    def slow_rate_hz(self) -> float:
        """Values per second after the last stage."""
        return self.low_rate_hz / _LAST_FACTOR

    @property
    def delay_s(self) -> float:
        """From the first frame to the first value of the last stage."""
        return sum((len(taps) - 1) / 2 / rate_hz for taps, rate_hz in self.filters)

    def stages(self, n_channels: int) -> list[Decimator]:
        """One for each filter."""
        together = _TOGETHER[-len(self.filters) :]
        return [
            Decimator(taps, factor, n_channels, n)
            for (taps, _), factor, n in zip(self.filters, self.factors, together, strict=True)
        ]

    def response(self, frequency_hz: FloatArray) -> FloatArray:
        """Magnitude of all stages together."""
        return _response(self.filters, frequency_hz)


@lru_cache(maxsize=8)
def _plan(rate_hz: int, window_s: float) -> _Plan:
    first = max(1, rate_hz // _MIDDLE_HZ)
    second = max(1, int(rate_hz / first) // _LOW_HZ)
    filters: list[tuple[FloatArray, float]] = []
    factors, rate = [], float(rate_hz)
    for factor, highest_hz in ((first, HIGHEST_HZ), (second, HIGHEST_HZ), (_LAST_FACTOR, SLOW_TOP_HZ)):
        if factor > 1:
            # The next stage takes away what the first one leaves between its stop bands.
            taps_of = anti_alias_taps if filters or 5 * highest_hz > rate / factor else comb_taps
            filters.append((taps_of(rate, factor, highest_hz), rate))
            factors.append(factor)
            rate /= factor
    low_rate_hz = rate * _LAST_FACTOR
    n_window = 2 * _LAST_FACTOR * round(window_s * low_rate_hz / (2 * _LAST_FACTOR))
    n_step = round(_ENVELOPE_S * low_rate_hz)
    sine, slow_sine = _sine(n_window), _sine(n_window // _LAST_FACTOR)
    edges = window_edges(low_rate_hz / n_window)
    response = partial(_response, filters[:-1])
    first_bin, scale = window_scale(sine, edges, low_rate_hz, response)
    bin_hann, step_hann = (hann(n) for n in (2 * round(_BIN_S * low_rate_hz / 2), n_step))
    bin_edges = bin_edges_hz(len(bin_hann), low_rate_hz)
    _, bin_scale = window_scale(bin_hann, bin_edges, low_rate_hz, response)
    return _Plan(
        filters=tuple(filters),
        factors=tuple(factors),
        low_rate_hz=low_rate_hz,
        n_window=n_window,
        n_step=n_step,
        sine=sine,
        slow_sine=slow_sine,
        hann=step_hann,
        step_scale=_step_scale(step_hann, low_rate_hz, response),
        edge_hz=edges,
        first_bin=first_bin,
        scale=scale,
        bin_hann=bin_hann,
        bin_edge_hz=bin_edges,
        bin_scale=bin_scale,
    )


def _sine(n: int) -> FloatArray:
    found: FloatArray = np.sin(np.pi * (np.arange(n) + 0.5) / n)
    return found


def _step_scale(shape: FloatArray, rate_hz: float, response: Callable[[FloatArray], FloatArray]) -> FloatArray:
    frequency: FloatArray = np.arange(len(shape) // 2 + 1, dtype=np.float64) * (rate_hz / len(shape))
    scale = np.zeros(len(frequency))
    inside = slice(*np.searchsorted(frequency, (_ENVELOPE_HZ[0] - _SAME_HZ, _ENVELOPE_HZ[1] + _SAME_HZ)))
    scale[inside] = 2 / (len(shape) * float(shape @ shape)) / response(frequency[inside]) ** 2
    return scale


def _response(filters: Sequence[tuple[FloatArray, float]], frequency_hz: FloatArray) -> FloatArray:
    found = np.ones(len(frequency_hz))
    for taps, rate_hz in filters:
        found *= magnitude(taps, rate_hz, frequency_hz)
    return found


class _Low:
    def __init__(self, summary: LowSpectrum, format: SampledFormat) -> None:
        self._summary = summary
        self._plan = plan = _plan(format.rate_hz, summary.window_s)
        self._n_channels, self._n_frames = format.n_channels, format.n_frames
        self._stages = plan.stages(format.n_channels)
        unit = self._stages[0].row_length
        self._chunks = Chunks(unit * max(1, round(_CHUNK_S * format.rate_hz / unit)), self._n_channels)
        self._wide = WideSpectrum(format.rate_hz, self._n_channels)
        self._sum = np.zeros(self._n_channels)
        self._n_fed = self._n_taken = self._n_slow = 0
        self._slow: FloatArray = np.empty((self._n_channels, self._n_frames // math.prod(plan.factors) + 1))
        # The first of the slow values stands for this one of the low ones: windows of both begin there.
        self._n_skip = (len(plan.filters[-1][0]) - 1) // 2
        self._for_windows: FloatArray = np.empty((self._n_channels, plan.n_window))
        self._n_for_window = 0
        self._for_envelope: FloatArray = np.empty((self._n_channels, 0))
        self._for_bins: FloatArray = np.empty((self._n_channels, 0))
        self._bin_power: FloatArray = np.zeros((self._n_channels, len(plan.bin_scale)))
        self._n_bin_windows = 0
        self._middle: list[FloatArray] = []
        self._n_middle = 2 * round(plan.filters[min(1, len(plan.filters) - 1)][1])
        # Room for all, once: growing lists would hold everything twice at the end.
        low_length = self._n_frames // math.prod(plan.factors[:-1])
        n_windows = max(0, low_length // (plan.n_window // 2) - 1)
        self._windows: FloatArray = np.empty((n_windows, len(plan.edge_hz) - 1, self._n_channels))
        self._n_windows = 0
        self._envelope: list[FloatArray] = []

    def update(self, block: FloatArray) -> None:
        """Take in the next frames."""
        self._chunks.check(block)
        self._n_fed += len(block)
        if self._n_fed > self._n_frames:
            raise ValueError(f"more frames came than the {self._n_frames} that the format allows for")
        for chunk in self._chunks.feed(block):
            self._take(chunk)

    def _take(self, chunk: FloatArray, *, last: bool = False) -> None:
        """All arithmetic on one chunk; nothing is written into arrays that a copy of this object holds too."""
        self._sum = self._sum + [total(np.ascontiguousarray(values)) for values in chunk]
        self._wide.take(chunk)
        self._n_taken += chunk.shape[1]
        values = _through(self._stages[0], chunk, last) if len(self._stages) > 1 else chunk.copy()
        self._middle = [*self._middle, values]
        if last or sum(part.shape[1] for part in self._middle) >= self._n_middle:
            self._take_middle(np.concatenate(self._middle, axis=1), last)
            self._middle = []

    def _take_middle(self, values: FloatArray, last: bool) -> None:
        """What has gone through the first stage: a second of it at a time, since each call costs more than its work."""
        for stage in self._stages[1:-1]:
            values = _through(stage, values, last)
        slow = _through(self._stages[-1], values, last)
        self._slow[:, self._n_slow : self._n_slow + slow.shape[1]] = slow
        self._n_slow += slow.shape[1]
        self._take_envelope(values)
        self._take_bins(values)
        self._take_windows(values)

    def _take_envelope(self, values: FloatArray) -> None:
        n_step, shape = self._plan.n_step, self._plan.hann
        held = np.concatenate([self._for_envelope, values], axis=1)
        n_steps = held.shape[1] // n_step
        steps = held[:, : n_steps * n_step].reshape(len(held), n_steps, n_step)
        self._for_envelope = held[:, n_steps * n_step :]
        if n_steps:
            power = squared_magnitude(np.fft.rfft(steps * shape))
            self._envelope.append((power @ self._plan.step_scale).T)

    def _take_bins(self, values: FloatArray) -> None:
        plan = self._plan
        held = np.concatenate([self._for_bins, values], axis=1)
        powers, n_windows = bin_powers(held, plan.bin_hann, plan.bin_scale)
        self._bin_power = self._bin_power + powers
        self._n_bin_windows += n_windows
        self._for_bins = held[:, n_windows * (len(plan.bin_hann) // 2) :]

    def _take_windows(self, values: FloatArray) -> None:
        plan = self._plan
        n_skipped = min(self._n_skip, values.shape[1])
        self._n_skip -= n_skipped
        rest = values[:, n_skipped:]
        while rest.shape[1]:
            # Room that is there from the start, filled until a window is whole, then moved on by half of one.
            n_more = min(rest.shape[1], plan.n_window - self._n_for_window)
            self._for_windows[:, self._n_for_window : self._n_for_window + n_more] = rest[:, :n_more]
            self._n_for_window, rest = self._n_for_window + n_more, rest[:, n_more:]
            if self._n_for_window == plan.n_window:
                for channel, held in enumerate(self._for_windows):
                    power = window_powers(held[None] * plan.sine, plan.first_bin, plan.scale)
                    self._windows[self._n_windows, :, channel] = power[:, 0]
                self._n_windows += 1
                self._n_for_window = plan.n_window // 2
                self._for_windows[:, : self._n_for_window] = self._for_windows[:, self._n_for_window :]

    def _copied(self) -> _Low:
        other = copy.copy(self)
        other._stages = [stage.copy() for stage in self._stages]
        other._wide = self._wide.copy()
        other._envelope = list(self._envelope)
        other._for_windows = self._for_windows.copy()
        return other

    def result(self) -> Mapping[str, FloatArray]:
        """All arrays."""
        whole = self._copied()
        # What it writes into room that is not used yet is written over by what comes next.
        whole._take(self._chunks.rest, last=True)
        # Nothing comes after: what was held for it makes room for the transforms.
        whole._stages, whole._for_windows = [], np.empty((self._n_channels, 0))
        return whole._arrays()

    def _arrays(self) -> Mapping[str, FloatArray]:
        plan, summary, n = self._plan, self._summary, self._n_taken
        duration_s = self._n_slow / plan.slow_rate_hz
        n_slow_window = len(plan.slow_sine)
        n_windows = min(self._n_windows, max(0, self._n_slow // (n_slow_window // 2) - 1))
        windows = self._windows[:n_windows]
        slow = empty_cells(self._n_channels)
        # Two periods of the lowest frequency: less does not tell it from a trend.
        if duration_s * summary.lowest_hz >= 2:
            limits = (summary.lowest_hz, summary.subsonic_hz, SLOW_TOP_HZ)
            stream = self._slow[:, : self._n_slow]
            slow = slow_part(stream, plan.slow_rate_hz, plan.response, limits, plan.slow_sine, windows)
        hop_s = plan.n_window / 2 / plan.low_rate_hz
        return {
            "cell_edge_hz": np.arange(round(FINE_TOP_HZ * CELLS_PER_HZ) + 1) / CELLS_PER_HZ,
            "cell_power": slow["cell_power"],
            "window_edge_hz": plan.edge_hz,
            "window_power": windows,
            "window_faded": self._faded(n_windows),
            "window_start_s": plan.delay_s + hop_s * np.arange(n_windows, dtype=np.float64),
            "bin_edge_hz": plan.bin_edge_hz,
            "bin_power": self._bin_power.T / (self._n_bin_windows or np.nan),
            "envelope": np.concatenate(self._envelope) if self._envelope else np.empty((0, self._n_channels)),
            "envelope_step_s": np.array([plan.n_step / plan.low_rate_hz]),
            **self._wide.arrays(),
            "mean": self._sum / n if n else np.full(self._n_channels, np.nan),
            "subsonic_peak": slow["subsonic_peak"],
            "duration_s": np.array([duration_s]),
        }

    def _faded(self, n_windows: int) -> FloatArray:
        n_window = len(self._plan.slow_sine)
        n_taper = len(taper_of(self._n_slow, self._plan.slow_rate_hz))
        start = np.arange(n_windows) * (n_window // 2)
        return ((start < n_taper) | (start + n_window > self._n_slow - n_taper)).astype(np.float64)


def _through(stage: Decimator, values: FloatArray, last: bool) -> FloatArray:
    found = stage.feed(values)
    return np.concatenate([found, stage.finish()], axis=1) if last else found
