"""Checks of band edges and band levels against IEC 61260-1 and integrals taken by scipy."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from references.helper import check, load
from scipy import integrate

from fairhearing.acoustics.bands import (
    band_level_db,
    mean_over_log_frequency,
    third_octave_bands,
    third_octave_smoothed,
)

FINE_HZ = np.geomspace(8, 1200, 6000)


@pytest.mark.parametrize("index", range(21))
def test_bands_lie_where_the_standard_puts_them(index: int) -> None:
    reference = load("B07")
    nominal = reference.inputs["nominal_hz"][index]
    bands = third_octave_bands(nominal, nominal)
    assert bands.nominal_hz.tolist() == [nominal]
    check(float(bands.lower_hz[0]), reference.expected["lower_hz"][index], reference)
    check(float(bands.upper_hz[0]), reference.expected["upper_hz"][index], reference)
    check(float(np.sqrt(bands.lower_hz[0] * bands.upper_hz[0])), reference.expected["midband_hz"][index], reference)


def test_the_ratios_of_a_band_are_those_of_base_ten() -> None:
    reference = load("B10")
    nominal = reference.inputs["nominal_hz"]
    bands = third_octave_bands(nominal, nominal)
    lower, upper = float(bands.lower_hz[0]), float(bands.upper_hz[0])
    check((upper / lower) ** 3, reference.expected["octave_ratio"], reference)
    check(upper / nominal, reference.expected["edge_over_midband"], reference)
    check((upper - lower) / nominal, reference.expected["bandwidth_over_midband"], reference)


def test_bands_of_a_range_are_those_whose_nominal_frequency_lies_in_it() -> None:
    # Nominal frequencies as printed in IEC 61260-1:2014, Annex E (from memory).
    expected = [20, 25, 31.5, 40, 50, 63, 80, 100, 125, 160, 200]
    assert third_octave_bands(20, 200).nominal_hz.tolist() == expected
    # 20 Hz belongs to the range although its midband, 19.95 Hz, is below it.
    assert third_octave_bands(20, 24).nominal_hz.tolist() == [20]
    assert third_octave_bands(21, 24).nominal_hz.tolist() == []


def test_bands_share_their_edges() -> None:
    bands = third_octave_bands(10, 20_000)
    assert bands.upper_hz[:-1] == pytest.approx(bands.lower_hz[1:], rel=1e-12)


@pytest.mark.parametrize(("low", "high"), [(0, 10), (-1, 10), (20, 10)])
def test_a_range_that_is_none_is_an_error(low: float, high: float) -> None:
    with pytest.raises(ValueError, match="no bands"):
        third_octave_bands(low, high)


def filtered_power(frequency_hz, corner_hz: float = 80.0):
    return np.abs(1j * frequency_hz / (corner_hz + 1j * frequency_hz)) ** 2


def slope_power(frequency_hz):
    return frequency_hz**1.7


@pytest.mark.parametrize("power", [filtered_power, slope_power])
@pytest.mark.parametrize("nominal", [20.0, 63.0, 80.0, 800.0])
def test_a_band_level_is_the_integral_over_log_frequency(power, nominal: float) -> None:
    bands = third_octave_bands(nominal, nominal)
    low, high = np.log(bands.lower_hz[0]), np.log(bands.upper_hz[0])
    integral, _ = integrate.quad(lambda x: float(power(np.exp(x))), low, high, epsabs=0, epsrel=1e-12)
    expected = 10 * np.log10(integral / (high - low))
    assert band_level_db(FINE_HZ, power(FINE_HZ), bands)[0] == pytest.approx(expected, abs=1e-4)


def test_a_band_level_of_a_power_law_is_its_closed_form() -> None:
    bands = third_octave_bands(100, 100)
    lower, upper = bands.lower_hz[0], bands.upper_hz[0]
    expected = (upper**2 - lower**2) / (2 * np.log(upper / lower))  # integral of f^2 d(ln f)
    assert 10 ** (band_level_db(FINE_HZ, FINE_HZ**2, bands)[0] / 10) == pytest.approx(expected, rel=1e-5)


def test_a_band_that_the_data_do_not_reach_is_missing() -> None:
    frequency = np.geomspace(25, 500, 300)
    bands = third_octave_bands(20, 630)
    level = band_level_db(frequency, np.ones(300), bands)
    known = dict(zip(bands.nominal_hz.tolist(), level.tolist(), strict=True))
    # 25 Hz spans 22.4 to 28.2 Hz, 500 Hz spans 446.7 to 562.3 Hz (IEC 61260-1).
    assert np.isnan([known[20.0], known[25.0], known[500.0], known[630.0]]).all()
    assert known[31.5] == pytest.approx(0, abs=1e-12)
    assert known[400.0] == pytest.approx(0, abs=1e-12)


def test_an_edge_between_two_points_is_met_on_the_line_between_them() -> None:
    # Two points, P = 1 at 10 Hz and 3 at 1000 Hz, straight over ln f: between 31.62 and 100 Hz it runs from 1.5 to 2.
    mean = mean_over_log_frequency(
        np.array([10.0, 1000.0]), np.array([1.0, 3.0]), np.array([10**1.5]), np.array([100.0])
    )
    assert mean[0] == pytest.approx(1.75, rel=1e-12)


def test_smoothing_takes_the_mean_of_a_third_octave_and_leaves_a_straight_line() -> None:
    straight = 5.0 + np.log(FINE_HZ)
    inner = (FINE_HZ > 10) & (FINE_HZ < 1000)
    assert third_octave_smoothed(FINE_HZ, straight)[inner] == pytest.approx(straight[inner], rel=1e-10)
    line = np.where(np.arange(len(FINE_HZ)) == 3000, 1.0, 0.0)
    smooth = third_octave_smoothed(FINE_HZ, line)
    wide = FINE_HZ[smooth > smooth.max() / 2]
    assert wide[-1] / wide[0] == pytest.approx(10 ** (1 / 10), rel=2e-3)


@settings(max_examples=30, deadline=None, derandomize=True)
@given(gain=st.floats(1e-6, 1e6), factor=st.sampled_from([0.1, 10.0, 100.0]), seed=st.integers(0, 1000))
def test_gain_adds_to_every_band_and_decades_shift_them(gain: float, factor: float, seed: int) -> None:
    power = np.random.default_rng(seed).uniform(0.1, 2.0, len(FINE_HZ))
    bands, shifted = third_octave_bands(20, 800), third_octave_bands(20 * factor, 800 * factor)
    level = band_level_db(FINE_HZ, power, bands)
    assert band_level_db(FINE_HZ, gain * power, bands) == pytest.approx(level + 10 * np.log10(gain), abs=1e-9)
    assert band_level_db(FINE_HZ * factor, power, shifted) == pytest.approx(level, abs=1e-9)
