"""Plan, listen, unseal, run, all by the command line: the proportion right is the one that the listeners had."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from planned_listening import NAMED, TOML, Answers, fill, hearing, key_of

from fairhearing import run
from fairhearing.cli import main

PLAN = (
    "--question", "heard", "--effect", "0.75", "--condition", "in", "--listener", "k7", "--listener", "m3",
    "--programme", "organ", "--programme", "choir", "--seat", "A", "--control", "bass 6 dB up",
)  # fmt: skip


@pytest.fixture
def findings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., list[dict[str, Any]]]:
    """Runs a whole listening and gives its findings, without the page."""
    whole = run.load_plugins()
    from dataclasses import replace

    quick = replace(whole, reporters=tuple(one for one in whole.reporters if one.name != "page"))
    monkeypatch.setattr(run, "load_plugins", lambda: quick)

    def work(answers: Answers, *options: str, column: str = "answer") -> list[dict[str, Any]]:
        session = tmp_path / "session"
        session.mkdir()
        (session / "session.toml").write_text(TOML, encoding="utf-8")
        assert main(["plan", str(session), *options]) == 0
        (session / "session.toml").write_text(NAMED, encoding="utf-8")
        fill(session / "listening", answers, column)
        assert main(["unseal", str(session)]) == 0
        assert main(["run", str(session), "--out", str(tmp_path / "out")]) == 0
        found = json.loads((tmp_path / "out/findings.json").read_text(encoding="utf-8"))["findings"]
        assert isinstance(found, list)
        return found

    return work


def headline(findings: list[dict[str, Any]], quantity: str) -> dict[str, Any]:
    found = [
        one for one in findings
        if one["quantity"] == quantity and one["of"] is None
        and (one["variant"], one["listener"], one["programme"], one["seat"]) == (None, None, None, None)
    ]  # fmt: skip
    assert len(found) == 1, found
    return found[0]


def test_the_proportion_right_is_that_of_the_scored_trials_alone(
    findings: Callable[..., list[dict[str, Any]]], tmp_path: Path
) -> None:
    found = headline(findings(hearing(0.7), *PLAN), "proportion_correct")
    trials = [one for one in key_of(tmp_path / "session/listening") if one.part == "scored"]
    # What the made-up listeners said is drawn again here, in the order in which the sheets were filled in.
    answer = hearing(0.7)
    all_trials = key_of(tmp_path / "session/listening")
    said = {(one.listener, one.trial): answer(one) for one in all_trials}
    right = sum(
        said[one.listener, one.trial] == ("A" if one.cells["x"] == one.cells["first"] else "B") for one in trials
    )
    assert len(trials) == 28
    assert found["n"] == len(trials)
    assert found["value"] == pytest.approx(right / len(trials), abs=1e-12)


def test_whoever_hears_nothing_of_the_scored_trials_is_not_helped_by_the_control(
    findings: Callable[..., list[dict[str, Any]]],
) -> None:
    wrong, right = hearing(0.0), hearing(1.0)
    found = headline(
        findings(lambda trial: right(trial) if trial.part == "control" else wrong(trial), *PLAN), "proportion_correct"
    )
    assert found["value"] == 0.0


def test_a_preference_goes_the_same_way(findings: Callable[..., list[dict[str, Any]]]) -> None:
    options = ["--question", "preferred", "--effect", "0.75", "--condition", "in", "--listeners", "7", "--trials", "8"]
    answers: Answers = lambda trial: "2" if trial.cells["second"] == "in" else "1"  # noqa: E731
    found = headline(findings(answers, *options, "--seat", "A", column="preferred"), "preference_share")
    assert (found["value"], found["n"], found["condition"]) == (1.0, 7, "in")


def test_a_sealed_plan_gives_no_finding_and_a_warning(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], findings: Callable[..., list[dict[str, Any]]]
) -> None:
    session = tmp_path / "sealed"
    session.mkdir()
    (session / "session.toml").write_text(TOML, encoding="utf-8")
    assert main(["plan", str(session), *PLAN]) == 0
    (session / "session.toml").write_text(NAMED, encoding="utf-8")
    fill(session / "listening", hearing(1.0))
    capsys.readouterr()
    assert main(["check", str(session)]) == 0
    assert "listening holds a plan that is still sealed" in capsys.readouterr().out
    assert main(["run", str(session), "--out", str(tmp_path / "out")]) == 0
    written = json.loads((tmp_path / "out/findings.json").read_text(encoding="utf-8"))["findings"]
    assert not [one for one in written if one["quantity"] == "proportion_correct" and one["value"] is not None]


def test_a_plan_that_session_toml_does_not_name_yet_is_unsealed_all_the_same(tmp_path: Path) -> None:
    session = tmp_path / "session"
    session.mkdir()
    (session / "session.toml").write_text(TOML, encoding="utf-8")
    assert main(["plan", str(session), *PLAN]) == 0
    fill(session / "listening", hearing(0.7))
    assert main(["unseal", str(session)]) == 0
    assert (session / "listening/opened/scored.csv").exists()
