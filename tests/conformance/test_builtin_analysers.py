"""Every built-in analyser keeps every rule of the kit on the kit's own sessions; none is excepted."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from conformance.kit_counts import RunOnce

from fairhearing.conformance.analyser import analyser_cases
from fairhearing.conformance.kit import Case
from fairhearing.conformance.subject import AnalyserSubject
from fairhearing.registry import load_plugins

PLUGINS = load_plugins()
BUILT_IN = {note.name for note in PLUGINS.notes.analysers if note.distribution == "fairhearing"}
ANALYSERS = [analyser for analyser in PLUGINS.analysers if analyser.name in BUILT_IN]
CASES = [(analyser.name, case) for analyser in ANALYSERS for case in analyser_cases(analyser)]
outcome_of = RunOnce("analyser")


@pytest.mark.parametrize(("name", "case"), CASES, ids=[f"{name}-{case.rule.name}" for name, case in CASES])
def test_a_built_in_analyser_keeps_the_rule(
    name: str, case: Case[AnalyserSubject], record_property: Callable[[str, object], None]
) -> None:
    outcome_of.must_keep(name, case, record_property)


def test_no_rule_is_skipped_but_for_what_is_not_there_to_be_looked_at() -> None:
    reasons = {"no quantity is declared to have it", "it makes neither tables nor charts"}
    # The kit's own worlds have no sweeps, and no loudspeaker behind the amplifier.
    without_world = {"distortion", "relief", "relief-forecast"}
    rules = {case.rule.name for _, case in CASES}
    for analyser in ANALYSERS:
        own = [outcome_of(name, case) for name, case in CASES if name == analyser.name]
        whys = {o.why for o in own if o.state == "skipped"} - reasons
        assert analyser.name in without_world or not whys
        assert all(why.startswith("no sample has a value or verdict of ") for why in whys)
    assert len(CASES) == len(ANALYSERS) * len(rules)


def test_every_quantity_of_a_built_in_analyser_is_held_to_some_symmetry() -> None:
    bare = [
        f"{analyser.name}: {quantity}"
        for analyser in ANALYSERS
        for quantity in sorted(analyser.quantities - {q for s in analyser.symmetries for q in s.quantities})
    ]
    assert bare == []


def test_no_quantity_has_two_owners() -> None:
    owners: dict[str, list[str]] = {}
    for analyser in ANALYSERS:
        for quantity in analyser.quantities:
            owners.setdefault(quantity, []).append(analyser.name)
    # What was measured at the terminals, and what is forecast for them, are one quantity at two points. Right answers
    # by planned looks are a variant of them.
    shared = ({"relief", "relief-forecast"}, {"forced-choice", "as-planned"})
    assert {quantity: names for quantity, names in owners.items() if len(names) > 1 and {*names} not in shared} == {}
