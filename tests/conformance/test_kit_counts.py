"""The counts of the kit's run over the built-in plug-ins are those of its reports."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from conformance.kit_counts import built_in_names, lines, main

from fairhearing.conformance import Outcome, Report

ROOT = Path(__file__).parent.parent.parent


def report(plugin: str, *states: str) -> Report:
    return Report(
        plugin,
        tuple(Outcome(rule=f"rule-{n}", level="must", state=state, why="why") for n, state in enumerate(states)),  # type: ignore[arg-type]
    )


def test_each_plug_in_has_a_line_and_the_last_is_the_sum() -> None:
    reports = [report("one", "kept", "kept", "skipped", "waived"), report("other", "kept", "broken", "skipped")]
    assert [line.split() for line in lines(reports)] == [
        ["plug-in", "rules", "kept", "waived", "skipped", "broken"],
        ["one", "4", "2", "1", "1", "0"],
        ["other", "3", "1", "0", "1", "1"],
        ["2", "in", "all", "7", "3", "1", "2", "1"],
        [],
        ["skipped", "2", "x:", "why"],
    ]


def test_every_built_in_module_is_among_them() -> None:
    with (ROOT / "pyproject.toml").open("rb") as file:
        entry_points = tomllib.load(file)["project"]["entry-points"]["fairhearing"]
    assert set(entry_points) <= set(built_in_names())


def test_a_plug_in_that_keeps_its_rules_ends_with_0(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["score-sheet"]) == 0
    assert "importer score-sheet " in capsys.readouterr().out
