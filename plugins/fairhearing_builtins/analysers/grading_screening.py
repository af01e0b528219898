"""Which listeners a graded test leaves out, by the rules of its scale, with the reason for each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fairhearing.api import Table
from fairhearing.statistics.screening import REFERENCE_GRADE, expertise, spared, too_many
from fairhearing_builtins.analysers.grading_trials import Ratings, units
from fairhearing_builtins.analysers.listening import Pair

MID_ANCHOR = "mid-anchor"  # a condition with this id is BS.1534's mid-range anchor
REFERENCE_RULE = "BS.1534-3: hidden reference below 90 in more than 15 % of items"
ANCHOR_RULE = "BS.1534-3: mid-range anchor above 90 in more than 15 % of items"
EXPERTISE_RULE = "BS.1116-3: objects not graded below the hidden reference, t-test, one-sided, 0.05"


@dataclass(frozen=True, slots=True, kw_only=True)
class Screened:
    """One rule put to one listener: what it saw, whether the listener stays, and why in words."""

    listener: str
    rule: str
    n_items: int
    n_odd: int | None
    t: float | None
    p_value: float | None
    kept: bool
    why: str


def screened(ratings: Ratings, reference: str) -> list[Screened]:
    """Every rule of the scale put to every listener who rated; none on the scale `comparison`."""
    if ratings.scale == "quality":
        return [*_by_reference(ratings, reference), *_by_anchor(ratings)]
    if ratings.scale == "impairment":
        return _by_expertise(ratings, reference)
    return []


def left_out(rows: Sequence[Screened]) -> dict[str, str]:
    """Reason by listener who is left out, by code."""
    return {row.listener: row.why for row in sorted(rows, key=lambda row: (row.listener, row.rule)) if not row.kept}


def _by_reference(ratings: Ratings, reference: str) -> list[Screened]:
    rows = []
    for listener in ratings.listeners:
        grades = [r.grade for r in ratings.ratings if (r.listener, r.condition) == (listener, reference)]
        n_odd = sum(grade < REFERENCE_GRADE for grade in grades)
        why = f"hidden reference below 90 in {n_odd} of {len(grades)} items"
        rows.append(_counted(listener, REFERENCE_RULE, n_odd, len(grades), why))
    return rows


def _by_anchor(ratings: Ratings) -> list[Screened]:
    """The rule of the mid-range anchor; an item on which many do so counts against none."""
    items: dict[object, dict[str, list[bool]]] = {}
    for rating in ratings.ratings:
        if rating.condition == MID_ANCHOR:
            high = rating.grade > REFERENCE_GRADE
            items.setdefault(rating.cell, {}).setdefault(rating.listener, []).append(high)
    counting = [
        listeners
        for listeners in items.values()
        if not spared(sum(any(own) for own in listeners.values()), len(listeners))
    ]
    rows = []
    for listener in ratings.listeners if items else []:
        n_items = sum(len(listeners.get(listener, ())) for listeners in items.values())
        n_odd = sum(sum(listeners.get(listener, ())) for listeners in counting)
        why = f"mid-range anchor above 90 in {n_odd} of {n_items} items"
        rows.append(_counted(listener, ANCHOR_RULE, n_odd, n_items, why))
    return rows


def _counted(listener: str, rule: str, n_odd: int, n_items: int, why: str) -> Screened:
    kept = not too_many(n_odd, n_items)
    return Screened(
        listener=listener, rule=rule, n_items=n_items, n_odd=n_odd, t=None, p_value=None, kept=kept, why=why
    )


def _by_expertise(ratings: Ratings, reference: str) -> list[Screened]:
    conditions = sorted({rating.condition for rating in ratings.ratings} - {reference})
    differences: dict[str, list[float]] = {listener: [] for listener in ratings.listeners}
    for condition in conditions:
        for unit in units(ratings.ratings, ratings.scale, Pair(condition=condition, reference=reference)):
            differences[unit.listener].append(float(unit.difference))
    rows = []
    for listener, own in differences.items():
        found = expertise(own)
        if found.expert is None:
            why = f"not judged: {found.n_items} of the two items or more that a t-test needs"
        elif found.p_value != found.p_value:
            why = f"all {found.n_items} items differ from the hidden reference by {own[0]:+.3g}"
        else:
            why = f"objects against the hidden reference: t = {found.t:.2f}, p = {found.p_value:.3f}, one-sided"
        known = found.p_value == found.p_value
        rows.append(
            Screened(
                listener=listener,
                rule=EXPERTISE_RULE,
                n_items=found.n_items,
                n_odd=None,
                t=found.t if known else None,
                p_value=found.p_value if known else None,
                kept=found.expert is not False,
                why=why,
            )
        )
    return rows


def screening_table(name: str, rows: Sequence[Screened]) -> Table:
    """All rules put to all listeners."""
    ordered = sorted(rows, key=lambda row: (row.listener, row.rule))
    return Table(
        name=name,
        columns={
            "listener": [row.listener for row in ordered],
            "rule": [row.rule for row in ordered],
            "n_items": [row.n_items for row in ordered],
            "n_items_odd": [row.n_odd for row in ordered],
            "t": [row.t for row in ordered],
            "p_value": [row.p_value for row in ordered],
            "kept": [row.kept for row in ordered],
            "reason": [row.why for row in ordered],
        },
        units=dict.fromkeys(("listener", "rule", "n_items", "n_items_odd", "t", "p_value", "kept", "reason"), ""),
    )
