"""Planned looks: they tell whether to go on and nothing else, are taken once and in order, and end it as planned."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from planned_listening import DESIGN, Answers, change, everything, fill, hearing, key_of, made_plan, rows_of, write_rows

from fairhearing.cli import main
from fairhearing.errors import InputProblem
from fairhearing.manifest import load_session
from fairhearing.protocol.looking import Looked, check_looks, look
from fairhearing.protocol.opening import Opened, unseal
from fairhearing.session import Look, Session

# Two listeners with ten scored trials each; boundaries made up for the tests.
LOOKS = (
    Look(n_trials=8, n_right_needed=8, alpha_spent=0.004),
    Look(n_trials=14, n_right_needed=12, alpha_spent=0.01),
    Look(n_trials=20, n_right_needed=15, alpha_spent=0.03),
)
PLANNED = replace(DESIGN, looks=LOOKS, spending="obrien-fleming")


def session_of(plan: Path) -> Session:
    session = load_session(plan.parent).session
    assert session is not None
    return session


def looked(plan: Path, number: int) -> Looked:
    return look(session_of(plan), plan, number)


def opened(plan: Path) -> Opened:
    return unseal(session_of(plan), plan)


def refused(plan: Path, number: int) -> str:
    before = everything(plan)
    with pytest.raises(InputProblem) as caught:
        looked(plan, number)
    assert everything(plan) == before
    return str(caught.value)


def answer_first(plan: Path, n_each: int, answer: Answers) -> None:
    """Let each listener answer all up to their n-th scored trial, and nothing after it."""
    fill(plan, answer)
    scored = [one for one in key_of(plan) if one.part == "scored"]
    for path in sorted((plan / "listeners").glob("*.csv")):
        last = [one for one in scored if one.listener == path.stem][n_each - 1].position
        first, rows = rows_of(path)
        for place, row in enumerate(rows, start=1):
            row["answer"] = row["answer"] if place <= last else ""
        write_rows(path, first, rows)


@pytest.fixture
def plan(tmp_path: Path) -> Path:
    return made_plan(tmp_path, PLANNED).folder


def test_a_look_below_the_boundary_says_to_go_on_and_keeps_the_count(plan: Path) -> None:
    answer_first(plan, 4, hearing(0.0))
    found = looked(plan, 1)
    assert (found.number, found.n_looks, found.ended) == (1, 3, False)
    value = json.loads((plan / "looks.json").read_bytes())
    assert [set(one) for one in value["looks"]] == [{"look", "n_trials", "ended", "sheets_sha256"}]
    assert not (plan / "opened.json").exists()


def test_a_look_at_the_boundary_ends_it_and_what_was_not_played_any_more_needs_no_reason(plan: Path) -> None:
    answer_first(plan, 4, hearing(1.0))
    assert looked(plan, 1).ended
    outcome = opened(plan)
    assert outcome.reason == "look 1 of 3 ended it, as planned"
    assert sum(one.n_answered for one in outcome.counts if one.part == "scored") == 8
    session = session_of(plan)
    assert session.listening.plan is not None
    assert session.listening.plan.opened_early == outcome.reason


@pytest.mark.parametrize(("n_wrong", "ended"), [(2, True), (3, False)])
def test_the_boundary_is_the_number_that_was_planned(plan: Path, n_wrong: int, ended: bool) -> None:
    wrong = hearing(0.0)
    answer_first(plan, 4, wrong)
    assert not looked(plan, 1).ended
    answer_first(plan, 7, hearing(1.0))
    counted = [one for one in key_of(plan) if one.part == "scored" and one.listener == "m3"][:n_wrong]
    for trial in counted:
        change(plan / "listeners/m3.csv", trial.trial, answer=wrong(trial))
    assert looked(plan, 2).ended is ended


def test_an_excluded_trial_counts_as_wrong(plan: Path) -> None:
    answer_first(plan, 4, hearing(1.0))
    trial = next(one for one in key_of(plan) if one.part == "scored")
    change(plan / "listeners/k7.csv", trial.trial, excluded="telephone rang")
    assert not looked(plan, 1).ended


def test_looks_are_taken_in_order_once_and_only_those_that_were_planned(plan: Path) -> None:
    answer_first(plan, 7, hearing(0.0))
    assert "look 1 comes first" in refused(plan, 2)
    for number in (0, 3, 4):
        assert f"look {number} is none that was planned" in refused(plan, number)
    looked(plan, 1)
    assert "look 1 was taken before" in refused(plan, 1)
    looked(plan, 2)


def test_after_the_end_there_is_no_further_look(plan: Path) -> None:
    answer_first(plan, 7, hearing(1.0))
    looked(plan, 1)
    assert "an earlier look ended the listening" in refused(plan, 2)


def test_answers_that_the_look_counts_must_all_be_there(plan: Path) -> None:
    answer_first(plan, 3, hearing(1.0))
    assert "has no answer to 1 of the planned trials" in refused(plan, 1)


def test_a_plan_without_looks_allows_none(tmp_path: Path) -> None:
    plan = made_plan(tmp_path).folder
    fill(plan, hearing(1.0))
    assert "look 1 is none that was planned" in refused(plan, 1)
    opened(plan)
    assert "the plan was unsealed before" in refused(plan, 1)


def test_a_look_that_said_go_on_is_no_reason_to_open(plan: Path) -> None:
    answer_first(plan, 4, hearing(0.0))
    looked(plan, 1)
    with pytest.raises(InputProblem, match="has no answer to"):
        opened(plan)


def test_the_command_tells_by_its_exit_code_and_never_how_many_were_right(
    plan: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    session = str(plan.parent)
    answer_first(plan, 4, hearing(0.0))
    assert main(["unseal", session, "--look", "1"]) == 3
    text = capsys.readouterr().out
    assert text == (
        "Look 1 of 3, after 8 scored trials of all listeners together:\nthe boundary is not reached. Go on; tell the "
        "listeners nothing.\nNext: the trials up to the next look\n"
    )
    answer_first(plan, 7, hearing(1.0))
    assert main(["unseal", session, "--look", "2", "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == {"format": 1, "look": 2, "n_trials": 14, "ended": True}
    for arguments in (["--look", "one"], ["--look", "1", "--reason", "why"]):
        assert main(["unseal", session, *arguments]) == 2


def test_looks_are_counted_again_once_the_plan_is_opened(tmp_path: Path) -> None:
    plan = made_plan(tmp_path, PLANNED).folder
    answer_first(plan, 4, hearing(0.0))
    looked(plan, 1)
    answer_first(plan, 7, hearing(1.0))
    looked(plan, 2)
    opened(plan)
    assert check_looks(session_of(plan), plan) == (
        "looks.json is not what key and answers give: look 1 ended the listening",
    )
    sound = (plan / "looks.json").read_text(encoding="utf-8").replace('"ended": false', '"ended": true')

    def told(old: str, new: str) -> tuple[str, ...]:
        assert old in sound
        (plan / "looks.json").write_text(sound.replace(old, new, 1), encoding="utf-8")
        return check_looks(session_of(plan), plan)

    assert told("looks", "looks") == ()
    assert told('"ended": true', '"ended": false') == (
        "looks.json is not what key and answers give: look 1 ended the listening",
    )
    assert told('"n_trials": 14', '"n_trials": 12') == (
        "looks.json is not what key and answers give: look 2 ended the listening",
    )
    assert told('"commitment": "', '"commitment": "0') == ("looks.json has another commitment than the seal",)
    assert told('"looks": [', '"looks": [{}, ')[0] == "looks.json has 3 looks, 3 are planned, the last is unsealing"
    assert told('"looks": [', '"looks": {"a": [')[0] == "looks.json is not JSON"
    (plan / "looks.json").unlink()
    assert check_looks(session_of(plan), plan) == ()


def test_a_look_that_is_only_said_to_have_ended_it_opens_nothing_without_a_reason(tmp_path: Path) -> None:
    plan = made_plan(tmp_path, PLANNED).folder
    answer_first(plan, 4, hearing(0.0))
    looked(plan, 1)
    record = plan / "looks.json"
    record.write_text(record.read_text(encoding="utf-8").replace('"ended": false', '"ended": true'), encoding="utf-8")
    before = everything(plan)
    with pytest.raises(InputProblem, match="says that look 1 ended the listening, and key and answers do not"):
        opened(plan)
    assert everything(plan) == before
    assert unseal(session_of(plan), plan, "we gave up").reason == "we gave up"
