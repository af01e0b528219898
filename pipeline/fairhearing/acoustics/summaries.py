"""Two summaries of a long recording, made block by block: levels along its time, and its power spectrum."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
import numpy.typing as npt

from fairhearing.acoustics._loops import levels
from fairhearing.acoustics.chunks import Chunks
from fairhearing.acoustics.chunks import SampledFormat as SampledFormat

FloatArray = npt.NDArray[np.float64]
_Chunks = Chunks
_TOGETHER_S = 2.0


@dataclass(frozen=True, slots=True)
class BlockLevels:
    r"""Mean, mean square and peak of each block of a recording, per channel.

    :math:`\overline{x^2} = \frac{1}{N} \sum x_n^2` and :math:`\max |x_n|` over the N frames of a block; the mean is not
    removed. The last block may be shorter. Arrays of the result:

    - ``mean``: (n_blocks, n_channels), full scale
    - ``mean_square``: (n_blocks, n_channels), full scale squared
    - ``peak``: (n_blocks, n_channels), full scale, >= 0; of the samples, not of the wave between them
    - ``highest``, ``lowest``: (n_blocks, n_channels), full scale; the samples' extremes, from which the peak without an
      offset follows
    - ``n_frames``: (n_blocks,), frames in each block

    Parameters
    ----------
    block_s : float, second, > 0
        Rounded to whole frames, at least one.

    Raises
    ------
    ValueError
        `block_s` is zero, negative or not finite.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> levels = BlockLevels(block_s=0.5).start(SimpleNamespace(rate_hz=4, n_channels=1, n_frames=4))
    >>> levels.update(np.array([[0.5], [-1.0], [0.0], [0.0]]))
    >>> levels.result()["mean_square"].tolist(), levels.result()["peak"].tolist()
    ([[0.625], [0.0]], [[1.0], [0.0]])
    """

    name: ClassVar[str] = "block-levels"
    version: ClassVar[str] = "3"
    block_s: float = 0.1

    def __post_init__(self) -> None:
        _check_duration("block_s", self.block_s)

    def start(self, format: SampledFormat) -> _Levels:
        """An accumulator for one recording."""
        return _Levels(max(1, round(self.block_s * format.rate_hz)), format)


@dataclass(frozen=True, slots=True)
class PowerSpectrum:
    r"""Power spectral density of a recording by Welch's method, and its mean, per channel.

    Mean over Hann windows with 50 % overlap of
    :math:`S(f_k) = \frac{c_k}{f_s \sum w_n^2} |\sum_n w_n x_n e^{-2 \pi j k n / N}|^2`, :math:`c_k` 2 but for k = 0 and
    k = N/2, where it is 1. The mean is not removed. Arrays of the result:

    - ``frequency_hz``: (n_bins,), from 0 to half the rate
    - ``power_density``: (n_bins, n_channels), full scale squared per hertz; NaN if no whole window fits
    - ``mean``: (n_channels,), full scale, of all frames; NaN if there is none
    - ``n_windows``: (1,)

    Of a long recording at a high rate this alone takes more time than all else that is asked of one: what the built-in
    analysers need of a spectrum they take from `LowSpectrum`, by `low_bands.whole_spectrum`.

    A steady offset leaks into the first bins: below two bins (2 / `window_s`) the density is not that of sound. What is
    left after the last whole window is in ``mean`` only.

    Parameters
    ----------
    window_s : float, second, > 0
        Rounded to an even number of frames, at least two.

    Raises
    ------
    ValueError
        `window_s` is zero, negative or not finite.

    References
    ----------
    P. D. Welch, IEEE Trans. Audio Electroacoust. AU-15 (1967) 70-73.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> spectrum = PowerSpectrum().start(SimpleNamespace(rate_hz=1000, n_channels=1, n_frames=4000))
    >>> spectrum.update(np.sin(2 * np.pi * 50 * np.arange(4000) / 1000)[:, None])
    >>> density = spectrum.result()["power_density"]
    >>> int(density.argmax()), round(float(density.sum()), 6)  # hertz; bins are 1 Hz wide
    (50, 0.5)
    """

    name: ClassVar[str] = "power-spectrum"
    version: ClassVar[str] = "1"
    window_s: float = 1.0

    def __post_init__(self) -> None:
        _check_duration("window_s", self.window_s)

    def start(self, format: SampledFormat) -> _Spectrum:
        """An accumulator for one recording."""
        return _Spectrum(max(1, round(self.window_s * format.rate_hz / 2)), format)


def _check_duration(name: str, value: float) -> None:
    if not (math.isfinite(value) and value > 0):
        raise ValueError(f"{name} is {value}, not a duration above 0 s")


class _Levels:
    def __init__(self, n_frames_of_block: int, format: SampledFormat) -> None:
        self._n_frames_of_block = n_frames_of_block
        # Several blocks at a time: calls would cost more than the arithmetic. A second is what comes at a time.
        self._n_together = max(1, int(_TOGETHER_S * format.rate_hz) // n_frames_of_block)
        self._chunks = Chunks(self._n_together * n_frames_of_block, format.n_channels)
        # Room for all that the recording says it holds, once: growing lists would hold everything twice at the end.
        n_blocks = -(-format.n_frames // n_frames_of_block)
        self._kept = np.empty((4, n_blocks, format.n_channels))
        self._n_full = self._n_taken = 0
        self._n_frames = format.n_frames

    def update(self, block: FloatArray) -> None:
        """Take in the next frames."""
        self._chunks.check(block)
        self._n_taken += len(block)
        if self._n_taken > self._n_frames:
            raise ValueError(f"more frames came than the {self._n_frames} that the format allows for")
        for chunk in self._chunks.feed(block):
            self._put(self._n_full, chunk.reshape(len(chunk), self._n_together, -1))
            self._n_full += self._n_together

    def result(self) -> Mapping[str, FloatArray]:
        """Mean, mean square, peak and number of frames of each block."""
        rest, n_of_block = self._chunks.rest, self._n_frames_of_block
        n_whole, n_rest = divmod(rest.shape[1], n_of_block)
        if n_whole:
            self._put(self._n_full, rest[:, : n_whole * n_of_block].reshape(len(rest), n_whole, n_of_block))
        n = self._n_full + n_whole
        n_frames = np.full(n + (n_rest > 0), float(n_of_block))
        if n_rest:
            self._put(n, rest[:, None, n_whole * n_of_block :])
            n_frames[-1] = n_rest
        kept = self._kept[:, : len(n_frames)]
        # When all has come nothing is written any more.
        mean, mean_square, highest, lowest = kept if self._n_taken == self._n_frames else kept.copy()
        return {
            "mean": mean,
            "mean_square": mean_square,
            "peak": np.maximum(highest, np.abs(lowest)),
            "highest": highest,
            "lowest": lowest,
            "n_frames": n_frames,
        }

    def _put(self, first: int, blocks: FloatArray) -> None:
        """Blocks (n_channels, n_blocks, n_frames) from the `first` on."""
        n_blocks, n_frames = blocks.shape[1:]
        for channel, values in enumerate(blocks):
            found = levels(np.ascontiguousarray(values))
            found[:2] /= n_frames
            self._kept[:, first : first + n_blocks, channel] = found


class _Spectrum:
    def __init__(self, n_frames_of_half: int, format: SampledFormat) -> None:
        n, n_channels = 2 * n_frames_of_half, format.n_channels
        self._half = n_frames_of_half
        self._rate_hz = format.rate_hz
        self._chunks = Chunks(n_frames_of_half, n_channels)
        self._hann = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(n) / n)
        self._before = np.zeros((n_channels, n_frames_of_half))
        # Made once: memory that is asked for anew for each window costs more time than the transform.
        self._windowed = np.empty(n)
        self._spectrum = np.empty(n_frames_of_half + 1, dtype=np.complex128)
        self._power = np.zeros((n_channels, n_frames_of_half + 1))
        self._sum = np.zeros(n_channels)
        self._n_halves = 0

    def update(self, block: FloatArray) -> None:
        """Take in the next frames."""
        for chunk in self._chunks.feed(block):
            self._sum += chunk.sum(axis=1)
            self._n_halves += 1
            if self._n_halves > 1:
                for power, before, newest in zip(self._power, self._before, chunk, strict=True):
                    self._add_window(power, before, newest)
            self._before[:] = chunk

    def _add_window(self, power: FloatArray, before: FloatArray, newest: FloatArray) -> None:
        half = self._half
        np.multiply(before, self._hann[:half], out=self._windowed[:half])
        np.multiply(newest, self._hann[half:], out=self._windowed[half:])
        np.fft.rfft(self._windowed, out=self._spectrum)
        parts = self._spectrum.view(np.float64)  # real and imaginary in turn
        np.square(parts, out=parts)
        power += parts[0::2]
        power += parts[1::2]

    def result(self) -> Mapping[str, FloatArray]:
        """Density, mean and number of windows."""
        rest = self._chunks.rest
        n_frames = self._n_halves * self._half + rest.shape[1]
        n_windows = max(0, self._n_halves - 1)
        sides = np.full(self._half + 1, 2.0)
        sides[[0, -1]] = 1.0
        scale = sides / (self._rate_hz * np.sum(self._hann**2))
        nan = np.full_like(self._power, np.nan)
        density = self._power * (scale / n_windows) if n_windows else nan
        total: FloatArray = self._sum + rest.sum(axis=1)
        frequency: FloatArray = np.arange(self._half + 1, dtype=np.float64) * (self._rate_hz / (2 * self._half))
        return {
            "frequency_hz": frequency,
            "power_density": density.T,
            "mean": total / n_frames if n_frames else nan[:, 0],
            "n_windows": np.array([float(n_windows)]),
        }
