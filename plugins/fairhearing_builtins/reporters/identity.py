"""Which finding is which: its place in the order of a report and its readable, unique id."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from urllib.parse import quote

from fairhearing.api import Finding, ReportInputs

# What makes a finding unique, in the order in which findings are sorted.
IDENTIFYING = (
    "session", "analyser", "quantity", "variant", "of", "point", "playing", "seat", "condition", "reference",
    "channel", "programme", "listener", "band_hz",
)  # fmt: skip

# Everything that findings.json says of a finding, in that order.
FIELDS = (
    "id", "session", "room", "analyser", "quantity", "variant", "value", "unit", "low", "high", "confidence", "p_value",
    "n", "method", "condition", "reference", "point", "playing", "seat", "channel", "programme", "listener", "band_hz",
    "nominal_hz", "of", "verdict", "caveats",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Stated:
    """A finding with what it belongs to and the id by which the report points at it."""

    id: str
    session: str | None
    room: str | None
    analyser: str
    finding: Finding


def _identifying_values(session: str | None, analyser: str, finding: Finding) -> tuple[object, ...]:
    own = {"session": session, "analyser": analyser}
    return tuple(own[name] if name in own else getattr(finding, name) for name in IDENTIFYING)


def _part(value: object) -> str:
    if value is None:
        return "-"
    if isinstance(value, tuple):
        return "-".join(repr(float(edge)) for edge in value)
    text = quote(str(value), safe="").replace("~", "%7E")
    # An id that is itself a hyphen, or empty, must not pass for an empty field.
    return {"-": "%2D", "": "%00"}.get(text, text)


def finding_id(session: str | None, analyser: str, finding: Finding) -> str:
    """The identifying fields of a finding, joined by "/"; an empty field is "-", empty fields at the end are dropped.

    Every character outside letters, digits and ``_ . - / %`` is percent-encoded, so that the id can stand in an
    attribute as it is.

    Parameters
    ----------
    session : str or None
        None for a finding over many sessions.
    analyser : str
    finding : Finding

    Examples
    --------
    >>> finding_id("hall", "level", Finding(quantity="level_difference", value=0.1, unit="dB", method="m", seat="A"))
    'hall/level/level_difference/-/-/-/-/A'
    """
    parts = [_part(value) for value in _identifying_values(session, analyser, finding)]
    while parts and parts[-1] == "-":
        parts.pop()
    return "/".join(parts)


def sort_key(session: str | None, analyser: str, finding: Finding) -> tuple[tuple[bool, object], ...]:
    """The identifying fields as a key for sorting, None before everything."""
    values = _identifying_values(session, analyser, finding)
    return tuple((value is not None, "" if value is None else value) for value in values)


def stated_findings(inputs: ReportInputs) -> tuple[Stated, ...]:
    """Every finding of a report in its order, each with a unique id; two that are alike in all get a number behind.

    Parameters
    ----------
    inputs : ReportInputs

    Returns
    -------
    tuple of Stated
    """
    found = [
        (result.session or None, result.room or None, result.analyser, finding)
        for result in inputs.results
        for finding in result.result.findings
    ]
    found.sort(key=lambda entry: sort_key(entry[0], entry[2], entry[3]))
    return tuple(_numbered(found))


def _numbered(found: Iterable[tuple[str | None, str | None, str, Finding]]) -> Iterable[Stated]:
    seen: Counter[str] = Counter()
    for session, room, analyser, finding in found:
        identifier = finding_id(session, analyser, finding)
        seen[identifier] += 1
        # No part of an id holds a "~".
        unique = identifier if seen[identifier] == 1 else f"{identifier}~{seen[identifier]}"
        yield Stated(id=unique, session=session, room=room, analyser=analyser, finding=finding)
