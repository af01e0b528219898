"""Whether two results say the same: findings by their identity, tables and charts by their rows."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence

from fairhearing.analysing import IDENTITY
from fairhearing.result import Cell, Finding, Result

RELATIVE = 1e-9
ABSOLUTE = 1e-6
NUMBERS = ("value", "low", "high")
ALL_NUMBERS = (*NUMBERS, "confidence", "p_value", "n")
ALL_FIELDS = (*ALL_NUMBERS, "unit", "verdict", "method", "caveats", "nominal_hz")
Key = tuple[object, ...]


def close(one: object, other: object, tolerance: float = ABSOLUTE) -> bool:
    """Equal; numbers to a billionth of them and `tolerance` besides; tuples of text in any order."""
    if isinstance(one, tuple) and isinstance(other, tuple):
        return sorted(map(str, one)) == sorted(map(str, other))
    numeric = (int, float)
    if isinstance(one, numeric) and isinstance(other, numeric):
        if math.isnan(one) or math.isnan(other):
            return math.isnan(one) and math.isnan(other)
        return abs(one - other) <= RELATIVE * max(abs(one), abs(other)) + tolerance
    return one == other


def key(finding: Finding) -> Key:
    """What tells a finding from all others of its session and analyser."""
    parts = [getattr(finding, name) for name in IDENTITY]
    return tuple(tuple(f"{edge:.9g}" for edge in part) if isinstance(part, tuple) else part for part in parts)


def named(finding: Finding) -> str:
    """The finding in words: its quantity and what it is of."""
    said = [f"{name} {getattr(finding, name)}" for name in IDENTITY[1:] if getattr(finding, name) is not None]
    return f"{finding.quantity} ({', '.join(said)})" if said else finding.quantity


def finding_difference(
    expected: Iterable[Finding],
    found: Iterable[Finding],
    fields: Collection[str] = ALL_FIELDS,
    tolerance: float | Callable[[str], float] = ABSOLUTE,
) -> str | None:
    """The first of `expected` that is not there or is otherwise in `fields`, in words; None if all are."""
    there: dict[Key, list[Finding]] = {}
    for finding in found:
        there.setdefault(key(finding), []).append(finding)
    for wanted in expected:
        alike = there.get(key(wanted))
        if not alike:
            return f"{named(wanted)} is not there any more"
        one = alike.pop(0)  # that no two have one identity is another rule's
        allowed = tolerance(wanted.quantity) if callable(tolerance) else tolerance
        for name in fields:
            before, after = getattr(wanted, name), getattr(one, name)
            if not close(before, after, allowed):
                return f"{name} of {named(wanted)} is {after!r}, expected {before!r}"
    return None


def result_difference(before: Result, after: Result) -> str | None:
    """What differs between two results, in words; None if nothing does. The order of rows counts nowhere."""
    for one, other in ((before, after), (after, before)):
        difference = finding_difference(one.findings, other.findings)
        if difference is not None:
            return difference
    refusals = [sorted((r.what, r.why, r.try_) for r in result.refusals) for result in (before, after)]
    if refusals[0] != refusals[1]:
        return f"its refusals are {refusals[1]}, were {refusals[0]}"
    data = [
        {**{f"table {t.name}": t.columns for t in result.tables}, **{f"chart {c.name}": c.data for c in result.charts}}
        for result in (before, after)
    ]
    if data[0].keys() != data[1].keys():
        return f"it has {', '.join(sorted(data[1]))}, had {', '.join(sorted(data[0]))}"
    for name, columns in data[0].items():
        if not _same_rows(columns, data[1][name]):
            return f"{name} holds other rows"
    return None


def _same_rows(one: Mapping[str, Sequence[Cell]], other: Mapping[str, Sequence[Cell]]) -> bool:
    if list(one) != list(other):
        return False
    rows, others = (list(zip(*columns.values(), strict=True)) for columns in (one, other))
    if len(rows) != len(others):
        return False
    if _rows_close(rows, others):
        return True
    return _rows_close(sorted(rows, key=_rough), sorted(others, key=_rough))


def _rows_close(rows: Sequence[tuple[Cell, ...]], others: Sequence[tuple[Cell, ...]]) -> bool:
    pairs = zip(rows, others, strict=True)
    return all(all(close(a, b) for a, b in zip(row, other, strict=True)) for row, other in pairs)


def _rough(row: tuple[Cell, ...]) -> tuple[str, ...]:
    return tuple(f"{cell:.5g}" if isinstance(cell, float) else repr(cell) for cell in row)
