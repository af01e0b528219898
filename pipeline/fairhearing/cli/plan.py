"""Behind `fairhearing plan`: the options read, the plan reckoned and, unless it is a dry run, drawn and written."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from fairhearing.errors import Faults, InputProblem
from fairhearing.protocol.planning import PLACE, Order, Plan, plan_of, problem

if TYPE_CHECKING:
    from fairhearing.protocol.writing import WrittenPlan
    from fairhearing.session import Session

LARGEST = 1e6


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanAnswer:
    """The plan; the session where one was named; what was written, None in a dry run."""

    plan: Plan
    session: Session | None
    written: WrittenPlan | None


def read_order(
    *,
    question: str,
    method: str | None,
    scale: str | None,
    effect: str | None,
    alpha: str | None,
    power: str | None,
    margin: str | None,
    spread: str | None,
    listeners: str | None,
    listener: Sequence[str],
    trials: str | None,
    practice: str | None,
    shams: str | None,
    control: str | None,
    minutes: str | None,
    switching_s: str | None,
    trial_s: str | None,
    programme: Sequence[str],
    seat: Sequence[str],
    condition: str | None,
    looks: str | None,
    spending: str | None,
) -> Order:
    """What the options ask for, each number in its range.

    Raises
    ------
    InputProblem
        An option is no number or out of range.
    """
    if control is not None and not control.strip():
        raise problem("--control is empty", "say what it changes, such as --control 'bass 6 dB up'")
    return Order(
        question=question,
        method=method,
        scale=scale,
        effect=_number("--effect", effect),
        alpha=_number("--alpha", alpha, below=0.5),
        power=_number("--power", power, below=1.0),
        margin=_number("--margin", margin),
        spread=_number("--spread", spread),
        n_listeners=_whole("--listeners", listeners, 1, 500),
        listeners=tuple(listener),
        n_trials=_whole("--trials", trials, 1, 2000),
        n_practice=_whole("--practice", practice, 0, 200),
        n_sham=_whole("--shams", shams, 0, 200),
        control=None if control is None else " ".join(control.split()),
        minutes=_number("--minutes", minutes),
        switching_s=_number("--switching-s", switching_s, zero=True),
        trial_s=_number("--trial-s", trial_s),
        programmes=tuple(programme),
        seats=tuple(seat),
        condition=condition,
        n_looks=_whole("--looks", looks, 1, 20),
        spending=spending,
    )


def answer_plan(order: Order, folder: Path | None, *, dry_run: bool) -> PlanAnswer:
    """The plan of an order; written into the session folder unless it is a dry run.

    Raises
    ------
    InputProblem
        The order, the session or the place to write is at fault, or the plan does not fit its minutes; nothing has
        been written then.
    """
    session = None if folder is None else one_session(folder)
    plan = plan_of(order, session)
    if dry_run:
        return PlanAnswer(plan=plan, session=session, written=None)
    if session is None:
        raise problem("no session is named", "name the session folder, or write --dry-run for the numbers alone")
    if not plan.listeners_said:
        raise problem("nobody said who listens", "write --listener and a code for each, or --listeners and how many")
    if not plan.schedule.fits:
        what = f"{plan.schedule.listener_minutes:.0f} minutes do not fit into {plan.design.minutes:g}"
        hint = f"--trials {plan.schedule.n_that_fit} fits, and --dry-run says what it shows; or give more minutes"
        raise problem(what, hint if plan.schedule.n_that_fit else "give more minutes")
    from fairhearing.protocol.writing import write_plan

    return PlanAnswer(plan=plan, session=session, written=write_plan(session, plan.design))


def one_session(folder: Path) -> Session:
    """The session of a folder; a folder of sessions is none.

    Raises
    ------
    InputProblem
        There is no session.toml, or it is at fault.
    """
    from fairhearing.manifest import MANIFEST_NAME, is_session_folder, load_session

    if folder.is_dir() and not is_session_folder(folder):
        raise InputProblem(
            f"there is no {MANIFEST_NAME} in {str(folder)!r}",
            where=str(folder),
            try_="name one session folder: a plan is made for one session",
        )
    loaded = load_session(folder)
    if loaded.session is None:
        raise loaded.problems[0] if len(loaded.problems) == 1 else Faults(loaded.problems)
    return loaded.session


def _number(option: str, text: str | None, *, below: float | None = None, zero: bool = False) -> float | None:
    if text is None:
        return None
    try:
        value = float(text)
    except ValueError:
        raise InputProblem(
            f"{option} {text!r} is not a number", where=PLACE, try_="write it with a point: 0.7"
        ) from None
    highest = LARGEST if below is None else below
    if not math.isfinite(value) or value < 0.0 or (value == 0.0 and not zero) or value >= highest:
        lowest = "from 0" if zero else "above 0"
        raise problem(f"{option} {text} is out of range", f"write a number {lowest} and below {highest:g}")
    return value


def _whole(option: str, text: str | None, low: int, high: int) -> int | None:
    if text is None:
        return None
    try:
        value = int(text)
    except ValueError:
        raise problem(f"{option} {text!r} is not a whole number", f"write a number from {low} to {high}") from None
    if not low <= value <= high:
        raise problem(f"{option} {text} is out of range", f"write a number from {low} to {high}")
    return value
