"""Harmonics of a sweep through a known curve have the levels of its closed form, each at its own time."""

from __future__ import annotations

import numpy as np
import pytest
from made_sweeps import harmonics_db, late, sweep

from fairhearing.acoustics.deconvolution import deconvolve, fast_length, inverse
from fairhearing.acoustics.distortion import HarmonicLevels, harmonic_levels
from fairhearing.acoustics.sweep import find_sweep

RATE_HZ, FIRST_HZ, LAST_HZ, DURATION_S, PEAK = 48_000, 20.0, 20_000.0, 4.0, 0.5
EXCITATION = sweep(RATE_HZ, FIRST_HZ, LAST_HZ, DURATION_S, PEAK)
SWEEP = find_sweep(EXCITATION, RATE_HZ)
N_FRAMES = fast_length(len(EXCITATION) + RATE_HZ)
INVERSE = inverse(EXCITATION, SWEEP.first_hz, SWEEP.last_hz, RATE_HZ, N_FRAMES)


def response(square: float, cube: float, noise: float = 0.0) -> np.ndarray:
    """Deconvolved y = x + square x^2 + cube x^3, the fundamental in the middle."""
    x = late(EXCITATION, 0, len(EXCITATION) + RATE_HZ)
    y = x + square * x**2 + cube * x**3 + np.random.default_rng(9).normal(0, 1, len(x)) * noise
    circle = deconvolve(y[np.newaxis].astype(np.float32), INVERSE)[0]
    return np.roll(circle, N_FRAMES // 2).astype(float)


def levels(square: float, cube: float, noise: float = 0.0) -> dict[int, HarmonicLevels]:
    return {one.order: one for one in harmonic_levels(response(square, cube, noise), N_FRAMES // 2, SWEEP, RATE_HZ)}


def test_each_order_stands_as_early_as_farina_has_it() -> None:
    """dt_n = T ln n / ln(f2/f1), A. Farina, AES 108, 2000 (read)."""
    found = np.abs(response(0.1, 0.1))
    for order in (2, 3):
        early = round(DURATION_S * np.log(order) / np.log(LAST_HZ / FIRST_HZ) * RATE_HZ)
        around = found[N_FRAMES // 2 - early - 500 : N_FRAMES // 2 - early + 500]
        assert abs(int(np.argmax(around)) - 500) <= 2


@pytest.mark.parametrize(("square", "cube"), [(0.1, 0.05), (0.01, -0.02), (-0.003, 0.001)])
def test_a_polynomial_has_the_levels_of_its_closed_form(square: float, cube: float) -> None:
    """sin^2 = (1 - cos 2u)/2, sin^3 = (3 sin u - sin 3u)/4."""
    found = levels(square, cube)
    for order, expected_db in harmonics_db(square, cube, PEAK).items():
        one = found[order]
        below = one.frequency_hz < 0.9 * one.frequency_hz[-1]
        middle = below & (one.frequency_hz > 105)
        assert np.count_nonzero(middle) > 40
        np.testing.assert_allclose(one.level_db[middle], expected_db, atol=0.05)
        # Towards the frequency at which the sweep starts (20 Hz) what is left of the fundamental ripples through.
        low = below & (one.frequency_hz > 30) & ~middle
        np.testing.assert_allclose(one.level_db[low], expected_db, atol=1.0)
        assert np.all(one.noise_level_db[middle] < expected_db - 20)


def test_orders_that_the_polynomial_lacks_are_no_higher_than_what_is_beside_them() -> None:
    for order in (4, 5):
        one = levels(0.05, 0.02)[order]
        assert np.median(one.level_db - one.noise_level_db) < 6
        assert np.median(one.level_db) < -90


def test_the_noise_beside_an_order_is_the_noise_of_the_recording() -> None:
    """White noise in the recording, through the inverse, in the window: its level by numpy's own transforms."""
    noise = 1e-3
    one = levels(0.0, 0.0, noise)[2]
    quiet = np.mean(10 ** ((one.level_db - one.noise_level_db) / 10))
    assert 10 * np.log10(quiet) == pytest.approx(0.0, abs=1.0)
    ten_times = levels(0.0, 0.0, 10 * noise)[2]
    np.testing.assert_allclose(np.median(ten_times.noise_level_db - one.noise_level_db), 20.0, atol=0.2)


def test_frequencies_end_where_the_harmonic_leaves_the_sweep() -> None:
    for order, one in levels(0.1, 0.1).items():
        assert order * one.frequency_hz[-1] <= LAST_HZ
        assert order * one.frequency_hz[-1] > 0.8 * LAST_HZ
        assert one.frequency_hz[0] >= FIRST_HZ
        # The exact midbands of IEC 61260-1 are among them.
        assert np.min(np.abs(one.frequency_hz / 1000.0 - 1)) < 1e-12


def test_a_sweep_too_short_to_tell_its_orders_apart_tells_none_of_them() -> None:
    assert harmonic_levels(np.ones(2000), 1000, SWEEP, RATE_HZ) == []
