"""Whether answers lean to what was presented first: abx and paired-preference sheets to first_position_share."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

from fairhearing.api import Analyser, Axis, ChartRequest, Finding, Inputs, Needs, Result, Rule, Symmetry, hookimpl
from fairhearing_builtins.analysers import abx_trials, preference_trials
from fairhearing_builtins.analysers.listening import Pair, Tally, counted, share_findings

# The quantity that a lean to one position would spoil is what `of` names: a session may have both methods.
FROM_ABX, FROM_PREFERENCES = "proportion_correct", "preference_share"
WHAT = {
    FROM_ABX: "share of answers that name what was presented first",
    FROM_PREFERENCES: "share of preferences for what was presented first",
}
COUNTS: dict[str, Literal["trials", "listeners"]] = {FROM_ABX: "trials", FROM_PREFERENCES: "listeners"}
Choices = list[tuple[str, bool]]  # of each trial that counts: who answered, and whether for what came first


class Positions:
    """Share of answers for what was presented first, where the sheet says what was."""

    name = "positions"
    version = "1"
    quantities = frozenset({"first_position_share"})
    needs = Needs(methods=frozenset({"abx", "paired-preference"}))
    symmetries: tuple[Symmetry, ...] = (
        Symmetry(kind="first-second-mirrored", quantities=quantities),
        Symmetry(kind="swap-conditions-invariant", quantities=quantities),
        Symmetry(kind="row-order-invariant", quantities=quantities),
        Symmetry(kind="relabel-listeners-invariant", quantities=quantities),
        Symmetry(kind="relabel-seats-invariant", quantities=quantities),
        Symmetry(kind="relabel-programmes-invariant", quantities=quantities),
    )

    def analyse(self, inputs: Inputs) -> Result:
        """Findings for each pair of conditions, of each method by itself; sheets of the same pair are pooled."""
        findings: list[Finding] = []
        for of, gathered in ((FROM_ABX, _of_abx(inputs)), (FROM_PREFERENCES, _of_preferences(inputs))):
            for pair in sorted(gathered, key=lambda p: (p.condition, p.reference)):
                if gathered[pair]:
                    findings += _shares(inputs, pair, of, gathered[pair])
        return Result(findings=tuple(findings), charts=_charts(findings))


def _of_abx(inputs: Inputs) -> dict[Pair, Choices]:
    gathered: dict[Pair, abx_trials.PairTrials] = {}
    for sheet in inputs.sheets:
        if sheet.method == "abx":
            abx_trials.gather(sheet, inputs.session, gathered)
    return {
        pair: [(t.listener, t.answered_first) for t in pool.trials if t.answered_first is not None]
        for pair, pool in gathered.items()
    }


def _of_preferences(inputs: Inputs) -> dict[Pair, Choices]:
    gathered: dict[Pair, preference_trials.PairTrials] = {}
    for sheet in inputs.sheets:
        if sheet.method == "paired-preference":
            preference_trials.gather(sheet, inputs.session, gathered)
    return {
        pair: [(t.listener, t.preferred_first) for t in pool.trials if t.halves != 1] for pair, pool in gathered.items()
    }


def _shares(inputs: Inputs, pair: Pair, of: str, choices: Choices) -> list[Finding]:
    """Over all trials, then of each listener."""
    tallies = []
    for listener in sorted({who for who, _ in choices}):
        own = [first for who, first in choices if who == listener]
        tallies.append(Tally(listener=listener, halves=2 * sum(own), n_trials=len(own)))
    confidence = inputs.session.criteria.confidence
    findings = share_findings("first_position_share", tallies, pair, confidence, WHAT[of], COUNTS[of])
    return [replace(finding, of=of) for finding in findings]


def _charts(findings: Sequence[Finding]) -> tuple[ChartRequest, ...]:
    """The shares over all listeners, one whisker for each method and pair."""
    shown = [finding for finding in findings if finding.listener is None]
    if not shown:
        return ()
    rows = [f"{WHAT[f.of or '']}: {f.condition} against {f.reference}" for f in shown]
    stated = "; ".join(f"{row}, {100 * (f.value or 0.0):.0f} %" for row, f in zip(rows, shown, strict=True))
    chart = ChartRequest(
        name="positions",
        title="Answers for what was presented first",
        alternative=f"{counted(len(rows), 'share', 'shares')} with intervals; 50 % leans to neither: {stated}.",
        form="interval",
        data={
            "what": rows,
            "share": [f.value for f in shown],
            "low": [f.low for f in shown],
            "high": [f.high for f in shown],
        },
        x=Axis(column="share", label="Share of answers", unit="1"),
        y=Axis(column="what", label="Answers", scale="category"),
        low="low",
        high="high",
        rules=(Rule(at=0.5, label="no leaning"),),
    )
    return (chart,)


@hookimpl
def fairhearing_analysers() -> list[Analyser]:
    """The analyser of this module."""
    return [Positions()]
