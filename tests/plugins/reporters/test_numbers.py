"""Tests of fairhearing_builtins.reporters.numbers."""

from __future__ import annotations

import re

import pytest

from fairhearing.api import Finding
from fairhearing_builtins.reporters.identity import Stated
from fairhearing_builtins.reporters.numbers import element, rounded, with_interval, with_unit


def stated(**fields: object) -> Stated:
    values = {"quantity": "corner_frequency", "value": 89.1234, "unit": "Hz", "method": "m"} | fields
    return Stated(id="hall/x", session="hall", room=None, analyser="x", finding=Finding(**values))  # type: ignore[arg-type]


def text(one: Stated, field: str = "value") -> str:
    shown = element(one, field)
    assert shown is not None
    return str(shown.striptags())


@pytest.mark.parametrize(
    ("fields", "expected"),
    [
        ({"value": 89.1234}, "89.1"),
        ({"value": 18.07}, "18.1"),
        ({"value": 1234.5}, "1234"),
        ({"value": 0.2024, "quantity": "corner_ratio", "unit": "1"}, "0.202"),
        ({"value": -2.3049, "quantity": "corner_ratio", "unit": "oct"}, "\u22122.30"),
        ({"value": -1.404, "quantity": "target_deviation_change", "unit": "dB"}, "\u22121.40"),
        ({"value": 1.404, "quantity": "target_deviation_change", "unit": "dB"}, "+1.40"),
        ({"value": 1.404, "quantity": "target_deviation", "unit": "dB"}, "1.40"),
        ({"value": -0.001, "quantity": "level_difference", "unit": "dB"}, "0.00"),
        ({"value": 0.6875, "quantity": "proportion_correct", "unit": "1"}, "69"),
        ({"value": 1.0, "quantity": "proportion_correct", "unit": "1"}, "100"),
        ({"value": 0.998, "quantity": "preference_share", "unit": "1"}, "99.8"),
        ({"value": 0.99996, "quantity": "subsonic_share", "unit": "1"}, "99.996"),
        ({"value": 0.0004, "quantity": "subsonic_share", "unit": "1"}, "0.04"),
        ({"value": 46_873.0, "quantity": "implied_load", "unit": "ohm"}, "46.9"),
        ({"value": 0.0, "unit": "Hz"}, "0"),
    ],
)
def test_a_value_is_rounded_by_its_unit(fields: dict[str, object], expected: str) -> None:
    assert text(stated(**fields)) == expected


@pytest.mark.parametrize(
    ("p_value", "expected"),
    [(0.03849, "0.038"), (0.0010, "0.001"), (0.00037, "0.0004"), (0.0000123, "0.00001"), (1.0, "1.000")],
)
def test_a_p_value_never_reads_as_nothing(p_value: float, expected: str) -> None:
    assert text(stated(p_value=p_value), "p_value") == expected


def test_the_ends_of_an_interval_have_the_decimals_of_the_value() -> None:
    shown = re.sub(r"<[^>]*>", "", str(with_interval(stated(low=9.96, high=101.449))))
    assert shown == "89.1\u202fHz (10.0\u00a0to\u00a0101.4)"


@pytest.mark.parametrize(
    ("half", "expected"),
    [
        (0.5, "89.1 (88.6 to 89.6)"),
        (0.02, "89.12 (89.10 to 89.14)"),
        (0.0, "89.1 (89.1 to 89.1)"),
        (1e-9, "89.12 (89.12 to 89.12)"),
    ],
)
def test_an_interval_whose_ends_read_alike_gets_one_more_decimal(half: float, expected: str) -> None:
    one = stated(low=89.1234 - half, high=89.1234 + half)
    assert f"{text(one)} ({text(one, 'low')} to {text(one, 'high')})" == expected


def test_the_element_names_finding_field_and_scale() -> None:
    share = stated(quantity="preference_share", unit="1", value=0.675)
    assert str(element(share, "value")) == (
        '<span class="n" data-finding="hall/x" data-field="value" data-scale="100">68</span>'
    )
    assert "data-scale" not in str(element(stated(n=4), "n"))


def test_a_null_field_has_no_element() -> None:
    nothing = stated(value=None, caveats=("no data",))
    assert element(nothing, "value") is None
    assert with_unit(nothing) is None
    assert with_interval(stated(low=None)) == with_unit(stated())


def test_a_minus_is_a_true_minus_and_never_stands_before_nothing() -> None:
    assert rounded(-3.0, 1) == "\u22123.0"
    assert rounded(-0.04, 1, signed=True) == "0.0"
    assert rounded(0.06, 1, signed=True) == "+0.1"
