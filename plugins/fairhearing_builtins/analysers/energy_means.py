"""The change of the energy mean over seats: another quantity than the mean of the changes."""

from __future__ import annotations

import numpy as np

from fairhearing.api import Comparison, Inputs
from fairhearing.statistics.pooled import pool
from fairhearing_builtins.analysers.band_levels import FieldBands
from fairhearing_builtins.analysers.cells import Place, seats_that_count
from fairhearing_builtins.analysers.estimates import IN_PLACE_CAVEAT, Estimate, interval


def of_means(inputs: Inputs, comparison: Comparison, bands: FieldBands, index: int) -> Estimate | None:
    """Difference of the weighted energy means over seats in one band; mean over channels of the dB values."""
    criteria = inputs.session.criteria
    weights = {seat.id: seat.weight for seat in seats_that_count(inputs)}
    names = (comparison.condition.id, comparison.reference.id)
    chosen = np.arange(len(bands.bands.nominal_hz)) == index
    usable = [
        place
        for place in bands.field.places(comparison)
        if place.seat in weights and bands.usable(place, comparison, chosen).any()
    ]
    channels = sorted({place.channel for place in usable}, key=lambda c: c or "")
    if not usable:
        return None
    values, factor, placement = [], 0.0, 0.0
    for channel in channels:
        places = [place for place in usable if place.channel == channel]
        means, shares = zip(*(_energy_mean(bands, places, weights, name, index) for name in names), strict=True)
        values.append(means[0] - means[1])
        for name, share in zip(names, shares, strict=True):
            for place, part in zip(places, share, strict=True):
                cell = bands.field.cells[place, name]
                factor += part**2 / cell.n_repeats / len(channels) ** 2
                placement += part**2 / len(channels) * cell.in_place
    spread = pool([bands.cells[place, name].take_db[:, index] for place in usable for name in names])
    n = min(bands.field.cells[place, name].n_repeats for place in usable for name in names)
    extra = placement * criteria.placement_sd_db**2
    caveats = (IN_PLACE_CAVEAT,) if extra > 0 else ()
    return interval(float(np.mean(values)), spread, factor, criteria.confidence, extra, 1, n, caveats)


def _energy_mean(
    bands: FieldBands, places: list[Place], weights: dict[str, float], name: str, index: int
) -> tuple[float, list[float]]:
    """Level of the weighted energy mean, dB, and the share of each place in it (its derivative)."""
    energy = [weights[str(p.seat)] * 10 ** (bands.cells[p, name].level_db[index] / 10) for p in places]
    total = sum(energy)
    mean_db = float(10 * np.log10(total / sum(weights[str(p.seat)] for p in places)))
    return mean_db, [float(e / total) for e in energy]
