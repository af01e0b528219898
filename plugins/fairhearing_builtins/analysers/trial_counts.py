"""How many trials each listener was to have, played, answered and lost, by what the trials are for."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from fairhearing.api import Inputs, ListeningPlan, Sheet
from fairhearing_builtins.analysers.exclusions import reason_of
from fairhearing_builtins.analysers.listening import sheet_rows

ROLES: tuple[Literal["scored", "control", "sham"], ...] = ("scored", "control", "sham")
NOBODY = "not said"  # a row that names no listener
NOT_PLAYED = frozenset({"no", "n"})  # in the column `played`, where there is one
ANSWERS = {"paired-preference": "preferred", "grading": "rating"}


@dataclass(slots=True, kw_only=True)
class Flow:
    """The trials of one listener, or of several together, in one role. `planned`: rows where there is no plan."""

    role: str
    listener: str | None
    planned: int = 0
    played: int = 0
    answered: int = 0
    scored: int = 0
    excluded: Counter[str] = field(default_factory=Counter)

    @property
    def expected(self) -> int:
        """What answers are counted against: what was planned, or what was played if that is more."""
        return max(self.planned, self.played)


def planned_sheets(inputs: Inputs) -> tuple[Sheet, ...]:
    """The sheets that the session's plan brought."""
    listening = inputs.session.listening
    plan, folder = listening.plan, listening.plan_folder
    if plan is None:
        return ()
    return tuple(
        sheet
        for sheet in inputs.sheets
        if sheet.method == plan.method
        and (folder is None or all(path.startswith(f"{folder}/") for path in sheet.paths))
    )


def n_planned(plan: ListeningPlan) -> dict[str, int]:
    """Trials of one listener by role."""
    return {"scored": plan.n_trials, "control": plan.n_control, "sham": plan.n_sham}


def flows(inputs: Inputs) -> list[Flow]:
    """A flow for each role and listener, roles in one order, listeners by code."""
    found: dict[tuple[str, str], Flow] = {}

    def flow(role: str, listener: str) -> Flow:
        return found.setdefault((role, listener), Flow(role=role, listener=listener))

    plan, by_plan = inputs.session.listening.plan, [sheet.entry for sheet in planned_sheets(inputs)]
    if plan is not None and not plan.sealed:
        for role, n_trials in n_planned(plan).items():
            for listener in plan.listeners if n_trials else ():
                flow(role, listener).planned += n_trials
    for sheet in inputs.sheets:
        for row in sheet_rows(sheet):
            one = flow(sheet.role, row.get("listener") or NOBODY)
            one.planned += sheet.entry not in by_plan
            one.played += not was_not_played(row)
            _count(one, row.get(ANSWERS.get(sheet.method, "answer")), reason_of(row))
    order: tuple[str, ...] = ROLES
    return [found[key] for key in sorted(found, key=lambda key: (order.index(key[0]), key[1]))]


def was_not_played(row: Mapping[str, str | None]) -> bool:
    """Whether the sheet says that a trial was not played."""
    return (row.get("played") or "").casefold() in NOT_PLAYED


def _count(one: Flow, answer: str | None, why: str | None) -> None:
    one.answered += answer is not None
    one.scored += answer is not None and why is None
    if why is not None:
        one.excluded[why] += 1


def together(parts: Sequence[Flow]) -> Flow:
    """All of one role."""
    whole = Flow(role=parts[0].role, listener=None)
    for one in parts:
        whole.planned += one.planned
        whole.played += one.played
        whole.answered += one.answered
        whole.scored += one.scored
        whole.excluded += one.excluded
    return whole
