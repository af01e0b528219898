"""The built-in reporters, found as any other, keep every rule."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from conformance.kit_counts import RunOnce

from fairhearing.conformance import reporter_cases
from fairhearing.conformance.kit import Case
from fairhearing.registry import load_plugins

PLUGINS = load_plugins()
BUILT_IN = {note.name for note in PLUGINS.notes.reporters if note.distribution == "fairhearing"}
REPORTERS = {reporter.name: reporter for reporter in PLUGINS.reporters if reporter.name in BUILT_IN}
ALL_CASES = {name: reporter_cases(reporter) for name, reporter in REPORTERS.items()}
CASES = [(name, case) for name, found in ALL_CASES.items() for case in found]
outcome_of = RunOnce("reporter")
# data-files writes JSON and CSV: no drawing, no markup.
SKIPPED = {"page": set(), "data-files": {"axes-carry-units", "hostile-text-escaped"}}


@pytest.mark.parametrize(("name", "case"), CASES, ids=[f"{name}-{case.rule.name}" for name, case in CASES])
def test_every_built_in_reporter_keeps(name: str, case: Case, record_property: Callable[[str, object], None]) -> None:
    outcome_of.must_keep(name, case, record_property)


def test_all_built_in_reporters_are_there() -> None:
    assert set(REPORTERS) == set(SKIPPED)


@pytest.mark.parametrize("name", SKIPPED)
def test_nothing_is_skipped_but_what_it_does_not_write(name: str) -> None:
    outcomes = [outcome_of(name, case) for case in ALL_CASES[name]]
    assert {outcome.rule for outcome in outcomes if outcome.state == "skipped"} == SKIPPED[name]
