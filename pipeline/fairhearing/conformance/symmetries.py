"""One rule for each kind of symmetry that an analyser may declare."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import get_args

from fairhearing.conformance import changes
from fairhearing.conformance.comparing import ALL_NUMBERS, NUMBERS, finding_difference
from fairhearing.conformance.kit import NotApplicable, Rule, RuleBroken
from fairhearing.conformance.subject import AnalyserSubject, of_quantities
from fairhearing.contracts import Inputs, SymmetryKind
from fairhearing.result import Finding

GAIN_DB = 3.7
UNCHANGED = (*ALL_NUMBERS, "unit", "verdict")
Expect = Callable[[Finding], Finding | None]  # None: nothing is said of this finding


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One change of a sample: its words, what it makes of the inputs and of each finding, which fields must agree."""

    how: str
    inputs: Inputs
    expect: Expect
    fields: Sequence[str] = UNCHANGED


def symmetry_rules() -> list[Rule[AnalyserSubject]]:
    """A rule for each kind, in the order of the contract."""
    return [_rule(kind) for kind in get_args(SymmetryKind)]


def _rule(kind: SymmetryKind) -> Rule[AnalyserSubject]:
    make, says = CHANGES[kind]

    def check(subject: AnalyserSubject) -> None:
        _check(subject, kind, make)

    return Rule(name=kind, level="must", says=says, check=check)


def _check(subject: AnalyserSubject, kind: SymmetryKind, make: Callable[[Inputs], Change]) -> None:
    tolerances = {q: s.tolerance for s in subject.analyser.symmetries if s.kind == kind for q in s.quantities}
    if not tolerances:
        raise NotApplicable("no quantity is declared to have it")
    compared: set[str] = set()
    for sample in (one for one in subject if one.session.treatments):
        change = make(sample)
        pairs = [(f, change.expect(f)) for f in of_quantities(subject.result(sample), frozenset(tolerances))]
        expected = [wanted for _, wanted in pairs if wanted is not None]
        if not expected:
            continue
        found = subject.changed(change.inputs, change.how)
        difference = finding_difference(expected, found.findings, change.fields, tolerances.__getitem__)
        if difference is not None:
            raise RuleBroken(f"session {sample.session.id}, {change.how}: {difference}")
        compared |= {wanted.quantity for wanted in expected if (wanted.value, wanted.verdict) != (None, None)}
    unseen = sorted(set(tolerances) - compared)
    if unseen:
        raise NotApplicable(f"no sample has a value or verdict of {', '.join(unseen)} to which it applies")


# --- what happens to a finding ----------------------------------------------------------------------------------------


def _same(finding: Finding) -> Finding:
    return finding


def _over_listeners(finding: Finding) -> Finding | None:
    return finding if finding.listener is None else None


def _mirrored(finding: Finding) -> Finding:
    return changes.mapped(finding, lambda x: 1 - x, falling=True)


def _inverted(finding: Finding) -> Finding | None:
    if 0 in (finding.value, finding.low, finding.high):
        return None
    return changes.mapped(finding, lambda x: 1 / x, falling=True)


def _swap(inputs: Inputs, then: Callable[[Finding], Finding | None], fields: Sequence[str]) -> Change:
    pair = {inputs.session.reference.id, inputs.session.treatments[0].id}

    def expect(finding: Finding) -> Finding | None:
        if {finding.condition, finding.reference} != pair:
            return None
        return then(replace(finding, condition=finding.reference, reference=finding.condition))

    return Change(how="condition and reference exchanged", inputs=changes.swapped(inputs), expect=expect, fields=fields)


def _condition_gain(inputs: Inputs, *, adds: bool) -> Change:
    condition, reference = inputs.session.treatments[0].id, inputs.session.reference.id

    def expect(finding: Finding) -> Finding:
        if not adds or (finding.condition, finding.reference) != (condition, reference):
            return finding
        return changes.mapped(finding, lambda x: x + GAIN_DB)

    return Change(
        how=f"{GAIN_DB} dB more on every take of {condition}",
        inputs=changes.with_gain(inputs, GAIN_DB, condition),
        expect=expect,
        fields=(*NUMBERS, "unit", "n") if adds else UNCHANGED,
    )


def _relabel(inputs: Inputs, word: str) -> Change:
    names = changes.other_names(inputs, word)
    return Change(
        how=f"other names of every {word}",
        inputs=changes.relabelled(inputs, word, names),
        expect=lambda finding: changes.relabelled_finding(finding, word, names),
    )


def _exchanged_trials(inputs: Inputs, expect: Expect, fields: Sequence[str]) -> Change:
    exchanged = changes.first_and_second_exchanged(inputs)
    return Change(how="first and second exchanged", inputs=exchanged, expect=expect, fields=fields)


TURNED = (*NUMBERS, "unit", "n")
CHANGES: dict[SymmetryKind, tuple[Callable[[Inputs], Change], str]] = {
    "swap-conditions-negates": (
        lambda inputs: _swap(inputs, changes.negated, TURNED),
        "with condition and reference exchanged values change sign, and low and high change places",
    ),
    "swap-conditions-inverts": (
        lambda inputs: _swap(inputs, _inverted, TURNED),
        "with condition and reference exchanged values become their reciprocal",
    ),
    "swap-conditions-mirrors": (
        lambda inputs: _swap(inputs, _mirrored, TURNED),
        "with condition and reference exchanged shares become 1 - share",
    ),
    "swap-conditions-invariant": (
        lambda inputs: _swap(inputs, _same, UNCHANGED),
        "with condition and reference exchanged values stay",
    ),
    "common-gain-invariant": (
        lambda inputs: Change(
            how=f"{GAIN_DB} dB more on every take", inputs=changes.with_gain(inputs, GAIN_DB), expect=_same
        ),
        "the same gain on every take changes nothing",
    ),
    "condition-gain-adds": (
        lambda inputs: _condition_gain(inputs, adds=True),
        "a gain on every take of one condition is added to its values against the reference",
    ),
    "condition-gain-invariant": (
        lambda inputs: _condition_gain(inputs, adds=False),
        "a gain on every take of one condition changes nothing",
    ),
    "row-order-invariant": (
        lambda inputs: Change(
            how="repeats and trials numbered the other way round", inputs=changes.renumbered(inputs), expect=_same
        ),
        "which take or trial came first by its number changes nothing",
    ),
    "trial-order-negates": (
        lambda inputs: Change(
            how="trials numbered the other way round",
            inputs=changes.renumbered(inputs),
            expect=changes.negated,
            fields=TURNED,
        ),
        "with each listener's last trial first values change sign",
    ),
    "relabel-listeners-invariant": (
        lambda inputs: _relabel(inputs, "listener"),
        "other listener codes change nothing but the label",
    ),
    "relabel-seats-invariant": (
        lambda inputs: _relabel(inputs, "seat"),
        "other names of seats change nothing but the label",
    ),
    "relabel-programmes-invariant": (
        lambda inputs: _relabel(inputs, "programme"),
        "other names of programmes change nothing but the label",
    ),
    "doubled-trials-invariant": (
        lambda inputs: Change(
            how="one listener's trials told twice",
            inputs=changes.one_listener_doubled(inputs),
            expect=_over_listeners,
            fields=(*NUMBERS, "p_value", "unit", "verdict"),
        ),
        "one listener's trials told twice do not change what is over listeners",
    ),
    "first-second-mirrored": (
        lambda inputs: _exchanged_trials(inputs, _mirrored, TURNED),
        "with first and second exchanged shares become 1 - share",
    ),
    "first-second-invariant": (
        lambda inputs: _exchanged_trials(inputs, _same, UNCHANGED),
        "with first and second exchanged values stay",
    ),
}
