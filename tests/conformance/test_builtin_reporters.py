"""The built-in reporters, found as any other, keep every rule."""

from __future__ import annotations

import pytest

from fairhearing.conformance import reporter_cases
from fairhearing.conformance.kit import Case
from fairhearing.registry import load_plugins

PLUGINS = load_plugins()
BUILT_IN = {note.name for note in PLUGINS.notes.reporters if note.distribution == "fairhearing"}
REPORTERS = {reporter.name: reporter for reporter in PLUGINS.reporters if reporter.name in BUILT_IN}
ALL_CASES = {name: reporter_cases(reporter) for name, reporter in REPORTERS.items()}
CASES = [pytest.param(case, id=f"{name}-{case.rule.name}") for name, found in ALL_CASES.items() for case in found]
# data-files writes JSON and CSV: no drawing, no markup.
SKIPPED = {"page": set(), "data-files": {"axes-carry-units", "hostile-text-escaped"}}


@pytest.mark.parametrize("rule", CASES)
def test_every_built_in_reporter_keeps(rule: Case) -> None:
    rule()


def test_all_built_in_reporters_are_there() -> None:
    assert set(REPORTERS) == set(SKIPPED)


@pytest.mark.parametrize("name", SKIPPED)
def test_nothing_is_skipped_but_what_it_does_not_write(name: str) -> None:
    outcomes = [case.outcome() for case in ALL_CASES[name]]
    assert {outcome.rule for outcome in outcomes if outcome.state == "skipped"} == SKIPPED[name]
