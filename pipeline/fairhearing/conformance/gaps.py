"""Worlds with less in them: few takes and trials, none that could be compared, gaps in what was measured."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import TYPE_CHECKING

from fairhearing.conformance.changes import cell_of, object_column, with_rows
from fairhearing.contracts import Inputs, Sheet, Take

if TYPE_CHECKING:
    import pandas as pd


def with_few_rows(inputs: Inputs) -> dict[str, Inputs]:
    """One take and one trial; one take of each cell and one trial of each listener; one seat."""
    takes = {cell_of(take): take for take in reversed(inputs.takes)}
    sounds = {cell_of(recording): recording for recording in reversed(inputs.recordings)}
    one_of_each = tuple(replace(s, trials=_one_per_listener(s.trials)) for s in inputs.sheets)
    return {
        "one take and one trial": replace(
            inputs,
            takes=inputs.takes[:1],
            recordings=inputs.recordings[:1],
            sheets=tuple(with_rows(s, [0][: len(s.trials)]) for s in inputs.sheets),
        ),
        "one repeat of everything": replace(
            inputs,
            takes=tuple(reversed(takes.values())),
            recordings=tuple(reversed(sounds.values())),
            sheets=one_of_each,
        ),
    }


def _one_per_listener(trials: pd.DataFrame) -> pd.DataFrame:
    return trials.drop_duplicates("listener") if "listener" in trials.columns else trials.head(1)


def with_no_rows(inputs: Inputs) -> dict[str, Inputs]:
    """Nothing of which one condition could be compared with another."""
    sheets = tuple(with_rows(sheet, []) for sheet in inputs.sheets)
    nothing = replace(inputs, takes=(), recordings=(), findings=(), sheets=sheets)
    conditions = [inputs.session.reference, *inputs.session.treatments[:1]]
    return {
        **{
            f"takes of {condition.id} alone": replace(
                nothing,
                takes=tuple(take for take in inputs.takes if take.condition == condition.id),
                recordings=tuple(r for r in inputs.recordings if r.condition == condition.id),
            )
            for condition in conditions
        },
        "noise alone": replace(nothing, takes=tuple(take for take in inputs.takes if take.kind == "noise")),
        "sheets without rows": nothing,
        "no takes, no sheets": replace(nothing, sheets=()),
    }


def with_gaps(inputs: Inputs) -> dict[str, Inputs]:
    """Levels that are NaN, answers that are None."""
    import numpy as np

    def holed(take: Take, *, whole: bool) -> Take:
        level = take.curve.level_db.copy()
        level[:: 1 if whole else 7] = np.nan
        return replace(take, curve=replace(take.curve, level_db=level))

    return {
        "NaN here and there in every take": replace(
            inputs, takes=tuple(holed(take, whole=False) for take in inputs.takes), sheets=_emptied(inputs.sheets, 3)
        ),
        "one take of NaN alone": replace(
            inputs, takes=tuple(holed(t, whole=True) if i == 0 else t for i, t in enumerate(inputs.takes))
        ),
        "nothing but NaN and None": replace(
            inputs, takes=tuple(holed(take, whole=True) for take in inputs.takes), sheets=_emptied(inputs.sheets, 1)
        ),
    }


def _emptied(sheets: Iterable[Sheet], every: int) -> tuple[Sheet, ...]:
    """Sheets in which some answers are not there."""
    made = []
    for sheet in sheets:
        trials = sheet.trials.copy()
        for name in {"answer", "preferred", "rating"} & set(map(str, trials.columns)):
            cells = trials[name].tolist()
            trials[name] = object_column([None if index % every == 0 else cell for index, cell in enumerate(cells)])
        made.append(replace(sheet, trials=trials))
    return tuple(made)
