"""Subsonic energy in recordings: how much of it each condition has, and whether the amplifier is spared any."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from fairhearing.acoustics.bands import third_octave_bands
from fairhearing.api import Analyser, Comparison, Finding, Inputs, Needs, Result, Symmetry, hookimpl
from fairhearing_builtins.analysers.programme_blocks import NO_INTERVAL_OF_PEAK, Change, Pair, looks_swapped, paired
from fairhearing_builtins.analysers.programme_means import FEWEST_PROGRAMMES, OVER_PROGRAMMES, combined
from fairhearing_builtins.analysers.programme_takes import LEVELS, LOW, Cells, Spot, gathered
from fairhearing_builtins.analysers.subsonic_charts import charts
from fairhearing_builtins.analysers.subsonic_levels import (
    LEVEL_QUANTITIES,
    condition_findings,
    g_blocks,
    g_power,
    peak_of,
)

SUBSONIC_HZ = (LOW.lowest_hz, LOW.subsonic_hz)
EDGES_HZ: Mapping[str | None, tuple[float, float]] = {
    None: SUBSONIC_HZ,
    "to-10-hz": (LOW.lowest_hz, 10.0),
    "from-10-hz": (10.0, LOW.subsonic_hz),
    "to-40-hz": (LOW.lowest_hz, 40.0),
}
BANDS = third_octave_bands(1, 20)
_ENERGY = "10 lg of the energy from {:g} to {:g} Hz (mean removed), {} over {}; repeats averaged in energy"
_BAND_ENERGY = "10 lg of the energy in a third octave (IEC 61260-1), {} over {}; repeats averaged in energy"
_BLOCKS = "t on the logarithm of the ratio over paired 8 s blocks, long-run variance from the slowest cosines"
CHANGES = frozenset(
    {"subsonic_level_change", "subsonic_band_level_change", "g_weighted_level_change", "subsonic_peak_level_change"}
)


@dataclass(frozen=True, slots=True, kw_only=True)
class _What:
    """One quantity of a comparison: what it is called, how it is made, where it is told."""

    quantity: str
    method: str
    variant: str | None = None
    band_hz: tuple[float, float] | None = None
    nominal_hz: float | None = None

    @property
    def everywhere(self) -> bool:
        """For each seat and channel too."""
        return self.quantity == "subsonic_level_change" and self.variant is None


class Subsonic:
    """Energy below 20 Hz by condition and programme, and its change with an interval along the programme."""

    name = "subsonic"
    version = "2"
    quantities = CHANGES | LEVEL_QUANTITIES
    needs = Needs(kinds=frozenset({"recording"}), summaries=(LEVELS, LOW), min_conditions=1)
    symmetries: tuple[Symmetry, ...] = (
        Symmetry(kind="swap-conditions-negates", quantities=CHANGES),
        Symmetry(kind="common-gain-invariant", quantities=CHANGES | {"subsonic_share"}),
        Symmetry(kind="condition-gain-adds", quantities=CHANGES),
        Symmetry(kind="condition-gain-invariant", quantities=frozenset({"subsonic_share"})),
        Symmetry(kind="row-order-invariant", quantities=quantities),
        Symmetry(kind="relabel-seats-invariant", quantities=quantities),
        Symmetry(kind="relabel-programmes-invariant", quantities=quantities),
    )

    def analyse(self, inputs: Inputs) -> Result:
        """Findings at each point where something was recorded."""
        cells = gathered(inputs.recordings)
        findings = [f for comparison in inputs.comparisons for f in _changes(inputs, comparison, cells)]
        findings += condition_findings(inputs, cells, BANDS)
        return Result(findings=tuple(findings), charts=tuple(charts(inputs, cells, findings)))


def _changes(inputs: Inputs, comparison: Comparison, cells: Cells) -> Iterator[Finding]:
    names = (comparison.condition.id, comparison.reference.id)
    criteria = inputs.session.criteria
    pairs: dict[tuple[str, str], dict[Spot, Pair]] = {}
    for spot, conditions in cells.items():
        if all(name in conditions for name in names):
            pair = paired(conditions[names[0]], conditions[names[1]], criteria)
            pairs.setdefault((spot.point, spot.playing), {})[spot] = pair
    weights = {seat.id: seat.weight for seat in inputs.session.seats}
    for of_point in pairs.values():
        for what in _whats(names):
            changes = {spot: _change(pair, what) for spot, pair in of_point.items()}
            means = combined(changes, weights, everywhere=what.everywhere)
            n_programmes = len({s.programme for s, c in changes.items() if c.value is not None})
            for spot, change in means.items():
                yield _finding(inputs, comparison, what, spot, change, n_programmes)


def _whats(names: tuple[str, str]) -> Iterator[_What]:
    for variant, (lower, upper) in EDGES_HZ.items():
        yield _What(
            quantity="subsonic_level_change",
            variant=variant,
            band_hz=None,
            method=_ENERGY.format(lower, upper, *names),
        )
    for lower, upper, nominal in zip(BANDS.lower_hz, BANDS.upper_hz, BANDS.nominal_hz, strict=True):
        yield _What(
            quantity="subsonic_band_level_change",
            band_hz=(float(lower), float(upper)),
            nominal_hz=float(nominal),
            method=_BAND_ENERGY.format(*names),
        )
    yield _What(
        quantity="g_weighted_level_change",
        method=f"10 lg of the energy weighted with G (ISO 7196), {names[0]} over {names[1]}; mean over repeats",
    )
    yield _What(
        quantity="subsonic_peak_level_change",
        method=f"20 lg of the peak of the wave from 0.5 to 20 Hz, {names[0]} over {names[1]}; mean over repeats",
    )


def _change(pair: Pair, what: _What) -> Change:
    if what.quantity == "g_weighted_level_change":
        return pair.weighted_change(g_power, g_blocks)
    if what.quantity == "subsonic_peak_level_change":
        return pair.ratio_change(peak_of, 20.0, NO_INTERVAL_OF_PEAK)
    return pair.change(*(EDGES_HZ[what.variant] if what.band_hz is None else what.band_hz))


def _finding(
    inputs: Inputs, comparison: Comparison, what: _What, spot: Spot, change: Change, n_programmes: int
) -> Finding:
    criteria = inputs.session.criteria
    interval = change.interval(criteria.confidence)
    over = spot.programme is None and n_programmes >= FEWEST_PROGRAMMES
    caveats: Sequence[str] = change.caveats
    verdict = None
    if what.quantity == "subsonic_level_change":
        caveats = (*caveats, *looks_swapped(change, comparison.condition, comparison.reference))
        verdict = relief(interval, criteria.relief_db) if what.variant is None else None
    return Finding(
        quantity=what.quantity,
        variant=what.variant,
        value=change.value,
        unit="dB",
        low=None if interval is None else interval[0],
        high=None if interval is None else interval[1],
        confidence=None if interval is None else criteria.confidence,
        n=change.n,
        method=f"{what.method}; {OVER_PROGRAMMES if over else _BLOCKS}" if interval else what.method,
        condition=comparison.condition.id,
        reference=comparison.reference.id,
        point=spot.point,
        playing=spot.playing,
        seat=spot.seat,
        channel=spot.channel,
        programme=spot.programme,
        band_hz=what.band_hz,
        nominal_hz=what.nominal_hz,
        verdict=verdict,
        caveats=tuple(dict.fromkeys(caveats)),
    )


def relief(interval: tuple[float, float] | None, relief_db: float) -> str:
    """relief: high < -relief_db; no-relief: low > -relief_db; else undecided."""
    if interval is None or not all(map(math.isfinite, interval)):
        return "undecided"
    if interval[1] < -relief_db:
        return "relief"
    return "no-relief" if interval[0] > -relief_db else "undecided"


@hookimpl
def fairhearing_analysers() -> list[Analyser]:
    """The analyser of this module."""
    return [Subsonic()]
