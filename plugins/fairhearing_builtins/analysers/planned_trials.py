"""The trials of a plan as they were scored, how they differ from it, and the right answers at its looks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from fairhearing.api import Inputs, ListeningPlan, Sheet
from fairhearing_builtins.analysers import choice_trials, grading_trials, preference_trials
from fairhearing_builtins.analysers.choice_rows import METHODS as CHOICES
from fairhearing_builtins.analysers.choice_rows import READERS
from fairhearing_builtins.analysers.exclusions import reason_of
from fairhearing_builtins.analysers.listening import Pair, counted, sheet_rows
from fairhearing_builtins.analysers.trial_counts import planned_sheets, was_not_played
from fairhearing_builtins.analysers.trial_order import in_order


@dataclass(frozen=True, slots=True, kw_only=True)
class Played:
    """A trial of a forced choice that was played: right, or wrong, excluded or without an answer."""

    listener: str
    entry: int
    number: str | None
    right: bool
    counts: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Planned:
    """The plan with what was scored by it: forced choices, preferences or ratings, whichever its method asks for.

    `played`: of forced choices, those that were excluded or not answered too.
    """

    plan: ListeningPlan
    pair: Pair
    choices: Sequence[choice_trials.Trial] = ()
    played: Sequence[Played] = ()
    preferences: Sequence[preference_trials.Trial] = ()
    ratings: Sequence[grading_trials.Unit] = ()

    @property
    def listeners(self) -> list[str]:
        """Who has a scored trial, by code."""
        choices, preferences = (one.listener for one in self.choices), (one.listener for one in self.preferences)
        return sorted({*choices, *preferences, *(one.listener for one in self.ratings)})

    @property
    def n_trials(self) -> int:
        """How many trials, or differences of ratings, were scored."""
        return len(self.choices) + len(self.preferences) + len(self.ratings)


def planned_of(inputs: Inputs) -> Planned | None:
    """What was scored by the plan; None without a plan that was opened."""
    plan = inputs.session.listening.plan
    if plan is None or plan.sealed:
        return None
    pair = Pair(condition=plan.condition, reference=plan.reference)
    sheets = tuple(sheet for sheet in planned_sheets(inputs) if sheet.role == "scored")
    planned = Planned(plan=plan, pair=pair)
    scored = replace(inputs, sheets=sheets)
    if plan.method in CHOICES:
        pools = choice_trials.gather(scored).pools.get(pair, {})
        if plan.method not in pools:
            return planned
        return replace(planned, choices=pools[plan.method].trials, played=_played(sheets, pair))
    if plan.method == "paired-preference":
        pairs = preference_trials.gather(scored).pools
        return replace(planned, preferences=pairs[pair].trials) if pair in pairs else planned
    ratings = grading_trials.gather(scored)
    scale = plan.scale or ""
    if scale not in ratings:
        return planned
    return replace(planned, ratings=grading_trials.units(ratings[scale].ratings, scale, pair))


def _played(sheets: Sequence[Sheet], pair: Pair) -> list[Played]:
    """Every trial that was played and set the pair against each other."""
    found = []
    for sheet in sheets:
        reader = READERS[sheet.method]
        for row in sheet_rows(sheet):
            listener, choice = row.get("listener"), reader.read(row, pair)
            if listener is None or was_not_played(row) or not reader.named(row) <= {pair.condition, pair.reference}:
                continue
            counts = choice is not None and reason_of(row) is None
            right = counts and choice is not None and choice.played == choice.answered
            found.append(
                Played(listener=listener, entry=sheet.entry, number=row.get("trial"), right=right, counts=counts)
            )
    return found


def differences_from_plan(planned: Planned, n_scored: int, n_wanted: int) -> tuple[str, ...]:
    """How what was scored differs from what was planned, a line each."""
    plan = planned.plan
    told = []
    if not planned.ratings and n_scored != n_wanted and _of_one_pair(plan):
        told.append(f"not as planned: {counted(n_scored, 'trial', 'trials')} scored, {n_wanted} planned")
    missing = sorted(set(plan.listeners) - set(planned.listeners))
    added = sorted(set(planned.listeners) - set(plan.listeners))
    if missing:
        told.append(f"not as planned: no scored trial of {', '.join(missing)}")
    if added:
        told.append(f"not as planned: {', '.join(added)} listened and is in no plan")
    return tuple(told)


def _of_one_pair(plan: ListeningPlan) -> bool:
    """Whether all planned trials set the same two against each other."""
    return plan.method in CHOICES or len(plan.conditions) < 3


@dataclass(frozen=True, slots=True, kw_only=True)
class LookedAt:
    """Trials and right answers by each look, up to the one at which the trials ended; `n_at_looks`: of all looks.

    Those after the last that was reached are as they were planned. `n_wrong_unseen`: counted as wrong because they were
    excluded or not answered.
    """

    n_right: tuple[int, ...]
    n_wrong_unseen: tuple[int, ...]
    n_trials: tuple[int, ...]
    n_at_looks: tuple[int, ...]


def looked_at(planned: Planned) -> LookedAt | None:
    """What stood at each look: the first trials of each listener, as many as the look gives to each.

    A trial that was excluded or not answered counts as wrong, as it does when the look is taken. None without looks or
    trials, or where the looks that were reached do not rise.
    """
    plan, trials = planned.plan, in_order(planned.played)
    if not plan.looks or not planned.choices or not plan.listeners:
        return None
    n_right, n_trials, n_unseen = [], [], []
    for look in plan.looks:
        each = look.n_trials // len(plan.listeners)
        last = look is plan.looks[-1]
        taken = [trial for own in trials.values() for trial in (own if last else own[:each])]
        n_right.append(sum(trial.right for trial in taken))
        n_trials.append(len(taken))
        n_unseen.append(sum(not trial.counts for trial in taken))
        if len(taken) == len(planned.played):
            break
    later = [look.n_trials for look in plan.looks[len(n_trials) :]]
    at_looks = (*n_trials, *later)
    if any(one >= other for one, other in pairwise(at_looks)) or at_looks[0] < 1:
        return None
    return LookedAt(
        n_right=tuple(n_right), n_wrong_unseen=tuple(n_unseen), n_trials=tuple(n_trials), n_at_looks=at_looks
    )
