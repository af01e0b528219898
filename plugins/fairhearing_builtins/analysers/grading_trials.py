"""Grading sheets to ratings: exact numbers, the cells they are matched in, and each listener's differences."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import Literal

from fairhearing.api import Inputs, Sheet
from fairhearing_builtins.analysers.exclusions import exclusion_caveats, reason_of
from fairhearing_builtins.analysers.listening import Pair, counted, sheet_rows

# The first that a session has is the headline; a scale that can say better goes before one that cannot.
SCALES = ("comparison", "quality", "impairment")
Cell = tuple[str | None, str | None]  # programme, seat


def mean_of(grades: Collection[Fraction]) -> Fraction:
    """The exact mean; as `statistics.mean` gives it, many times as fast."""
    return sum(grades, Fraction(0)) / len(grades)


@dataclass(frozen=True, slots=True, kw_only=True)
class Rating:
    """One rating: of `condition`, or on the scale `comparison` of `condition` relative to `other`."""

    listener: str
    cell: Cell
    condition: str
    other: str | None
    grade: Fraction
    entry: int = 0
    number: str | None = None


@dataclass(slots=True, kw_only=True)
class Ratings:
    """All ratings of a session on one scale, while they are gathered; `others`: conditions that sheets name."""

    scale: str
    references: dict[str, set[str]] = field(default_factory=dict)  # reference -> conditions set against it
    ratings: list[Rating] = field(default_factory=list)
    n_invalid: int = 0
    n_same: int = 0
    excluded: Counter[str] = field(default_factory=Counter)

    @property
    def listeners(self) -> list[str]:
        """By code."""
        return sorted({rating.listener for rating in self.ratings})

    @property
    def pairs(self) -> list[Pair]:
        """Each condition with the reference that it was set against, by id of the reference, then of the condition."""
        return [
            Pair(condition=condition, reference=reference)
            for reference in sorted(self.references)
            for condition in sorted(self.references[reference] - {reference})
        ]

    @property
    def caveats(self) -> tuple[str, ...]:
        """What was left out."""
        told = []
        if self.n_invalid:
            told.append(f"left out: {counted(self.n_invalid, 'trial', 'trials')} without a valid rating")
        if self.n_same:
            told.append(f"left out: {counted(self.n_same, 'trial', 'trials')} that set a condition against itself")
        return (*exclusion_caveats(self.excluded), *told)


def gather(inputs: Inputs) -> dict[str, Ratings]:
    """The ratings of all sheets of gradings by scale, in the order of SCALES; sheets of one scale are pooled."""
    gathered: dict[str, Ratings] = {}
    known = [condition.id for condition in inputs.session.conditions]
    for sheet in sorted((s for s in inputs.sheets if s.method == "grading"), key=lambda s: s.entry):
        _add_sheet(sheet, inputs.session.reference.id, known, gathered)
    return {scale: gathered[scale] for scale in SCALES if scale in gathered}


def _add_sheet(sheet: Sheet, reference: str, known: Iterable[str], gathered: dict[str, Ratings]) -> None:
    """Add the ratings of a sheet to those of its scale."""
    scale = sheet.scale or ""
    into = gathered.setdefault(scale, Ratings(scale=scale))
    own = sheet.reference or reference
    conditions = into.references.setdefault(own, set())
    if sheet.treatment:
        conditions.add(sheet.treatment)
    for row in sheet_rows(sheet):
        names = (row.get("second"), row.get("first")) if scale == "comparison" else (row.get("condition"), None)
        conditions.update(name for name in names if name in set(known) - {own})
        why = reason_of(row)
        if why is not None:
            into.excluded[why] += 1
            continue
        if scale == "comparison" and names[0] is not None and names[0] == names[1]:
            into.n_same += 1
            continue
        grade, listener = grade_of(row.get("rating")), row.get("listener")
        if names[0] is None or (scale == "comparison" and names[1] is None) or grade is None or listener is None:
            into.n_invalid += 1
            continue
        cell = (row.get("programme"), row.get("seat"))
        into.ratings.append(
            Rating(
                listener=listener,
                cell=cell,
                condition=names[0],
                other=names[1],
                grade=grade,
                entry=sheet.entry,
                number=row.get("trial"),
            )
        )


def grade_of(text: str | None) -> Fraction | None:
    """The number exactly as it was written: 3.1 is thirty-one tenths, not the float nearest to it."""
    try:
        return None if text is None else Fraction(text)
    except (ValueError, ZeroDivisionError):
        return None


@dataclass(frozen=True, slots=True, kw_only=True)
class Unit:
    """A difference treatment minus reference by one listener: of one trial, or of the means of one cell."""

    listener: str
    cell: Cell
    difference: Fraction
    of_trial: bool


def units(ratings: Sequence[Rating], scale: str, pair: Pair) -> list[Unit]:
    """Every difference that the ratings give: a trial's on `comparison`, else a cell's in which both were rated."""
    if scale == "comparison":
        signs = {(pair.condition, pair.reference): 1, (pair.reference, pair.condition): -1}
        return [
            Unit(listener=r.listener, cell=r.cell, difference=signs[r.condition, r.other] * r.grade, of_trial=True)
            for r in ratings
            if r.other is not None and (r.condition, r.other) in signs
        ]
    found: dict[tuple[str, Cell], dict[str, list[Fraction]]] = {}
    for rating in ratings:
        found.setdefault((rating.listener, rating.cell), {}).setdefault(rating.condition, []).append(rating.grade)
    return [
        Unit(
            listener=listener,
            cell=cell,
            difference=mean_of(grades[pair.condition]) - mean_of(grades[pair.reference]),
            of_trial=False,
        )
        for (listener, cell), grades in sorted(found.items(), key=lambda entry: str(entry[0]))
        if pair.condition in grades and pair.reference in grades
    ]


def exchanged(ratings: Ratings, pair: Pair) -> Ratings:
    """The same ratings with the names of condition and reference exchanged."""
    names = {pair.condition: pair.reference, pair.reference: pair.condition}
    return replace(
        ratings, ratings=[replace(r, condition=names.get(r.condition, r.condition)) for r in ratings.ratings]
    )


def listener_means(differences: Iterable[Unit]) -> dict[str, Fraction]:
    """Mean difference of each listener, by code."""
    found: dict[str, list[Fraction]] = {}
    for unit in differences:
        found.setdefault(unit.listener, []).append(unit.difference)
    return {name: mean_of(found[name]) for name in sorted(found)}


def by_part(differences: Iterable[Unit], word: Literal["programme", "seat"]) -> dict[str, list[Unit]]:
    """The differences of each named programme, or at each named seat, by name."""
    found: dict[str, list[Unit]] = {}
    for unit in differences:
        name = unit.cell[0 if word == "programme" else 1]
        if name is not None:
            found.setdefault(name, []).append(unit)
    return dict(sorted(found.items()))


def stimulus(rating: Rating) -> tuple[tuple[str, ...], Cell]:
    """What was rated, whichever way round it was presented."""
    return tuple(sorted(name for name in (rating.condition, rating.other) if name is not None)), rating.cell


def turned(rating: Rating) -> Fraction:
    """The grade of what was rated, of the later of the two names relative to the earlier."""
    return -rating.grade if rating.other is not None and rating.condition < rating.other else rating.grade
