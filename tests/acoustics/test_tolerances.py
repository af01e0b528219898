"""Checks that the bound by tolerances holds every chain within them and is reached at its ends."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from references.helper import check, load

from fairhearing.acoustics.chain import capacitance_f
from fairhearing.acoustics.network import LineNetwork, line_corner_hz
from fairhearing.acoustics.tolerances import Tolerances, line_corner_range

FULL = LineNetwork(
    input_ohm=47e3,
    capacitance_f=40e-9,
    source_ohm=600.0,
    cable_f=1e-9,
    taps_ohm=(150e3,),
    second_input_ohm=22e3,
    coupling_f=0.47e-6,
)
shares = st.floats(min_value=-1.0, max_value=1.0)


def test_the_usual_tolerances_put_100_hz_between_79_and_132_hz() -> None:
    reference = load("tolerance-of-100-hz")
    usual = Tolerances()
    assert (usual.capacitor, usual.inputs) == (
        reference.inputs["capacitance_tolerance"],
        reference.inputs["resistance_tolerance"],
    )
    line = LineNetwork(input_ohm=2e4, capacitance_f=capacitance_f(reference.inputs["corner_hz"], 2e4))
    found = line_corner_range(line)
    check(found.low_hz, reference.expected["low_hz"], reference)
    check(found.high_hz, reference.expected["high_hz"], reference)


@settings(max_examples=60, deadline=None)
@given(ends=st.tuples(shares, shares, shares, shares))
def test_whatever_lies_within_the_tolerances_lies_within_the_bound(ends: tuple[float, float, float, float]) -> None:
    series, coupling, own, second = ends
    made = replace(
        FULL,
        capacitance_f=40e-9 * (1 + 0.1 * series),
        coupling_f=0.47e-6 * (1 + 0.1 * coupling),
        input_ohm=47e3 * (1 + 0.2 * own),
        second_input_ohm=22e3 * (1 + 0.2 * second),
    )
    found = line_corner_range(FULL, Tolerances(capacitor=0.1, inputs=0.2))
    assert found.low_hz * (1 - 1e-9) <= line_corner_hz(made) <= found.high_hz * (1 + 1e-9)


def test_the_bound_is_reached() -> None:
    """Every part at its upper end gives the lowest corner, every part at its lower end the highest."""
    found = line_corner_range(FULL, Tolerances(capacitor=0.1, inputs=0.2))
    for sign, bound_hz in ((1, found.low_hz), (-1, found.high_hz)):
        made = replace(
            FULL,
            capacitance_f=40e-9 * (1 + 0.1 * sign),
            coupling_f=0.47e-6 * (1 + 0.1 * sign),
            input_ohm=47e3 * (1 + 0.2 * sign),
            second_input_ohm=22e3 * (1 + 0.2 * sign),
        )
        assert line_corner_hz(made) == pytest.approx(bound_hz, rel=1e-9)


def test_without_tolerances_the_bound_is_the_corner() -> None:
    found = line_corner_range(FULL, Tolerances(capacitor=0.0, inputs=0.0))
    assert found.low_hz == found.high_hz == line_corner_hz(FULL)


@pytest.mark.parametrize("bad", [-0.1, 1.0, float("nan")])
def test_a_tolerance_outside_zero_to_one_is_refused(bad: float) -> None:
    with pytest.raises(ValueError, match="tolerance capacitor"):
        Tolerances(capacitor=bad)
    with pytest.raises(ValueError, match="tolerance inputs"):
        Tolerances(inputs=bad)
