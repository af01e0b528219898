"""Corner, order and gain of the filter fitted to a field, with intervals from leaving out one repeat at a time."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fairhearing.acoustics.high_pass_fit import (
    Change,
    HighPassFit,
    Model,
    fit_high_pass,
    fit_signed_loss_db,
    sensitivity,
    smooth_error_variance,
)
from fairhearing.acoustics.noise import SCATTER_IS_NOISE_BELOW_HZ, noise_to_choose_by, usable_in_both
from fairhearing.api import Comparison, Criteria
from fairhearing.statistics.pooled import jackknife_deviations, pool
from fairhearing_builtins.analysers.cells import Cell, Field, Place
from fairhearing_builtins.analysers.estimates import IN_PLACE_CAVEAT, Estimate, interval

FloatArray = npt.NDArray[np.float64]
CellKey = tuple[Place, str]

DB_PER_NEPER = 10 / math.log(10)
# How takes are expected to differ point by point besides placement and noise; only the share of cells hangs on it.
TAKE_SD_DB = 0.1
# Squared relative doubt of a noise estimate from two repeats; set by simulation (tests/simulations).
NOISE_DOUBT = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOut:
    """The change of a set of places: row 0 with all repeats, then one row per repeat left out of one cell."""

    change: Change
    places: tuple[Place, ...]
    cells: Mapping[CellKey, tuple[int, ...]]  # the rows that leave out one of this cell's repeats
    n_repeats: Mapping[CellKey, int]
    in_place: Mapping[CellKey, bool]
    noise_ratio: Mapping[CellKey, FloatArray]  # noise over signal power at the usable frequencies

    @property
    def n(self) -> int:
        """The smaller number of repeats of the two conditions."""
        return min(self.n_repeats.values())


def left_out(field: Field, comparison: Comparison, places: Iterable[Place], min_snr_db: float) -> LeftOut | None:
    """Changes with and without each repeat, at frequencies clear of noise in both conditions; None if there are none."""
    names = (comparison.condition.id, comparison.reference.id)
    frequency, groups, used = [], [], []
    for place in places:
        cells = [field.cells[place, name] for name in names]
        grid = field.grids[place]
        usable = _usable(grid, cells, min_snr_db)
        if np.count_nonzero(usable) < 4:
            continue
        frequency.append(grid[usable])
        groups.append((cells, usable))
        used.append(place)
    if not used:
        return None
    starts = np.concatenate([[0], np.cumsum([len(f) for f in frequency])[:-1]]).astype(np.intp)
    whole = np.concatenate([_change_db(cells[0].mean_power(), cells[1].mean_power())[u] for cells, u in groups])
    rows, rows_of = [whole], {}
    for k, (place, (cells, usable)) in enumerate(zip(used, groups, strict=True)):
        part = slice(starts[k], starts[k] + len(frequency[k]))
        for side, name in enumerate(names):
            n = cells[side].n_repeats
            rows_of[place, name] = tuple(range(len(rows), len(rows) + n)) if n > 1 else ()
            for j in range(n if n > 1 else 0):
                powers = [cells[s].mean_power(j if s == side else None) for s in (0, 1)]
                row = whole.copy()
                row[part] = _change_db(*powers)[usable]
                rows.append(row)
    keys = [(place, name) for place in used for name in names]
    return LeftOut(
        change=Change(frequency_hz=np.concatenate(frequency), change_db=np.array(rows), starts=starts),
        places=tuple(used),
        cells=rows_of,
        n_repeats={key: field.cells[key].n_repeats for key in keys},
        in_place={key: field.point == "seat" and field.cells[key].in_place for key in keys},
        noise_ratio={
            (place, name): (cells[side].noise_power / cells[side].mean_power())[usable]
            for place, (cells, usable) in zip(used, groups, strict=True)
            for side, name in enumerate(names)
        },
    )


def _usable(grid: FloatArray, cells: Sequence[Cell], min_snr_db: float) -> npt.NDArray[np.bool_]:
    one, other = cells
    return usable_in_both(
        grid,
        (one.power.mean(axis=0), other.power.mean(axis=0)),
        (_noise_to_choose_by(grid, one), _noise_to_choose_by(grid, other)),
        (one.n_repeats, other.n_repeats),
        min_snr_db,
    )


def _noise_to_choose_by(grid: FloatArray, cell: Cell) -> FloatArray:
    # Noise from scatter is 0 above a limit, noise from a noise take is not: that one is known without the takes.
    known = np.any(cell.noise_power[grid >= SCATTER_IS_NOISE_BELOW_HZ] > 0)
    return cell.noise_power if known else noise_to_choose_by(grid, cell.noise_power)


def _change_db(condition: FloatArray, reference: FloatArray) -> FloatArray:
    return 10 * np.log10(condition / reference)


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """A fit over a set of places: the fit of every row, and what of it is asked for."""

    data: LeftOut
    model: Model
    fit: HighPassFit

    @property
    def at_bound(self) -> bool:
        """Whether the search with all repeats ended at a bound."""
        return bool(self.fit.at_bound[0])


def fit_places(
    field: Field, comparison: Comparison, places: Sequence[Place], model: Model, min_snr_db: float
) -> Fitted | None:
    """The fit over places with one corner and a gain for each, and again without each repeat."""
    data = left_out(field, comparison, places, min_snr_db)
    if data is None:
        return None
    try:
        first = fit_high_pass(_row(data.change, slice(0, 1)), model)
        fit = fit_high_pass(data.change, model, start=first)
    except ValueError:
        return None
    return Fitted(data=data, model=model, fit=fit)


def _row(change: Change, rows: slice) -> Change:
    return Change(frequency_hz=change.frequency_hz, change_db=change.change_db[rows], starts=change.starts)


Statistic = Callable[[Fitted], FloatArray]  # one number per row


def estimate(
    fitted: Fitted, family: Sequence[Fitted], statistic: Statistic, criteria: Criteria, parameter: int | None = None
) -> Estimate:
    """The statistic with its interval.

    Deviations with each repeat left out are pooled over the `family` of like fits (each seat's, say). Cells weigh
    unequally in a fit: where the statistic is the fitted `parameter`, each cell's deviations are divided by the spread
    that its share in the fit leads one to expect, before they are pooled, and multiplied by it after.
    """
    shares = [_expected_shares(one, criteria, parameter) for one in family]
    deviations = [
        jackknife_deviations(statistic(one)[list(rows)]) / np.sqrt(share[key])
        for one, share in zip(family, shares, strict=True)
        for key, rows in one.data.cells.items()
        if rows
    ]
    own = _expected_shares(fitted, criteria, parameter)
    factor = sum(own[key] / n for key, n in fitted.data.n_repeats.items())
    placement = _placement(fitted, criteria, parameter) if any(fitted.data.in_place.values()) else 0.0
    noise = _noise_doubt(fitted, parameter)
    caveats = (IN_PLACE_CAVEAT,) if placement > 0 else ()
    return interval(
        float(statistic(fitted)[0]),
        pool(deviations),
        factor,
        criteria.confidence,
        placement + noise,
        1,
        fitted.data.n,
        caveats,
    )


def _weights_by_place(fitted: Fitted, parameter: int) -> dict[Place, tuple[FloatArray, FloatArray, slice]]:
    """Frequencies, weight per dB, and where they stand in the data, per place."""
    change = fitted.data.change
    weight = sensitivity(change, fitted.model, fitted.fit)[parameter]
    ends = np.append(change.starts[1:], len(change.frequency_hz))
    return {
        place: (change.frequency_hz[start:end], weight[start:end], slice(int(start), int(end)))
        for place, start, end in zip(fitted.data.places, change.starts, ends, strict=True)
    }


def _expected_shares(fitted: Fitted, criteria: Criteria, parameter: int | None) -> dict[CellKey, float]:
    """Variance that one repeat of each cell is expected to cause, up to a common factor; all 1 without a parameter."""
    if parameter is None:
        return dict.fromkeys(fitted.data.n_repeats, 1.0)
    shares = {}
    weights = _weights_by_place(fitted, parameter)
    for place, name in fitted.data.n_repeats:
        frequency, weight, part = weights[place]
        ratio = fitted.data.noise_ratio[place, name]
        smooth = criteria.placement_sd_db**2 * smooth_error_variance(frequency, weight)
        rough = float(np.sum(weight**2 * (TAKE_SD_DB**2 + DB_PER_NEPER**2 * (2 * ratio + ratio**2))))
        shares[place, name] = smooth + rough
    return shares


def _noise_doubt(fitted: Fitted, parameter: int | None) -> float:
    """Variance from not knowing the noise that is taken out better than the repeats show it."""
    if parameter is None:
        return 0.0
    weights = _weights_by_place(fitted, parameter)
    total = 0.0
    for (place, name), n in fitted.data.n_repeats.items():
        frequency, weight, _ = weights[place]
        correction_db = DB_PER_NEPER * fitted.data.noise_ratio[place, name]
        total += NOISE_DOUBT * smooth_error_variance(frequency, weight * correction_db) / max(n - 1, 1)
    return total


def _placement(fitted: Fitted, criteria: Criteria, parameter: int | None) -> float:
    """Variance that placement adds where repeats were in place: channels of a seat move together."""
    if parameter is None:
        return criteria.placement_sd_db**2
    spreads: dict[tuple[str | None, str], float] = {}
    for place, (frequency, weight, _) in _weights_by_place(fitted, parameter).items():
        variance = smooth_error_variance(frequency, weight)
        for (where, name), in_place in fitted.data.in_place.items():
            if where == place and in_place:
                spreads[place.seat, name] = spreads.get((place.seat, name), 0.0) + math.sqrt(variance)
    return sum(spread**2 for spread in spreads.values()) * criteria.placement_sd_db**2


def log_corner(fitted: Fitted) -> FloatArray:
    """ln of the condition's corner, per row."""
    return np.log(fitted.fit.corner_hz)


def log_reference_corner(fitted: Fitted) -> FloatArray:
    """ln of the reference's corner, per row."""
    corner = fitted.fit.reference_corner_hz
    assert corner is not None
    return np.log(corner)


def order(fitted: Fitted) -> FloatArray:
    """The order, per row."""
    return fitted.fit.order


def mean_gain(fitted: Fitted) -> FloatArray:
    """Mean over seats of the mean over channels of the gains, per row."""
    seats: dict[str | None, list[int]] = {}
    for index, place in enumerate(fitted.data.places):
        seats.setdefault(place.seat, []).append(index)
    means = [fitted.fit.gain_db[:, indices].mean(axis=1) for indices in seats.values()]
    result: FloatArray = np.mean(means, axis=0)
    return result


def lowest_usable_hz(fitted: Fitted) -> float:
    """The lowest frequency that entered the fit at any seat."""
    return float(fitted.data.change.frequency_hz.min())


def signed_loss(fitted: Fitted) -> FloatArray:
    """Loss at the lowest usable frequency, which may be negative, per row."""
    return fit_signed_loss_db(fitted.data.change, lowest_usable_hz(fitted))
