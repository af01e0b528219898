"""Positive controls and shams of every method to what counts in each trial: told apart or not, different or not."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

from fairhearing.api import Inputs, Sheet
from fairhearing_builtins.analysers import choice_trials, grading_trials, preference_trials
from fairhearing_builtins.analysers.choice_rows import METHODS as CHOICES
from fairhearing_builtins.analysers.exclusions import left_out_caveats, reason_of
from fairhearing_builtins.analysers.listening import Pair, Tally, counted, sheet_rows, tallies_of

NONE = "none"


@dataclass(slots=True, kw_only=True)
class Answers:
    """Answers of one method, each of one listener; `counts`: whether it is one of those that are counted."""

    method: str
    answers: list[tuple[str, bool]] = field(default_factory=list)
    n_invalid: int = 0
    n_alone: int = 0
    excluded: Counter[str] = field(default_factory=Counter)

    @property
    def tallies(self) -> list[Tally]:
        """A tally per listener, by code."""
        return tallies_of((listener, 2 * counts) for listener, counts in self.answers)

    @property
    def caveats(self) -> tuple[str, ...]:
        """What was left out."""
        told = left_out_caveats(self.excluded, self.n_invalid)
        if self.n_alone:
            alone = counted(self.n_alone, "sham", "shams")
            told = (
                *told,
                f"left out: {alone} without an equal graded by the same listener in the same programme and seat",
            )
        return told


# --- positive controls ------------------------------------------------------------------------------------------------


def of_role(inputs: Inputs, role: str) -> Inputs:
    """The inputs with the sheets of one role alone."""
    return replace(inputs, sheets=tuple(sheet for sheet in inputs.sheets if sheet.role == role))


def choice_controls(inputs: Inputs) -> dict[Pair, dict[str, choice_trials.PairTrials]]:
    """The forced choices of the controls, by pair and method."""
    return choice_trials.gather(of_role(inputs, "control")).pools


def other_controls(inputs: Inputs) -> dict[Pair, dict[str, Answers]]:
    """Preferences and ratings of the controls, by pair and method; counted is what goes the way that most go."""
    found: dict[Pair, dict[str, Answers]] = {}
    for pair, answers in (*_preferences(inputs), *_ratings(inputs)):
        found.setdefault(pair, {})[answers.method] = answers
    return dict(sorted(found.items(), key=lambda one: (one[0].condition, one[0].reference)))


def _preferences(inputs: Inputs) -> list[tuple[Pair, Answers]]:
    made = []
    for pair, pool in preference_trials.gather(of_role(inputs, "control")).pools.items():
        sides = [(trial.listener, trial.halves - 1) for trial in pool.trials]
        made.append((pair, _agreeing("paired-preference", sides, pool.n_invalid + pool.n_same, pool.excluded)))
    return made


def _ratings(inputs: Inputs) -> list[tuple[Pair, Answers]]:
    made = []
    for scale, ratings in grading_trials.gather(of_role(inputs, "control")).items():
        for pair in ratings.pairs:
            units = grading_trials.units(ratings.ratings, scale, pair)
            sides = [(unit.listener, (unit.difference > 0) - (unit.difference < 0)) for unit in units]
            left_out = ratings.n_invalid + ratings.n_same
            made.append((pair, _agreeing(f"grading-{scale}", sides, left_out, ratings.excluded)))
    return made


def _agreeing(method: str, sides: Sequence[tuple[str, int]], n_invalid: int, excluded: Counter[str]) -> Answers:
    """Counted are the answers that go for the side which more of them go for; one for neither never is."""
    towards = 1 if sum(side for _, side in sides) >= 0 else -1
    answers = [(listener, side == towards) for listener, side in sides]
    return Answers(method=method, answers=answers, n_invalid=n_invalid, excluded=excluded)


# --- shams ------------------------------------------------------------------------------------------------------------


def shams(inputs: Inputs) -> dict[str, Answers]:
    """The sham trials of each method that asks whether there is a difference; counted is an answer that says so.

    What a row names counts nothing: it may be what the trial pretended, or the one condition that was played.
    """
    found: dict[str, Answers] = {}
    for sheet in _sheets(inputs, "sham", frozenset({"same-different", "paired-preference", "grading"})):
        if sheet.method == "grading" and sheet.scale != "comparison":
            continue
        into = found.setdefault(sheet.method, Answers(method=sheet.method))
        for row in sheet_rows(sheet):
            listener, says, why = row.get("listener"), _says_different(sheet, row), reason_of(row)
            if why is not None:
                into.excluded[why] += 1
            elif listener is None or says is None:
                into.n_invalid += 1
            else:
                into.answers.append((listener, says))
    return found


def graded_shams(inputs: Inputs) -> dict[str, Answers]:
    """The shams of scales on which one thing is graded at a time; counted is a cell whose equals were graded apart.

    A sham plays the reference, whatever its row names: in a cell (a listener, a programme, a seat) all grades are of
    one thing. A cell with one grade tells nothing.
    """
    found: dict[str, Answers] = {}
    cells: dict[tuple[str, str, str, str], list[Fraction]] = {}
    for sheet in _sheets(inputs, "sham", frozenset({"grading"})):
        if sheet.scale == "comparison":
            continue
        method = f"grading-{sheet.scale}"
        into = found.setdefault(method, Answers(method=method))
        for row in sheet_rows(sheet):
            listener, grade, why = row.get("listener"), grading_trials.grade_of(row.get("rating")), reason_of(row)
            if why is not None:
                into.excluded[why] += 1
            elif listener is None or grade is None:
                into.n_invalid += 1
            else:
                cell = (method, listener, row.get("programme") or "", row.get("seat") or "")
                cells.setdefault(cell, []).append(grade)
    for (method, listener, _, _), grades in sorted(cells.items()):
        if len(grades) > 1:
            found[method].answers.append((listener, len(set(grades)) > 1))
        else:
            found[method].n_alone += 1
    return found


def _says_different(sheet: Sheet, row: dict[str, str | None]) -> bool | None:
    """Whether an answer says that there is a difference; None for no valid answer."""
    if sheet.method == "same-different":
        return {"same": False, "different": True}.get(row.get("answer") or "")
    if sheet.method == "paired-preference":
        preferred = row.get("preferred")
        return preferred != NONE if preferred in (NONE, row.get("first"), row.get("second")) else None
    grade = grading_trials.grade_of(row.get("rating"))
    return None if grade is None else grade != 0


def choice_shams(inputs: Inputs) -> dict[str, Answers]:
    """The sham trials of each method that asks which one it was; counted is an answer that the key calls right."""
    methods = CHOICES - {"same-different"}
    found: dict[str, Answers] = {}
    for pools in choice_trials.gather(of_role(inputs, "sham"), methods).pools.values():
        for method, pool in pools.items():
            into = found.setdefault(method, Answers(method=method))
            into.answers += [(trial.listener, trial.right) for trial in pool.trials]
            into.n_invalid += pool.n_left_out
            into.excluded += pool.excluded
    return found


def _sheets(inputs: Inputs, role: str, methods: frozenset[str]) -> list[Sheet]:
    return sorted((s for s in inputs.sheets if s.role == role and s.method in methods), key=lambda s: s.entry)
