"""Checks of the change in the course of the trials: halves by hand, the order of trials, intervals over listeners."""

from __future__ import annotations

from dataclasses import replace

import pytest
from scipy import stats

from fairhearing.api import Analyser, Result, Sheet
from fairhearing_builtins.analysers.over_trials import OverTrials, fairhearing_analysers
from fairhearing_builtins.analysers.trial_order import in_order, place_of

from .build_inputs import Row, inputs, keys, only, session, sheet


def analysed(*sheets: Sheet) -> Result:
    return OverTrials().analyse(inputs(session(), sheets=sheets))


def course(listener: str, right: str, **cells: str) -> list[Row]:
    """Trials 1, 2, …: R for a right answer, W for a wrong one."""
    return [
        {"listener": listener, "trial": str(n), "x": "in", "answer": {"R": "in", "W": "out"}[one], **cells}
        for n, one in enumerate(right, 1)
    ]


def test_it_is_an_analyser_and_its_hook_offers_it() -> None:
    (offered,) = fairhearing_analysers()
    assert isinstance(offered, Analyser)
    assert (offered.name, offered.version) == ("over-trials", "2")


def test_the_second_half_less_the_first_is_a_mean_over_listeners() -> None:
    found = only(
        analysed(sheet("abx", [*course("a", "RRWW"), *course("b", "RWRR"), *course("c", "WWRW")])).findings,
        "second_half_change",
    )
    changes = [0 - 1, 1 - 1 / 2, 1 / 2 - 0]
    assert found.value == pytest.approx(sum(changes) / 3, abs=1e-12)
    low, high = stats.t.interval(0.95, 2, sum(changes) / 3, stats.sem(changes))
    assert (found.low, found.high) == (-1.0, 1.0)  # cut to what a share can change by
    assert low < -1.0
    assert high > 1.0
    assert (found.n, found.p_value, found.verdict, found.of) == (3, None, None, "proportion_correct")


def test_the_interval_is_by_t_over_listeners() -> None:
    rows = [
        row for name, own in zip("abcd", ("RRWR", "RWRW", "RRRR", "WRWW"), strict=True) for row in course(name, own)
    ]
    found = only(analysed(sheet("abx", rows)).findings, "second_half_change")
    changes = [-0.5, 0.0, 0.0, -0.5]
    expected = stats.t.interval(0.95, 3, -0.25, stats.sem(changes))
    assert (found.low, found.high) == pytest.approx(expected, rel=1e-9)


def test_trials_that_are_not_in_it_are_counted_in_the_caveats_and_in_the_chart() -> None:
    rows = [*course("a", "RRWWRR"), *course("b", "RWRRWW")]
    rows[5], rows[10], rows[11] = (
        {**rows[5], "excluded": "Phone"}, {**rows[10], "excluded": "Phone"}, {**rows[11], "answer": None}
    )  # fmt: skip
    result = analysed(sheet("abx", rows))
    found = only(result.findings, "second_half_change")
    said = ("left out: 2 trials excluded (2 Phone)", "left out: 1 trial without a valid answer")
    assert found.caveats[:2] == said
    assert "9 trials" in found.method
    assert result.charts[0].alternative.endswith(f" L{said[0][1:]}. L{said[1][1:]}.")


@pytest.mark.parametrize("scale", ["comparison", "quality"])
def test_ratings_and_preferences_count_what_was_struck_out_too(scale: str) -> None:
    graded = [
        {"listener": "a", "trial": f"{n}{name}", "condition": name, "first": "out", "second": "in", "rating": "1"}
        for n in range(4)
        for name in ("in", "out")
    ]
    struck = [*graded, {**graded[0], "trial": "9", "excluded": "phone"}]
    chosen = [{**row, "preferred": "in"} for row in struck]
    for one in (sheet("grading", struck, scale=scale), sheet("paired-preference", chosen)):
        found = only(analysed(one).findings, "second_half_change", variant=None)
        assert found.caveats[0] == "left out: 1 trial excluded (1 phone)"


def test_trials_go_by_their_number_and_not_by_their_row() -> None:
    rows = course("a", "RRRRRWWWWWW")  # trial 10 comes after 9, not after 1
    turned = only(analysed(sheet("abx", rows[::-1])).findings, "second_half_change")
    assert turned.value == only(analysed(sheet("abx", rows)).findings, "second_half_change").value == -1.0


def test_the_middle_trial_of_an_odd_number_is_in_neither_half() -> None:
    assert only(analysed(sheet("abx", course("a", "RRWRR"))).findings, "second_half_change").value == 0.0


def test_names_of_trials_sort_with_their_numbers_as_numbers() -> None:
    class Named:
        def __init__(self, number: str, entry: int = 0) -> None:
            self.number, self.entry, self.listener = number, entry, "a"

    names = ["b2", "b10", "a3", "b1"]
    assert [one.number for one in in_order(map(Named, names))["a"]] == ["a3", "b1", "b2", "b10"]
    assert place_of(Named("1", entry=1)) > place_of(Named("99"))


def test_one_listener_has_no_interval_and_one_trial_no_change() -> None:
    found = only(analysed(sheet("abx", course("a", "WWRR"))).findings, "second_half_change")
    assert (found.value, found.low, found.n) == (1.0, None, 1)
    assert any("that person only" in caveat for caveat in found.caveats)
    none = only(analysed(sheet("abx", course("a", "R"))).findings, "second_half_change")
    assert (none.value, none.n) == (None, None)
    assert none.caveats == ("no listener has what it takes in both halves of the trials",)


def preferences(listener: str, *answers: tuple[str, str]) -> list[Row]:
    return [
        {"listener": listener, "trial": str(n), "first": first, "second": {"in": "out", "out": "in"}[first],
         "preferred": preferred}
        for n, (first, preferred) in enumerate(answers)
    ]  # fmt: skip


def test_preferences_change_by_what_came_first() -> None:
    # in first: lost, won (+1); out first: won, nothing (-1/2). In all: lost, won | won, half: (0 + 1)/2 to (1 + .5)/2.
    own = (("in", "out"), ("out", "in"), ("in", "in"), ("out", "none"))
    result = analysed(sheet("paired-preference", [*preferences("a", *own), *preferences("b", *own)]))
    assert only(result.findings, "second_half_change").value == 0.25
    assert only(result.findings, "second_half_change", variant="condition-first").value == 1.0
    assert only(result.findings, "second_half_change", variant="reference-first").value == -0.5
    assert len(set(keys(result.findings))) == len(result.findings)


def test_ratings_change_in_their_unit() -> None:
    rows = [
        {"listener": name, "trial": str(n), "first": "out", "second": "in", "rating": rating}
        for name, ratings in {"a": ("1", "0", "2", "3"), "b": ("0", "0", "0", "1")}.items()
        for n, rating in enumerate(ratings)
    ]
    result = analysed(replace(sheet("grading", rows), scale="comparison"))
    found = only(result.findings, "second_half_change")
    assert (found.value, found.unit, found.of) == ((2.0 + 0.5) / 2, "comparison", "rating_difference")


def test_the_chart_has_the_mean_of_each_quarter() -> None:
    (chart,) = analysed(sheet("abx", [*course("a", "RRWWRRRW"), *course("b", "RWWWWRRR")])).charts
    assert chart.data["mean"] == [(1 + 0.5) / 2, 0.0, (1 + 0.5) / 2, (0.5 + 1) / 2]
    assert chart.data["low"][1] is None
