"""The tone of a calibrator is found with its level, among hum, noise and silence; what is none is refused."""

from __future__ import annotations

import math

import numpy as np
import pytest

from fairhearing.acoustics.calibrator import calibrator_tone

RATE_HZ = 48_000


def tone(frequency_hz: float, seconds: float, rms: float = 0.1) -> np.ndarray:
    return rms * math.sqrt(2) * np.sin(2 * np.pi * frequency_hz * np.arange(round(seconds * RATE_HZ)) / RATE_HZ)


@pytest.mark.parametrize("frequency_hz", [1000.0, 250.0, 251.2, 990.0])
def test_a_tone_is_found_between_silence_and_beside_hum(frequency_hz: float) -> None:
    """A sine of peak a has the root mean square a over root 2."""
    noise = np.random.default_rng(3).normal(0, 0.002, 8 * RATE_HZ)
    samples = np.concatenate([np.zeros(RATE_HZ), tone(frequency_hz, 5.0), np.zeros(2 * RATE_HZ)]) + noise
    found = calibrator_tone(samples + tone(50.0, 8.0, 0.02), RATE_HZ)
    assert found.rms == pytest.approx(0.1, rel=2e-3)
    assert found.frequency_hz == pytest.approx(frequency_hz, abs=1.0)
    assert found.lasts_s == pytest.approx(5.0, abs=0.5)
    assert found.begins_s == pytest.approx(1.0, abs=0.3)
    assert found.drift_db < 0.05


def test_a_level_that_moves_is_told() -> None:
    samples = tone(1000.0, 4.0) * 10 ** (np.linspace(0, 0.6, 4 * RATE_HZ) / 20)
    assert calibrator_tone(samples, RATE_HZ).drift_db == pytest.approx(0.6 * 13 / 16, abs=0.02)


@pytest.mark.parametrize(
    "samples",
    [
        np.random.default_rng(1).normal(0, 0.1, 4 * RATE_HZ),
        tone(440.0, 4.0),
        np.zeros(4 * RATE_HZ),
        tone(1000.0, 4.0) + np.random.default_rng(2).normal(0, 0.1, 4 * RATE_HZ),
        np.concatenate([tone(1000.0, 0.5), np.zeros(4 * RATE_HZ)]),
        tone(1000.0, 0.9),
    ],
)
def test_what_is_no_steady_tone_is_refused(samples: np.ndarray) -> None:
    with pytest.raises(ValueError, match=r"stands out for a second or longer|a second is needed"):
        calibrator_tone(samples, RATE_HZ)
