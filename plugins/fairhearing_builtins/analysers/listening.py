"""What the analysers of listening trials share: rows of a sheet, attribution, shares with intervals, charts."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Literal

from fairhearing.api import Axis, ChartRequest, Finding, Inputs, Rule, Session, Sheet, Symmetry
from fairhearing.statistics.listeners import t_interval
from fairhearing.statistics.proportions import Interval, clopper_pearson

ALL_LISTENERS = "all listeners"
ONE_LISTENER_CAVEAT = "one listener: this is about that person only"
LOOKS_CAVEAT = (
    "the plan has looks at the scores while it ran: this p and this verdict do not allow for them, "
    "the variant sequential does"
)
EXACT_INTERVAL = "Clopper-Pearson"
OVER_LISTENERS_INTERVAL = (
    "t over listeners' proportions, cut at 0 and 1, on neither side narrower than Clopper-Pearson over all trials, "
    "so that it holds more often than it says where listeners are few"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """The ids of the condition and of the reference that trials set against each other."""

    condition: str
    reference: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Tally:
    """One listener's trials: `halves` counts 2 for what is counted, 1 for neither, 0 for the other."""

    listener: str
    halves: int
    n_trials: int

    @property
    def share(self) -> Fraction:
        """Share of the trials, exactly."""
        return Fraction(self.halves, 2 * self.n_trials)


def labels_are_labels(quantities: frozenset[str]) -> tuple[Symmetry, ...]:
    """What listeners, seats and programmes are called changes none of these quantities."""
    return (
        Symmetry(kind="relabel-listeners-invariant", quantities=quantities),
        Symmetry(kind="relabel-seats-invariant", quantities=quantities),
        Symmetry(kind="relabel-programmes-invariant", quantities=quantities),
    )


def tallies_of(answers: Iterable[tuple[str, int]]) -> list[Tally]:
    """A tally per listener, by code, of answers: whose it is, and the halves that it counts."""
    own: dict[str, list[int]] = {}
    for listener, halves in answers:
        own.setdefault(listener, []).append(halves)
    return [Tally(listener=name, halves=sum(own[name]), n_trials=len(own[name])) for name in sorted(own)]


def sheet_rows(sheet: Sheet) -> list[dict[str, str | None]]:
    """The trials as a dict of text per row; an empty cell, however the sheet holds it, is None."""
    import pandas as pd

    columns = {str(name): sheet.trials[name].tolist() for name in sheet.trials.columns}
    rows = []
    for index in range(len(sheet.trials)):
        cells = {name: column[index] for name, column in columns.items()}
        rows.append({name: None if pd.isna(cell) or str(cell) == "" else str(cell) for name, cell in cells.items()})
    return rows


def label(session: Session, condition: str) -> str:
    """What people call a condition: its label, else its id."""
    return next((c.label for c in session.conditions if c.id == condition), condition)


def counted(number: int, one: str, many: str) -> str:
    """The number with the noun in singular or plural.

    >>> counted(1, "trial", "trials")
    '1 trial'
    """
    return f"{number} {one if number == 1 else many}"


CONTROL = "control_correct"
_WEAK = "no positive control was passed: {}; that nothing was shown is weak evidence that there was nothing to show"


def control_caveats(inputs: Inputs, verdict: str) -> tuple[str, ...]:
    """What is to be said of a result over listeners that shows nothing, if nothing shows that it could have."""
    verdicts = [f.verdict for f in inputs.findings if f.quantity == CONTROL and f.listener is None]
    if verdict != "not-shown" or "passed" in verdicts:
        return ()
    return (_WEAK.format("those that were tried were not shown to be told apart" if verdicts else "none was tried"),)


def shared_alpha(n_verdicts: int) -> str:
    """That alpha is for several verdicts together, where it is.

    >>> shared_alpha(1), shared_alpha(2)
    ('', ', and alpha is for 2 verdicts together')
    """
    return "" if n_verdicts == 1 else f", and alpha is for {n_verdicts} verdicts together"


def named_parts(cells: Iterable[str | None]) -> tuple[str, ...]:
    """The programmes or seats that trials name, by name; none where they do not name two."""
    names = sorted({cell for cell in cells if cell is not None})
    return tuple(names) if len(names) > 1 else ()


# --- attribution ------------------------------------------------------------------------------------------------------


def attribution_fault(inputs: Inputs, pair: Pair, seats: Iterable[str | None]) -> str | None:
    """Why what was heard can't be put down to the change; None if the levels were matched where it was heard.

    `level_difference` at the amplifier's output counts for all seats; else each seat that the trials name has to be
    matched, and over seats where a trial names none.
    """
    levels = [finding for finding in inputs.findings if _is_level(finding, pair)]
    at_output = [finding for finding in levels if finding.point == "amplifier-output" and finding.seat is None]
    if at_output:
        return _fault_of(at_output, "at the amplifier's output")
    at_seats = [finding for finding in levels if finding.point in ("seat", None)]
    for seat in sorted(set(seats), key=lambda name: name or ""):
        where = "over seats" if seat is None else f"at seat {seat}"
        fault = _fault_of([finding for finding in at_seats if finding.seat == seat], where)
        if fault is not None:
            return fault
    return None


def _is_level(finding: Finding, pair: Pair) -> bool:
    over_all = (finding.variant, finding.of, finding.channel, finding.programme, finding.listener) == (None,) * 5
    same_pair = {finding.condition, finding.reference} == {pair.condition, pair.reference}
    return finding.quantity == "level_difference" and over_all and same_pair


def _fault_of(findings: Sequence[Finding], where: str) -> str | None:
    """Why the level there is not matched; with everything playing goes before the main loudspeakers alone."""
    if not findings:
        return f"not put down to the change: level_difference {where} was not measured"
    both = [finding for finding in findings if finding.playing == "both"]
    for finding in both or findings:
        if finding.verdict != "matched":
            value = "" if finding.value is None else f" ({finding.value:+.2f} dB)"
            return f"not put down to the change: level_difference {where} is {finding.verdict or 'undecided'}{value}"
    return None


def attributed(verdict: str, fault: str | None, claims: frozenset[str]) -> tuple[str, tuple[str, ...]]:
    """The verdict, or not-attributable in place of a claim, with the caveat that says why."""
    if fault is None or verdict not in claims:
        return verdict, ()
    return "not-attributable", (fault,)


# --- shares -----------------------------------------------------------------------------------------------------------


def exact_interval(tallies: Sequence[Tally], confidence: float) -> Interval:
    """Clopper-Pearson over all trials; a half answer is counted against either bound, which only widens it."""
    halves, n_trials = sum(tally.halves for tally in tallies), sum(tally.n_trials for tally in tallies)
    return Interval(
        low=clopper_pearson(halves // 2, n_trials, confidence).low,
        high=clopper_pearson(-(-halves // 2), n_trials, confidence).high,
    )


def widest(*intervals: Interval) -> Interval:
    """From the lowest low to the highest high."""
    return Interval(low=min(i.low for i in intervals), high=max(i.high for i in intervals))


def interval_over_listeners(tallies: Sequence[Tally], confidence: float) -> Interval:
    """t over listeners' shares, cut at 0 and 1, on neither side narrower than the exact one over all trials."""
    exact = exact_interval(tallies, confidence)
    if len(tallies) < 2:
        return exact
    return widest(t_interval([float(tally.share) for tally in tallies], confidence, 0.0, 1.0), exact)


def total_share(tallies: Sequence[Tally]) -> float:
    """Share over all trials of all listeners."""
    return float(Fraction(sum(tally.halves for tally in tallies), 2 * sum(tally.n_trials for tally in tallies)))


def share_findings(
    quantity: str,
    tallies: Sequence[Tally],
    pair: Pair,
    confidence: float,
    what: str,
    counts: Literal["trials", "listeners"],
) -> list[Finding]:
    """A share over all trials and of each listener, with intervals and without a p-value."""

    def finding(members: Sequence[Tally], interval: Interval, rule: str, listener: str | None) -> Finding:
        n_trials = sum(tally.n_trials for tally in members)
        return Finding(
            quantity=quantity,
            value=total_share(members),
            unit="1",
            low=interval.low,
            high=interval.high,
            confidence=confidence,
            n=n_trials if counts == "trials" else len(members),
            method=f"{what} ({counted(n_trials, 'trial', 'trials')}); interval: {rule}",
            condition=pair.condition,
            reference=pair.reference,
            listener=listener,
            caveats=(ONE_LISTENER_CAVEAT,) if listener is None and len(members) == 1 else (),
        )

    rule = EXACT_INTERVAL if len(tallies) == 1 else OVER_LISTENERS_INTERVAL
    findings = [finding(tallies, interval_over_listeners(tallies, confidence), rule, None)]
    for tally in tallies:
        findings.append(finding([tally], exact_interval([tally], confidence), EXACT_INTERVAL, tally.listener))
    return findings


# --- charts -----------------------------------------------------------------------------------------------------------


def chart_suffix(session: Session, pair: Pair) -> str:
    """The end of a chart's name: the condition, and the reference where it is not the session's."""
    if pair.reference == session.reference.id:
        return pair.condition
    return f"{pair.condition}-against-{pair.reference}"


def part_chart(chart: ChartRequest, word: str, findings: Sequence[Finding]) -> list[ChartRequest]:
    """The chart of listeners once more with a row for each programme or seat; none where there are no such findings."""
    parts = [f for f in findings if getattr(f, word) is not None]
    over_all = [f for f in findings if (f.listener, f.programme, f.seat) == (None, None, None)]
    if not parts:
        return []
    ordered = [*parts, *over_all]
    columns = {"share": "value", "low": "low", "high": "high"}
    return [
        replace(
            chart,
            name=f"{chart.name}-by-{word}",
            title=chart.title.replace("by listener", f"by {word}"),
            alternative=f"As the chart of listeners, for each {word}: "
            + "; ".join(f"{getattr(f, word)} {in_words(f.value)}" for f in parts)
            + ".",
            data={
                word: [getattr(f, word) or f"all {word}s" for f in ordered],
                **{column: [getattr(f, field) for f in ordered] for column, field in columns.items()},
            },
            y=Axis(column=word, label=word.capitalize(), scale="category"),
        )
    ]


def listener_chart(
    name: str,
    title: str,
    alternative: str,
    axis_label: str,
    findings: Sequence[Finding],
    rule: Rule,
) -> ChartRequest:
    """A whisker per listener and one over all of them, in that order; a value that can't be had is a gap."""
    findings = [f for f in findings if (f.programme, f.seat) == (None, None)]
    ordered = [f for f in findings if f.listener is not None] + [f for f in findings if f.listener is None]
    return ChartRequest(
        name=name,
        title=title,
        alternative=alternative,
        form="interval",
        data={
            "listener": [f.listener or ALL_LISTENERS for f in ordered],
            "share": [f.value for f in ordered],
            "low": [f.low for f in ordered],
            "high": [f.high for f in ordered],
        },
        x=Axis(column="share", label=axis_label, unit="1"),
        y=Axis(column="listener", label="Listener", scale="category"),
        low="low",
        high="high",
        rules=(rule,),
    )


def in_words(share: float | None) -> str:
    """A share for a chart's alternative text.

    >>> in_words(0.75), in_words(None)
    ('75 %', 'not to be had')
    """
    return "not to be had" if share is None or math.isnan(share) else f"{100 * share:.0f} %"
