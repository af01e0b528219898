"""Checks of right answers by a model in which listeners differ: a published fit, when it is given, what it says."""

from __future__ import annotations

import pytest
from references.helper import check, load

from fairhearing.api import Result, Sheet
from fairhearing_builtins.analysers.choice_spread import NOTHING_TO_DIFFER_IN
from fairhearing_builtins.analysers.forced_choice import ForcedChoice

from .build_inputs import Row, abx_rows, inputs, keys, matched, only, session, sheet
from .choice_sheets import choice_rows

RIGHT, VARIANT = "proportion_correct", "beta-binomial"


def analysed(*sheets: Sheet) -> Result:
    return ForcedChoice().analyse(inputs(session(), sheets=sheets, findings=(matched(),)))


def listeners(n_right: list[int], n_trials: int) -> list[Row]:
    return [row for i, n in enumerate(n_right) for row in abx_rows(f"L{i:02}", n, n_trials - n)]


def variants(result: Result) -> list[str]:
    return [one.variant for one in result.findings if one.variant is not None and VARIANT in one.variant]


def test_a_published_fit_of_a_triangle_comes_back_on_the_scale_of_right_answers() -> None:
    reference = load("E16")
    counts, n = reference.inputs["x"], reference.inputs["n_rep"]
    rows = [row for i, right in enumerate(counts) for row in choice_rows("triangle", f"L{i:02}", right, n - right)]
    found = only(analysed(sheet("triangle", rows)).findings, RIGHT, variant=VARIANT)
    assert found.value is not None
    check((found.value - 1 / 3) / (2 / 3), reference.expected["mu"], reference)
    assert f"overdispersion {reference.expected['gamma']:.3f}" in found.method
    assert (found.n, found.p_value, found.verdict, found.caveats) == (288, None, None, ())
    assert found.low is not None
    assert found.high is not None
    assert 1 / 3 < found.low < found.value < found.high < 0.6


def test_the_headline_is_what_it_was() -> None:
    result = analysed(sheet("abx", listeners([12, 11, 12, 6, 7, 5], 12)))
    headline = only(result.findings, RIGHT)
    assert (headline.value, headline.n, headline.verdict) == (53 / 72, 72, "heard")
    assert "exact binomial" in headline.method
    assert len(set(keys(result.findings))) == len(result.findings)


@pytest.mark.parametrize(("n_listeners", "said"), [(3, True), (19, True), (20, False)])
def test_with_fewer_than_twenty_listeners_the_interval_is_said_to_be_doubtful(n_listeners: int, said: bool) -> None:
    rows = listeners([12, 10] * (n_listeners // 2) + [9] * (n_listeners % 2), 12)
    found = only(analysed(sheet("abx", rows)).findings, RIGHT, variant=VARIANT)
    assert (
        any(f"{n_listeners} listeners" in caveat and "may be too narrow" in caveat for caveat in found.caveats) is said
    )


def test_where_all_are_right_nothing_is_said_of_how_they_differ() -> None:
    found = only(analysed(sheet("abx", listeners([8, 8, 8], 8))).findings, RIGHT, variant=VARIANT)
    assert (found.value, found.high) == (1.0, 1.0)
    assert NOTHING_TO_DIFFER_IN in found.caveats


@pytest.mark.parametrize("n_trials", [[16], [1, 1, 1], [8, 1]])
def test_it_takes_several_listeners_with_repeats(n_trials: list[int]) -> None:
    rows = [row for i, n in enumerate(n_trials) for row in abx_rows(f"L{i}", n, 0)]
    assert variants(analysed(sheet("abx", rows))) == []


def test_it_takes_a_chance_that_is_known() -> None:
    rows = [row for name in "abc" for row in choice_rows("same-different", name, 6, 4)]
    assert variants(analysed(sheet("same-different", rows))) == []


def test_what_was_struck_out_is_told_and_given_once_more_with_it() -> None:
    struck = [{**row, "trial": f"{row['trial']}x", "excluded": "phone"} for row in abx_rows("L00", 0, 2)]
    result = analysed(sheet("abx", [*listeners([7, 6, 8], 8), *struck]))
    assert only(result.findings, RIGHT, variant=VARIANT).caveats[0] == "left out: 2 trials excluded (2 phone)"
    assert only(result.findings, RIGHT, variant=f"{VARIANT}-with-excluded").n == 26
