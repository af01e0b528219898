"""Checks of the analyser of positions: cases by hand, outside values, and that methods and sheets stay apart."""

from __future__ import annotations

import pytest
from scipy import stats

from fairhearing.api import Analyser, Result, Sheet
from fairhearing_builtins.analysers.positions import Positions, fairhearing_analysers

from .build_inputs import Row, abx_rows, inputs, keys, only, preference_rows, session, sheet
from .choice_sheets import counted_rows


def analysed(*sheets: Sheet) -> Result:
    return Positions().analyse(inputs(session(), sheets=sheets))


def placed(rows: list[Row], n_condition_first: int) -> list[Row]:
    """The rows with the condition first in so many of them, then second."""
    pairs = [("in", "out")] * n_condition_first + [("out", "in")] * (len(rows) - n_condition_first)
    return [{**row, "first": first, "second": second} for row, (first, second) in zip(rows, pairs, strict=True)]


def test_it_is_an_analyser_and_its_hook_offers_it() -> None:
    (offered,) = fairhearing_analysers()
    assert isinstance(offered, Analyser)
    assert (offered.name, offered.version) == ("positions", "3")


def test_abx_answers_for_what_came_first_are_counted_where_the_sheet_says_what_did() -> None:
    result = analysed(sheet("abx", placed(abx_rows("a", 12, 4), 10)))
    # By hand: 10 answers "in" with in first, 2 answers "in" with out first, 4 answers "out" with out first.
    found = only(result.findings, "first_position_share")
    assert (found.value, found.n, found.p_value, found.of) == (14 / 16, 16, None, "proportion_correct")
    # scipy's exact interval (Clopper-Pearson), computed.
    exact = stats.binomtest(14, 16).proportion_ci(0.95, method="exact")
    assert (found.low, found.high) == pytest.approx(exact, rel=1e-9)


def test_an_abx_sheet_without_positions_says_nothing_of_them() -> None:
    assert analysed(sheet("abx", abx_rows("a", 12, 4))) == Result()


def test_preferences_for_what_came_first_are_counted_and_answers_without_one_left_out() -> None:
    rows = [
        {"listener": "a", "trial": str(i), "first": first, "second": second, "preferred": preferred}
        for i, (first, second, preferred) in enumerate(
            [("in", "out", "in"), ("out", "in", "out"), ("in", "out", "out"), ("in", "out", "none")]
        )
    ]
    result = analysed(sheet("paired-preference", rows))
    over_all = only(result.findings, "first_position_share")
    exact = stats.binomtest(2, 3).proportion_ci(0.95, method="exact")
    assert (over_all.value, over_all.p_value, over_all.of) == (2 / 3, None, "preference_share")
    assert (over_all.low, over_all.high) == pytest.approx(exact, rel=1e-9)
    assert only(result.findings, "first_position_share", listener="a").value == 2 / 3


def test_a_session_with_both_methods_has_a_share_for_each_and_a_chart_of_both() -> None:
    result = analysed(
        sheet("abx", placed(abx_rows("a", 12, 4), 10)),
        sheet("paired-preference", preference_rows("b", 4, 4), entry=1),
    )
    assert len(set(keys(result.findings))) == len(result.findings) == 4
    shares = {f.of: (f.value, f.n) for f in result.findings if f.listener is None}
    # By hand: `in` is first in every other row and preferred in the first four; then `out` is.
    assert shares == {"proportion_correct": (14 / 16, 16), "preference_share": (0.5, 1)}
    (chart,) = result.charts
    assert list(chart.data["share"]) == [14 / 16, 0.5]


def test_nobody_with_a_preference_leaves_nothing_to_say() -> None:
    assert analysed(sheet("paired-preference", preference_rows("a", 0, 0, 4))) == Result()


def test_duo_trio_answers_for_the_first_are_counted_and_stand_beside_those_of_abx() -> None:
    # By hand, the first column: 4 right with the match first, 1 wrong with it second, of 8.
    rows = counted_rows("duo-trio", "a", [[4, 1], [1, 2]])
    alone = analysed(sheet("duo-trio", rows))
    found = only(alone.findings, "first_position_share")
    exact = stats.binomtest(5, 8).proportion_ci(0.95, method="exact")
    assert (found.value, found.n, found.of, found.p_value) == (5 / 8, 8, "proportion_correct", None)
    assert (found.low, found.high) == pytest.approx(exact, rel=1e-9)
    both = analysed(sheet("abx", placed(abx_rows("a", 12, 4), 10)), sheet("duo-trio", rows, entry=1))
    shares = {f.variant: f.value for f in both.findings if f.listener is None}
    assert shares == {None: 14 / 16, "duo-trio": 5 / 8}
    assert len(set(keys(both.findings))) == len(both.findings)
    assert len(set(both.charts[0].data["what"])) == 2
    unplaced = analysed(sheet("abx", abx_rows("a", 12, 4)), sheet("duo-trio", rows, entry=1))
    assert only(unplaced.findings, "first_position_share").value == 5 / 8


def test_each_position_of_a_triangle_has_its_share_against_a_third() -> None:
    # By hand, by columns: 3, 7 and 2 of 12 answers.
    rows = counted_rows("triangle", "a", [[2, 2, 0], [0, 4, 0], [1, 1, 2]])
    result = analysed(sheet("triangle", rows))
    shares = {name: only(result.findings, "position_share", variant=name) for name in ("first", "second", "third")}
    assert [f.value for f in shares.values()] == [3 / 12, 7 / 12, 2 / 12]
    exact = stats.binomtest(7, 12).proportion_ci(0.95, method="exact")
    assert (shares["second"].low, shares["second"].high) == pytest.approx(exact, rel=1e-9)
    assert {(f.of, f.n, f.p_value) for f in shares.values()} == {("proportion_correct", 12, None)}
    (chart,) = result.charts
    assert (chart.name, chart.rules[0].at) == ("positions-of-three", pytest.approx(1 / 3, rel=1e-12))
    assert list(chart.data["share"]) == [3 / 12, 7 / 12, 2 / 12]
    assert len(set(chart.data["what"])) == 3


def test_triangles_without_a_valid_answer_say_nothing_of_positions() -> None:
    rows = [{"listener": "a", "trial": "1", "order": "in out out", "answer": None}]
    assert analysed(sheet("triangle", rows)) == Result()
