"""What listeners believed at the end: the share whose guess names the condition."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from fairhearing.api import Axis, ChartRequest, Finding, Guess, Inputs, Needs, Result, Rule, Session, Symmetry, hookimpl
from fairhearing_builtins.analysers.listening import (
    EXACT_INTERVAL,
    ONE_LISTENER_CAVEAT,
    Tally,
    counted,
    exact_interval,
    in_words,
    label,
    labels_are_labels,
)

GUESSED = frozenset({"guess_share"})
NONE = "none"
AGREEING = (
    "{agreeing} of {those} with a preference of their own guessed what they preferred: the guesses may tell of taste "
    "and not of what was recognised"
)


class Guesses:
    """Share of listeners whose guess names each condition but the reference."""

    name = "guesses"
    version = "1"
    quantities = GUESSED
    needs = Needs(findings=frozenset({"preference_share"}))
    symmetries = (
        Symmetry(kind="row-order-invariant", quantities=GUESSED),
        *labels_are_labels(GUESSED),
    )

    def analyse(self, inputs: Inputs) -> Result:
        """A share for each condition; nothing where nobody was asked."""
        session, guesses = inputs.session, inputs.session.guesses
        if not guesses:
            return Result()
        findings = tuple(_finding(inputs, one.id, guesses) for one in session.treatments)
        return Result(findings=findings, charts=(_chart(session, guesses, findings),))


def _finding(inputs: Inputs, condition: str, guesses: Sequence[Guess]) -> Finding:
    confidence = inputs.session.criteria.confidence
    n_named = sum(one.guess == condition for one in guesses)
    interval = exact_interval([Tally(listener="", halves=2 * n_named, n_trials=len(guesses))], confidence)
    return Finding(
        quantity="guess_share",
        value=n_named / len(guesses),
        unit="1",
        low=interval.low,
        high=interval.high,
        confidence=confidence,
        n=len(guesses),
        method=f"share of listeners whose guess at the end names {condition}: {n_named} of {len(guesses)}; interval: "
        f"{EXACT_INTERVAL}",
        condition=condition,
        caveats=(*((ONE_LISTENER_CAVEAT,) if len(guesses) == 1 else ()), *_agreement(inputs, condition, guesses)),
    )


def _agreement(inputs: Inputs, condition: str, guesses: Sequence[Guess]) -> tuple[str, ...]:
    """The caveat that those who prefer one of the two mostly guess that one."""
    liked = _preferred(inputs, condition)
    both = [(one.guess, liked[one.listener]) for one in guesses if one.listener in liked and one.guess != NONE]
    agreeing = sum(guess == own for guess, own in both)
    if not both or 2 * agreeing <= len(both):
        return ()
    return (AGREEING.format(agreeing=agreeing, those=counted(len(both), "listener", "listeners")),)


def _preferred(inputs: Inputs, condition: str) -> Mapping[str, str]:
    """What each listener chose more often, the condition or the reference; nobody who chose both as often."""
    reference = inputs.session.reference.id
    found = {}
    for one in inputs.findings:
        value, part = one.value, (one.condition, one.reference, one.variant, one.seat, one.programme)
        if one.quantity != "preference_share" or part != (condition, reference, None, None, None):
            continue
        if one.listener is not None and value is not None and value != 0.5:
            found[one.listener] = condition if value > 0.5 else reference
    return found


def _chart(session: Session, guesses: Sequence[Guess], findings: Sequence[Finding]) -> ChartRequest:
    names = [label(session, finding.condition or "") for finding in findings]
    stated = "; ".join(f"{name} {in_words(f.value)}" for name, f in zip(names, findings, strict=True))
    return ChartRequest(
        name="guesses",
        title="What listeners believed at the end",
        alternative=f"Share of {counted(len(guesses), 'listener', 'listeners')} whose guess names each condition, with "
        f"intervals. {stated}.",
        form="interval",
        data={
            "condition": names,
            "share": [finding.value for finding in findings],
            "low": [finding.low for finding in findings],
            "high": [finding.high for finding in findings],
        },
        x=Axis(column="share", label="Share of listeners", unit="1"),
        y=Axis(column="condition", label="Condition", scale="category"),
        low="low",
        high="high",
        rules=(Rule(at=1.0 / len(session.conditions), label="all conditions alike"),),
    )


@hookimpl
def fairhearing_analysers() -> list[Guesses]:
    """The analyser of guesses."""
    return [Guesses()]
