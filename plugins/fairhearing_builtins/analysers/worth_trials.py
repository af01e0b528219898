"""Paired-preference sheets to counted comparisons of all conditions, listener by listener."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from fairhearing.api import Session, Sheet
from fairhearing.statistics.bradley_terry import count_outcomes
from fairhearing_builtins.analysers.exclusions import left_out_caveats, reason_of
from fairhearing_builtins.analysers.listening import counted, sheet_rows
from fairhearing_builtins.analysers.preference_trials import NEITHER

FloatArray = npt.NDArray[np.float64]


@dataclass(slots=True, kw_only=True)
class Comparisons:
    """Valid trials of all conditions, the reference first among `conditions`; `counts` per listener, by code."""

    conditions: list[str]
    listeners: list[str] = field(default_factory=list)
    counts: FloatArray
    seats: set[str | None] = field(default_factory=set)
    n_invalid: int = 0
    n_same: int = 0
    excluded: Counter[str] = field(default_factory=Counter)

    @property
    def caveats(self) -> tuple[str, ...]:
        """What was left out."""
        told = left_out_caveats(self.excluded, self.n_invalid)
        if not self.n_same:
            return told
        return (*told, f"left out: {counted(self.n_same, 'trial', 'trials')} that set a condition against itself")


def comparisons(sheets: Sequence[Sheet], session: Session) -> Comparisons:
    """All trials of all sheets; conditions are those that a sheet names, and the reference."""
    known = [condition.id for condition in session.conditions]
    rows = [row for sheet in sheets for row in sheet_rows(sheet)]
    named = {row.get(column) for row in rows for column in ("first", "second")}
    named |= {sheet.treatment for sheet in sheets if sheet.treatment}
    reference = session.reference.id
    conditions = [reference, *sorted(name for name in named if name in known and name != reference and name)]
    position = {name: index for index, name in enumerate(conditions)}
    found = Comparisons(conditions=conditions, counts=np.zeros((0, len(conditions), len(conditions), 3)))
    trials: dict[str, list[tuple[int, int, int]]] = {}
    for row in rows:
        first, second, preferred, listener = (row.get(name) for name in ("first", "second", "preferred", "listener"))
        why = reason_of(row)
        if why is not None:
            found.excluded[why] += 1
        elif first is not None and first == second:
            found.n_same += 1
        elif not {first, second} <= set(position) or listener is None or preferred not in (first, second, NEITHER):
            found.n_invalid += 1
        else:
            assert first is not None
            assert second is not None
            outcome = 1 if preferred == NEITHER else 0 if preferred == first else 2
            trials.setdefault(listener, []).append((position[first], position[second], outcome))
            found.seats.add(row.get("seat"))
    found.listeners = sorted(trials)
    if trials:
        # In an order that no code decides: sums over listeners must not move in the last digit.
        columns = [np.array(trials[name]).T for name in found.listeners]
        each = [count_outcomes(first, second, outcome, len(conditions)) for first, second, outcome in columns]
        found.counts = np.array(sorted(each, key=lambda one: one.tolist()))
    return found
