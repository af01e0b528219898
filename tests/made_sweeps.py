"""Sweeps, filters and amplifiers made for tests by their closed forms; shares nothing with what is tested."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import numpy.typing as npt
import soundfile

FloatArray = npt.NDArray[np.float64]


def sweep(rate_hz: int, first_hz: float, last_hz: float, duration_s: float, peak: float = 0.5) -> FloatArray:
    """ISO 18233:2006, B.3 / A. Farina 2000: sin(2 pi f1 L (e^(t/L) - 1)), L = T / ln(f2/f1)."""
    growth_s = duration_s / math.log(last_hz / first_hz)
    time_s = np.arange(round(duration_s * rate_hz)) / rate_hz
    return peak * np.sin(2 * np.pi * first_hz * growth_s * (np.exp(time_s / growth_s) - 1))


def linear_sweep(rate_hz: int, first_hz: float, last_hz: float, duration_s: float) -> FloatArray:
    """A sweep whose frequency rises by as many hertz each second."""
    time_s = np.arange(round(duration_s * rate_hz)) / rate_hz
    return 0.5 * np.sin(2 * np.pi * (first_hz + (last_hz - first_hz) * time_s / (2 * duration_s)) * time_s)


def high_pass(samples: FloatArray, corner_hz: float, rate_hz: int) -> FloatArray:
    """A capacitor into a resistor, by the trapezoidal rule; its response is `high_pass_response`."""
    from scipy.signal import lfilter

    k = math.tan(math.pi * corner_hz / rate_hz)
    return np.asarray(lfilter([1 / (1 + k), -1 / (1 + k)], [1, -(1 - k) / (1 + k)], samples))


def high_pass_response(frequency_hz: FloatArray, corner_hz: float, rate_hz: int) -> npt.NDArray[np.complex128]:
    """jt/(1 + jt), t the ratio of the tangents that the trapezoidal rule makes of the ratio of frequencies."""
    ratio = np.tan(np.pi * frequency_hz / rate_hz) / math.tan(math.pi * corner_hz / rate_hz)
    return 1j * ratio / (1 + 1j * ratio)


def late(samples: FloatArray, frames: int, n_frames: int) -> FloatArray:
    """The samples that many frames later, in a file of `n_frames`."""
    out = np.zeros(n_frames)
    out[frames : frames + len(samples)] = samples[: n_frames - frames]
    return out


def harmonics_db(square: float, cube: float, peak: float) -> dict[int, float]:
    """Orders 2 and 3 re the fundamental of y = x + square x^2 + cube x^3 for a sine of this peak.

    sin^2 = (1 - cos 2u)/2 and sin^3 = (3 sin u - sin 3u)/4.
    """
    fundamental = peak + 0.75 * cube * peak**3
    levels = {2: square * peak**2 / 2, 3: cube * peak**3 / 4}
    return {order: 20 * math.log10(abs(level) / fundamental) for order, level in levels.items()}


def write(path: Path, samples: FloatArray, rate_hz: int, subtype: str = "PCM_24", format: str | None = None) -> Path:
    """A file of sound, its folder made."""
    path.parent.mkdir(parents=True, exist_ok=True)
    soundfile.write(path, samples, rate_hz, subtype=subtype, format=format)
    return path
