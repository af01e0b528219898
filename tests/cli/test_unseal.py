"""`fairhearing unseal`: what it says, what it writes, and each refusal with nothing written."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from planned_listening import NAMED, change, everything, fill, hearing, made_plan, made_session

from fairhearing.cli import main


@pytest.fixture
def plan(tmp_path: Path) -> Path:
    folder = made_plan(tmp_path).folder
    fill(folder, hearing(0.7))
    return folder


def refused(capsys: pytest.CaptureFixture[str], session: Path, *arguments: str) -> str:
    before = everything(session)
    capsys.readouterr()
    assert main(["unseal", str(session), *arguments]) == 2
    printed = capsys.readouterr()
    assert printed.out == ""
    assert everything(session) == before
    return printed.err


def test_it_says_that_the_seal_holds_what_was_counted_and_what_to_do_next(
    plan: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["unseal", str(plan.parent)]) == 0
    text = capsys.readouterr().out
    assert text.startswith("The seal holds: key, criteria and plan are those of\n  ")
    assert "  k7            scored          10      10        10         0\n" in text
    assert "34 trials count as played as planned because the switching sheet says nothing of them." in text
    assert text.endswith("Next: fairhearing run\n")


def test_json_has_the_same_counts(plan: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["unseal", str(plan.parent), "--json"]) == 0
    value = json.loads(capsys.readouterr().out)
    assert sum(one["n_answered"] for one in value["counts"]) == 34
    assert value["files"] == [
        "opened.json", "opened/control.csv", "opened/practice.csv", "opened/scored.csv", "opened/sham.csv",
    ]  # fmt: skip


def test_missing_answers_need_a_reason_that_says_something(plan: Path, capsys: pytest.CaptureFixture[str]) -> None:
    change(plan / "listeners/k7.csv", "4", answer="")
    assert "listener k7 has no answer to 1 of the planned trials: 4" in refused(capsys, plan.parent)
    assert "--reason is empty" in refused(capsys, plan.parent, "--reason", "  ")
    assert main(["unseal", str(plan.parent), "--reason", "k7  fell ill"]) == 0
    text = capsys.readouterr().out
    assert "Opened for the reason: k7 fell ill" in text
    assert "Not as planned\n- listener k7 has no answer to 1 of the planned trials: 4" in text


def test_criteria_that_were_changed_after_the_seal_are_refused_with_both_values(
    plan: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (plan.parent / "session.toml").write_text(NAMED + "[criteria]\nalpha = 0.1\n", encoding="utf-8")
    words = refused(capsys, plan.parent, "--reason", "we want to")
    assert "the criteria were changed after the seal: alpha was 0.05 and is 0.1" in words
    assert f"where: {plan.parent / 'session.toml'}" in words


def test_a_session_without_a_plan_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    made_session(tmp_path)
    assert "the session has no sealed plan" in refused(capsys, tmp_path)


def test_a_second_time_is_refused(plan: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["unseal", str(plan.parent)]) == 0
    assert "the plan was unsealed before" in refused(capsys, plan.parent)
