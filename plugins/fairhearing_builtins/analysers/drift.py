"""Whether anything drifted during the session: a closing take against the repeats of the same condition and seat."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from fairhearing.api import (
    Analyser,
    Comparison,
    Condition,
    Finding,
    Inputs,
    Needs,
    Refusal,
    Result,
    Symmetry,
    Take,
    hookimpl,
)
from fairhearing.statistics.pooled import PooledSpread, pool
from fairhearing_builtins.analysers.band_levels import FieldBands, band_levels
from fairhearing_builtins.analysers.cells import RESPONSE_KINDS, Field, Place, gather
from fairhearing_builtins.analysers.drift_chart import drift_chart
from fairhearing_builtins.analysers.estimates import IN_PLACE_CAVEAT, Estimate, interval, within
from fairhearing_builtins.analysers.target_levels import RelativeLevels, deviations, pseudo_repeats, relative_levels

FloatArray = npt.NDArray[np.float64]
# Of a cell of one condition, by the bands that both states have: value, and what each repeat does to it.
Measured = tuple[float, FloatArray]

WORDS = ("steady", "drifted")
METHODS: Mapping[str | None, str] = {
    None: "deviation of the bass from the target, closing take minus the repeats of the same condition and seat",
    "level": "mean of the third octaves 1000-4000 Hz, closing take minus the repeats of the same condition and seat",
    "largest-band": "largest signed change of a third octave of the bass band after the change of the mid-band is "
    "taken out, closing take minus the repeats; interval simultaneous over the bands (Bonferroni)",
}
INTERVAL = "; t interval, standard deviations pooled over seats, channels and conditions"
NO_CLOSING = Refusal(
    what="nothing is said of drift during the session",
    why="no closing take was measured",
    try_="measure the reference once more at one seat when all else is done, and write closing = true below it",
)
NO_BASE = "there are no repeats of {condition} at seat {seat} to compare it with"
FEW_BANDS = "fewer than two thirds of the bands are usable in both"


class Drift:
    """What the closing takes show."""

    name = "drift"
    version = "1"
    quantities = frozenset({"drift"})
    needs = Needs(
        kinds=frozenset({"response", "impulse", "sweep", "noise"}), points=frozenset({"seat"}), closing=True
    )  # fmt: skip
    symmetries: tuple[Symmetry, ...] = (
        Symmetry(kind="common-gain-invariant", quantities=quantities),
        Symmetry(kind="row-order-invariant", quantities=quantities),
        Symmetry(kind="relabel-seats-invariant", quantities=quantities),
    )

    def analyse(self, inputs: Inputs) -> Result:
        """Findings for each seat and condition that has a closing take."""
        closing = [t for t in inputs.takes if t.closing and t.kind in RESPONSE_KINDS and t.condition is not None]
        if not closing:
            return Result(refusals=(NO_CLOSING,))
        findings: list[Finding] = []
        for playing in ("both", "main", "sub"):
            findings += _of_playing(inputs, playing, [t for t in closing if t.playing == playing])
        return Result(findings=tuple(findings), charts=tuple(drift_chart(inputs, findings)))


@dataclass(frozen=True, slots=True, kw_only=True)
class _State:
    """What was playing, with the closing takes as conditions of their own."""

    inputs: Inputs
    bands: FieldBands

    def levels(self, condition: Condition, other: Condition) -> RelativeLevels:
        """Levels less target of two conditions, by the bands that both have."""
        comparison = Comparison(condition=condition, reference=other)
        return relative_levels(self.bands, comparison, self.inputs.session.criteria, self.inputs.target)


def _closing(condition: Condition) -> Condition:
    # No id holds a blank: this one is nobody else's.
    return replace(condition, id=f"{condition.id} closing")


def _of_playing(inputs: Inputs, playing: str, closing: Sequence[Take]) -> list[Finding]:
    renamed = [replace(t, condition=f"{t.condition} closing", closing=False) if t.closing else t for t in inputs.takes]
    field = gather(replace(inputs, takes=tuple(renamed)), point="seat", playing=playing)
    wanted = sorted({(str(t.condition), str(t.seat)) for t in closing})
    if field is None or not field.grids or not wanted:
        return []
    bands = band_levels(_with_noise(field, inputs), inputs.session.criteria.min_snr_db)
    state = _State(inputs=inputs, bands=bands)
    conditions = {c.id: c for c in inputs.session.conditions}
    spreads = _spreads(state)
    return [
        finding
        for name, seat in wanted
        if name in conditions
        for finding in _of_seat(state, conditions[name], seat, spreads)
    ]


def _with_noise(field: Field, inputs: Inputs) -> Field:
    """A closing take has the noise of the repeats: one take alone does not show its own."""
    cells = dict(field.cells)
    for condition in inputs.session.conditions:
        for place in field.grids:
            first, last = (place, condition.id), (place, _closing(condition).id)
            if first in cells and last in cells:
                cells[last] = replace(cells[last], noise_power=cells[first].noise_power)
    return replace(field, cells=cells)


# --- what is compared -------------------------------------------------------------------------------------------------


def _deviation(state: _State, levels: RelativeLevels, place: Place, name: str) -> Measured | None:
    if place not in levels.middle:
        return None
    found = deviations(levels, place, name, False)
    return float(found[0]), pseudo_repeats(found)


def _midband(state: _State, levels: RelativeLevels, place: Place, name: str) -> Measured | None:
    if place not in levels.middle:
        return None
    cell, usable = state.bands.cells[place, name], levels.middle[place]
    return float(np.mean(cell.level_db[usable])), cell.take_db[:, usable].mean(axis=1)


def _band(index: int) -> Measure:
    def measured(state: _State, levels: RelativeLevels, place: Place, name: str) -> Measured | None:
        if place not in levels.middle or not levels.bass[place][index]:
            return None
        cell, middle = state.bands.cells[place, name], levels.middle[place]
        level = float(cell.level_db[index] - np.mean(cell.level_db[middle]))
        return level, cell.take_db[:, index] - cell.take_db[:, middle].mean(axis=1)

    return measured


Measure = Callable[[_State, RelativeLevels, Place, str], Measured | None]
OWN: dict[str | int | None, Measure] = {None: _deviation, "level": _midband}


def _bands_of_bass(state: _State) -> list[int]:
    chosen: list[int] = np.flatnonzero(state.bands.chosen(state.inputs.session.criteria.bass_band_hz)).tolist()
    return chosen


def _measures(state: _State) -> dict[str | int | None, Measure]:
    return OWN | {index: _band(index) for index in _bands_of_bass(state)}


def _spreads(state: _State) -> dict[str | int | None, PooledSpread]:
    """The spread of one repeat, of each thing measured, pooled over all cells of the session."""
    groups: dict[str | int | None, list[FloatArray]] = {key: [] for key in _measures(state)}
    for condition in state.inputs.session.conditions:
        levels = state.levels(condition, condition)
        for place, name in state.bands.cells:
            if name == condition.id:
                for key, measure in _measures(state).items():
                    found = measure(state, levels, place, name)
                    if found is not None:
                        groups[key].append(found[1])
    return {key: pool(found) for key, found in groups.items()}


# --- findings ---------------------------------------------------------------------------------------------------------


def _of_seat(
    state: _State, condition: Condition, seat: str, spreads: Mapping[str | int | None, PooledSpread]
) -> list[Finding]:
    """The deviation, the mid-band and the largest band of one condition at one seat."""
    levels, n_bands = state.levels(_closing(condition), condition), len(_bands_of_bass(state))
    found = {
        key: _estimate(state, condition, seat, levels, measure, spreads[key], 1 if key in OWN else n_bands)
        for key, measure in _measures(state).items()
    }
    findings = [_finding(state, condition, seat, None if key is None else str(key), found[key]) for key in OWN]
    in_bands = {k: e for k, e in found.items() if k not in OWN and e is not None}
    return [*findings, _largest(state, condition, seat, in_bands)]


def _estimate(
    state: _State,
    condition: Condition,
    seat: str,
    levels: RelativeLevels,
    measure: Measure,
    spread: PooledSpread,
    comparisons: int,
) -> Estimate | None:
    """Mean over channels of closing minus opening."""
    field, names = state.bands.field, (_closing(condition).id, condition.id)
    places = [p for p in field.grids if p.seat == seat and all((p, name) in field.cells for name in names)]
    places.sort(key=lambda place: place.channel or "")
    pairs = [[measure(state, levels, place, name) for name in names] for place in places]
    if not pairs or any(one is None for pair in pairs for one in pair):
        return None
    values = [pair[0][0] - pair[1][0] for pair in pairs if pair[0] is not None and pair[1] is not None]
    cells = [field.cells[place, name] for place in places for name in names]
    factor = sum(1 / cell.n_repeats for cell in cells) / len(places) ** 2
    criteria = state.inputs.session.criteria
    # Repeats in place show no placement: the closing take then has one of its own, and so have they.
    in_place = any(cell.in_place for cell in field.cells.values())
    extra = 2 * criteria.placement_sd_db**2 if in_place else 0.0
    caveats = (IN_PLACE_CAVEAT,) if in_place else ()
    n = min(cell.n_repeats for cell in cells)
    return interval(float(np.mean(values)), spread, factor, criteria.confidence, extra, comparisons, n, caveats)


def _largest(
    state: _State, condition: Condition, seat: str, found: Mapping[str | int | None, Estimate]
) -> Finding:  # fmt: skip
    """The band that changes most; drifted if any band has, steady if all are."""
    limit = state.inputs.session.criteria.smallest_change_db
    key = max(found, key=lambda index: abs(found[index].value)) if found else None
    verdicts = [within(e.low, e.high, limit, WORDS) for e in found.values()]
    verdict = "undecided"
    if "drifted" in verdicts:
        verdict = "drifted"
    elif verdicts and all(v == "steady" for v in verdicts):
        verdict = "steady"
    estimate = None if key is None else found[key]
    named: tuple[str, ...] = ()
    if isinstance(key, int):
        named = (f"the largest change is in the band of {state.bands.bands.nominal_hz[key]:g} Hz",)
    made = _finding(state, condition, seat, "largest-band", estimate)
    return replace(made, verdict=verdict, caveats=(*made.caveats, *named))


def _finding(
    state: _State, condition: Condition, seat: str, variant: str | None, estimate: Estimate | None
) -> Finding:  # fmt: skip
    criteria = state.inputs.session.criteria
    low, high = (estimate.low, estimate.high) if estimate else (None, None)
    has_base = any(place.seat == seat and name == condition.id for place, name in state.bands.cells)
    reason = FEW_BANDS if has_base else NO_BASE.format(condition=condition.id, seat=seat)
    return Finding(
        quantity="drift",
        variant=variant,
        value=None if estimate is None else estimate.value,
        unit="dB",
        low=low,
        high=high,
        confidence=criteria.confidence if low is not None else None,
        n=None if estimate is None else estimate.n,
        method=METHODS[variant] + INTERVAL,
        condition=condition.id,
        point="seat",
        playing=state.bands.field.playing,
        seat=seat,
        verdict=within(low, high, criteria.smallest_change_db, WORDS),
        caveats=(reason,) if estimate is None else estimate.caveats,
    )


@hookimpl
def fairhearing_analysers() -> list[Analyser]:
    """The analyser of this module."""
    return [Drift()]
