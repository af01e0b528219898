"""Checks of positive controls and shams: counts by hand, exact tests and intervals, which trials are read."""

from __future__ import annotations

import pytest
from scipy import stats

from fairhearing.api import Analyser, Result, Sheet
from fairhearing_builtins.analysers.controls import Controls, fairhearing_analysers

from .build_inputs import Row, abx_rows, inputs, keys, only, preference_rows, session, sheet
from .choice_sheets import choice_rows


def analysed(*sheets: Sheet) -> Result:
    return Controls().analyse(inputs(session(), sheets=sheets))


def control(method: str, rows: list[Row], **said: object) -> Sheet:
    return sheet(method, rows, role="control", **said)


def sham(method: str, rows: list[Row], **said: object) -> Sheet:
    return sheet(method, rows, role="sham", entry=9, **said)


def ratings(listener: str, *grades: float) -> list[Row]:
    return [
        {"listener": listener, "trial": str(index), "first": "out", "second": "in", "rating": f"{grade:g}"}
        for index, grade in enumerate(grades)
    ]


def test_it_is_an_analyser_and_its_hook_offers_it() -> None:
    (offered,) = fairhearing_analysers()
    assert isinstance(offered, Analyser)
    assert (offered.name, offered.version) == ("controls", "2")


@pytest.mark.parametrize(("n_right", "p_value", "verdict"), [(7, 9 / 256, "passed"), (6, 37 / 256, "not-passed")])
def test_seven_of_eight_pass_and_six_do_not(n_right: int, p_value: float, verdict: str) -> None:
    # By hand: 8 + 1 of 256 orders have seven or eight right, 28 more have six.
    found = only(
        analysed(control("abx", [*abx_rows("a", 4, 0), *abx_rows("b", n_right - 4, 8 - n_right)])).findings,
        "control_correct",
    )
    assert (found.value, found.p_value, found.n, found.verdict) == (n_right / 8, p_value, 8, verdict)
    exact = stats.binomtest(n_right, 8).proportion_ci(0.95, method="exact")
    assert (found.low, found.high) == pytest.approx(tuple(exact), rel=1e-9)
    assert "chance 1/2" in found.method


def test_each_listener_has_a_share_without_p_and_verdict() -> None:
    result = analysed(control("abx", [*abx_rows("a", 4, 0), *abx_rows("b", 3, 1)]))
    own = only(result.findings, "control_correct", listener="b")
    assert (own.value, own.n, own.p_value, own.verdict) == (0.75, 4, None, None)
    assert len(set(keys(result.findings))) == len(result.findings)
    (chart,) = result.charts
    assert chart.data["listener"] == ["a", "b", "all listeners"]
    assert [rule.at for rule in chart.rules] == [0.5]


@pytest.mark.parametrize(("neither", "p_value", "verdict"), [(0, 2 / 256, "passed"), (1, 18 / 256, "not-passed")])
def test_a_control_of_preferences_passes_if_answers_go_one_way(neither: int, p_value: float, verdict: str) -> None:
    # By hand: two ways to go one way throughout of 256; with one that does not, twice (8 + 1).
    rows = [*preference_rows("a", 0, 4), *preference_rows("b", 0, 4 - neither, neither)]
    found = only(analysed(control("paired-preference", rows)).findings, "control_correct")
    assert (found.value, found.p_value, found.verdict) == ((8 - neither) / 8, p_value, verdict)
    assert "which of the two should win is not said" in found.method


def test_a_control_of_ratings_counts_their_signs() -> None:
    rows = [*ratings("a", 2, 1, 3, 1), *ratings("b", 1, 2, -1, 0)]
    found = only(analysed(control("grading", rows, scale="comparison", treatment="in")).findings, "control_correct")
    # Six up, one down, one alike: p is twice (28 + 8 + 1) of 256.
    assert (found.value, found.p_value, found.verdict) == (6 / 8, 74 / 256, "not-passed")


def test_shams_count_differences_reported_where_there_are_none() -> None:
    different = [
        {"listener": "a", "trial": str(n), "first": "out", "second": "out", "answer": answer}
        for n, answer in enumerate(["different", "same", "same", "same", "different", None])
    ]
    found = only(analysed(sham("same-different", different)).findings, "sham_difference_share")
    exact = stats.binomtest(2, 5).proportion_ci(0.95, method="exact")
    assert (found.value, found.low, found.high) == pytest.approx((0.4, *exact), rel=1e-9)
    assert (found.n, found.p_value, found.verdict, found.condition) == (5, None, None, None)
    assert "left out: 1 trial without a valid answer" in found.caveats


def test_shams_of_preferences_and_of_ratings_count_what_is_not_none_and_not_0() -> None:
    preferred = only(
        analysed(sham("paired-preference", preference_rows("a", 1, 2, 5))).findings, "sham_difference_share"
    )
    assert preferred.value == 3 / 8
    rated = only(
        analysed(sham("grading", ratings("a", 0, 0, 1, -2), scale="comparison")).findings, "sham_difference_share"
    )
    assert rated.value == 2 / 4


def grades(listener: str, programme: str, named: str, *marks: float | None) -> list[Row]:
    """One thing graded at a time, under the name that the row gives it."""
    return [
        {"listener": listener, "trial": f"{programme}{named}{n}", "programme": programme, "condition": named,
         "rating": None if mark is None else f"{mark:g}"}
        for n, mark in enumerate(marks)
    ]  # fmt: skip


@pytest.mark.parametrize("scale", ["quality", "impairment"])
def test_shams_graded_one_at_a_time_count_where_hidden_equals_are_graded_apart(scale: str) -> None:
    """By hand: a's organ 4 and 4; a's choir 4 and 5; b's organ 3 and 4; b's choir has no equal."""
    shams = [
        *grades("a", "organ", "in", 4), *grades("a", "organ", "out", 4), *grades("a", "choir", "in", 4, 5),
        *grades("b", "organ", "in", 3, 4), *grades("b", "choir", "in", 4), *grades("b", "choir", "out", None),
    ]  # fmt: skip
    result = analysed(sham("grading", shams, scale=scale))
    found = only(result.findings, "sham_difference_share")
    exact = stats.binomtest(2, 3).proportion_ci(0.95, method="exact")
    assert (found.value, found.low, found.high) == pytest.approx((2 / 3, *exact), rel=1e-9)
    assert (found.n, found.p_value, found.verdict, found.condition) == (3, None, None, None)
    assert f"grading on the scale {scale}: share of listeners' programmes" in found.method
    left_out = "left out: 1 sham without an equal graded by the same listener in the same programme and seat"
    assert found.caveats == ("left out: 1 trial without a valid answer", left_out)
    assert only(result.findings, "sham_difference_share", listener="b").value == 1.0


def test_gradings_without_a_sham_say_nothing_of_shams() -> None:
    assert analysed(sheet("grading", grades("a", "organ", "out", 5, 4), scale="quality")).findings == ()


def test_shams_of_forced_choices_stand_beside_chance_and_tell_if_they_are_given_away() -> None:
    guessed = only(analysed(sham("triangle", choice_rows("triangle", "a", 3, 6))).findings, "sham_correct_share")
    assert guessed.value == 3 / 9
    assert "guessing gives 1/3" in guessed.method
    assert not any("gives the answers away" in caveat for caveat in guessed.caveats)
    told = only(analysed(sham("abx", abx_rows("a", 12, 0))).findings, "sham_correct_share")
    # The exact interval of 12 of 12 begins at 0.025 ** (1 / 12), 0.735.
    assert told.low == pytest.approx(0.025 ** (1 / 12), rel=1e-9)
    assert any("gives the answers away" in caveat for caveat in told.caveats)


def test_a_struck_out_control_is_left_out_and_told() -> None:
    rows = [*abx_rows("a", 8, 0), {**abx_rows("a", 0, 1)[0], "trial": "x", "excluded": "door slammed"}]
    found = only(analysed(control("abx", rows)).findings, "control_correct")
    assert (found.value, found.n) == (1.0, 8)
    assert "left out: 1 trial excluded (1 door slammed)" in found.caveats


def test_without_a_valid_trial_the_share_is_null_and_says_why() -> None:
    found = only(analysed(control("abx", [{"listener": "a", "trial": "1", "x": "in", "answer": None}])).findings,
                 "control_correct")  # fmt: skip
    assert (found.value, found.verdict) == (None, None)
    assert "no valid trial" in found.caveats
