"""How the made-up listening was run: a plan, the switching, guesses; and the same under other names."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from fairhearing.conformance.trials import LISTENERS, N_TRIALS, PROGRAMMES
from fairhearing.session import Guess, Listening, ListeningPlan, Look, Method, Question, Session

COMMITMENT = "0123456789abcdef" * 4


QUESTIONS: dict[Method, tuple[Question, float]] = {
    "abx": ("heard", 0.6), "paired-preference": ("preferred", 0.65), "grading": ("better", 0.5),
}  # fmt: skip


def with_plan(session: Session, method: Method = "abx") -> Session:
    """The session with a plan that was opened, and a guess of each listener.

    `method`: abx, with two looks; paired-preference; or grading, on the scale of comparison. Each has a margin.
    """
    condition, reference = session.treatments[0].id, session.reference.id
    listeners = (*LISTENERS, "h9")
    n_all = N_TRIALS * len(listeners)
    question, margin = QUESTIONS[method]
    looks = (
        Look(n_trials=n_all // 2, n_right_needed=22, alpha_spent=0.003),
        Look(n_trials=n_all, n_right_needed=34, alpha_spent=0.05),
    )
    plan = ListeningPlan(
        question=question,
        method=method,
        scale="comparison" if method == "grading" else None,
        conditions=tuple(one.id for one in session.conditions),
        condition=condition,
        reference=reference,
        alpha=session.criteria.alpha,
        power=0.8,
        effect=0.7,
        margin=margin,
        listeners=listeners,
        n_trials=N_TRIALS,
        n_practice=2,
        n_sham=N_TRIALS // 2,
        n_control=N_TRIALS // 2,
        control="3 dB less",
        looks=looks if method == "abx" else (),
        spending="obrien-fleming" if method == "abx" else None,
        programmes=PROGRAMMES,
        seats=tuple(seat.id for seat in session.seats[:2]),
        commitment=COMMITMENT,
        sealed=False,
    )
    listening = Listening(
        switching="relay", gap_s=2.0, gap_equal=True, operator_blind=False, operator_screened=True, plan=plan
    )
    believed = (condition, condition, reference, "none", condition, condition, reference, condition)
    guesses = [Guess(listener=name, guess=guess) for name, guess in zip(LISTENERS, believed, strict=True)]
    return replace(session, listening=listening, guesses=tuple(guesses))


def exchanged(session: Session, one: str, other: str) -> Session:
    """The plan's condition and reference are those of the session after two conditions changed places in it."""
    plan = session.listening.plan
    if plan is None:
        return session
    names = {one: other, other: one}
    turned = replace(
        plan,
        condition=names.get(plan.condition, plan.condition),
        reference=names.get(plan.reference, plan.reference),
    )
    return replace(session, listening=replace(session.listening, plan=turned))


def renamed(session: Session, word: str, names: Mapping[str, str]) -> Session:
    """The plan and the guesses under other names of seats, listeners or programmes."""

    def named(known: Sequence[str]) -> tuple[str, ...]:
        return tuple(names.get(one, one) for one in known)

    plan = session.listening.plan
    if plan is not None:
        changed = {
            "seat": replace(plan, seats=named(plan.seats)),
            "listener": replace(plan, listeners=named(plan.listeners)),
            "programme": replace(plan, programmes=named(plan.programmes)),
        }[word]
        session = replace(session, listening=replace(session.listening, plan=changed))
    if word != "listener":
        return session
    guesses = tuple(replace(one, listener=names.get(one.listener, one.listener)) for one in session.guesses)
    return replace(session, guesses=guesses)
