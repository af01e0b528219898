"""The trim that would match the levels, and what is left of the difference when it is rounded to 0.1 dB."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from fairhearing.api import Finding

# Common practice, no source: level controls and players are set in steps of a tenth of a decibel.
STEP_DB = 0.1
_TRIM = "the level difference with its sign turned: what to add to the condition, besides the trims that it has"
_LEFT = "the level difference and the matching trim, rounded to steps of {step:g} dB, together"


def trim_findings(findings: Sequence[Finding]) -> list[Finding]:
    """Both findings of the headline of `level_difference` over all; null where it is."""
    return [
        made
        for one in findings
        if one.quantity == "level_difference"
        and (one.variant, one.seat, one.channel, one.programme) == (None, None, None, None)
        for made in (_trim(one), _left(one))
    ]


def _trim(difference: Finding) -> Finding:
    turned = [None if end is None else -end for end in (difference.value, difference.high, difference.low)]
    return _of(difference, "matching_trim", _TRIM, (turned[0], turned[1], turned[2]))


def _left(difference: Finding) -> Finding:
    shift = 0.0 if difference.value is None else round(-difference.value / STEP_DB) * STEP_DB
    ends = [None if end is None else end + shift for end in (difference.value, difference.low, difference.high)]
    return _of(difference, "level_left_after_trim", _LEFT.format(step=STEP_DB), (ends[0], ends[1], ends[2]))


def _of(
    difference: Finding, quantity: str, method: str, numbers: tuple[float | None, float | None, float | None]
) -> Finding:
    value, low, high = numbers
    return replace(
        difference,
        quantity=quantity,
        value=value,
        low=low,
        high=high,
        method=f"{method} ({difference.method})",
        of="level_difference",
        verdict=None,
    )
