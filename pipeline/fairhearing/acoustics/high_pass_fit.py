"""Least-squares fit of first-order high-passes to measured level changes, many data sets at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

DB_PER_NEPER_POWER = 10.0 / np.log(10.0)
# Data sets are fitted some at a time, so that fine grids need no more memory than their data do.
NUMBERS_AT_ONCE = 2_000_000
ORDER_BOUNDS = (0.2, 5.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """Level changes over frequency in groups (a seat and channel each), for several data sets.

    frequency_hz (n,), the groups one after the other; change_db (n_sets, n); starts (n_groups,): index of each
    group's first point.
    """

    frequency_hz: FloatArray
    change_db: FloatArray
    starts: npt.NDArray[np.intp]


@dataclass(frozen=True, slots=True, kw_only=True)
class HighPassFit:
    """What fitted best, per data set: corner_hz (n_sets,), order (n_sets,), reference_corner_hz (n_sets,) or None,
    gain_db (n_sets, n_groups), at_bound (n_sets,): the search ended at a bound, so the numbers say nothing."""

    corner_hz: FloatArray
    order: FloatArray
    reference_corner_hz: FloatArray | None
    gain_db: FloatArray
    at_bound: npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class Model:
    """What is fitted: a high-pass in the condition, in the reference, or in both; order 1 or free (one for both)."""

    in_condition: bool = True
    in_reference: bool = False
    free_order: bool = False

    @property
    def n_corners(self) -> int:
        """How many corners are free."""
        return int(self.in_condition) + int(self.in_reference)

    @property
    def signs(self) -> tuple[float, ...]:
        """+1 for a loss in the condition, -1 for a loss in the reference."""
        return ((1.0,) if self.in_condition else ()) + ((-1.0,) if self.in_reference else ())


def fit_high_pass(change: Change, model: Model | None = None, start: HighPassFit | None = None) -> HighPassFit:
    r"""Corner (and order) of a high-pass, gain per group free, by least squares in dB.

    .. math:: \Delta(f) = g + \sum_k s_k \left(-10 \lg\left(1 + (f_k/f)^{2n}\right)\right)

    s = +1 for the condition's filter, -1 for the reference's. Every point counts alike. The gains are eliminated, so
    the search runs over at most three numbers, for all data sets at once: a coarse grid, then damped Gauss-Newton
    steps.

    Parameters
    ----------
    change : Change
    model : Model, optional
        One filter of order 1 in the condition if not given.
    start : HighPassFit, optional
        Where to start instead of the grid (one data set or as many as in `change`).

    Returns
    -------
    HighPassFit

    Raises
    ------
    ValueError
        Fewer points than unknowns.

    Examples
    --------
    >>> frequency_hz = np.geomspace(10, 1000, 60)
    >>> level_db = -0.4 - 10 * np.log10(1 + (80 / frequency_hz) ** 2)
    >>> fit = fit_high_pass(
    ...     Change(frequency_hz=frequency_hz, change_db=level_db[None, :], starts=np.array([0], dtype=np.intp))
    ... )
    >>> round(float(fit.corner_hz[0]), 6), round(float(fit.gain_db[0, 0]), 6)
    (80.0, -0.4)
    """
    model = model or Model()
    unknowns = model.n_corners + int(model.free_order)
    if change.change_db.shape[1] < unknowns + len(change.starts) + 1:
        raise ValueError("too few usable frequencies for a fit")
    bounds = _bounds(change, model)
    if start is None:
        parameters = _starting(change, model, centred(change.change_db, change.starts), bounds)
    else:
        parameters = parameters_of(start, model, len(change.change_db))
    parts = []
    for rows in _some_at_a_time(change):
        folded = _fold(_rows_of(change, rows))
        parts.append(_as_fit(folded, model, _refine(folded, model, parameters[rows], bounds), bounds))
    return _joined(parts)


def _some_at_a_time(change: Change) -> list[slice]:
    step = max(1, NUMBERS_AT_ONCE // change.change_db.shape[1])
    return [slice(first, first + step) for first in range(0, len(change.change_db), step)]


def _rows_of(change: Change, rows: slice) -> Change:
    return Change(frequency_hz=change.frequency_hz, change_db=change.change_db[rows], starts=change.starts)


def _joined(parts: Sequence[HighPassFit]) -> HighPassFit:
    """The fits of all data sets, from those of some at a time."""
    references = [part.reference_corner_hz for part in parts if part.reference_corner_hz is not None]
    return HighPassFit(
        corner_hz=np.concatenate([part.corner_hz for part in parts]),
        order=np.concatenate([part.order for part in parts]),
        reference_corner_hz=np.concatenate(references) if references else None,
        gain_db=np.concatenate([part.gain_db for part in parts]),
        at_bound=np.concatenate([part.at_bound for part in parts]),
    )


def centred(values: FloatArray, starts: npt.NDArray[np.intp]) -> FloatArray:
    """The values less the mean of their group; values (..., n)."""
    sizes = np.diff(np.append(starts, values.shape[-1]))
    means = np.add.reduceat(values, starts, axis=-1) / sizes
    return values - np.repeat(means, sizes, axis=-1)


def loss_db(frequency_hz: FloatArray, corner_hz: FloatArray, order: FloatArray) -> FloatArray:
    """Loss of a high-pass, 10 lg(1 + (f_c/f)^(2n)); corner and order (..., 1), frequency (n,); dB, >= 0."""
    loss: FloatArray = DB_PER_NEPER_POWER * np.log1p((corner_hz / frequency_hz) ** (2 * order))
    return loss


def _bounds(change: Change, model: Model) -> FloatArray:
    low, high = float(change.frequency_hz.min()), float(change.frequency_hz.max())
    corners = [(np.log(low / 30), np.log(high * 3))] * model.n_corners
    order = [ORDER_BOUNDS] if model.free_order else []
    return np.array([*corners, *order])


def _starting(change: Change, model: Model, target: FloatArray, bounds: FloatArray) -> FloatArray:
    """The best of a coarse grid of corners, per data set; order 1."""
    frequency = _thinned(change)
    thin = np.isin(np.arange(len(change.frequency_hz)), frequency)
    x = change.frequency_hz[thin]
    counts = np.add.reduceat(thin.astype(np.intp), change.starts)
    kept = counts > 0
    starts = np.concatenate([[0], np.cumsum(counts[kept])[:-1]]).astype(np.intp)
    y = centred(change.change_db[:, thin], starts)
    n_grid = 48 if model.n_corners == 1 else 24
    grid = np.linspace(bounds[0, 0], bounds[0, 1], n_grid)
    curves = centred(-loss_db(x, np.exp(grid)[:, None], np.ones((n_grid, 1))), starts)
    if model.n_corners == 1:
        shapes, corners = model.signs[0] * curves, grid[:, None]
    else:
        first, second = np.divmod(np.arange(n_grid**2), n_grid)
        shapes = curves[first] - curves[second]
        corners = np.column_stack([grid[first], grid[second]])
    misfit = np.sum(shapes**2, axis=1)[None, :] - 2 * (y @ shapes.T)
    best = corners[np.argmin(misfit, axis=1)]
    return np.column_stack([best, np.ones(len(target))]) if model.free_order else best


def _thinned(change: Change) -> npt.NDArray[np.intp]:
    """Indices of at most some 100 points per group, for the coarse search only."""
    ends = np.append(change.starts[1:], len(change.frequency_hz))
    parts = [
        np.unique(np.linspace(a, b - 1, min(b - a, 100)).astype(np.intp))
        for a, b in zip(change.starts, ends, strict=True)
    ]
    return np.concatenate(parts)


def parameters_of(fit: HighPassFit, model: Model, n_sets: int) -> FloatArray:
    """What the search runs over, (n_sets, n_parameters): ln of each corner, then the order if it is free."""
    columns: Sequence[FloatArray] = ([fit.corner_hz] if model.in_condition else []) + (
        [fit.reference_corner_hz] if model.in_reference and fit.reference_corner_hz is not None else []
    )
    parameters = np.log(np.column_stack(columns))
    if model.free_order:
        parameters = np.column_stack([parameters, fit.order])
    return np.broadcast_to(parameters, (n_sets, parameters.shape[1])).copy()


def shape_and_slopes(frequency_hz: FloatArray, model: Model, parameters: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The model without gains (n_sets, n) and its derivatives (n_sets, n_parameters, n)."""
    order = parameters[:, -1:] if model.free_order else np.ones((len(parameters), 1))
    shape = np.zeros((len(parameters), len(frequency_hz)))
    slopes = np.zeros((len(parameters), parameters.shape[1], len(frequency_hz)))
    log_f = np.log(frequency_hz)
    for k, sign in enumerate(model.signs):
        distance = parameters[:, k : k + 1] - log_f
        ratio = np.exp(np.clip(2 * order * distance, -200, 200))
        share = ratio / (1 + ratio)
        shape -= sign * DB_PER_NEPER_POWER * np.log1p(ratio)
        slopes[:, k] = -sign * DB_PER_NEPER_POWER * 2 * order * share
        if model.free_order:
            slopes[:, -1] -= sign * DB_PER_NEPER_POWER * 2 * distance * share
    return shape, slopes


@dataclass(frozen=True, slots=True, kw_only=True)
class _Folded:
    """The same least squares with each frequency once: seats that share a grid share the model's values on it.

    frequency_hz (m,); member (n_groups, m): how often a group has the frequency; target (n_sets, m): the centred
    changes, summed over groups; squares (n_sets,): their sum of squares; mean_db (n_sets, n_groups).
    """

    frequency_hz: FloatArray
    member: FloatArray
    target: FloatArray
    squares: FloatArray
    mean_db: FloatArray

    def inner(self, first: FloatArray, second: FloatArray) -> FloatArray:
        """Sum over groups of the products of two curves, each less its mean over the group; (..., m) to (...)."""
        sizes = self.member.sum(axis=1)
        means = (first @ self.member.T) * (second @ self.member.T) / sizes
        product: FloatArray = (first * second) @ self.member.sum(axis=0) - means.sum(axis=-1)
        return product


def _fold(change: Change) -> _Folded:
    frequency, index = np.unique(change.frequency_hz, return_inverse=True)
    sizes = np.diff(np.append(change.starts, len(index)))
    member = np.zeros((len(sizes), len(frequency)))
    np.add.at(member, (np.repeat(np.arange(len(sizes)), sizes), index), 1.0)
    target = centred(change.change_db, change.starts)
    together = np.argsort(index, kind="stable")
    firsts = np.searchsorted(index[together], np.arange(len(frequency)))
    return _Folded(
        frequency_hz=frequency,
        member=member,
        target=np.add.reduceat(target[:, together], firsts, axis=1),
        squares=np.sum(target**2, axis=1),
        mean_db=np.add.reduceat(change.change_db, change.starts, axis=1) / sizes,
    )


def _refine(folded: _Folded, model: Model, parameters: FloatArray, bounds: FloatArray) -> FloatArray:
    """Levenberg-Marquardt on the centred residuals, each data set with its own damping, until each stands still."""
    parameters = parameters.copy()
    damping = np.full(len(parameters), 1e-3)
    misfit = np.full(len(parameters), np.inf)
    busy = np.arange(len(parameters))
    steps = np.zeros_like(parameters)
    normal, gradient = _normal_equations(folded, model, parameters, busy, misfit)
    for _ in range(60):
        diagonal = np.einsum("bii->bi", normal[busy])
        damped = normal[busy] + (damping[busy, None] * diagonal + 1e-12)[:, :, None] * np.eye(parameters.shape[1])
        steps[busy] = np.linalg.solve(damped, gradient[busy][:, :, None])[:, :, 0]
        trial = parameters.copy()
        trial[busy] = np.clip(parameters[busy] + np.clip(steps[busy], -1.0, 1.0), bounds[:, 0], bounds[:, 1])
        moved = np.max(np.abs(trial - parameters)[busy], axis=1)
        busy = busy[moved > 1e-9]
        if not len(busy):
            break
        trial_misfit = misfit.copy()
        new_normal, new_gradient = _normal_equations(folded, model, trial, busy, trial_misfit)
        better = np.zeros(len(parameters), dtype=bool)
        better[busy] = trial_misfit[busy] <= misfit[busy]
        parameters[better], misfit[better] = trial[better], trial_misfit[better]
        normal[better], gradient[better] = new_normal[better], new_gradient[better]
        damping = np.clip(np.where(better, damping * 0.1, damping * 10), 1e-12, 1e12)
    return parameters


def _normal_equations(
    folded: _Folded, model: Model, parameters: FloatArray, rows: npt.NDArray[np.intp], misfit: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Normal matrix (n_sets, p, p) and gradient (n_sets, p), filled in at `rows`, and `misfit` with them."""
    n_parameters = parameters.shape[1]
    normal, gradient = np.zeros((len(parameters), n_parameters, n_parameters)), np.zeros(parameters.shape)
    # At most some 8 MB at a time: fine grids and many repeats would otherwise fill the memory.
    for part in np.array_split(rows, max(1, len(rows) * len(folded.frequency_hz) // 1_000_000)):
        shape, slopes = shape_and_slopes(folded.frequency_hz, model, parameters[part])
        target = folded.target[part]
        misfit[part] = folded.squares[part] - 2 * np.sum(target * shape, axis=1) + folded.inner(shape, shape)
        for k in range(n_parameters):
            gradient[part, k] = np.sum(target * slopes[:, k], axis=1) - folded.inner(slopes[:, k], shape)
            for m in range(k + 1):
                normal[part, k, m] = normal[part, m, k] = folded.inner(slopes[:, k], slopes[:, m])
    return normal, gradient


def _as_fit(folded: _Folded, model: Model, parameters: FloatArray, bounds: FloatArray) -> HighPassFit:
    shape, _ = shape_and_slopes(folded.frequency_hz, model, parameters)
    at_bound = np.any((parameters <= bounds[:, 0] + 1e-6) | (parameters >= bounds[:, 1] - 1e-6), axis=1)
    corners = np.exp(parameters[:, : model.n_corners])
    return HighPassFit(
        corner_hz=corners[:, 0] if model.in_condition else np.full(len(parameters), np.nan),
        order=parameters[:, -1] if model.free_order else np.ones(len(parameters)),
        reference_corner_hz=corners[:, -1] if model.in_reference else None,
        gain_db=folded.mean_db - shape @ folded.member.T / folded.member.sum(axis=1),
        at_bound=at_bound,
    )


def fit_signed_loss_db(change: Change, at_hz: float, start: FloatArray | None = None) -> FloatArray:
    r"""Loss at `at_hz` of a first-order high-pass whose squared corner may come out negative: no filter reads near 0.

    .. math:: \Delta(f) = g - 10 \lg(1 + u/f^2), \quad u > -f_\mathrm{min}^2

    With u free in sign the loss of a chain without a filter scatters around 0 dB, so that its interval is honest; a
    corner, which cannot be negative, would pile up at its bound.

    Parameters
    ----------
    change : Change
    at_hz : float, hertz
    start : (n_sets,) or None
        Squared corner to start from.

    Returns
    -------
    (n_sets,), dB
    """
    squared_corner = np.zeros(len(change.change_db)) if start is None else start
    parts = [_squared_corner(_fold(_rows_of(change, r)), squared_corner[r]) for r in _some_at_a_time(change)]
    loss: FloatArray = DB_PER_NEPER_POWER * np.log1p(np.concatenate(parts) / at_hz**2)
    return loss


def _squared_corner(folded: _Folded, u: FloatArray) -> FloatArray:
    """The squared corner of each data set, free in sign, by Gauss-Newton steps from `u`."""
    squared = folded.frequency_hz**2
    floor = -0.95 * float(squared.min())
    for _ in range(60):
        shape = -DB_PER_NEPER_POWER * np.log1p(u[:, None] / squared)
        slope = -DB_PER_NEPER_POWER / (squared + u[:, None])
        gradient = np.sum(folded.target * slope, axis=1) - folded.inner(slope, shape)
        step = gradient / folded.inner(slope, slope)
        # Steps are limited in the scale of the lowest frequency plus u itself: the loss is logarithmic in u.
        limit = 0.7 * (u + squared.min())
        new: FloatArray = np.maximum(u + np.clip(step, -limit, 4 * limit), floor)
        if np.max(np.abs(new - u) / (squared.min() + np.abs(u))) < 1e-10:
            return new
        u = new
    return u
