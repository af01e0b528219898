"""Made-up programmes, exact high-passes on them, and recordings with their summaries for tests of analysers."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from fairhearing.api import AudioFormat, Recording, Summary
from fairhearing.audio import summary_key

FloatArray = npt.NDArray[np.float64]

RATE_HZ = 8000


def music(seed: int, seconds: float = 60.0, *, red: float = 1.0) -> FloatArray:
    """Pink noise (power density f^-red) above half a hertz whose level rises and falls every few seconds."""
    drawn = np.random.default_rng(seed)
    n = round(seconds * RATE_HZ)
    frequency = np.fft.rfftfreq(n, 1 / RATE_HZ)
    density = np.where(frequency > 0.45, np.maximum(frequency, 0.45) ** -red, 0.0)
    noise = np.fft.irfft(np.fft.rfft(drawn.normal(size=n)) * np.sqrt(density), n)
    knots = drawn.normal(size=round(seconds / 2) + 2)
    loudness = np.exp(0.5 * np.interp(np.arange(n) / (2 * RATE_HZ), np.arange(len(knots)), knots))
    made: FloatArray = noise * loudness
    return made * (0.05 / made.std())


def high_passed(samples: FloatArray, corner_hz: float) -> FloatArray:
    """Behind (jf/fc)/(1 + jf/fc), put on exactly, in the frequency domain."""
    ratio = 1j * np.fft.rfftfreq(len(samples), 1 / RATE_HZ) / corner_hz
    return np.fft.irfft(np.fft.rfft(samples) * ratio / (1 + ratio), len(samples))


def change_by_hand_db(samples: FloatArray, corner_hz: float, lower_hz: float, upper_hz: float) -> float:
    """What the high-pass takes from these samples, faded over 8 s at either end: |H|^2 weighed with their spectrum."""
    frequency = np.fft.rfftfreq(len(samples), 1 / RATE_HZ)
    n = 8 * RATE_HZ
    rise = 0.5 - 0.5 * np.cos(np.pi * np.arange(n) / n)
    faded = np.concatenate([samples[:n] * rise, samples[n:-n], samples[-n:] * rise[::-1]])
    power = np.abs(np.fft.rfft(faded)) ** 2
    inside = (frequency >= lower_hz) & (frequency < upper_hz)
    through = (frequency / corner_hz) ** 2 / (1 + (frequency / corner_hz) ** 2)
    return float(10 * np.log10((power * through)[inside].sum() / power[inside].sum()))


def recording(
    samples: FloatArray,
    summaries: Sequence[Summary],
    *,
    condition: str = "in",
    repeat: str = "1",
    rate_hz: int = RATE_HZ,
    **said: Any,
) -> Recording:
    """A recording of these samples (n_frames,) or (n_frames, n_channels) at the amplifier's output."""
    samples = samples if samples.ndim == 2 else samples[:, None]
    format = AudioFormat(rate_hz=rate_hz, n_channels=samples.shape[1], n_frames=len(samples), subtype="DOUBLE")
    made = {}
    for summary in summaries:
        accumulator = summary.start(format)
        accumulator.update(samples)
        made[summary_key(summary)] = accumulator.result()
    words = {"point": "amplifier-output", "playing": "main", "seat": None, "channel": None, "programme": "organ"} | said
    names = [condition, repeat, *(str(words[n]) for n in ("seat", "channel", "programme") if words[n])]
    return Recording(
        kind="recording",
        condition=condition,
        repeat=repeat,
        path="_".join(names) + ".wav",
        format=format,
        summaries=made,
        **words,  # type: ignore[arg-type]
    )
