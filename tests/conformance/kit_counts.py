"""Counts of the kit's run over the built-in plug-ins, which stand at the end of a run of the tests.

Rules that ran, were kept, waived, skipped and broken, a line for each plug-in; and why rules were skipped.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from typing import Any

from fairhearing.conformance import Outcome
from fairhearing.conformance.kit import Case

PROPERTY = "rule of the kit"
STATES = ("kept", "waived", "skipped", "broken")


def told(plugin: str, outcome: Outcome) -> tuple[str, list[str]]:
    """What a test records (pytest's `record_property`) of a rule that it ran: plug-in, state, why."""
    return PROPERTY, [plugin, outcome.state, outcome.why]


class RunOnce:
    """The outcomes of the rules of plug-ins of one kind; each rule runs once, whoever asks for it."""

    def __init__(self, kind: str) -> None:
        self._kind = kind
        self._outcomes: dict[tuple[str, str], Outcome] = {}

    def __call__(self, name: str, case: Case[Any]) -> Outcome:
        key = (name, case.rule.name)
        if key not in self._outcomes:
            self._outcomes[key] = case.outcome()
        return self._outcomes[key]

    def must_keep(self, name: str, case: Case[Any], record_property: Callable[[str, object], None]) -> None:
        """Record what the rule came to, and fail where it is broken or waived."""
        outcome = self(name, case)
        record_property(*told(f"{self._kind} {name}", outcome))
        assert outcome.state in ("kept", "skipped"), outcome.why


def lines(recorded: Iterable[tuple[str, object]]) -> Iterator[str]:
    """The counts of what was recorded; nothing where no rule of the kit ran."""
    rules = [[str(part) for part in value] for name, value in recorded if name == PROPERTY and isinstance(value, list)]
    if not rules:
        return
    counts = Counter((plugin, state) for plugin, state, _ in rules)
    plugins = sorted({plugin for plugin, _, _ in rules})
    yield _line("plug-in", ("rules", *STATES))
    for plugin in plugins:
        yield _line(plugin, _with_sum(counts[plugin, state] for state in STATES))
    total = Counter(state for _, state, _ in rules)
    yield _line(f"{len(plugins)} in all", _with_sum(total[state] for state in STATES))
    reasons = Counter(why for _, state, why in rules if state == "skipped")
    yield from (f"skipped {n:4} x: {why}" for why, n in sorted(reasons.items(), key=lambda r: (-r[1], r[0])))


def _with_sum(counts: Iterable[int]) -> tuple[int, ...]:
    each = tuple(counts)
    return (sum(each), *each)


def _line(name: str, cells: Iterable[object]) -> str:
    return f"{name:28}" + "".join(f"{cell:>9}" for cell in cells)
