"""Corner, order and gain of the filter fitted to a field, with intervals from leaving out one repeat at a time.

How the intervals are made, and why (2026-11-25; tests/simulations holds the simulation and its result):
leave-one-repeat-out deviations are pooled over cells after each is divided by the spread that its weight in the fit
leads one to expect, since cells with more usable bass count for more; unscaled they cover up to 1 % less. Which points
are usable must say nothing about the change, nor about the noise that is subtracted from it (`usable_in_both`,
`noise_to_choose_by`): chosen by the noise that is subtracted, the corner came out a quarter of its standard error low.
The noise estimate's own doubt is added; estimating it anew without each repeat did no better, and two repeats do not
allow it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from fairhearing.acoustics.fit_sensitivity import loss_sensitivity, sensitivity, smooth_error_variance
from fairhearing.acoustics.high_pass_fit import Change, HighPassFit, Model, fit_high_pass, fit_signed_loss_db
from fairhearing.acoustics.noise import noise_to_choose_by, usable_in_both
from fairhearing.api import Comparison, Criteria
from fairhearing.statistics.pooled import jackknife_deviations, pool
from fairhearing_builtins.analysers.cells import Cell, Field, Place
from fairhearing_builtins.analysers.estimates import IN_PLACE_CAVEAT, Estimate, interval

FloatArray = npt.NDArray[np.float64]
CellKey = tuple[Place, str]

DB_PER_NEPER = 10 / math.log(10)
# How takes are expected to differ point by point besides placement and noise; only the share of cells hangs on it.
TAKE_SD_DB = 0.1
# Squared relative doubt of a noise estimate from one point with one degree of freedom (chi-square). A third octave
# averages over its points; more than eight are hardly independent, since finer grids tend to be smoothed ones.
NOISE_DOUBT = 2.0
MOST_INDEPENDENT_POINTS = 8.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOut:
    """The change of a set of places: row 0 with all repeats, then one row per repeat left out of one cell."""

    change: Change
    places: tuple[Place, ...]
    cells: Mapping[CellKey, tuple[int, ...]]  # the rows that leave out one of this cell's repeats
    n_repeats: Mapping[CellKey, int]
    in_place: Mapping[CellKey, bool]
    noise_ratio: Mapping[CellKey, FloatArray]  # noise over signal power at the usable frequencies
    noise_doubtful: Mapping[CellKey, bool]  # whether the noise was estimated from the scatter of the repeats

    @property
    def n(self) -> int:
        """The smaller number of repeats of the two conditions."""
        return min(self.n_repeats.values())


def left_out(field: Field, comparison: Comparison, places: Iterable[Place], min_snr_db: float) -> LeftOut | None:
    """Changes with and without each repeat, at frequencies clear of noise in both conditions; None if none are."""
    names = (comparison.condition.id, comparison.reference.id)
    frequency, groups, used = [], [], []
    for place in places:
        cells = [field.cells[place, name] for name in names]
        grid = field.grids[place]
        usable = usable_frequencies(grid, cells, min_snr_db)
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
        noise_doubtful={key: not field.cells[key].noise_measured for key in keys},
    )


def usable_frequencies(grid: FloatArray, cells: Sequence[Cell], min_snr_db: float) -> npt.NDArray[np.bool_]:
    """Which frequencies of the grid stand clear of the noise in both cells."""
    one, other = cells
    return usable_in_both(
        grid,
        (one.power.mean(axis=0), other.power.mean(axis=0)),
        (_noise_to_choose_by(grid, one), _noise_to_choose_by(grid, other)),
        (one.n_repeats, other.n_repeats),
        min_snr_db,
    )


def _noise_to_choose_by(grid: FloatArray, cell: Cell) -> FloatArray:
    return cell.noise_power if cell.noise_measured else noise_to_choose_by(grid, cell.noise_power)


def _change_db(condition: FloatArray, reference: FloatArray) -> FloatArray:
    return 10 * np.log10(condition / reference)


@dataclass(frozen=True, slots=True, kw_only=True)
class Influence:
    """What one take of a cell is expected to do to a fitted number: variance in the square of its unit.

    placement: of a level error of 1 dB, smooth over a third of an octave; rough: of noise and other errors of single
    points; doubt: of the noise that is subtracted, which the repeats show only roughly.
    """

    placement: float
    rough: float
    doubt: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """A fit over a set of places: the fit of every row, and what of it is asked for.

    influences: per fitted parameter, in the order of the model; then, for one filter of order 1, of its signed loss.
    """

    data: LeftOut
    model: Model
    fit: HighPassFit
    influences: tuple[Mapping[CellKey, Influence], ...]

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
    whole = _row(data.change, slice(0, 1))
    try:
        first = fit_high_pass(whole, model)
        fit = fit_high_pass(data.change, model, start=first)
    except ValueError:
        return None
    weights = list(sensitivity(whole, model, first))
    if model == Model():
        weights.append(loss_sensitivity(whole, float(whole.frequency_hz.min())))
    return Fitted(data=data, model=model, fit=fit, influences=tuple(_influences(data, weight) for weight in weights))


def _row(change: Change, rows: slice) -> Change:
    return Change(frequency_hz=change.frequency_hz, change_db=change.change_db[rows], starts=change.starts)


def _influences(data: LeftOut, weight_per_db: FloatArray) -> dict[CellKey, Influence]:
    change = data.change
    ends = np.append(change.starts[1:], len(change.frequency_hz))
    found = {}
    for place, start, end in zip(data.places, change.starts, ends, strict=True):
        frequency, weight = change.frequency_hz[start:end], weight_per_db[start:end]
        placement = smooth_error_variance(frequency, weight)
        thirds = max(10 * math.log10(frequency[-1] / frequency[0]), 1.0)
        doubt = NOISE_DOUBT / min(max(len(frequency) / thirds, 1.0), MOST_INDEPENDENT_POINTS)
        for key in (key for key in data.n_repeats if key[0] == place):
            ratio = data.noise_ratio[key]
            point = TAKE_SD_DB**2 + DB_PER_NEPER**2 * (2 * ratio + ratio**2)
            noise = smooth_error_variance(frequency, weight * DB_PER_NEPER * ratio)
            found[key] = Influence(
                placement=placement,
                rough=float(np.sum(weight**2 * point)),
                doubt=doubt * noise / max(data.n_repeats[key] - 1, 1) if data.noise_doubtful[key] else 0.0,
            )
    return found


Statistic = Callable[[Fitted], FloatArray]  # one number per row


def estimate(
    fitted: Fitted, family: Sequence[Fitted], statistic: Statistic, criteria: Criteria, parameter: int | None = None
) -> Estimate:
    """The statistic with its interval.

    Deviations with each repeat left out are pooled over the `family` of like fits (each seat's, say). Cells weigh
    unequally in a fit: where the statistic is the fitted `parameter`, each cell's deviations are divided by the spread
    that its share in the fit leads one to expect, before they are pooled, and multiplied by it after.
    """
    if statistic is order:
        return _order_estimate(fitted, family, criteria, parameter)
    if statistic is signed_loss and fitted.model == Model():
        parameter = -1
    return _estimate(fitted, family, statistic, criteria, parameter)


def _order_estimate(fitted: Fitted, family: Sequence[Fitted], criteria: Criteria, parameter: int | None) -> Estimate:
    """The order, its interval made on ln n: orders found too low scatter less, and would seem the surest."""
    found = _estimate(fitted, family, lambda one: np.log(order(one)), criteria, parameter, 1 / float(order(fitted)[0]))
    low, high = (None if limit is None else math.exp(limit) for limit in (found.low, found.high))
    return replace(found, value=float(order(fitted)[0]), low=low, high=high)


def _estimate(
    fitted: Fitted,
    family: Sequence[Fitted],
    statistic: Statistic,
    criteria: Criteria,
    parameter: int | None,
    unit: float = 1.0,
) -> Estimate:
    """As `estimate`; `unit`: the statistic's change per change of the parameter."""
    deviations, of_rows = [], None
    for one in family:
        values, share = statistic(one), _expected_shares(one, criteria, parameter)
        of_rows = values if one is fitted else of_rows
        deviations += [
            jackknife_deviations(values[list(rows)]) / math.sqrt(share[key])
            for key, rows in one.data.cells.items()
            if rows
        ]
    own = _expected_shares(fitted, criteria, parameter)
    factor = sum(own[key] / n for key, n in fitted.data.n_repeats.items())
    placement = _placement(fitted, criteria, parameter) if any(fitted.data.in_place.values()) else 0.0
    doubt = 0.0 if parameter is None else sum(one.doubt for one in fitted.influences[parameter].values())
    caveats = (IN_PLACE_CAVEAT,) if placement > 0 else ()
    return interval(
        float((statistic(fitted) if of_rows is None else of_rows)[0]),
        pool(deviations),
        factor,
        criteria.confidence,
        unit**2 * (placement + doubt),
        1,
        fitted.data.n,
        caveats,
    )


def _expected_shares(fitted: Fitted, criteria: Criteria, parameter: int | None) -> dict[CellKey, float]:
    """Variance that one repeat of each cell is expected to cause, up to a common factor; all 1 without a parameter."""
    if parameter is None:
        return dict.fromkeys(fitted.data.n_repeats, 1.0)
    # Repeats in place show no placement.
    return {
        key: one.rough + one.placement * (0.0 if fitted.data.in_place[key] else criteria.placement_sd_db**2)
        for key, one in fitted.influences[parameter].items()
    }


def _placement(fitted: Fitted, criteria: Criteria, parameter: int | None) -> float:
    """Variance that placement adds where repeats were in place: channels of a seat move together."""
    seats: dict[tuple[str | None, str], list[float]] = {}
    for (place, name), in_place in fitted.data.in_place.items():
        if in_place:
            # Without a parameter: a mean over seats of levels.
            spread = 1.0 if parameter is None else math.sqrt(fitted.influences[parameter][place, name].placement)
            seats.setdefault((place.seat, name), []).append(spread)
    if parameter is None:
        variance = len(seats) / len({place.seat for place in fitted.data.places}) ** 2
    else:
        variance = sum(sum(spreads) ** 2 for spreads in seats.values())
    return criteria.placement_sd_db**2 * variance


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
    # A filter that was found is the same least squares: the search for a loss starts where that one ended.
    start = np.where(fitted.fit.at_bound, 0.0, fitted.fit.corner_hz**2)
    return fit_signed_loss_db(fitted.data.change, lowest_usable_hz(fitted), start)
