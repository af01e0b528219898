"""Whether answers lean to a position: abx, duo-trio, paired-preference and triangle sheets to shares of positions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from fairhearing.api import Analyser, Axis, ChartRequest, Finding, Inputs, Needs, Result, Rule, Symmetry, hookimpl
from fairhearing_builtins.analysers import choice_trials, preference_trials
from fairhearing_builtins.analysers.choice_rows import ChoiceName
from fairhearing_builtins.analysers.exclusions import exclusion_caveats, with_and_without
from fairhearing_builtins.analysers.listening import Pair, counted, labels_are_labels, share_findings, tallies_of

FIRST, OF_THREE = "first_position_share", "position_share"
# The quantity that a lean to one position would spoil is what `of` names: a session may have both.
FROM_CHOICES, FROM_PREFERENCES = "proportion_correct", "preference_share"
TWO_POSITIONS: frozenset[ChoiceName] = frozenset({"abx", "duo-trio"})
PLACES = ("first", "second", "third")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Group:
    """The answers of one kind for one pair: who gave each, and the position that it names, from 0."""

    of: str
    variant: str | None
    pair: Pair
    what: str
    counts: Literal["trials", "listeners"]
    answers: tuple[tuple[str, int], ...]
    caveats: tuple[str, ...]


class Positions:
    """Share of answers for what was presented first, or for each of three positions, where the sheet says what was."""

    name = "positions"
    version = "3"
    quantities = frozenset({FIRST, OF_THREE})
    needs = Needs(methods=frozenset({"abx", "duo-trio", "paired-preference", "triangle"}))
    symmetries: tuple[Symmetry, ...] = (
        Symmetry(kind="first-second-mirrored", quantities=frozenset({FIRST})),
        Symmetry(kind="first-second-invariant", quantities=frozenset({OF_THREE})),
        Symmetry(kind="swap-conditions-invariant", quantities=quantities),
        Symmetry(kind="row-order-invariant", quantities=quantities),
        *labels_are_labels(quantities),
    )

    def analyse(self, inputs: Inputs) -> Result:
        """Findings for each pair of conditions, of each method by itself; sheets of the same pair are pooled."""
        return with_and_without(inputs, self._analyse, self.quantities)

    def _analyse(self, inputs: Inputs) -> Result:
        of_two = [f for group in (*_choices(inputs), *_preferences(inputs)) for f in _first_shares(inputs, group)]
        of_three = [f for group in _triangles(inputs) for f in _shares_of_three(inputs, group)]
        charts = [
            *_charts("positions", "Answers for what was presented first", of_two, 2),
            *_charts("positions-of-three", "Answers for each of three positions", of_three, 3),
        ]
        return Result(findings=(*of_two, *of_three), charts=tuple(charts))


def _choices(inputs: Inputs) -> list[_Group]:
    """abx and duo-trio; the first in session.toml that says what came first speaks for the pair."""
    groups = []
    for pair, pools in choice_trials.gather(inputs, TWO_POSITIONS).pools.items():
        answers = {method: _placed(pool) for method, pool in pools.items()}
        told = [method for method, placed in answers.items() if placed]
        for method in told:
            variant = None if method == told[0] else method
            answered = "answers" if method == "abx" else f"{method} answers"
            what = f"share of {answered} that name what was presented first"
            groups.append(
                _Group(
                    of=FROM_CHOICES, variant=variant, pair=pair, what=what, counts="trials", answers=answers[method],
                    caveats=exclusion_caveats(pools[method].excluded),
                )
            )  # fmt: skip
    return groups


def _placed(pool: choice_trials.PairTrials) -> tuple[tuple[str, int], ...]:
    places = ((trial.listener, trial.choice.position) for trial in pool.trials)
    return tuple((who, place) for who, place in places if place is not None)


def _triangles(inputs: Inputs) -> list[_Group]:
    found = choice_trials.gather(inputs, frozenset({"triangle"})).pools
    return [
        _Group(
            of=FROM_CHOICES, variant=None, pair=pair, what="share of triangle answers that name the {} of three",
            counts="trials", answers=_placed(pools["triangle"]),
            caveats=exclusion_caveats(pools["triangle"].excluded),
        )
        for pair, pools in found.items() if pools["triangle"].trials
    ]  # fmt: skip


def _preferences(inputs: Inputs) -> list[_Group]:
    groups = []
    for pair, pool in preference_trials.gather(inputs).pools.items():
        answers = tuple((t.listener, 0 if t.preferred_first else 1) for t in pool.trials if t.halves != 1)
        what = "share of preferences for what was presented first"
        if answers:
            groups.append(
                _Group(
                    of=FROM_PREFERENCES, variant=None, pair=pair, what=what, counts="listeners", answers=answers,
                    caveats=exclusion_caveats(pool.excluded),
                )
            )  # fmt: skip
    return groups


def _first_shares(inputs: Inputs, group: _Group) -> list[Finding]:
    findings = _shares(inputs, group, FIRST, group.what, 0)
    return [replace(finding, variant=group.variant) for finding in findings]


def _shares_of_three(inputs: Inputs, group: _Group) -> list[Finding]:
    """A share for each position: guessing without a lean gives a third."""
    findings = []
    for index, name in enumerate(PLACES):
        own = _shares(inputs, group, OF_THREE, group.what.format(name), index)
        findings += [replace(finding, variant=name) for finding in own]
    return findings


def _shares(inputs: Inputs, group: _Group, quantity: str, what: str, counted_place: int) -> list[Finding]:
    """How often that place was named: over all trials, then by each listener."""
    tallies = tallies_of((listener, 2 * (place == counted_place)) for listener, place in group.answers)
    confidence = inputs.session.criteria.confidence
    findings = share_findings(quantity, tallies, group.pair, confidence, what, group.counts)
    return [
        replace(f, of=group.of, caveats=(*group.caveats, *f.caveats) if f.listener is None else f.caveats)
        for f in findings
    ]


def _charts(name: str, title: str, findings: Sequence[Finding], n_positions: int) -> list[ChartRequest]:
    """The shares over all listeners, one whisker for each of them."""
    shown = [finding for finding in findings if finding.listener is None]
    if not shown:
        return []
    rows = [f"{f.method.split(' (')[0]}: {f.condition} against {f.reference}" for f in shown]
    stated = "; ".join(f"{row}, {100 * (f.value or 0.0):.0f} %" for row, f in zip(rows, shown, strict=True))
    chart = ChartRequest(
        name=name,
        title=title,
        alternative=f"{counted(len(rows), 'share', 'shares')} with intervals; {100 / n_positions:.0f} % leans to none: "
        f"{stated}.",
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
        rules=(Rule(at=1.0 / n_positions, label="no leaning"),),
    )
    return [chart]


@hookimpl
def fairhearing_analysers() -> list[Analyser]:
    """The analyser of this module."""
    return [Positions()]
