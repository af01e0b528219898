"""Programmes that cannot show what listeners were asked for: with hardly any energy below the corner."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from fairhearing.api import Finding, Inputs
from fairhearing_builtins.analysers.listening import Pair

SHARE = "energy_share_below_corner"
LEAST_SHARE = 0.1
# What was recorded goes before a forecast, the output before the input.
_POINTS = ("amplifier-output", "programme", "amplifier-input")
_SOME = "{named} of its energy below the corner: trials with it cannot show the filter"
_ALL = (
    "all that was listened to has less than {percent:g} % of its energy below the corner ({named}): it cannot show the "
    "filter"
)


def programme_caveats(inputs: Inputs, pair: Pair, programmes: Iterable[str | None]) -> tuple[str, ...]:
    """What is to be said of trials with these programmes; None is a trial that names none."""
    shares = _shares(inputs, pair)
    heard = sorted(set(programmes), key=lambda name: name or "")
    weak = {name: shares[name] for name in heard if name in shares and shares[name] < LEAST_SHARE}
    if weak and len(weak) == len(heard):
        named = ", ".join(f"{name or 'over programmes'} {100 * share:.1f} %" for name, share in weak.items())
        return (_ALL.format(percent=100 * LEAST_SHARE, named=named),)
    return tuple(
        _SOME.format(named=f"{name or 'over programmes, what was recorded'} has only {100 * share:.1f} %")
        for name, share in weak.items()
    )


def _shares(inputs: Inputs, pair: Pair) -> Mapping[str | None, float]:
    """Share below the corner by programme; None is the mean over programmes, or of what has no name."""
    found: dict[str | None, tuple[int, float]] = {}
    for finding in inputs.findings:
        if finding.quantity != SHARE or {finding.condition, finding.reference} != {pair.condition, pair.reference}:
            continue
        value, order = finding.value, _order(finding)
        if value is not None and (finding.programme not in found or (order, value) < found[finding.programme]):
            found[finding.programme] = (order, value)
    return {name: value for name, (_, value) in found.items()}


def _order(finding: Finding) -> int:
    return _POINTS.index(finding.point) if finding.point in _POINTS else len(_POINTS)
