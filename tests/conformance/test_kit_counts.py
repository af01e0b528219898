"""The counts of the kit's run over the built-in plug-ins are those of the outcomes that tests record."""

from __future__ import annotations

import tomllib
from pathlib import Path

from conformance.kit_counts import lines, told

from fairhearing.conformance import Outcome
from fairhearing.registry import load_plugins

ROOT = Path(__file__).parent.parent.parent


def recorded(plugin: str, *states: str) -> list[tuple[str, object]]:
    return [told(plugin, Outcome(rule="rule", level="must", state=state, why="why")) for state in states]  # type: ignore[arg-type]


def test_each_plug_in_has_a_line_and_the_last_is_the_sum() -> None:
    ran = [*recorded("one", "kept", "kept", "skipped", "waived"), *recorded("other", "kept", "broken", "skipped")]
    assert [line.split() for line in lines([*ran, ("seed", 3)])] == [
        ["plug-in", "rules", "kept", "waived", "skipped", "broken"],
        ["one", "4", "2", "1", "1", "0"],
        ["other", "3", "1", "0", "1", "1"],
        ["2", "in", "all", "7", "3", "1", "2", "1"],
        ["skipped", "2", "x:", "why"],
    ]


def test_where_no_rule_ran_nothing_is_told() -> None:
    assert list(lines([("seed", 3)])) == []


def test_every_built_in_module_has_a_plug_in_that_the_tests_run_by_its_entry_point() -> None:
    with (ROOT / "pyproject.toml").open("rb") as file:
        entry_points = tomllib.load(file)["project"]["entry-points"]["fairhearing"]
    notes = load_plugins().notes
    names = {note.name for note in (*notes.importers, *notes.analysers, *notes.reporters)}
    assert set(entry_points) <= names
