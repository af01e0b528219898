"""Checks of struck-out trials: left out of the headline, told with their reasons, given once more with them."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import pytest

from fairhearing.api import Analyser, Inputs, Sheet
from fairhearing_builtins.analysers.exclusions import exclusion_caveats, reason_of
from fairhearing_builtins.analysers.forced_choice import ForcedChoice
from fairhearing_builtins.analysers.grading import Grading
from fairhearing_builtins.analysers.positions import Positions
from fairhearing_builtins.analysers.preference import Preference
from fairhearing_builtins.analysers.worth import Worth

from .build_inputs import Row, abx_rows, inputs, keys, matched, only, preference_rows, session, sheet
from .choice_sheets import choice_rows

SLAMMED, PHONE = "door slammed", "phone"


def struck(rows: list[Row], why: str) -> list[Row]:
    return [{**row, "trial": f"{row['trial']}-{why}", "excluded": why} for row in rows]


def given(*sheets: Sheet, conditions: tuple[str, ...] = ("out", "in")) -> Inputs:
    return inputs(session(conditions=conditions), sheets=sheets, findings=(matched(),))


def test_reasons_are_counted_the_most_frequent_first() -> None:
    reasons = Counter({PHONE: 1, SLAMMED: 2})
    assert exclusion_caveats(reasons) == ("left out: 3 trials excluded (2 door slammed, 1 phone)",)
    assert exclusion_caveats(Counter()) == ()
    assert reason_of({"excluded": "  "}) is None
    assert reason_of({"answer": "in"}) is None


def test_right_answers_leave_them_out_and_are_given_once_more_with_them() -> None:
    rows = [*abx_rows("a", 8, 0), *abx_rows("b", 8, 0)]
    rows += [*struck(abx_rows("a", 0, 3), SLAMMED), *struck(abx_rows("b", 0, 1), PHONE)]
    result = ForcedChoice().analyse(given(sheet("abx", rows)))
    headline = only(result.findings, "proportion_correct")
    assert (headline.value, headline.n, headline.p_value) == (1.0, 16, 2**-16)
    assert headline.caveats[0] == "left out: 4 trials excluded (3 door slammed, 1 phone)"
    everything = only(result.findings, "proportion_correct", variant="with-excluded")
    assert (everything.value, everything.n) == (16 / 20, 20)
    assert not any("excluded" in caveat for caveat in everything.caveats)
    assert [f for f in result.findings if f.variant == "with-excluded" and f.listener is not None] == []
    assert len(set(keys(result.findings))) == len(result.findings)


def test_a_variant_of_a_method_is_joined_with_a_dash() -> None:
    triangle = [*choice_rows("triangle", "a", 6, 3), *struck(choice_rows("triangle", "a", 0, 3), PHONE)]
    result = ForcedChoice().analyse(given(sheet("abx", abx_rows("a", 8, 2)), sheet("triangle", triangle, entry=1)))
    assert only(result.findings, "proportion_correct", variant="triangle").value == 6 / 9
    assert only(result.findings, "proportion_correct", variant="triangle-with-excluded").value == 6 / 12
    # Nothing of the other method was struck out, so there is nothing to say of it.
    assert [f for f in result.findings if f.variant == "with-excluded"] == []


def test_preferences_leave_them_out_of_the_mean_over_listeners() -> None:
    rows = [*preference_rows("a", 3, 1), *preference_rows("b", 2, 2), *struck(preference_rows("b", 0, 4), SLAMMED)]
    result = Preference().analyse(given(sheet("paired-preference", rows)))
    headline = only(result.findings, "preference_share")
    assert headline.value == (3 / 4 + 2 / 4) / 2
    assert "left out: 4 trials excluded (4 door slammed)" in headline.caveats
    everything = only(result.findings, "preference_share", variant="with-excluded")
    assert everything.value == (3 / 4 + 2 / 8) / 2


def test_a_struck_out_trial_of_another_pair_is_not_told_of_this_one() -> None:
    rows = [*preference_rows("a", 3, 1), *struck(preference_rows("a", 1, 0, condition="wide"), PHONE)]
    rows += preference_rows("a", 2, 2, condition="wide")
    result = Preference().analyse(given(sheet("paired-preference", rows), conditions=("out", "in", "wide")))
    wide, other = (only(result.findings, "preference_share", condition=name) for name in ("wide", "in"))
    assert any("excluded" in caveat for caveat in wide.caveats)
    assert not any("excluded" in caveat for caveat in other.caveats)


def test_ratings_leave_them_out() -> None:
    rows = [
        {"listener": name, "trial": str(n), "first": "out", "second": "in", "rating": grade, "excluded": why}
        for name, n, grade, why in [
            ("a", 1, "2", None),
            ("a", 2, "-2", PHONE),
            ("b", 1, "1", None),
            ("b", 2, "3", None),
        ]
    ]
    graded = replace(sheet("grading", rows), scale="comparison")
    result = Grading().analyse(given(graded))
    headline = only(result.findings, "rating_difference", seat=None, programme=None)
    assert headline.value == (2 + 2) / 2
    assert "left out: 1 trial excluded (1 phone)" in headline.caveats
    assert only(result.findings, "rating_difference", variant="with-excluded").value == (0 + 2) / 2


@pytest.mark.parametrize(
    ("analyser", "quantity", "conditions"),
    [(Positions(), "first_position_share", ("out", "in")), (Worth(), "worth", ("out", "in", "wide"))],
)
def test_positions_and_worths_leave_them_out(analyser: Analyser, quantity: str, conditions: tuple[str, ...]) -> None:
    rows = [row for name in "abc" for c in conditions[1:] for row in preference_rows(name, 3, 2, condition=c)]
    rows = [{**row, "trial": str(n)} for n, row in enumerate(rows)]
    found = analyser.analyse(given(sheet("paired-preference", rows), conditions=conditions)).findings
    more = [*rows, *struck(preference_rows("a", 0, 3), SLAMMED)]
    both = analyser.analyse(given(sheet("paired-preference", more), conditions=conditions)).findings
    plain = only(found, quantity, condition="in")
    headline = only(both, quantity, condition="in")
    assert (headline.value, headline.low, headline.n) == (plain.value, plain.low, plain.n)
    assert "left out: 3 trials excluded (3 door slammed)" in headline.caveats
    assert only(both, quantity, condition="in", variant="with-excluded").value != headline.value
