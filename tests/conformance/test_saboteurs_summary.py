"""Each rule of a summary is broken by a saboteur made for it, and by that one only."""

from __future__ import annotations

import pytest
from conformance.saboteurs.summaries import SABOTEURS, Sound

from fairhearing.conformance import NotApplicable, Outcome, RuleBroken
from fairhearing.conformance.kit import report
from fairhearing.conformance.summary import RULES, check_summary, summary_cases

_outcomes: dict[str, tuple[Outcome, ...]] = {}


def outcomes(kind: type) -> tuple[Outcome, ...]:
    if kind.__name__ not in _outcomes:
        _outcomes[kind.__name__] = report(kind.__name__, summary_cases(kind())).outcomes
    return _outcomes[kind.__name__]


def broken(kind: type) -> list[str]:
    return [outcome.rule for outcome in outcomes(kind) if outcome.state == "broken"]


@pytest.mark.parametrize(("kind", "rule"), SABOTEURS, ids=[kind.__name__ for kind, _ in SABOTEURS])
def test_a_saboteur_breaks_its_rule_and_no_other(kind: type, rule: str) -> None:
    assert broken(kind) == [rule], [outcome for outcome in outcomes(kind) if outcome.state == "broken"]


def test_what_they_are_made_from_breaks_nothing() -> None:
    assert broken(Sound) == []


def test_every_rule_has_a_saboteur_and_the_table_shows_it(capsys: pytest.CaptureFixture[str]) -> None:
    assert {rule.name for rule in RULES} == {rule for _, rule in SABOTEURS}
    width = max(len(kind.__name__) for kind, _ in SABOTEURS)
    with capsys.disabled():
        print(f"\n{'summary saboteur':{width}}  breaks               what the kit says")
        for kind, rule in SABOTEURS:
            why = next(outcome.why for outcome in outcomes(kind) if outcome.rule == rule)
            print(f"{kind.__name__:{width}}  {rule:20} {why[:90]}")


def test_a_waived_rule_counts_as_waived_and_a_kept_one_must_not_be_waived() -> None:
    kind = SABOTEURS[0][0]
    waived = report("waived", summary_cases(kind(), waive={"block-size-invariant": "made so"}))
    assert [outcome.state for outcome in waived.outcomes if outcome.rule == "block-size-invariant"] == ["waived"]
    assert waived.passed
    assert not report("kept", summary_cases(Sound(), waive={"one-sample": "no need"})).passed
    with pytest.raises(ValueError, match="no such rule"):
        summary_cases(Sound(), waive={"two-samples": "no need"})


@check_summary(Sound())
def test_the_decorator_gives_a_case_for_each_rule(rule) -> None:
    rule()


def test_a_summary_that_fails_everywhere_is_broken_and_never_skipped() -> None:
    class Fails(Sound):
        def start(self, format: object) -> object:
            raise OSError("no room")

    states = [outcome.state for outcome in report("fails", summary_cases(Fails())).outcomes]
    assert states == ["broken"] * len(RULES)
    with pytest.raises(RuleBroken, match="OSError: no room"):
        summary_cases(Fails())[0]()
    assert not issubclass(RuleBroken, NotApplicable)
