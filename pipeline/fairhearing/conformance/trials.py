"""Made-up score sheets of every method: eight listeners who differ, two programmes, two seats, always the same."""

from __future__ import annotations

from dataclasses import replace

from fairhearing.contracts import Sheet
from fairhearing.session import Method, OrderRule, Role, Session

LISTENERS = ("h3", "h1", "h2", "h5", "h4", "h8", "h6", "h7")
PROGRAMMES = ("organ", "choir")
N_TRIALS = 6
Row = dict[str, str | None]


def sheets_of(session: Session, *, positions: bool, order: OrderRule) -> tuple[Sheet, ...]:
    """A sheet of each method and role; `positions`: whether the abx sheet says what was presented first.

    Forced choices are of the first condition against the reference; preferences and ratings of all conditions. Of
    positive controls and shams there are few trials; what a sham names is what it pretends.
    """
    made: list[tuple[Method, list[Row], str | None]] = [
        ("abx", _rows(session, _abx if positions else _abx_without_positions), None),
        ("same-different", _rows(session, _same_different), None),
        ("triangle", _rows(session, _triangle), None),
        ("duo-trio", _rows(session, _duo_trio), None),
        ("paired-preference", _rows(session, _preference, every=True), None),
        ("grading", _rows(session, _grading, every=True), "comparison"),
        ("tetrad", _rows(session, _tetrad), None),
    ]
    n_of: tuple[tuple[Role, int], ...] = (("scored", N_TRIALS), ("control", N_TRIALS // 2), ("sham", N_TRIALS // 2))
    return tuple(
        replace(_sheet(session, method, entry + len(made) * index, _first(rows, n), scale, order), role=role)
        for index, (role, n) in enumerate(n_of)
        for entry, (method, rows, scale) in enumerate(made)
    )


def _first(rows: list[Row], n_trials: int) -> list[Row]:
    """The first so many trials of each listener."""
    return [row for row in rows if int(row["trial"] or 0) <= n_trials]


class _Trial:
    """What one trial is made of: numbers that run through all combinations, and the two conditions in it."""

    def __init__(self, session: Session, listener: int, number: int, treatment: str) -> None:
        self.reference, self.treatment = session.reference.id, treatment
        self.number = number
        # Each listener's own skill and taste: how many trials of N_TRIALS go the one way.
        self.right = (5 * number + listener) % N_TRIALS < 2 + listener // 2
        self.likes = (number + 2 * listener) % N_TRIALS < (1 + listener) % 5
        self.turned = (number // 2 + listener) % 2 == 1
        # Uneven on purpose: with as many turned as not, an error in the positions would cancel.
        self.turned = self.turned or (listener == 0 and number < 4)
        self.plays_treatment = (number + listener // 2) % 2 == 0

    @property
    def pair(self) -> tuple[str, str]:
        """What is presented first and second."""
        return (self.treatment, self.reference) if self.turned else (self.reference, self.treatment)

    def other(self, condition: str) -> str:
        """The other one of the two."""
        return self.treatment if condition == self.reference else self.reference


def _rows(session: Session, make: object, *, every: bool = False) -> list[Row]:
    assert callable(make)
    seats = [seat.id for seat in session.seats][:2]
    treatments = [condition.id for condition in session.treatments]
    rows: list[Row] = []
    for index, listener in enumerate(LISTENERS):
        for number in range(N_TRIALS):
            trial = _Trial(session, index, number, treatments[number % len(treatments) if every else 0])
            row: Row = {
                "listener": listener,
                "trial": str(number + 1),
                "programme": PROGRAMMES[(number // 2 + index) % 2],
                "seat": seats[(number + index) % 2],
            }
            rows.append({**row, **make(trial)})
    return rows


def _abx(trial: _Trial) -> Row:
    return {**_abx_without_positions(trial), "first": trial.pair[0], "second": trial.pair[1]}


def _abx_without_positions(trial: _Trial) -> Row:
    x = trial.treatment if trial.plays_treatment else trial.reference
    return {"x": x, "answer": x if trial.right else trial.other(x)}


def _same_different(trial: _Trial) -> Row:
    first, second = trial.pair
    second = second if trial.plays_treatment else first
    words = ("same", "different")
    return {"first": first, "second": second, "answer": words[(first != second) == trial.right]}


def _triangle(trial: _Trial) -> Row:
    odd = trial.number % 3
    order = [trial.pair[0]] * 3
    order[odd] = trial.pair[1]
    return {"order": " ".join(order), "answer": str(1 + (odd if trial.right else (odd + 1) % 3))}


def _tetrad(trial: _Trial) -> Row:
    partner = 1 + trial.number % 3
    order = [trial.pair[0] if place in (0, partner) else trial.pair[1] for place in range(4)]
    named = partner if trial.right else 1 + partner % 3
    # Naming two of the four says as much as naming the other two.
    others = [place for place in (1, 2, 3) if place != named]
    places = others if trial.turned else [0, named]
    return {"order": " ".join(order), "answer": " ".join(str(1 + place) for place in places)}


def _duo_trio(trial: _Trial) -> Row:
    first, second = trial.pair
    standard = trial.reference
    position = 1 if first == standard else 2
    return {"standard": standard, "first": first, "second": second,
            "answer": str(position if trial.right else 3 - position)}  # fmt: skip


def _preference(trial: _Trial) -> Row:
    first, second = trial.pair
    preferred = trial.treatment if trial.likes else trial.reference
    return {"first": first, "second": second, "preferred": "none" if trial.number == 3 and trial.turned else preferred}


def _grading(trial: _Trial) -> Row:
    first, second = trial.pair
    better = 1 if trial.likes else -1
    return {"first": first, "second": second, "rating": str(better if first == trial.reference else -better)}


def _sheet(session: Session, method: Method, entry: int, rows: list[Row], scale: str | None, order: OrderRule) -> Sheet:
    import pandas as pd

    two = len(session.conditions) == 2
    return Sheet(
        method=method,
        entry=entry,
        paths=(f"scores/{method}.csv",),
        reference=session.reference.id,
        treatment=session.treatments[0].id if two or method not in ("paired-preference", "grading") else None,
        order=order,
        scale=scale,
        trials=pd.DataFrame({name: [row[name] for row in rows] for name in rows[0]}, dtype=object),
    )
