"""From what was asked for, and the session if there is one, to a design with its numbers and its minutes."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import get_args

from fairhearing.errors import InputProblem, nearest
from fairhearing.protocol.design import CONTROL, Design
from fairhearing.protocol.drawing import n_together
from fairhearing.protocol.methods import SCALES, form_of
from fairhearing.protocol.schedule import (
    BREAK_S,
    N_CONTROL,
    N_PRACTICE,
    N_SHAM,
    SWITCHING_S,
    Schedule,
    schedule_of,
    seconds_per_trial,
    usual_block_trials,
    usual_trial_s,
)
from fairhearing.protocol.sizes import Sizes, Wanted, sizes_of
from fairhearing.session import Criteria, Method, Question, Session

PLACE = "the command line of 'fairhearing plan'"
_QUESTIONS: tuple[Question, ...] = get_args(Question)
_METHODS: tuple[Method, ...] = get_args(Method)
_IDENTIFYING: tuple[Method, ...] = ("abx", "same-different", "triangle", "duo-trio", "tetrad")
_METHODS_OF: dict[Question, tuple[Method, ...]] = {
    "heard": _IDENTIFYING,
    "equivalent": ("abx", "triangle", "duo-trio", "tetrad", "paired-preference", "grading"),
    "preferred": ("paired-preference",),
    "better": ("grading",),
}
SPENDINGS = ("obrien-fleming", "pocock")
_ID = re.compile(r"[^\W_][\w-]*")
# Where no session says what the two are called.
_SAMPLE_CONDITIONS = ("out", "in")


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """What was asked for; None, or nothing, is what nobody said."""

    question: str
    method: str | None = None
    scale: str | None = None
    effect: float | None = None
    alpha: float | None = None
    power: float | None = None
    margin: float | None = None
    spread: float | None = None
    n_listeners: int | None = None
    listeners: tuple[str, ...] = ()
    n_trials: int | None = None
    n_practice: int | None = None
    n_sham: int | None = None
    control: str | None = None
    minutes: float | None = None
    switching_s: float | None = None
    trial_s: float | None = None
    programmes: tuple[str, ...] = ()
    seats: tuple[str, ...] = ()
    condition: str | None = None
    n_looks: int | None = None
    spending: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """A design, the numbers behind it, and what it costs. `listeners_said`: somebody said who or how many listen."""

    design: Design
    sizes: Sizes
    schedule: Schedule
    listeners_said: bool


def plan_of(order: Order, session: Session | None = None) -> Plan:
    """The plan that an order gives.

    Raises
    ------
    InputProblem
        A word or number cannot be, two of them contradict each other, or the session knows no such condition or seat.
    """
    question = _question(order.question)
    method = _method(question, order.method)
    scale = _scale(method, question, order.scale)
    conditions, condition, reference = _conditions(order, method, session)
    wanted = _wanted(order, question, method, scale, session)
    sizes = sizes_of(wanted)
    together = len(conditions) if method == "grading" and scale != "comparison" else 1
    listeners = _listeners(order, sizes.n_listeners)
    chance = form_of(method, scale).chance
    n_control = 0
    if order.control is not None:
        # As many as can all be right by guessing with less than alpha: else nobody could pass the control.
        n_control = N_CONTROL if chance is None else math.ceil(math.log(wanted.alpha) / math.log(chance))
    trial_s = usual_trial_s(len(form_of(method, scale).places)) if order.trial_s is None else order.trial_s
    design = Design(
        question=question,
        method=method,
        scale=scale,
        conditions=conditions,
        condition=condition,
        reference=reference,
        alpha=wanted.alpha,
        power=wanted.power,
        effect=wanted.effect,
        margin=wanted.margin,
        listeners=listeners,
        n_trials=_rounded(sizes.n_trials, together),
        n_practice=_rounded(N_PRACTICE if order.n_practice is None else order.n_practice, together),
        n_sham=_rounded(N_SHAM if order.n_sham is None else order.n_sham, together),
        n_control=_rounded(n_control, together),
        control=order.control,
        looks=sizes.looks,
        spending=wanted.spending if sizes.looks else None,
        programmes=_ids("--programme", order.programmes),
        seats=_seats(order, session),
        block_trials=1,
        trial_s=trial_s,
        switching_s=SWITCHING_S if order.switching_s is None else order.switching_s,
        break_s=BREAK_S,
        minutes=order.minutes,
    )
    return _finished(design, sizes, bool(order.listeners or order.n_listeners))


def _finished(design: Design, sizes: Sizes, listeners_said: bool) -> Plan:
    design = replace(design, block_trials=usual_block_trials(seconds_per_trial(design), n_together(design)))
    return Plan(design=design, sizes=sizes, schedule=schedule_of(design), listeners_said=listeners_said)


def problem(what: str, try_: str) -> InputProblem:
    """A fault of what was asked for."""
    return InputProblem(what, where=PLACE, try_=try_)


def _question(text: str) -> Question:
    for word in _QUESTIONS:
        if word == text:
            return word
    raise problem(f"--question {text!r} is not a known word", nearest(text, _QUESTIONS))


def _method(question: Question, text: str | None) -> Method:
    fitting = _METHODS_OF[question]
    if text is None:
        return fitting[0]
    for method in _METHODS:
        if method == text and method in fitting:
            return method
    if text not in _METHODS:
        raise problem(f"--method {text!r} is not a known word", nearest(text, fitting))
    raise problem(f"--method {text} does not answer --question {question}", f"write one of {', '.join(fitting)}")


def _scale(method: Method, question: Question, text: str | None) -> str | None:
    if method != "grading":
        if text is not None:
            raise problem(f"--scale belongs to grading, not to {method}", "leave it out, or ask --question better")
        return None
    if text is None:
        return "comparison"
    if text not in SCALES:
        raise problem(f"--scale {text!r} is not a known word", nearest(text, SCALES))
    if text == "impairment":
        raise problem(f"--scale impairment can only say worse, never {question}", "write --scale comparison")
    return text


def _conditions(order: Order, method: Method, session: Session | None) -> tuple[tuple[str, ...], str, str]:
    """All conditions that are played, the one that the question is about, and the reference."""
    if session is None:
        reference, treatment = _SAMPLE_CONDITIONS
        return _SAMPLE_CONDITIONS, order.condition or treatment, reference
    ids = [one.id for one in session.treatments]
    if CONTROL in (session.reference.id, *ids) and order.control is not None:
        raise problem(
            f"a condition is called {CONTROL!r}, which is what sheets call the positive control", "rename the condition"
        )
    if order.condition is not None and order.condition not in ids:
        raise problem(f"--condition {order.condition!r} names no condition", nearest(order.condition, ids))
    if order.condition is None and len(ids) > 1 and form_of(method, None).n_right:
        raise problem(
            f"{method} sets one condition against the reference, and there are {', '.join(ids)}",
            f"write --condition {ids[0]}, and make a plan for each",
        )
    condition = order.condition or ids[0]
    reference = session.reference.id
    several = order.condition is None and not form_of(method, None).n_right
    return (reference, *(ids if several else [condition])), condition, reference


def _wanted(order: Order, question: Question, method: Method, scale: str | None, session: Session | None) -> Wanted:
    alpha = _alpha(order, session)
    effect, margin = _effect(order, question, method, scale), order.margin
    if question == "equivalent":
        _check_margin(margin, effect, method, scale)
    elif margin is not None:
        raise problem(
            f"--margin does not belong to --question {question}", "leave it out, or ask --question equivalent"
        )
    n_looks = order.n_looks or 1
    if n_looks > 1 and (question != "heard" or method == "same-different"):
        raise problem("--looks belongs to counts of right answers", "leave it out, or ask --question heard with abx")
    if order.spending is not None and order.spending not in SPENDINGS:
        raise problem(f"--spending {order.spending!r} is not a known word", nearest(order.spending, SPENDINGS))
    if order.listeners and order.n_listeners is not None:
        raise problem("--listeners and --listener both say who listens", "give one of the two")
    return Wanted(
        question=question,
        method=method,
        scale=scale,
        effect=effect,
        alpha=alpha,
        power=0.8 if order.power is None else order.power,
        margin=margin,
        n_listeners=len(order.listeners) or order.n_listeners,
        n_trials=order.n_trials,
        n_looks=n_looks,
        spending=order.spending or SPENDINGS[0],
        spread=order.spread,
    )


def _check_margin(margin: float | None, effect: float, method: Method, scale: str | None) -> None:
    """A margin stands between what is true where nothing is there and the largest value that there can be."""
    rated = method == "grading"
    highest = SCALES[scale or "comparison"][1] - SCALES[scale or "comparison"][0] if rated else 1.0
    if margin is None:
        example = (
            "0.5: steps of the scale that count as none" if rated else "0.6: the largest share that counts as none"
        )
        raise problem("--question equivalent has no margin", f"write --margin {example}")
    if not effect < margin < highest:
        what = f"--margin {margin:g} is not between {effect:.3g} and {highest:g}"
        raise problem(what, "write the largest value that counts as no difference")


def _alpha(order: Order, session: Session | None) -> float:
    criteria = session.criteria if session is not None else Criteria()
    if order.alpha is None:
        return criteria.alpha
    if session is not None and order.alpha != criteria.alpha:
        raise problem(
            f"--alpha is {order.alpha:g}, and the criteria, by which the session is judged, say {criteria.alpha:g}",
            f"leave --alpha out, or write alpha = {order.alpha:g} in [criteria]",
        )
    return order.alpha


def _effect(order: Order, question: Question, method: Method, scale: str | None) -> float:
    """The smallest effect worth finding, in its range; for equivalence, what is true where nothing is there."""
    chance = form_of(method, scale).chance
    low, high = (0.5 if chance is None else float(chance)), 1.0
    if method == "grading":
        low, high = 0.0, SCALES[scale or "comparison"][1] - SCALES[scale or "comparison"][0]
    if order.effect is None:
        if question == "equivalent":
            return low
        example = {"heard": "0.7: the share right", "preferred": "0.7: the share of trials"}.get(question, "0.5: steps")
        raise problem("nothing says which effect is the smallest worth finding", f"write --effect {example}")
    above = low <= order.effect if question == "equivalent" else low < order.effect
    if not (above and (order.effect <= high if question == "heard" else order.effect < high)):
        what = "steps of the scale" if method == "grading" else "a share"
        raise problem(
            f"--effect {order.effect:g} is not between {low:.3g} and {high:g}",
            f"write {what} above {low:.3g}, which is no effect at all",
        )
    return order.effect


def _listeners(order: Order, n_listeners: int) -> tuple[str, ...]:
    if order.listeners:
        return _ids("--listener", order.listeners)
    return tuple(f"L{number}" for number in range(1, n_listeners + 1))


def _ids(option: str, texts: Sequence[str]) -> tuple[str, ...]:
    """The ids of an option; none twice, also where case is not told apart, as in names of files."""
    seen: dict[str, str] = {}
    for text in texts:
        if not _ID.fullmatch(text):
            raise problem(f"{option} {text!r} is no id", "write a word of letters, digits, - and _")
        other = seen.setdefault(text.casefold(), text)
        if other is not text:
            raise problem(f"{option} {text!r} is said twice", "give each its own code")
    return tuple(texts)


def _seats(order: Order, session: Session | None) -> tuple[str, ...]:
    seats = _ids("--seat", order.seats)
    if session is None:
        return seats
    known = [seat.id for seat in session.seats]
    for seat in seats:
        if seat not in known:
            raise problem(f"--seat {seat!r} names no seat", nearest(seat, known))
    return seats or (tuple(known) if len(known) == 1 else ())


def _rounded(n: int, together: int) -> int:
    """n trials, or as many more as make whole rounds."""
    return math.ceil(n / together) * together
