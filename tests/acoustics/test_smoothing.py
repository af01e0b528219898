"""Fractional-octave smoothing against brute force, closed forms and a quadrature of scipy's."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from fairhearing.acoustics.smoothing import smoothed_power

RANDOM = np.random.default_rng(20261125)
N_BINS = 8192
BINS_HZ = np.arange(1, N_BINS + 1) * 48000.0 / N_BINS
# 100 dB from top to bottom, so that what is small would drown in a running total of what is large.
STEEP = RANDOM.exponential(size=(3, N_BINS)) * (30.0 / (30.0 + BINS_HZ)) ** 4
AT_HZ = np.geomspace(10.0, 40000.0, 301)


def window(at_hz: float, bands_per_octave: float) -> tuple[float, float]:
    """IEC 61260-1:2014, 5.2 and 5.5: edges half a fraction of G = 10^(3/10) away."""
    ratio = (10.0**0.3) ** (0.5 / bands_per_octave)
    return max(at_hz / ratio, BINS_HZ[0]), min(at_hz * ratio, BINS_HZ[-1])


def brute_force(power: np.ndarray, bands_per_octave: float, at_hz: float) -> float:
    """A slice per point, its trapezoids summed one by one."""
    low, high = window(at_hz, bands_per_octave)
    inside = (low < BINS_HZ) & (high > BINS_HZ)
    x = np.log(np.concatenate([[low], BINS_HZ[inside], [high]]))
    ends = np.interp(np.log([low, high]), np.log(BINS_HZ), power)
    y = np.concatenate([ends[:1], power[inside], ends[1:]])
    total = sum(0.5 * (y[i] + y[i + 1]) * (x[i + 1] - x[i]) for i in range(len(x) - 1))
    return float(total / (x[-1] - x[0]))


@pytest.mark.parametrize("bands_per_octave", [1, 2, 3, 6, 12, 24, 48, 96, 2.5, 1000])
def test_it_is_the_mean_over_ln_f_for_any_fraction(bands_per_octave: float) -> None:
    smooth = smoothed_power(BINS_HZ, STEEP, bands_per_octave, AT_HZ)
    for row in range(3):
        expected = [brute_force(STEEP[row], bands_per_octave, at) for at in AT_HZ[::7]]
        np.testing.assert_allclose(smooth[row, ::7], expected, rtol=1e-11)


def test_a_valley_130_db_deep_is_smoothed_as_exactly_as_a_peak() -> None:
    power = np.where((BINS_HZ > 5000) & (BINS_HZ < 9000), 1e-13, 1.0)
    smooth = smoothed_power(BINS_HZ, power, 3, np.array([6700.0]))
    assert smooth[0] == pytest.approx(1e-13, rel=1e-12)


def test_it_agrees_with_a_quadrature_of_the_broken_line() -> None:
    x = np.log(BINS_HZ)
    for at in (47.0, 1000.0):
        low, high = np.log(window(at, 3))
        knots = x[(x > low) & (x < high)]
        expected, _ = quad(lambda t: float(np.interp(t, x, STEEP[0])), low, high, points=knots, limit=len(knots) + 50)
        assert smoothed_power(BINS_HZ, STEEP[0], 3, np.array([at]))[0] == pytest.approx(
            expected / (high - low), rel=1e-9
        )


def test_pink_noise_reads_its_closed_form() -> None:
    # The mean of 1/f over ln f from f/r to f r is (r - 1/r) / (2 ln r) / f: calculus, no source.
    ratio = 10.0**0.05
    fine = np.linspace(50.0, 200.0, 20_001)
    smooth = smoothed_power(fine, 1 / fine, 3, np.array([100.0]))
    assert 100.0 * smooth[0] == pytest.approx((ratio - 1 / ratio) / (2 * np.log(ratio)), rel=1e-8)


@given(
    st.lists(st.floats(0.01, 3.0), min_size=2, max_size=60),
    st.floats(0.2, 60.0),
    st.lists(st.floats(0.0, 1.0), min_size=1, max_size=20),
)
def test_a_level_spectrum_stays_level_on_any_grid(steps: list[float], fraction: float, places: list[float]) -> None:
    frequency = np.exp(np.cumsum(steps))
    span = np.log(frequency[-1] / frequency[0])
    at = np.clip(frequency[0] * np.exp(np.array(places) * span), frequency[0], frequency[-1])
    np.testing.assert_allclose(smoothed_power(frequency, np.full(len(steps), 7.0), fraction, at), 7.0, rtol=1e-9)


def test_axes_before_the_last_are_kept_and_the_order_of_points_is_free() -> None:
    stack = STEEP.reshape(3, 1, N_BINS)
    smooth = smoothed_power(BINS_HZ, stack, 6, AT_HZ[::-1])
    assert smooth.shape == (3, 1, len(AT_HZ))
    np.testing.assert_array_equal(smooth[1, 0, ::-1], smoothed_power(BINS_HZ, STEEP[1], 6, AT_HZ))


@pytest.mark.parametrize(
    ("frequency", "power", "fraction", "at", "told"),
    [
        ([1.0, 2.0], [1.0], 3, [1.0], "do not stand"),
        ([0.0, 2.0], [1.0, 1.0], 3, [1.0], "do not rise"),
        ([2.0, 2.0], [1.0, 1.0], 3, [2.0], "do not rise"),
        ([1.0, 2.0], [1.0, 1.0], 0, [1.0], "1/0 octave"),
        ([1.0, 2.0], [1.0, 1.0], np.nan, [1.0], "1/nan octave"),
        ([1.0, 2.0], [1.0, 1.0], 3, [2.5], "outside of the data"),
    ],
)
def test_what_cannot_be_smoothed_is_refused(
    frequency: list[float], power: list[float], fraction: float, at: list[float], told: str
) -> None:
    with pytest.raises(ValueError, match=told):
        smoothed_power(np.array(frequency), np.array(power), fraction, np.array(at))
