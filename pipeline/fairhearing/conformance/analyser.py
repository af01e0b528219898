"""The rules that every analyser has to keep, and how its own tests run them."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import pairwise
from typing import TypeVar

from fairhearing.analysing import needed, refusal
from fairhearing.conformance import changes, gaps
from fairhearing.conformance.comparing import close, key, named, result_difference
from fairhearing.conformance.kit import Case, NotApplicable, Rule, RuleBroken, cases, parametrised
from fairhearing.conformance.spies import Seen, declared, decoys, spied
from fairhearing.conformance.subject import AnalyserSubject, own_worlds, run, subject_of
from fairhearing.conformance.symmetries import symmetry_rules
from fairhearing.conformance.worlds import DECOY
from fairhearing.contracts import Analyser, Inputs
from fairhearing.result import ChartRequest, Finding, Refusal, Result, Table
from fairhearing.store.codec import encode
from fairhearing.units import UNITS, has_known_unit, known_units

F = TypeVar("F", bound=Callable[..., object])

UNIT_OF_ENDING = {"_db": "dB", "_hz": "Hz", "_ms": "ms", "_s": "s", "_ohm": "ohm"}
SEED = 1


def check_analyser(
    analyser: Analyser, *, samples: Sequence[Inputs] | None = None, waive: Mapping[str, str] | None = None
) -> Callable[[F], F]:
    """A decorator that gives a test function with one argument `rule` one pytest case per rule.

    Parameters
    ----------
    analyser : Analyser
    samples : sequence of Inputs, optional
        Sessions to try it on, whole: the kit narrows them to what is declared. Without them the kit uses its own.
    waive : mapping of rule to reason, optional
        Rules that this analyser breaks for a reason; a waiver of a rule that is kept is itself an error.

    Raises
    ------
    ValueError
        The samples do not meet the needs of the analyser; a waiver names no rule or gives no reason.

    Examples
    --------
    >>> from fairhearing.api import Needs, Result
    >>> class Nothing:
    ...     name, version = "nothing", "1"
    ...     quantities = frozenset({"nothing_at_all"})
    ...     needs, symmetries = Needs(), ()
    ...     def analyse(self, inputs):
    ...         return Result()
    >>> @check_analyser(Nothing())
    ... def test_nothing(rule):
    ...     rule()
    """
    return parametrised(analyser_cases(analyser, samples=samples, waive=waive))


def analyser_cases(
    analyser: Analyser, *, samples: Sequence[Inputs] | None = None, waive: Mapping[str, str] | None = None
) -> list[Case[AnalyserSubject]]:
    """A case for each rule of analysers; `samples` and `waive` as for check_analyser."""
    return cases(analyser_rules(), subject_of(analyser, samples), waive)


def analyser_rules() -> list[Rule[AnalyserSubject]]:
    """All rules of analysers, the must ones first."""
    must = [
        ("inputs-untouched", "inputs are the same after as before", inputs_untouched),
        ("repeatable", "the same inputs give the same result, to the last digit", repeatable),
        ("row-order", "the order of takes, sheets, rows and findings changes nothing", row_order),
        ("needs-declared", "it reads all that it declares and nothing that it does not", needs_declared),
        (
            "findings-sound",
            "findings are finite or null with a caveat, have a known unit, agree with themselves",
            sound,
        ),
        ("one-row", "one take or one trial is enough not to fail on", one_row),
        ("no-rows", "where nothing was measured or answered, values are null with a caveat", no_rows),
        ("nan-handled", "NaN in a level and None for an answer do not make it fail or state NaN", nan_handled),
    ]
    should = [
        ("unit-suffix", "a column that ends in a unit says that unit", unit_suffix),
        ("symmetries-declared", "an analyser with findings says what must happen to them", symmetries_declared),
    ]
    return [
        *(Rule(name=name, level="must", says=says, check=check) for name, says, check in must),
        *symmetry_rules(),
        *(Rule(name=name, level="should", says=says, check=check) for name, says, check in should),
    ]


# --- purity -----------------------------------------------------------------------------------------------------------


def inputs_untouched(subject: AnalyserSubject) -> None:
    """Arrays that cannot be written to, and arrays and frames that can, are the same after."""
    for sample in subject:
        narrowed = subject.narrowed(sample)
        if narrowed is None:
            continue
        given = changes.copied(narrowed)
        before = changes.contents(given)
        run(subject.analyser, given, "with arrays that can be written to")
        changed = [name for (name, old), (_, new) in zip(before, changes.contents(given), strict=True) if old != new]
        if changed:
            raise RuleBroken(f"session {sample.session.id}: it changed {', '.join(changed[:3])}")
        run(subject.analyser, changes.copied(narrowed, writable=False), "with read-only arrays")


def repeatable(subject: AnalyserSubject) -> None:
    """Twice the same."""
    for sample in subject:
        if subject.changed(sample, "a second time") != subject.result(sample):
            difference = result_difference(subject.result(sample), subject.changed(sample, "a third time"))
            said = difference or "some number in its last digits"
            raise RuleBroken(f"session {sample.session.id}, run twice on the same inputs: {said}")


def row_order(subject: AnalyserSubject) -> None:
    """Shuffled."""
    for sample in subject:
        found = subject.changed(changes.shuffled(sample, SEED), "in another order")
        difference = result_difference(subject.result(sample), found)
        if difference is not None:
            raise RuleBroken(f"session {sample.session.id}, in another order: {difference}")


# --- needs ------------------------------------------------------------------------------------------------------------


def needs_declared(subject: AnalyserSubject) -> None:
    """Everything declared is read somewhere, on the samples or the kit's own worlds; nothing else is asked for."""
    analyser = subject.analyser
    own = own_worlds(analyser)
    read: Seen = set()
    for sample in (*subject.samples, *own):
        narrowed = needed(sample, analyser, sample.findings)
        if refusal(narrowed, analyser) is None:
            _run_spied(analyser, narrowed, read)
    unread = sorted(" ".join(need) for need in declared(analyser) - read)
    if unread:
        raise RuleBroken(f"it declares but never reads: {', '.join(unread)}")
    for world in own:
        narrowed = needed(world, analyser, world.findings)
        for sort, more in decoys(analyser, world, narrowed).items():
            seen: Seen = set()
            _run_spied(analyser, more, seen)
            asked = sorted(name for of, name in seen - declared(analyser) if of == sort)
            if asked and DECOY not in asked:
                raise RuleBroken(f"it reads, but does not declare, {sort} {', '.join(asked)}")


def _run_spied(analyser: Analyser, inputs: Inputs, seen: Seen) -> None:
    """Run for what is read alone: another rule looks at whether it fails."""
    try:
        run(analyser, spied(changes.copied(inputs), seen), "watched")
    except RuleBroken:
        return


# --- findings ---------------------------------------------------------------------------------------------------------


def sound(subject: AnalyserSubject) -> None:
    """All findings of all samples."""
    for sample in subject:
        for fault in _faults(subject.analyser, subject.result(sample)):
            raise RuleBroken(f"session {sample.session.id}: {fault}")


def _faults(analyser: Analyser, result: Result) -> Iterator[str]:
    for name, kind in (("findings", Finding), ("tables", Table), ("charts", ChartRequest), ("refusals", Refusal)):
        entries = getattr(result, name)
        yield from (f"its {name} hold a {type(e).__name__}" for e in entries if not isinstance(e, kind))
    told = Counter(map(key, result.findings))
    yield from (f"{named(f)} is told {told[key(f)]} times" for f in result.findings if told[key(f)] > 1)
    counts = bool(analyser.needs.kinds or analyser.needs.methods)
    try:
        units = known_units(analyser)
    except ValueError as error:
        yield str(error)
        units = UNITS
    for finding in result.findings:
        if finding.quantity not in analyser.quantities:
            yield f"{finding.quantity} is not among the quantities that it declares"
        if not has_known_unit(finding, units):
            yield f"{named(finding)}: unit {finding.unit!r} is not known; known: {', '.join(sorted(units))}"
        yield from (f"{named(finding)}: {fault}" for fault in _finding_faults(finding, counts))
    try:
        encode(result)
    except (TypeError, ValueError) as error:
        yield f"the store cannot keep it: {error}"


def _finding_faults(finding: Finding, counts: bool) -> Iterator[str]:
    value, low, high, p_value = finding.value, finding.low, finding.high, finding.p_value
    numbers = {"value": value, "low": low, "high": high, "p_value": p_value, "confidence": finding.confidence}
    bad = [f"{name} {number}" for name, number in numbers.items() if number is not None and not math.isfinite(number)]
    if bad:
        yield f"not finite: {', '.join(bad)}"
        return
    if value is None and not finding.caveats and finding.verdict is None:
        yield "no value and no caveat that says why"
    if counts and finding.n is None and not finding.caveats:
        yield "neither n nor a caveat"
    if finding.n is not None and finding.n < 1 and value is not None:
        yield f"a value from n = {finding.n}"
    yield from _interval_faults(finding, counts)
    if finding.unit == "1" and (finding.quantity.endswith("_share") or finding.quantity.startswith("proportion_")):
        outside = [f"{n} {x}" for n, x in (("value", value), ("low", low), ("high", high)) if x and not 0 <= x <= 1]
        if outside:
            yield f"a share outside 0 to 1: {', '.join(outside)}"
    if p_value is not None and not 0 <= p_value <= 1:
        yield f"p_value {p_value} is outside 0 to 1"
    if p_value is not None and value is None:
        yield "a p-value without a value"


def _interval_faults(finding: Finding, counts: bool) -> Iterator[str]:
    """`counts`: whether the analyser reads what was measured or answered; else low and high may be a plain bound."""
    value, low, high = finding.value, finding.low, finding.high
    if low is None and high is None:
        return
    if finding.confidence is None:
        if counts or finding.n is not None:
            yield "an interval without confidence"
    elif not 0 < finding.confidence < 1:
        yield f"confidence {finding.confidence} is not between 0 and 1"
    ends = [x for x in (low, value, high) if x is not None]
    if any(one > other and not close(one, other) for one, other in pairwise(ends)):
        yield f"low {low}, value {value}, high {high} are not in that order"


# --- edges ------------------------------------------------------------------------------------------------------------


def one_row(subject: AnalyserSubject) -> None:
    """Few takes, few trials."""
    _check_worlds(subject, gaps.with_few_rows)


def nan_handled(subject: AnalyserSubject) -> None:
    """Gaps in what was measured and answered."""
    _check_worlds(subject, gaps.with_gaps)


def _check_worlds(subject: AnalyserSubject, make: Callable[[Inputs], Mapping[str, Inputs]]) -> None:
    for sample in subject:
        for how, world in make(sample).items():
            if subject.narrowed(world) is not None:
                _still_sound(subject, sample, subject.changed(world, how), how)


def _still_sound(subject: AnalyserSubject, sample: Inputs, result: Result, how: str) -> None:
    """Raise for a fault that comes with the change; what is at fault without it is told by findings-sound."""
    if any(_faults(subject.analyser, subject.result(sample))):
        return
    for fault in _faults(subject.analyser, result):
        raise RuleBroken(f"session {sample.session.id}, {how}: {fault}")


def no_rows(subject: AnalyserSubject) -> None:
    """Nothing to compare: no value against a reference can be had."""
    needs = subject.analyser.needs
    reads = bool(needs.kinds or needs.methods or needs.findings)
    for sample in subject:
        for how, world in gaps.with_no_rows(sample).items():
            if subject.narrowed(world) is None:
                continue
            result = subject.changed(world, how)
            _still_sound(subject, sample, result, how)
            stated = [f for f in result.findings if f.value is not None and f.reference is not None]
            if reads and stated:
                where = f"session {sample.session.id}, {how}"
                raise RuleBroken(f"{where}: {named(stated[0])} is {stated[0].value}, which nothing can have shown")


# --- should -----------------------------------------------------------------------------------------------------------


def unit_suffix(subject: AnalyserSubject) -> None:
    """Columns of tables, and the axes of charts."""
    looked = 0
    for sample in subject:
        result = subject.result(sample)
        units = [(f"table {t.name}", c, t.units.get(c, "")) for t in result.tables for c in t.columns]
        axes = [(chart.name, axis) for chart in result.charts for axis in (chart.x, chart.y, chart.value) if axis]
        units += [(f"chart {name}", axis.column, axis.unit) for name, axis in axes]
        looked += len(units)
        for where, column, unit in units:
            ending = next((e for e in UNIT_OF_ENDING if column.endswith(e)), None)
            if ending is not None and unit != UNIT_OF_ENDING[ending]:
                raise RuleBroken(f"{where}: the unit of column {column} is {unit!r}, not {UNIT_OF_ENDING[ending]!r}")
    if not looked:
        raise NotApplicable("it makes neither tables nor charts")


def symmetries_declared(subject: AnalyserSubject) -> None:
    """At least that the order of rows counts nowhere; of quantities that it has."""
    analyser = subject.analyser
    if not any(subject.result(sample).findings for sample in subject):
        raise NotApplicable("it has no findings in any sample")
    unknown = sorted({q for s in analyser.symmetries for q in s.quantities} - analyser.quantities)
    if unknown:
        raise RuleBroken(f"a symmetry is of {', '.join(unknown)}, which it does not declare as a quantity")
    of_order = ("row-order-invariant", "trial-order-negates")
    if not any(s.kind in of_order and s.quantities for s in analyser.symmetries):
        raise RuleBroken("row-order-invariant is not declared of any quantity")
