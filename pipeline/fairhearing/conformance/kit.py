"""Rules, waivers and how they become test cases: what all kinds of plug-ins share. Needs no pytest to run."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Generic, Literal, TypeVar

S = TypeVar("S")
F = TypeVar("F", bound=Callable[..., object])
Level = Literal["must", "should"]


class RuleBroken(AssertionError):
    """A plug-in does not keep a rule; the message says what was seen."""


class NotApplicable(Exception):
    """A rule has nothing to look at in this plug-in; the message says why. Counted as skipped, never as kept."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule(Generic[S]):
    """One rule: `check` gets the subject (a plug-in with its samples) and raises RuleBroken or NotApplicable."""

    name: str
    level: Level
    says: str
    check: Callable[[S], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What a rule came to: kept, broken, waived (broken, with a reason given) or skipped (nothing to look at)."""

    rule: str
    level: Level
    state: Literal["kept", "broken", "waived", "skipped"]
    why: str = ""


@dataclass(frozen=True, slots=True)
class Case(Generic[S]):
    """A rule with its subject: what a test function gets and calls."""

    rule: Rule[S]
    subject: S
    waiver: str | None

    def outcome(self) -> Outcome:
        """Run the rule; a waived rule that is kept after all is broken, so that waivers do not outlive their reason."""
        name, level = self.rule.name, self.rule.level
        try:
            self.rule.check(self.subject)
        except NotApplicable as why:
            return Outcome(rule=name, level=level, state="skipped", why=str(why))
        except RuleBroken as why:
            if self.waiver is not None:
                return Outcome(rule=name, level=level, state="waived", why=self.waiver)
            return Outcome(rule=name, level=level, state="broken", why=str(why))
        if self.waiver is not None:
            why_not = f"waived ({self.waiver}) but kept: remove the waiver"
            return Outcome(rule=name, level=level, state="broken", why=why_not)
        return Outcome(rule=name, level=level, state="kept")

    def __call__(self) -> None:
        """Raise RuleBroken if the rule is broken and not waived."""
        outcome = self.outcome()
        if outcome.state == "broken":
            raise RuleBroken(f"{outcome.level} {outcome.rule}: {self.rule.says}: {outcome.why}")


@dataclass(frozen=True, slots=True)
class Report:
    """All outcomes of one plug-in."""

    plugin: str
    outcomes: tuple[Outcome, ...]

    @property
    def passed(self) -> bool:
        """Whether no rule, must or should, is broken."""
        return all(outcome.state != "broken" for outcome in self.outcomes)

    def lines(self) -> Iterator[str]:
        """A line for each rule that is not simply kept, and the count."""
        for o in self.outcomes:
            if o.state != "kept":
                yield f"{o.state:8}{o.level:7}{o.rule}: {o.why}"
        n = {state: sum(o.state == state for o in self.outcomes) for state in ("kept", "waived", "skipped", "broken")}
        yield (
            f"{self.plugin}: {len(self.outcomes)} rules ran: {n['kept']} kept, {n['waived']} waived, "
            f"{n['skipped']} skipped, {n['broken']} broken"
        )


def cases(rules: Sequence[Rule[S]], subject: S, waive: Mapping[str, str] | None = None) -> list[Case[S]]:
    """A case for each rule.

    Raises
    ------
    ValueError
        A waiver names no rule, or has no reason.
    """
    waive = waive or {}
    unknown = sorted(set(waive) - {rule.name for rule in rules})
    if unknown:
        raise ValueError(f"no such rule: {', '.join(unknown)}; rules: {', '.join(rule.name for rule in rules)}")
    empty = sorted(name for name, reason in waive.items() if not reason.strip())
    if empty:
        raise ValueError(f"a waiver needs a reason: {', '.join(empty)}")
    return [Case(rule, subject, waive.get(rule.name)) for rule in rules]


def parametrised(found: Sequence[Case[S]]) -> Callable[[F], F]:
    """A decorator that gives a test function with one argument `rule` one pytest case per rule.

    Without pytest the function is left as it is and carries its cases as `conformance_cases`.
    """

    def decorate(function: F) -> F:
        function.conformance_cases = list(found)  # type: ignore[attr-defined]
        try:
            import pytest
        except ImportError:
            return function
        mark = pytest.mark.parametrize("rule", list(found), ids=[case.rule.name for case in found])
        return mark(function)  # type: ignore[no-any-return]

    return decorate


def report(plugin: str, found: Sequence[Case[S]]) -> Report:
    """Run all cases, with or without pytest."""
    return Report(plugin, tuple(case.outcome() for case in found))
