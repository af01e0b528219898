"""Frequency weightings against the tables of their standards, at the exact frequencies, and what they make of noise."""

from __future__ import annotations

import numpy as np
import pytest
from references.helper import check, load

from fairhearing.acoustics.weighting import weighted_mean_square, weighting_db, weighting_power


def exact_hz(nominal_hz):
    """Base-ten midbands: 10^(n/10)."""
    return 10 ** (np.round(10 * np.log10(nominal_hz)) / 10)


@pytest.mark.parametrize(("identifier", "weighting"), [("B01", "A"), ("B02", "C"), ("B11", "G")])
def test_the_tables_of_the_standards_are_met_within_their_rounding(identifier, weighting):
    """IEC 61672-1:2013, Table 3; ISO 7196:1995, Table 2. With 0.11 dB more every level would fail."""
    reference = load(identifier)
    expected = np.array(reference.expected[f"{weighting.lower()}_db"])
    found = weighting_db(exact_hz(reference.inputs["nominal_hz"]), weighting)
    off = np.abs(found - expected)
    assert off.max() <= reference.tolerance_abs, (reference.inputs["nominal_hz"][off.argmax()], found[off.argmax()])
    assert (np.abs(found + 0.11 - expected) > reference.tolerance_abs).all()


def test_at_nominal_frequencies_the_table_of_a_is_not_met():
    """The trap: 12.5 Hz is not 12.589 Hz."""
    reference = load("B01")
    off = weighting_db(np.array(reference.inputs["nominal_hz"], float), "A") - np.array(reference.expected["a_db"])
    assert np.count_nonzero(np.abs(off) > reference.tolerance_abs) == 14


def test_k_is_the_filter_of_the_recommendation():
    reference = load("B14")
    for frequency_hz, expected in zip(reference.inputs["frequency_hz"], reference.expected["k_db"], strict=True):
        check(float(weighting_db(frequency_hz, "K")), expected, reference)


@pytest.mark.parametrize(("weighting", "at_hz"), [("A", 1000.0), ("C", 1000.0), ("G", 10.0), ("Z", 77.0)])
def test_each_weighting_is_nothing_where_it_is_fixed(weighting, at_hz):
    assert float(weighting_db(at_hz, weighting)) == pytest.approx(0.0, abs=1e-12)
    assert float(weighting_power(0.0, weighting)) == (1.0 if weighting == "Z" else 0.0)


@pytest.mark.parametrize("corner", ["50", "80", "100", "120", "200"])
@pytest.mark.parametrize("weighting", ["Z", "C", "K", "A"])
def test_pink_noise_loses_through_a_high_pass_what_the_weighting_says(corner, weighting):
    """Z by the closed form; C, K, A by integration on another grid (computed): from 1.17 to 0.05 dB at 100 Hz."""
    reference = load(f"D30.{corner}")
    (low_hz, high_hz), corner_hz = reference.inputs["pink_hz"], reference.inputs["corner_hz"]
    frequency = np.geomspace(low_hz, high_hz, 20_001)
    weight = weighting_power(frequency, weighting)  # pink: equal power over equal steps of ln f
    weight[[0, -1]] /= 2
    passed = weight * frequency**2 / (frequency**2 + corner_hz**2)
    assert 10 * np.log10(passed.sum() / weight.sum()) == pytest.approx(reference.expected[weighting], abs=5e-4)


def test_a_spectrum_is_weighted_bin_by_bin_without_the_two_that_an_offset_leaks_into():
    frequency = np.arange(0.0, 4001.0, 2.0)
    density = np.zeros((len(frequency), 2))
    density[[0, 1]] = 1e3
    density[500] = [0.5, 0.1]  # 1 kHz
    density[50, 0] = 4.0  # 100 Hz: -19.145 dB by the formula of IEC 61672-1 (worked by hand)
    found = weighted_mean_square(frequency, density, "A")
    assert found[0] == pytest.approx(2 * (0.5 + 4.0 * 10**-1.9145), rel=1e-4)
    assert found[1] == pytest.approx(0.2, rel=1e-12)


def test_above_24_khz_k_counts_nothing():
    frequency = np.arange(0.0, 48_001.0, 1000.0)
    full = weighted_mean_square(frequency, np.ones(49), "K")
    assert full == pytest.approx(weighted_mean_square(frequency[:25], np.ones(25), "K"), rel=1e-15)


@pytest.mark.parametrize(
    ("call", "told"),
    [
        (lambda: weighting_db([-1.0], "A"), "negative"),
        (lambda: weighting_db([0.0], "A"), "0 Hz"),
        (lambda: weighting_power([np.nan], "C"), "not finite"),
        (lambda: weighting_power([100.0], "B"), "no weighting 'B'"),
        (lambda: weighting_power([30_000.0], "K"), "24000"),
        (lambda: weighted_mean_square([0.0, 1.0], [1.0, 1.0], "A"), "three bins"),
        (lambda: weighted_mean_square([1.0, 2.0, 3.0], [1.0, 1.0, 1.0], "A"), "from 0 Hz"),
    ],
)
def test_what_makes_no_sense_is_refused(call, told):
    with pytest.raises(ValueError, match=told):
        call()
