"""Units of findings: a closed list, an analyser's own beside it, and the nearest known one for any other."""

from __future__ import annotations

import pytest
from plug_in_modules import StubAnalyser, one_finding

from fairhearing.api import UNITS, Finding, OwnUnits, Result
from fairhearing.conformance import analyser_cases
from fairhearing.units import check_units, known_units


def stated_in(unit: str, value: float | None = 1.0, verdict: str | None = None) -> Result:
    finding = Finding(quantity="loops", value=value, unit=unit, method="counted", verdict=verdict, caveats=("none",))
    return Result(findings=(one_finding(None).findings[0], finding))


def with_units(units: object) -> StubAnalyser:
    analyser = StubAnalyser(one_finding)
    analyser.own_units = units
    return analyser


def told(unit: str, analyser: StubAnalyser) -> str:
    with pytest.raises(ValueError, match="is not known") as error:
        check_units(stated_in(unit), analyser)
    return str(error.value)


@pytest.mark.parametrize("unit", UNITS)
def test_a_finding_in_a_unit_of_the_list_passes(unit: str) -> None:
    check_units(stated_in(unit), StubAnalyser(one_finding))


@pytest.mark.parametrize(
    ("unit", "known"),
    [
        ("hz", "Hz"), ("HZ", "Hz"), ("hertz", "Hz"), ("decibel", "dB"), ("decibels", "dB"), ("DB", "dB"),
        ("octaves", "oct"), ("Ohm", "ohm"), ("dBFs", "dBFS"), ("degr", "deg"), (" ms", "ms"), ("seconds", "s"),
    ],
)  # fmt: skip
def test_any_other_unit_is_told_with_the_nearest_known_one(unit: str, known: str) -> None:
    assert told(unit, StubAnalyser(one_finding)) == (
        f"its finding loops has the unit {unit!r}, which is not known; did you mean {known!r}? "
        "A unit of its own stands in the analyser's attribute own_units, with what it is"
    )


def test_where_none_is_near_all_are_told() -> None:
    known = ", ".join(sorted(UNITS))
    assert f"which is not known; known: {known}. A unit" in told("zzzz", StubAnalyser(one_finding))


def test_an_analyser_may_add_a_unit_of_its_own_for_itself_only() -> None:
    analyser = with_units({"furlong": "201.168 m"})
    assert isinstance(analyser, OwnUnits)
    check_units(stated_in("furlong"), analyser)
    check_units(stated_in("dB"), analyser)
    assert "did you mean 'furlong'?" in told("furlongs", analyser)
    assert "furlong'," in told("furlong", StubAnalyser(one_finding))
    assert "furlong" not in UNITS


@pytest.mark.parametrize(
    "units", [None, ["furlong"], {"furlong": ""}, {" ": "nothing"}, {"furlong": 201.168}, {1: "x"}]
)
def test_units_that_are_no_words_are_refused(units: object) -> None:
    with pytest.raises(ValueError, match=r"^own_units (is|has) "):
        known_units(with_units(units))


def test_a_known_unit_keeps_its_meaning() -> None:
    with pytest.raises(ValueError, match=r"^own_units gives 'ms' a meaning of its own; it is known as: millisecond$"):
        known_units(with_units({"ms": "metre second"}))


def test_a_verdict_without_a_value_may_stand_without_a_unit_and_nothing_else_may() -> None:
    analyser = StubAnalyser(one_finding)
    check_units(stated_in("", value=None, verdict="gain"), analyser)
    for result in (
        stated_in("", verdict="gain"),
        stated_in("", value=None),
        stated_in(" ", value=None, verdict="gain"),
    ):
        with pytest.raises(ValueError, match="is not known"):
            check_units(result, analyser)


def told_by_the_kit(units: object) -> str:
    """What the kit's rule says of an analyser that states its finding in furlongs; empty where it is kept."""
    finding = Finding(quantity="loops", value=1.0, unit="furlong", method="counted", n=1)
    analyser = StubAnalyser(lambda _: Result(findings=(finding,)))
    if units is not None:
        analyser.own_units = units
    (case,) = (case for case in analyser_cases(analyser) if case.rule.name == "findings-sound")
    return case.outcome().why


def test_the_kit_knows_an_own_unit_too_and_tells_one_that_is_not_said_right() -> None:
    assert told_by_the_kit({"furlong": "201.168 m"}) == ""
    assert "unit 'furlong' is not known; known: %, 1, A" in told_by_the_kit(None)
    assert "own_units has 'furlong': ''; both are words" in told_by_the_kit({"furlong": ""})
