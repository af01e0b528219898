"""Worth of things compared in pairs: Bradley-Terry with Davidson's ties and a first-position term, by likelihood."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fairhearing.statistics._paired_outcomes import chances_at, design_of, maximum, spreads_at

FloatArray = npt.NDArray[np.float64]

ILL_CONDITIONED = 1e10
# Worths that far apart are one answer in 160 000: Newton walks to infinity, or an LP says that it need not.
FAR_LOGIT = 12.0


@dataclass(frozen=True, slots=True, kw_only=True)
class WorthFit:
    r"""Fitted worths, their terms, and what an interval needs.

    `worth`: (n_items,), logit, item 0 at 0. `log_tie`: ln of Davidson's nu, -inf where nothing was tied.
    `first_position`: logit by which being presented first helps, None if it was not fitted.
    `information`: Fisher information of (worth[1:], log_tie if there are ties, first_position if fitted).
    `finite`: (n_items, n_items) bool, whether the data hold the difference of two worths at a finite value; where they
    do not, worths mean nothing.
    """

    worth: FloatArray
    log_tie: float
    first_position: float | None
    information: FloatArray
    log_likelihood: float
    finite: npt.NDArray[np.bool_]


def count_outcomes(first: npt.ArrayLike, second: npt.ArrayLike, outcome: npt.ArrayLike, n_items: int) -> FloatArray:
    """How often each thing, presented first, won against, tied with and lost to each presented second.

    Parameters
    ----------
    first, second : (n_trials,) array_like of int, 0 to n_items - 1
    outcome : (n_trials,) array_like of int
        0 the first won, 1 a tie, 2 the second won.
    n_items : int, >= 2

    Returns
    -------
    (n_items, n_items, 3) ndarray

    Raises
    ------
    ValueError
        A thing is set against itself, or an index or outcome is out of range.

    Examples
    --------
    >>> count_outcomes([0, 0, 1], [1, 1, 0], [0, 1, 0], 2)[0, 1].tolist()
    [1.0, 1.0, 0.0]
    """
    one, other, result = (np.asarray(column, dtype=np.intp) for column in (first, second, outcome))
    if one.size == 0:
        return np.zeros((n_items, n_items, 3))
    # As unsigned numbers those below 0 are huge.
    largest_item = max(int(one.view(np.uintp).max()), int(other.view(np.uintp).max()))
    if largest_item >= n_items or int(result.view(np.uintp).max()) > 2:
        raise ValueError("an index or outcome is out of range")
    flat = np.bincount((one * n_items + other) * 3 + result, minlength=3 * n_items * n_items)
    counts = flat.reshape(n_items, n_items, 3).astype(np.float64)
    if counts[np.arange(n_items), np.arange(n_items)].any():
        raise ValueError("a thing is set against itself")
    return counts


def fit_worth(counts: FloatArray, *, first_position: bool = False) -> WorthFit:
    r"""Maximum-likelihood worths from counted comparisons.

    With worths :math:`\lambda` and i presented before j (Bradley and Terry 1952; ties: Davidson 1970; position:
    Davidson and Beaver 1977): :math:`P(i) \propto e^{\lambda_i + \delta/2}`,
    :math:`P(j) \propto e^{\lambda_j - \delta/2}`, :math:`P(\mathrm{tie}) \propto \nu\, e^{(\lambda_i+\lambda_j)/2}`.

    Parameters
    ----------
    counts : (n_items, n_items, 3) ndarray, >= 0
        [i, j]: i presented first; won by i, tied, won by j. Fractions of a trial are allowed.
    first_position : bool
        Whether delta is fitted or held at 0.

    Returns
    -------
    WorthFit

    Raises
    ------
    ValueError
        The array has another shape, or a count is negative or not finite.

    Notes
    -----
    A thing that never lost, nor tied, has no finite worth, and things never compared, directly or through others, have
    no difference: see `finite`. Trials count as independent; an interval for people who differ is `by_group`'s.

    Examples
    --------
    >>> fit = fit_worth(count_outcomes([0] * 4, [1] * 4, [0, 0, 0, 2], 2))
    >>> round(float(fit.worth[1]), 6)  # ln(1/3)
    -1.098612
    """
    design = design_of(counts, first_position)
    found = maximum(design, counts)
    theta = found.theta
    n_items = counts.shape[0]
    worth = np.concatenate([[0.0], theta[: n_items - 1]])
    finite = np.ones((n_items, n_items), dtype=np.bool_)
    if not found.reached or float(np.abs(theta).max()) > FAR_LOGIT:
        from fairhearing.statistics.separation import finite_differences

        finite = finite_differences(design.rows, design.observed(counts), n_items)
    return WorthFit(
        worth=worth,
        log_tie=float(theta[n_items - 1]) if design.has_ties else -math.inf,
        first_position=float(theta[-1]) if first_position else None,
        information=found.information,
        log_likelihood=found.log_likelihood,
        finite=finite,
    )


def by_group(counts_of_groups: FloatArray, fit: WorthFit) -> FloatArray:
    r"""Covariance of worths that allows for groups (listeners) who differ: jackknife over groups, in one step each.

    :math:`\frac{G-1}{G} \sum_g d_g d_g^T` with :math:`d_g = -(I - I_g)^{-1} s_g`: what Newton's first step moves the
    worths by when group g is left out, from its score s and the information I - I_g of the others (the CR3 of
    Bell and McCaffrey 2002 for linear models). Wider than the plain sandwich :math:`I^{-1} (\sum s_g s_g^T) I^{-1}`,
    which is too narrow with few groups.

    Parameters
    ----------
    counts_of_groups : (n_groups, n_items, n_items, 3) ndarray
        As `fit_worth` takes them; their sum is what was fitted.
    fit : WorthFit

    Returns
    -------
    (n_items, n_items) ndarray, logit squared; row and column 0 are 0
        NaN with fewer than two groups, or where without one group the worths can't be had.

    Raises
    ------
    ValueError
        The groups do not add up to counts with as many terms as were fitted.

    Notes
    -----
    Goes with t of n_groups - 1 degrees of freedom.

    Examples
    --------
    >>> one, other = (count_outcomes([0] * 4, [1] * 4, outcome, 2) for outcome in ([0, 0, 0, 2], [0, 0, 2, 2]))
    >>> covariance = by_group(np.array([one, other]), fit_worth(one + other))
    >>> round(float(covariance[1, 1]), 4)
    0.2844
    """
    n_groups, n_items = counts_of_groups.shape[0], counts_of_groups.shape[1]
    position = fit.first_position is not None
    design = design_of(counts_of_groups.sum(axis=0), position)
    theta = np.concatenate([fit.worth[1:], [fit.log_tie] if design.has_ties else [], [fit.first_position] * position])
    theta = theta.astype(np.float64)
    if theta.size != design.rows.shape[2] or not np.isfinite(theta).all():
        raise ValueError("the groups do not add up to what was fitted")
    nothing = np.full((n_items, n_items), math.nan)
    if n_groups < 2:
        return nothing
    observed = design.observed(counts_of_groups)
    total = observed.sum(axis=2)
    chances = chances_at(design, theta)
    score = np.tensordot(observed - total[:, :, None] * chances, design.rows, 2)
    others = fit.information - np.tensordot(total, spreads_at(design, chances), 1)
    if (np.linalg.cond(others) > ILL_CONDITIONED).any():
        return nothing
    moves = -np.linalg.solve(others, score[:, :, None])[:, :, 0]
    covariance = np.zeros((n_items, n_items))
    own = moves[:, : n_items - 1]
    covariance[1:, 1:] = (n_groups - 1) / n_groups * (own.T @ own)
    return covariance


def model_covariance(fit: WorthFit) -> FloatArray:
    """Covariance of worths if all trials are independent: the inverse of the information.

    Parameters
    ----------
    fit : WorthFit

    Returns
    -------
    (n_items, n_items) ndarray, logit squared; row and column 0 are 0

    Notes
    -----
    Trials of one listener are not independent where tastes differ: this holds for one person only.

    Examples
    --------
    >>> fit = fit_worth(count_outcomes([0] * 4, [1] * 4, [0, 0, 0, 2], 2))
    >>> round(float(model_covariance(fit)[1, 1]), 6)  # 1/3 + 1/1
    1.333333
    """
    n_items = fit.worth.size
    covariance = np.zeros((n_items, n_items))
    if np.linalg.cond(fit.information) > ILL_CONDITIONED:
        return np.full((n_items, n_items), math.nan)
    covariance[1:, 1:] = np.linalg.inv(fit.information)[: n_items - 1, : n_items - 1]
    return covariance


def with_pseudo_wins(counts: FloatArray) -> FloatArray:
    """The counts with half a win either way added to every pair that was compared, a quarter in each order.

    Parameters
    ----------
    counts : (n_items, n_items, 3) ndarray

    Returns
    -------
    (n_items, n_items, 3) ndarray

    Notes
    -----
    A convention that keeps an undefeated thing finite; it pulls all worths together and is no estimate of its own.

    Examples
    --------
    >>> with_pseudo_wins(count_outcomes([0], [1], [0], 2))[1, 0].tolist()
    [0.25, 0.0, 0.25]
    """
    compared = counts.sum(axis=2)
    pairs = (compared + compared.T) > 0.0
    more = counts.copy()
    more[pairs, 0] += 0.25
    more[pairs, 2] += 0.25
    return more
