"""A coarse power spectrum up to half the rate from every fourth stretch of a stream: cheap, for what is spread wide."""

from __future__ import annotations

import copy
import math

import numpy as np
import numpy.typing as npt
from scipy.fft import rfft

from fairhearing.acoustics._loops import add_squares

FloatArray = npt.NDArray[np.float64]

_BIN_HZ = 23.4  # about; 4096 frames at 96 kHz
_EVERY = 4


class WideSpectrum:
    r"""Mean over Hann windows of :math:`c_k |X_k|^2 / (N \sum w_n^2)`, one window in each four window lengths.

    Parameters
    ----------
    rate_hz : int, hertz
    n_channels : int
    """

    def __init__(self, rate_hz: int, n_channels: int) -> None:
        self._rate_hz = rate_hz
        self._n = 2 ** max(3, round(math.log2(rate_hz / _BIN_HZ)))
        self._hann = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(self._n) / self._n)
        self._power = np.zeros((n_channels, self._n // 2 + 1))
        self._n_windows = 0

    def take(self, chunk: FloatArray) -> None:
        """Add the windows of one chunk (n_channels, n_frames)."""
        n = self._n
        n_windows = (chunk.shape[1] + (_EVERY - 1) * n) // (_EVERY * n)
        if not n_windows:
            return
        stretches = np.lib.stride_tricks.sliding_window_view(chunk, n, axis=1)[:, :: _EVERY * n]
        # Anew, not in place: a copy of this object holds the sums too.
        power = self._power.copy()
        for windows, sums in zip(stretches, power, strict=True):
            # Single precision: what it leaves out lies 140 dB below the loudest.
            shaped = np.multiply(windows, self._hann, dtype=np.float64).astype(np.float32)
            add_squares(rfft(shaped, overwrite_x=True).view(np.float32), sums)
        self._power = power
        self._n_windows += n_windows

    def arrays(self) -> dict[str, FloatArray]:
        """Frequency, and mean square in each bin; NaN if no window fitted."""
        sides = np.full(self._n // 2 + 1, 2.0)
        sides[[0, -1]] = 1.0
        scale = sides / (self._n * float(np.sum(self._hann**2)))
        power = self._power * (scale / self._n_windows) if self._n_windows else np.full_like(self._power, np.nan)
        return {
            "wide_frequency_hz": np.arange(self._n // 2 + 1) * (self._rate_hz / self._n),
            "wide_power": power.T,
        }

    def copy(self) -> WideSpectrum:
        """One that goes on from here by itself."""
        return copy.copy(self)
