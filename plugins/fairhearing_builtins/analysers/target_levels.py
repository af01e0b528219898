"""Deviation from the target of every cell, and again without each repeat."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fairhearing.acoustics.bands import band_level_db
from fairhearing.api import Comparison, Criteria, TargetCurve
from fairhearing.statistics.pooled import jackknife_deviations
from fairhearing_builtins.analysers.band_levels import MIDBAND_HZ, FieldBands, enough
from fairhearing_builtins.analysers.cells import Place

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class RelativeLevels:
    """Per cell the band levels less target (rows: all repeats, then without each one), and which bands count.

    `bass` and `middle`: the usable bands per place, in both conditions; a place that lacks them is not in `bass`.
    """

    levels: Mapping[tuple[Place, str], FloatArray]
    bass: Mapping[Place, BoolArray]
    middle: Mapping[Place, BoolArray]


def relative_levels(
    bands: FieldBands, comparison: Comparison, criteria: Criteria, target: TargetCurve | None
) -> RelativeLevels:
    """Band levels less target, with and without each repeat."""
    offset = target_at(bands, target, criteria.target_slope_db_per_octave or 0.0)
    chosen, middle = bands.chosen(criteria.bass_band_hz), bands.chosen(MIDBAND_HZ)
    levels, bass_of, middle_of = {}, {}, {}
    for place in bands.field.places(comparison):
        bass, mid = (bands.usable(place, comparison, mask) for mask in (chosen, middle))
        if not enough(bass, chosen):
            continue
        bass_of[place] = bass
        if enough(mid, middle):
            middle_of[place] = mid
        for name in (comparison.condition.id, comparison.reference.id):
            levels[place, name] = _levels(bands, place, name) - offset
    return RelativeLevels(levels=levels, bass=bass_of, middle=middle_of)


def target_at(bands: FieldBands, target: TargetCurve | None, slope_db_per_octave: float = 0.0) -> FloatArray:
    """The target at each midband: a curve, linear in dB over ln f, held beyond its ends; else a slope (0 is flat)."""
    midband = np.sqrt(bands.bands.lower_hz * bands.bands.upper_hz)
    if target is None:
        # Where it crosses 0 dB is of no matter: the level is fitted.
        sloped: FloatArray = slope_db_per_octave * np.log2(midband / 1000.0)
        return sloped
    return np.interp(np.log(midband), np.log(target.frequency_hz), target.level_db)


def _levels(bands: FieldBands, place: Place, name: str) -> FloatArray:
    """Row 0: of all repeats; then without each one, if there are two or more."""
    cell, grid = bands.field.cells[place, name], bands.field.grids[place]
    whole = bands.cells[place, name].level_db
    if cell.n_repeats < 2:
        return whole[None, :]
    without = np.array([cell.mean_power(j) for j in range(cell.n_repeats)])
    return np.vstack([whole, band_level_db(grid, without, bands.bands)])


def levelled(relative: RelativeLevels, place: Place, name: str, *, shape: bool) -> FloatArray:
    """Band levels less target and less a (rows as in `levels`), a from the mid-band or from the bass itself."""
    rows = relative.levels[place, name]
    mask = relative.bass[place] if shape else relative.middle[place]
    level: FloatArray = rows[:, mask].mean(axis=1, keepdims=True)
    return rows - level


def deviations(relative: RelativeLevels, place: Place, name: str, shape: bool) -> FloatArray:
    """Root mean square over the bass bands: entry 0 with all repeats, then without each one; dB."""
    rows = levelled(relative, place, name, shape=shape)[:, relative.bass[place]]
    mean: FloatArray = np.mean(rows**2, axis=1)
    return np.sqrt(mean)


def bass_levels(relative: RelativeLevels, place: Place, name: str, shape: bool) -> FloatArray:
    """Mean over the bass bands: how far the bass as a whole stands above the target; entries as `deviations`."""
    rows = levelled(relative, place, name, shape=shape)[:, relative.bass[place]]
    mean: FloatArray = np.mean(rows, axis=1)
    return mean


def level_distances(relative: RelativeLevels, place: Place, name: str, shape: bool) -> FloatArray:
    """How far the bass as a whole stands from the target, above or below: the square of a deviation is the sum of
    the squares of this and of the deviation of the shape alone."""
    return np.abs(bass_levels(relative, place, name, shape))


def spreads(
    relative: RelativeLevels, places: Sequence[Place], condition: str, *, shape: bool
) -> tuple[float, dict[Place, FloatArray]]:
    """Spread over seats of one channel's levels, and how each repeat moves it (jackknife deviations per place)."""
    common = np.all([relative.bass[place] for place in places], axis=0)
    rows = {place: levelled(relative, place, condition, shape=shape)[:, common] for place in places}

    def spread(of: Mapping[Place, FloatArray]) -> float:
        return float(np.sqrt(np.mean(np.var(np.array(list(of.values())), axis=0, ddof=1))))

    whole = {place: value[0] for place, value in rows.items()}
    moved = {}
    for place, value in rows.items():
        without = [spread({**whole, place: row}) for row in value[1:]]
        moved[place] = jackknife_deviations(without) if without else np.zeros(1)
    return spread(whole), moved


def pseudo_repeats(values: FloatArray) -> FloatArray:
    """Deviations of the repeats from entries as `deviations` gives them; one zero where there is one repeat."""
    return jackknife_deviations(values[1:]) if len(values) > 2 else np.zeros(1)
