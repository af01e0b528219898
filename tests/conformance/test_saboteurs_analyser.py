"""Each rule of an analyser is broken by a saboteur made for it, and by that one only."""

from __future__ import annotations

from dataclasses import replace

import pytest
from conformance.saboteurs.analysers import SABOTEURS, PoolsTrials, TwentyForTen
from conformance.saboteurs.sound_analysers import Answers, Levels

from fairhearing.api import Inputs, Needs, Result
from fairhearing.conformance import Outcome, analyser_cases, check_analyser
from fairhearing.conformance.analyser import analyser_rules
from fairhearing.conformance.kit import report
from fairhearing.conformance.worlds import worlds

_outcomes: dict[str, tuple[Outcome, ...]] = {}
SABOTEUR_IDS = [kind.__name__ for kind, _ in SABOTEURS]
RULES = [rule.name for rule in analyser_rules()]


def outcomes(kind: type) -> dict[str, Outcome]:
    if kind.__name__ not in _outcomes:
        _outcomes[kind.__name__] = report(kind.__name__, analyser_cases(kind())).outcomes
    return {outcome.rule: outcome for outcome in _outcomes[kind.__name__]}


def broken(kind: type) -> dict[str, str]:
    return {name: outcome.why for name, outcome in outcomes(kind).items() if outcome.state == "broken"}


@pytest.mark.parametrize(("kind", "rule"), SABOTEURS, ids=SABOTEUR_IDS)
def test_a_saboteur_breaks_its_rule_and_no_other(kind: type, rule: str) -> None:
    assert list(broken(kind)) == [rule], broken(kind)


@pytest.mark.parametrize("kind", [Levels, Answers])
def test_what_they_are_made_from_breaks_nothing(kind: type) -> None:
    assert broken(kind) == {}


def test_what_they_are_made_from_is_held_to_every_rule() -> None:
    kept = {name for kind in (Levels, Answers) for name, outcome in outcomes(kind).items() if outcome.state == "kept"}
    assert kept == set(RULES)


def test_every_rule_has_a_saboteur_and_the_table_shows_it(capsys: pytest.CaptureFixture[str]) -> None:
    assert {rule for _, rule in SABOTEURS} == set(RULES)
    width = max(map(len, SABOTEUR_IDS))
    marks = {"kept": ".", "skipped": "-", "broken": "X", "waived": "w"}
    with capsys.disabled():
        print("\nX broken   . kept   - nothing to look at")
        for index, name in enumerate(RULES):
            print(f"{'':{width}}  {'| ' * index}{name}")
        for kind, rule in SABOTEURS:
            row = " ".join(marks[outcomes(kind)[name].state] for name in RULES)
            print(f"{kind.__name__:{width}}  {row}  {outcomes(kind)[rule].why[:90]}")


# --- the kit itself ---------------------------------------------------------------------------------------------------


@check_analyser(Levels())
def test_the_decorator_gives_a_case_for_each_rule(rule) -> None:
    rule()


def test_a_waived_rule_counts_as_waived_and_a_kept_one_must_not_be_waived() -> None:
    waived = report("waived", analyser_cases(TwentyForTen(), waive={"condition-gain-adds": "made so"}))
    assert [o.rule for o in waived.outcomes if o.state == "waived"] == ["condition-gain-adds"]
    assert waived.passed
    assert not report("kept", analyser_cases(Levels(), waive={"row-order": "no need"})).passed
    with pytest.raises(ValueError, match="no such rule"):
        analyser_cases(Levels(), waive={"rows": "no need"})


def test_the_authors_samples_take_the_place_of_the_kits() -> None:
    (sample,) = [world for world in worlds() if world.session.id == "without-filter"]
    assert report("sound", analyser_cases(Answers(), samples=[sample])).passed
    states = {o.rule: o.state for o in report("pools", analyser_cases(PoolsTrials(), samples=[sample])).outcomes}
    assert [rule for rule, state in states.items() if state == "broken"] == ["doubled-trials-invariant"]
    alike = replace(sample, sheets=tuple(replace(s, trials=s.trials.assign(preferred="none")) for s in sample.sheets))
    same = {o.rule: o.state for o in report("alike", analyser_cases(PoolsTrials(), samples=[alike])).outcomes}
    assert same["doubled-trials-invariant"] == "kept"


def test_samples_that_the_core_would_not_hand_over_are_told_at_once() -> None:
    nothing = [replace(world, takes=()) for world in worlds()]
    with pytest.raises(ValueError, match="no sample meets the needs of levels: the session has no measurements"):
        analyser_cases(Levels(), samples=nothing)
    with pytest.raises(ValueError, match="samples is empty"):
        analyser_cases(Levels(), samples=[])
    with pytest.raises(ValueError, match="one session id"):
        analyser_cases(Levels(), samples=[nothing[0], nothing[0]])


def test_an_analyser_that_always_fails_is_broken_with_its_own_words() -> None:
    class Fails(Levels):
        def analyse(self, inputs: Inputs) -> Result:
            raise LookupError("no such thing")

    why = broken(Fails)["repeatable"]
    assert "LookupError: no such thing" in why
    assert "session with-subwoofer" in why
    assert "kept" not in {outcome.state for outcome in outcomes(Fails).values()} - {"skipped"}


def test_one_that_takes_whatever_it_is_handed_reads_nothing_that_it_may_not() -> None:
    class Trusts(Answers):
        needs = Needs(methods=frozenset({"paired-preference"}))

        def analyse(self, inputs: Inputs) -> Result:
            n_trials = sum(len(sheet.trials) for sheet in inputs.sheets)
            n_found = sum(finding.value is not None for finding in inputs.findings)
            assert n_trials + n_found >= 0
            return super().analyse(replace(inputs, findings=()))

    assert "needs-declared" not in broken(Trusts)
