"""Rules, waivers and counts of the kit; and that it runs where there is no pytest."""

from __future__ import annotations

import subprocess
import sys

import pytest

from fairhearing.conformance import NotApplicable, Report, Rule, RuleBroken
from fairhearing.conformance.kit import Case, cases, parametrised, report


def check_even(subject: int) -> None:
    if subject % 2:
        raise RuleBroken(f"{subject} is odd")


def check_small(subject: int) -> None:
    if subject < 0:
        raise NotApplicable("there is nothing below 0")
    if subject > 10:
        raise RuleBroken(f"{subject} is large")


RULES = (
    Rule(name="even", level="must", says="it is even", check=check_even),
    Rule(name="small", level="should", says="it is small", check=check_small),
)


def states(subject: int, waive: dict[str, str] | None = None) -> list[str]:
    return [outcome.state for outcome in report("it", cases(RULES, subject, waive)).outcomes]


def test_a_waiver_of_no_rule_is_an_error_that_names_the_rules() -> None:
    with pytest.raises(ValueError, match="no such rule: evne; rules: even, small"):
        cases(RULES, 2, {"evne": "misspelt"})


@pytest.mark.parametrize("reason", ["", "  "])
def test_a_waiver_without_a_reason_is_an_error(reason: str) -> None:
    with pytest.raises(ValueError, match="a waiver needs a reason: even"):
        cases(RULES, 3, {"even": reason})


def test_a_rule_is_kept_broken_waived_or_skipped() -> None:
    assert states(2) == ["kept", "kept"]
    assert states(13) == ["broken", "broken"]
    assert states(3, {"even": "odd on purpose"}) == ["waived", "kept"]
    assert states(-2) == ["kept", "skipped"]
    assert states(-2, {"small": "nothing there"}) == ["kept", "skipped"]


def test_a_waived_rule_that_is_kept_is_broken_so_that_waivers_do_not_outlive_their_reason() -> None:
    found = report("it", cases(RULES, 2, {"even": "odd on purpose"}))
    assert [outcome.state for outcome in found.outcomes] == ["broken", "kept"]
    assert found.outcomes[0].why == "waived (odd on purpose) but kept: remove the waiver"
    assert not found.passed


def test_the_summary_tells_what_is_not_kept_and_counts_all() -> None:
    found = report("it", [*cases(RULES, 3, {"even": "odd on purpose"}), *cases(RULES, -1)])
    assert list(found.lines()) == [
        "waived  must   even: odd on purpose",
        "broken  must   even: -1 is odd",
        "skipped should small: there is nothing below 0",
        "it: 4 rules ran: 1 kept, 1 waived, 1 skipped, 1 broken",
    ]
    assert not found.passed
    assert Report("it", found.outcomes[:1]).passed


def test_a_broken_must_and_a_broken_should_both_count() -> None:
    assert not report("it", cases(RULES, 3)).passed
    assert not report("it", cases(RULES, 12)).passed
    assert report("it", cases(RULES, 4)).passed


def test_a_case_that_is_called_raises_only_where_its_rule_is_broken() -> None:
    with pytest.raises(RuleBroken, match="must even: it is even: 3 is odd"):
        cases(RULES, 3)[0]()
    assert cases(RULES, 3, {"even": "odd on purpose"})[0]() is None
    assert cases(RULES, -2)[1]() is None


def test_another_exception_is_no_outcome() -> None:
    def check(subject: int) -> None:
        raise ZeroDivisionError

    rule = Rule(name="odd", level="must", says="it fails", check=check)
    with pytest.raises(ZeroDivisionError):
        Case(rule, 1, None).outcome()


@parametrised(cases(RULES, 2))
def test_each_rule_becomes_a_test_of_its_own(rule: Case[int]) -> None:
    assert rule.rule.name in ("even", "small")
    assert rule.outcome().state == "kept"


def test_the_decorated_function_carries_its_cases_and_their_names() -> None:
    function = test_each_rule_becomes_a_test_of_its_own
    assert [case.rule.name for case in function.conformance_cases] == ["even", "small"]
    (mark,) = function.pytestmark
    assert mark.kwargs["ids"] == ["even", "small"]


WITHOUT_PYTEST = """
import sys
sys.modules["pytest"] = None  # an import of it fails from here on
from fairhearing.conformance import check_reporter, reporter_cases
from fairhearing.conformance.kit import report

class Silent:
    name, version = "silent", "1"
    def render(self, inputs):
        return []

@check_reporter(Silent())
def test_it_keeps(rule):
    rule()

assert not hasattr(test_it_keeps, "pytestmark")
for case in test_it_keeps.conformance_cases:
    test_it_keeps(case)
print(*report("silent", reporter_cases(Silent())).lines(), sep="\\n")
"""


def test_the_kit_runs_where_there_is_no_pytest() -> None:
    finished = subprocess.run([sys.executable, "-c", WITHOUT_PYTEST], capture_output=True, text=True, check=False)
    assert finished.returncode == 0, finished.stderr
    assert finished.stdout.splitlines()[-1] == "silent: 9 rules ran: 5 kept, 0 waived, 4 skipped, 0 broken"
