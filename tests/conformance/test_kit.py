"""Rules, waivers and counts of the kit, with and without pytest."""

from __future__ import annotations

import sys

import pytest

from fairhearing.conformance.kit import NotApplicable, Rule, RuleBroken, cases, parametrised, report


def _is_even(number: int) -> None:
    if number % 2:
        raise RuleBroken(f"{number} is odd")


def _is_small(number: int) -> None:
    if number < 0:
        raise NotApplicable("no size below zero")
    if number > 9:
        raise RuleBroken(f"{number} is large")


RULES = (
    Rule(name="even", level="must", says="numbers are even", check=_is_even),
    Rule(name="small", level="should", says="numbers are small", check=_is_small),
)


def test_a_broken_rule_raises_with_its_name_and_what_was_seen() -> None:
    even, small = cases(RULES, 3)
    with pytest.raises(RuleBroken, match="must even: numbers are even: 3 is odd"):
        even()
    small()


def test_a_waiver_holds_only_while_the_rule_is_broken() -> None:
    assert [o.state for o in report("three", cases(RULES, 3, {"even": "three is odd"})).outcomes] == ["waived", "kept"]
    late = report("four", cases(RULES, 4, {"even": "once it was three"}))
    assert not late.passed
    assert "remove the waiver" in late.outcomes[0].why


@pytest.mark.parametrize(
    ("waive", "told"), [({"evn": "typing"}, "no such rule: evn"), ({"even": " "}, "needs a reason")]
)
def test_a_waiver_of_no_rule_or_without_a_reason_is_an_error(waive: dict[str, str], told: str) -> None:
    with pytest.raises(ValueError, match=told):
        cases(RULES, 3, waive)


def test_the_summary_counts_what_ran_was_waived_and_was_skipped() -> None:
    done = report("minus three", cases(RULES, -3, {"even": "it is odd"}))
    assert done.passed
    assert list(done.lines())[-1] == "minus three: 2 rules ran: 0 kept, 1 waived, 1 skipped, 0 broken"


def test_the_decorator_gives_a_case_per_rule_with_pytest() -> None:
    @parametrised(cases(RULES, 4))
    def check(rule: object) -> None: ...

    (mark,) = check.pytestmark  # type: ignore[attr-defined]
    assert mark.kwargs["ids"] == ["even", "small"]


def test_the_decorator_needs_no_pytest(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "pytest", None)

    @parametrised(cases(RULES, 4))
    def check(rule: object) -> None: ...

    assert [case.rule.name for case in check.conformance_cases] == ["even", "small"]  # type: ignore[attr-defined]
