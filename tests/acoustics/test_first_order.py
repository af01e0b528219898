"""Checks of the ideal first-order high-pass and of its boost, against tables, worked examples and complex numbers."""

from __future__ import annotations

import cmath
import math
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st
from references.helper import check, load

from fairhearing.acoustics import first_order

hertz = st.floats(min_value=0.01, max_value=1e5)


def high_pass(frequency_hz: float, corner_hz: float) -> complex:
    """s/(s + w_c), written with complex numbers: no formula of the code under test."""
    s = 1j * frequency_hz
    return s / (s + corner_hz)


def level_db(value: complex) -> float:
    return 20.0 * math.log10(abs(value))


@pytest.mark.parametrize("identifier", ["A03", "A04"])
def test_worked_examples_of_the_corner_are_met(identifier: str) -> None:
    reference = load(identifier)
    found = first_order.corner_frequency_hz(reference.inputs["capacitance_f"], reference.inputs["resistance_ohm"])
    check(found, reference.expected["corner_hz"], reference)


@pytest.mark.parametrize("corner_hz", [1.0, 80.0, 4000.0])
@pytest.mark.parametrize("index", range(9))
def test_level_and_phase_meet_the_octave_table(index: int, corner_hz: float) -> None:
    level, phase = load("A05"), load("A06")
    frequency_hz = level.inputs["frequency_over_corner"][index] * corner_hz
    check(first_order.first_order_level_db(frequency_hz, corner_hz), level.expected["level_db"][index], level)
    check(first_order.first_order_phase_deg(frequency_hz, corner_hz), phase.expected["phase_deg"][index], phase)


@pytest.mark.parametrize("index", range(3))
def test_the_slope_near_the_corner_is_less_than_six_decibels_per_octave(index: int) -> None:
    reference = load("A08b")
    low, high = reference.inputs["frequency_over_corner_pairs"][index]
    rise_db = first_order.first_order_level_db(high, 1.0) - first_order.first_order_level_db(low, 1.0)
    check(rise_db, reference.expected["rise_db"][index], reference)


def test_far_below_the_corner_the_slope_is_twenty_decibels_per_decade() -> None:
    rise_db = first_order.first_order_level_db(1e-3, 100.0) - first_order.first_order_level_db(1e-4, 100.0)
    assert rise_db == pytest.approx(20.0, abs=1e-6)


@pytest.mark.parametrize("index", range(5))
def test_capacitors_of_the_e12_series_give_their_corners(index: int) -> None:
    reference = load("A15")
    capacitance_f = reference.inputs["capacitance_f"][index]
    found = first_order.corner_frequency_hz(capacitance_f, reference.inputs["resistance_ohm"])
    check(found, reference.expected["corner_hz"][index], reference)


def test_the_nearest_capacitor_misses_by_a_small_part_of_an_octave() -> None:
    reference = load("A15-octaves")
    corner_hz = first_order.corner_frequency_hz(reference.inputs["capacitance_f"], reference.inputs["resistance_ohm"])
    check(first_order.octaves(corner_hz, reference.inputs["meant_hz"]), reference.expected["octaves"], reference)


@pytest.mark.parametrize("index", range(4))
def test_resistances_side_by_side_move_the_corner(index: int) -> None:
    reference = load("A10")
    found = first_order.parallel_ohm(*reference.inputs["pairs_ohm"][index])
    check(found, reference.expected["resistance_ohm"][index], reference)
    corner_hz = first_order.corner_frequency_hz(reference.inputs["capacitance_f"], found)
    check(corner_hz, reference.expected["corner_hz"][index], reference)


@pytest.mark.parametrize("index", range(7))
def test_the_boost_meets_its_table_and_undoes_the_high_pass(index: int) -> None:
    reference, product = load("A18"), load("A18-product")
    frequency_hz = reference.inputs["frequency_over_corner"][index] * 80.0
    boost_db = first_order.boost_level_db(frequency_hz, 80.0)
    check(boost_db, reference.expected["boost_db"][index], reference)
    left_db = boost_db + first_order.first_order_level_db(frequency_hz, 80.0)
    check(left_db, product.expected["product_db"], product)


@given(frequency_hz=hertz, corner_hz=hertz)
def test_the_pair_of_high_and_low_pass_sums_flat(frequency_hz: float, corner_hz: float) -> None:
    """The low-pass of the pair is the high-pass mirrored at the corner; its phase lags by what is missing to 90."""
    reference = load("A19")
    mirrored_hz = corner_hz * corner_hz / frequency_hz
    high_db = first_order.first_order_level_db(frequency_hz, corner_hz)
    low_db = first_order.first_order_level_db(mirrored_hz, corner_hz)
    high_deg = first_order.first_order_phase_deg(frequency_hz, corner_hz)
    low_deg = -first_order.first_order_phase_deg(mirrored_hz, corner_hz)
    high = cmath.rect(10 ** (high_db / 20), math.radians(high_deg))
    low = cmath.rect(10 ** (low_db / 20), math.radians(low_deg))
    check(level_db(high + low), reference.expected["complex_sum_db"], reference)
    check(10 * math.log10(abs(high) ** 2 + abs(low) ** 2), reference.expected["power_sum_db"], reference)
    check(high_deg - low_deg, reference.expected["phase_difference_deg"], reference)


@given(frequency_hz=hertz, corner_hz=hertz)
def test_level_phase_and_boost_agree_with_complex_numbers(frequency_hz: float, corner_hz: float) -> None:
    value = high_pass(frequency_hz, corner_hz)
    assert first_order.first_order_level_db(frequency_hz, corner_hz) == pytest.approx(level_db(value), abs=1e-9)
    phase_deg = math.degrees(cmath.phase(value))
    assert first_order.first_order_phase_deg(frequency_hz, corner_hz) == pytest.approx(phase_deg, abs=1e-9)
    assert first_order.boost_level_db(frequency_hz, corner_hz) == pytest.approx(level_db(1 / value), abs=1e-9)


@given(corner_hz=st.floats(min_value=1.0, max_value=1e4), ratio=st.floats(min_value=0.05, max_value=20.0))
def test_group_delay_is_minus_the_slope_of_the_phase(corner_hz: float, ratio: float) -> None:
    frequency_hz, step = corner_hz * ratio, corner_hz * ratio * 1e-4
    quotient = high_pass(frequency_hz + step, corner_hz) / high_pass(frequency_hz - step, corner_hz)
    slope_s = -cmath.phase(quotient) / (2 * math.pi * 2 * step)
    assert first_order.first_order_group_delay_s(frequency_hz, corner_hz) == pytest.approx(slope_s, rel=1e-6)


@given(corner_hz=hertz, resistance_ohm=st.floats(min_value=1.0, max_value=1e7))
def test_capacitance_and_corner_are_each_others_inverse(corner_hz: float, resistance_ohm: float) -> None:
    capacitance_f = first_order.capacitance_f(corner_hz, resistance_ohm)
    assert first_order.corner_frequency_hz(capacitance_f, resistance_ohm) == pytest.approx(corner_hz, rel=1e-12)


TWO_VALUES = [
    first_order.corner_frequency_hz,
    first_order.capacitance_f,
    first_order.first_order_level_db,
    first_order.first_order_phase_deg,
    first_order.first_order_group_delay_s,
    first_order.boost_level_db,
    first_order.parallel_ohm,
    first_order.octaves,
]


@pytest.mark.parametrize("function", TWO_VALUES)
@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_a_value_that_cannot_be_is_refused_and_shown(function: Callable[[float, float], float], bad: float) -> None:
    for arguments in ((bad, 1.0), (1.0, bad)):
        with pytest.raises(ValueError, match=f"is {bad!r}; it must be finite and above 0"):
            function(*arguments)
