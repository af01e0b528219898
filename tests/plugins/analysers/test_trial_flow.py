"""Checks of what became of every trial: counts by hand with and without a plan, and how the listening was run."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fairhearing.api import Analyser, Result, Session, Sheet
from fairhearing_builtins.analysers.trial_flow import TrialFlow, fairhearing_analysers, grouped

from .build_inputs import Row, abx_rows, inputs, keys, only, preference_rows, session, sheet
from .build_plans import COMMITMENT, plan, planned_session

SLAMMED = "door slammed"


def analysed(of: Session, *sheets: Sheet) -> Result:
    return TrialFlow().analyse(inputs(of, sheets=sheets))


def table(result: Result, name: str) -> list[dict[str, object]]:
    (found,) = (one for one in result.tables if one.name == name)
    columns = {key: list(column) for key, column in found.columns.items()}
    return [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]


def said(result: Result) -> dict[object, object]:
    return {row["what"]: row["said"] for row in table(result, "how-it-was-run")}


def trials(listener: str, *answers: str | None, **cells: str) -> list[Row]:
    return [{"listener": listener, "trial": str(n), "x": "in", "answer": a, **cells} for n, a in enumerate(answers)]


def test_it_is_an_analyser_and_its_hook_offers_it() -> None:
    (offered,) = fairhearing_analysers()
    assert isinstance(offered, Analyser)
    assert (offered.name, offered.version) == ("trial-flow", "2")


def test_by_a_plan_those_who_did_not_come_count_as_planned() -> None:
    rows = [*trials("a", "in", "out", "in", "in"), *trials("b", "in", None, "out")]
    rows[2] = {**rows[2], "excluded": SLAMMED}
    of = planned_session(plan(listeners=("a", "b", "c"), n_trials=4))
    result = analysed(of, sheet("abx", rows))
    over_all = only(result.findings, "answered_share")
    assert (over_all.value, over_all.n) == (6 / 12, 12)
    assert "6 of 12; played 7, excluded 1 (1 door slammed), scored 5" in over_all.method
    shares = {name: only(result.findings, "answered_share", listener=name).value for name in "abc"}
    assert shares == {"a": 1.0, "b": 2 / 4, "c": 0.0}
    flow = {row["listener"]: row for row in table(result, "trial-flow")}
    names = ("planned", "played", "answered", "excluded", "scored", "reasons")
    assert [flow["a"][name] for name in names] == [4, 4, 4, 1, 3, "1 door slammed"]
    assert [flow["b"][name] for name in names] == [4, 3, 2, 0, 2, None]
    assert [flow["all listeners"][name] for name in names] == [12, 7, 6, 1, 5, "1 door slammed"]


def test_without_a_plan_every_row_counts_and_it_says_so() -> None:
    rows = [*trials("a", "in", None), *trials("b", "out", "out")]
    over_all = only(analysed(session(), sheet("abx", rows)).findings, "answered_share")
    assert (over_all.value, over_all.n) == (3 / 4, 4)
    assert "nobody said how many" in over_all.method


def test_what_was_not_played_is_not_counted_as_played() -> None:
    rows = [*trials("a", "in", "in", played="yes"), *trials("b", None, played="no", excluded="not played")]
    (first, second, _) = table(analysed(session(), sheet("abx", rows)), "trial-flow")
    assert (first["played"], second["played"], second["excluded"]) == (2, 0, 1)


def test_controls_and_shams_have_findings_of_their_own() -> None:
    of = planned_session(plan(listeners=("a",), n_trials=4, n_control=2, n_sham=3))
    result = analysed(
        of,
        sheet("abx", abx_rows("a", 4, 0)),
        sheet("abx", abx_rows("a", 1, 0), role="control", entry=1),
    )
    assert only(result.findings, "answered_share").value == 1.0
    assert only(result.findings, "answered_share", variant="control").value == 1 / 2
    assert only(result.findings, "answered_share", variant="sham").value == 0.0
    assert len(set(keys(result.findings))) == len(result.findings)


def test_a_sheet_that_the_plan_did_not_bring_is_counted_beside_it() -> None:
    of = planned_session(plan(listeners=("a",), n_trials=4), plan_folder="listening")
    planned = replace(sheet("abx", abx_rows("a", 2, 0)), paths=("listening/opened/scored.csv",))
    other = sheet("paired-preference", preference_rows("a", 3, 0), entry=1)
    (row, _) = table(analysed(of, planned, other), "trial-flow")
    assert (row["planned"], row["played"]) == (4 + 3, 2 + 3)


def test_how_it_was_run_is_told_and_what_is_not_said_too() -> None:
    told = said(analysed(planned_session(gap_s=2.5, gap_equal=True, switching="relay"), sheet("abx", [])))
    assert told["pause at a change"] == "2.5 s"
    assert (told["switched"], told["the same pause at every trial"]) == ("by a relay", "yes")
    assert (told["operator blind"], told["plan"]) == ("not said", "none")
    assert "commitment" not in told


def test_what_controls_there_were_is_told() -> None:
    told = said(analysed(planned_session(), sheet("abx", [])))
    assert (told["positive control"], told["shams"]) == ("none", "none")
    of = planned_session(plan(n_trials=2, n_control=3, n_sham=1, control="bass 6 dB down"))
    told = said(analysed(of, sheet("abx", [])))
    assert (told["positive control"], told["shams"]) == ("bass 6 dB down: 6 trials", "2 trials")
    unplanned = analysed(planned_session(), sheet("abx", trials("a", "in"), role="control"))
    assert said(unplanned)["positive control"] == "1 trial"


def test_the_commitment_stands_in_groups_of_eight_with_the_reason_for_opening_early() -> None:
    told = said(analysed(planned_session(plan(opened_early="a listener fell ill")), sheet("abx", [])))
    assert told["commitment"] == "01234567 89abcdef " * 3 + "01234567 89abcdef" == grouped(COMMITMENT)
    assert told["opened early"] == "a listener fell ill"
    assert said(analysed(planned_session(plan()), sheet("abx", [])))["opened early"] == "no"
    assert said(analysed(planned_session(plan(sealed=True)), sheet("abx", [])))["opened early"] == "not opened yet"


@pytest.mark.parametrize(
    ("how", "words"),
    [
        ({"gap_equal": False}, "the pause at a change was not the same"),
        ({"operator_blind": False}, "whoever switched knew"),
        ({"switch_check_passed": False}, "it was not checked whether the switch gives itself away"),
        ({"switch_check": "clicks", "switch_check_passed": False}, "the check of the switch was not passed"),
        ({"gap_equal": True}, "not said in [listening]: whether the operator knew what was played; whether the switch"),
    ],
)
def test_what_can_give_it_away_is_a_caveat(how: dict[str, object], words: str) -> None:
    over_all = only(analysed(planned_session(**how), sheet("abx", abx_rows("a", 1, 1))).findings, "answered_share")
    assert any(caveat.startswith(words) for caveat in over_all.caveats)


def test_a_plan_that_was_opened_early_is_told_with_its_reason() -> None:
    of = planned_session(plan(listeners=("a",), n_trials=4, opened_early="look 1 of 2 ended it, as planned"))
    over_all = only(analysed(of, sheet("abx", abx_rows("a", 2, 0))).findings, "answered_share")
    assert over_all.value == 2 / 4
    told = "opened before all planned trials were answered: look 1 of 2 ended it, as planned"
    assert over_all.caveats[0] == told


def test_a_listening_without_fault_has_no_caveat() -> None:
    of = planned_session(gap_equal=True, operator_blind=True, switch_check="clicks", switch_check_passed=True)
    result = analysed(of, sheet("abx", abx_rows("a", 1, 1)))
    assert only(result.findings, "answered_share").caveats == ()
    (chart,) = result.charts
    assert chart.data["listener"] == ["a", "all listeners"]
