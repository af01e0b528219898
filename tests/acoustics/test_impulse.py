"""An impulse response becomes the response that it is, from the direct sound to where noise takes over."""

from __future__ import annotations

import math

import numpy as np
import pytest
from made_sweeps import high_pass, high_pass_response, late
from scipy import signal

from fairhearing.acoustics.impulse import (
    Window,
    arrival_frame,
    decay_frames,
    quiet_frames,
    spectrum,
    values_hz,
    windowed,
)

RATE_HZ = 48_000


def decay(reverberation_s: float, n_frames: int, seed: int = 3) -> np.ndarray:
    """Noise that falls by 60 dB in the reverberation time, direct sound first."""
    drawn = np.random.default_rng(seed).normal(size=n_frames)
    drawn[0] = 6.0
    return drawn * 10 ** (-3 * np.arange(n_frames) / (reverberation_s * RATE_HZ))


def test_the_direct_sound_is_the_first_within_20_db_of_the_highest() -> None:
    """ISO 3382-1:2009, 5.3.3 (read): here the highest sample is a reflection."""
    response = np.zeros(2000)
    response[[100, 300, 700]] = 0.09, 0.11, 1.0
    assert arrival_frame(response) == 300
    assert arrival_frame(-response) == 300


def test_noise_before_the_direct_sound_is_not_taken_for_it() -> None:
    response = late(decay(0.3, 40_000), 5000, 48_000) + np.random.default_rng(5).normal(0, 0.2, 48_000)
    assert abs(arrival_frame(response) - 5000) <= 2


@pytest.mark.parametrize("response", [np.zeros(100), np.zeros(0)])
def test_silence_has_no_direct_sound(response: np.ndarray) -> None:
    with pytest.raises(ValueError, match="all samples are 0"):
        arrival_frame(response)


@pytest.mark.parametrize("noise_db", [-30.0, -45.0])
def test_a_decay_ends_where_its_noise_begins(noise_db: float) -> None:
    """A decay of 60 dB in 0.6 s meets noise of -45 dB after 0.45 s: common geometry, no source."""
    noise = np.random.default_rng(7).normal(0, 10 ** (noise_db / 20), 2 * RATE_HZ)
    found = decay_frames(decay(0.6, 2 * RATE_HZ) + noise, RATE_HZ)
    assert found is not None
    assert found / RATE_HZ == pytest.approx(-noise_db / 100, abs=0.03)


def test_a_decay_without_noise_does_not_end() -> None:
    assert decay_frames(decay(0.6, RATE_HZ), RATE_HZ) is None
    assert decay_frames(late(np.ones(1), 0, RATE_HZ), RATE_HZ) is None


def test_low_noise_leaves_room_for_the_bass_and_high_noise_does_not() -> None:
    click = late(np.ones(1), 0, RATE_HZ)
    for noise, kept in ((1e-6, 9600), (0.02, 960)):
        response = click + np.random.default_rng(8).normal(0, noise, RATE_HZ)
        assert quiet_frames(response, RATE_HZ, 960, 9600, (20.0, 200.0)) == kept


def test_the_lowest_honest_frequency_is_one_over_the_window() -> None:
    """A Hann fade over the last quarter counts half: 0.2 s are worth 0.175 s."""
    window = Window(before_s=0.01, after_s=0.2)
    assert window.lowest_honest_hz == pytest.approx(1 / 0.175)
    part, begin = windowed(np.ones(20_000), 5000, window, RATE_HZ)
    assert (begin, len(part)) == (5000 - 480, 480 + 9600)
    assert part[480:].sum() / RATE_HZ == pytest.approx(0.175, rel=1e-9)


def test_the_ends_of_the_window_are_those_of_a_tukey_window() -> None:
    """scipy.signal.windows.tukey fades with the same half Hann windows."""
    part, _ = windowed(np.ones(40_000), 10_000, Window(before_s=0.1, after_s=0.2), RATE_HZ)
    fade = signal.windows.tukey(2 * 2400 + 1, 1.0)[2401:]  # its zero at the end belongs to the window's last frame
    np.testing.assert_allclose(part[-2400:-1], 0.5 * (fade[:-1] + np.append(1.0, fade[:-2])), atol=1e-3)
    assert np.all(part[2400:-2400] == 1.0)


@pytest.mark.parametrize("corner_hz", [20.0, 90.0])
def test_the_response_of_a_first_order_high_pass_is_its_closed_form(corner_hz: float) -> None:
    click = late(np.array([0.8]), 480, RATE_HZ)
    response = high_pass(click, corner_hz, RATE_HZ)
    at_hz = values_hz(10.0, 20_000.0)
    seen = spectrum(response, arrival_frame(response), Window(before_s=0.01, after_s=0.9), RATE_HZ, at_hz)
    expected = 0.8 * high_pass_response(at_hz, corner_hz, RATE_HZ) * np.exp(-2j * np.pi * at_hz * 480 / RATE_HZ)
    np.testing.assert_allclose(seen.level_db, 20 * np.log10(np.abs(expected)), atol=0.01)
    turned = np.angle(np.exp(1j * np.deg2rad(seen.phase_deg)) / expected, deg=True)
    np.testing.assert_allclose(turned, 0.0, atol=0.05)


def test_band_levels_keep_the_energy_of_a_reverberant_response() -> None:
    """Parseval over one octave, with numpy's own transform: values 1/48 octave apart lose none of it."""
    response = decay(0.4, RATE_HZ)
    window = Window(before_s=0.01, after_s=0.99)
    at_hz = values_hz(700.0, 1440.0)
    seen = spectrum(response, 0, window, RATE_HZ, at_hz)
    part, _ = windowed(response, 0, window, RATE_HZ)
    bins = np.abs(np.fft.rfft(part, 1 << 19)) ** 2
    frequency_hz = np.fft.rfftfreq(1 << 19, 1 / RATE_HZ)
    edges_hz = at_hz[0] * 2 ** (-1 / 96), at_hz[-1] * 2 ** (1 / 96)
    inside = (frequency_hz >= edges_hz[0]) & (frequency_hz <= edges_hz[1])
    expected = np.sum(bins[inside] / frequency_hz[inside]) / np.sum(1 / frequency_hz[inside])
    assert 10 * math.log10(np.mean(10 ** (seen.level_db / 10)) / expected) == pytest.approx(0.0, abs=0.01)
