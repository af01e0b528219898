"""Checks of what a boost leaves against the trade's rules and the transfer functions as complex numbers."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from references.helper import check, load

from fairhearing.acoustics.boost import boost_remainder_db, shelved_boost_level_db
from fairhearing.acoustics.chain import capacitance_f
from fairhearing.acoustics.network import LineNetwork

hertz = st.floats(min_value=1.0, max_value=1e4)


def test_a_boost_for_100_hz_behind_20_hz_leaves_what_the_trade_knows() -> None:
    reference = load("boost-for-100-hz-behind-20-hz")
    boost_hz, corner_hz = reference.inputs["boost_hz"], reference.inputs["corner_hz"]
    line = LineNetwork(input_ohm=100e3, capacitance_f=capacitance_f(corner_hz, 100e3))
    left_in = [boost_remainder_db(f, boost_hz, line) for f in reference.inputs["frequency_in_hz"]]
    left_out = [boost_remainder_db(f, boost_hz) for f in reference.inputs["frequency_out_hz"]]
    assert [round(value) for value in left_in] == reference.expected["left_in_whole_db"]
    assert [round(value) for value in left_out] == reference.expected["left_out_whole_db"]


def test_a_boost_without_a_shelf_meets_its_table() -> None:
    reference = load("A18")
    ratios = reference.inputs["frequency_over_corner"]
    for ratio, expected in zip(ratios, reference.expected["boost_db"], strict=True):
        check(shelved_boost_level_db(100.0 * ratio, 100.0), expected, reference)


@given(frequency_hz=hertz, corner_hz=hertz, most_db=st.floats(min_value=0.0, max_value=30.0))
def test_a_shelved_boost_is_the_quotient_of_two_first_order_terms(
    frequency_hz: float, corner_hz: float, most_db: float
) -> None:
    s = 1j * frequency_hz
    expected_db = 20 * math.log10(abs((s + corner_hz) / (s + corner_hz / 10 ** (most_db / 20))))
    found_db = shelved_boost_level_db(frequency_hz, corner_hz, most_db)
    assert found_db == pytest.approx(expected_db, abs=1e-9)
    assert -1e-9 <= found_db <= most_db + 1e-9


@given(frequency_hz=hertz)
def test_the_boost_answers_the_filter_of_its_own_corner(frequency_hz: float) -> None:
    line = LineNetwork(input_ohm=20e3, capacitance_f=capacitance_f(80.0, 22e3), source_ohm=2e3)
    assert boost_remainder_db(frequency_hz, 80.0, line) == pytest.approx(0.0, abs=1e-9)


def test_a_boost_that_cannot_be_is_refused() -> None:
    with pytest.raises(ValueError, match="most_db"):
        shelved_boost_level_db(20.0, 100.0, -1.0)
    with pytest.raises(ValueError, match="corner_hz"):
        boost_remainder_db(20.0, 0.0)
