"""Checks of the balance where looks at the scores were planned: what holds by the looks is what it weighs."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fairhearing_builtins.analysers.balance import Balance
from fairhearing_builtins.analysers.listening import LOOKS_CAVEAT

from .build_inputs import finding, inputs, session
from .test_balance import states


@pytest.mark.parametrize(("by_looks", "expected"), [("heard", "shown"), ("not-shown", "not-shown")])
def test_where_looks_were_planned_their_verdict_counts_and_not_the_headline(by_looks: str, expected: str) -> None:
    headline = "heard" if by_looks == "not-shown" else "not-shown"
    findings = (
        finding("proportion_correct", headline, 0.66, unit="1"),
        finding("proportion_correct", by_looks, 0.64, unit="1", variant="sequential"),
        finding("proportion_correct", headline, 0.6, unit="1", variant="beta-binomial"),
    )
    result = Balance().analyse(inputs(session(benefit=("heard",)), findings=findings))
    assert states(result, "benefit") == {"heard": expected}
    assert f"proportion_correct 0.64, {by_looks} by the planned looks" in result.findings[0].method


def test_a_headline_that_does_not_allow_for_looks_decides_nothing_by_itself() -> None:
    headline = finding("proportion_correct", "heard", 0.66, unit="1")
    for caveats, expected in (((), "shown"), ((LOOKS_CAVEAT,), "undecided")):
        result = Balance().analyse(inputs(session(benefit=("heard",)), findings=(replace(headline, caveats=caveats),)))
        assert states(result, "benefit") == {"heard": expected}
