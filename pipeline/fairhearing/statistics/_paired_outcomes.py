"""The likelihood of paired comparisons as one of outcomes in cells: what `bradley_terry` walks up."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations

import numpy as np
import numpy.typing as npt
from scipy.linalg.lapack import dposv

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.intp]

STEPS_AT_MOST = 40
CONVERGED = 1e-6  # logit: Newton squares its error, so after a last step that small none is left to see
# Worths that move by half a logit and the tie term besides change no chance by more than a factor of e^1.5, and a
# Newton step up to there raises a log-likelihood of this kind, so it need not be looked at.
SAFE_STEP = 0.5
FLAT = 1e-6  # of pivots: a likelihood that does not fall in some direction
LONGEST_STEP = 5.0  # logit: so that nothing overflows on the way


@dataclass(frozen=True, slots=True, kw_only=True)
class Design:
    """What each outcome of each pair adds to each parameter: `rows` (n_cells, n_outcomes, n_parameters).

    Without a first-position term the two orders of a pair are one cell. `flat` is `rows` with an outcome a row;
    `one`, `other` and `differences`: every two outcomes of a cell, as rows of `flat` and what they differ by.
    """

    cells: tuple[IntArray, IntArray]
    rows: FloatArray
    flat: FloatArray
    one: IntArray
    other: IntArray
    differences: FloatArray
    has_ties: bool
    has_position: bool

    def observed(self, counts: FloatArray) -> FloatArray:
        """Counts of the cells that were compared, (…, n_cells, n_outcomes)."""
        first, second = self.cells
        here: FloatArray = counts[..., first, second, :]
        if not self.has_position:
            here = here + counts[..., second, first, ::-1]
        return here if self.has_ties else here[..., ::2]


def design_of(counts: FloatArray, first_position: bool) -> Design:
    """The design for counts, (n_items, n_items, 3); ValueError where they are none."""
    if counts.ndim != 3 or counts.shape[0] != counts.shape[1] or counts.shape[2] != 3 or counts.shape[0] < 2:
        raise ValueError(f"counts have shape {counts.shape}; it must be (n_items, n_items, 3)")
    if not (float(counts.min()) >= 0.0 and float(counts.max()) < math.inf):  # neither holds of NaN
        raise ValueError("a count is negative or not finite")
    ties, compared = counts[:, :, 1], counts.any(axis=2)
    return _design(counts.shape[0], compared.tobytes(), bool(ties.any()), first_position)


@lru_cache(maxsize=64)
def _design(n_items: int, compared: bytes, has_ties: bool, has_position: bool) -> Design:
    """Made once for the same cells: leaving out one listener after the other meets it again and again."""
    mask = np.frombuffer(compared, dtype=np.bool_).reshape(n_items, n_items)
    first, second = np.nonzero(mask if has_position else np.triu(mask | mask.T))
    rows = np.zeros((first.size, 3, n_items + has_ties + has_position))
    cell = np.arange(first.size)
    rows[cell, 0, first] = 1.0
    rows[cell, 2, second] = 1.0
    rows[cell, 1, first] = rows[cell, 1, second] = 0.5
    if has_ties:
        rows[:, 1, n_items] = 1.0
    if has_position:
        rows[:, 0, -1], rows[:, 2, -1] = 0.5, -0.5
    kept = np.ascontiguousarray((rows if has_ties else rows[:, ::2])[:, :, 1:])  # item 0 is the zero of the scale
    n_outcomes = kept.shape[1]
    flat = kept.reshape(-1, kept.shape[2])
    pairs = np.array(list(combinations(range(n_outcomes), 2)), dtype=np.intp)
    starts = n_outcomes * cell[:, None]
    one, other = (starts + pairs[:, 0]).reshape(-1), (starts + pairs[:, 1]).reshape(-1)
    differences = flat[one] - flat[other]
    for array in (first, second, kept, flat, one, other, differences):
        array.setflags(write=False)
    return Design(
        cells=(first, second),
        rows=kept,
        flat=flat,
        one=one,
        other=other,
        differences=differences,
        has_ties=has_ties,
        has_position=has_position,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Maximum:
    """Parameters, Fisher information and log-likelihood; `reached`: whether there is a maximum at all."""

    theta: FloatArray
    information: FloatArray
    log_likelihood: float
    reached: bool


def maximum(design: Design, counts: FloatArray) -> Maximum:
    """Newton from zero. The log-likelihood is concave; a long step that does not raise it is halved."""
    observed = design.observed(counts)
    total, told = observed.sum(axis=1), observed.reshape(-1)
    sufficient = told @ design.flat
    theta = np.zeros(design.flat.shape[1])
    expected = _expected(design, total, theta)
    for _ in range(STEPS_AT_MOST):
        information = _information(design, expected, total)
        factor, step, fault = dposv(information, sufficient - expected @ design.flat)
        largest = float(np.abs(step).max())
        if fault or not math.isfinite(largest):
            break
        if largest < CONVERGED:
            theta = theta + step
            value = _log_likelihood(design, told, total, theta)
            information = _information(design, _expected(design, total, theta), total)
            pivots = factor.diagonal()
            flat = float(pivots.min()) < FLAT * float(pivots.max())
            return Maximum(theta=theta, information=information, log_likelihood=value, reached=not flat)
        if largest > SAFE_STEP:
            step = _rising(design, told, total, theta, step * min(1.0, LONGEST_STEP / largest))
        theta = theta + step
        expected = _expected(design, total, theta)
    value = _log_likelihood(design, told, total, theta)
    return Maximum(theta=theta, information=information, log_likelihood=value, reached=False)


def _rising(design: Design, told: FloatArray, total: FloatArray, theta: FloatArray, step: FloatArray) -> FloatArray:
    """The step, halved until it raises the likelihood."""
    before = _log_likelihood(design, told, total, theta)
    for _ in range(30):
        if _log_likelihood(design, told, total, theta + step) >= before - 1e-12 * abs(before):
            break
        step = step / 2.0
    return step


def chances_at(design: Design, theta: FloatArray) -> FloatArray:
    """The chance of each outcome in each cell, (n_cells, n_outcomes)."""
    weights = np.exp(design.flat @ theta).reshape(design.rows.shape[:2])
    chances: FloatArray = weights / weights.sum(axis=1, keepdims=True)
    return chances


def spreads_at(design: Design, chances: FloatArray) -> FloatArray:
    """What a trial in each cell adds to the information, (n_cells, n_parameters, n_parameters)."""
    deviations = design.rows - np.matmul(chances[:, None, :], design.rows)
    spreads: FloatArray = np.matmul((chances[:, :, None] * deviations).transpose(0, 2, 1), deviations)
    return spreads


def _log_likelihood(design: Design, told: FloatArray, total: FloatArray, theta: FloatArray) -> float:
    utility = design.flat @ theta
    sums = np.exp(utility).reshape(design.rows.shape[:2]).sum(axis=1)
    return float(told @ utility) - float(total @ np.log(sums))


def _expected(design: Design, total: FloatArray, theta: FloatArray) -> FloatArray:
    """The expected count of each outcome, (n_cells * n_outcomes,)."""
    weights = np.exp(design.flat @ theta).reshape(design.rows.shape[:2])
    weights *= (total / weights.sum(axis=1))[:, None]
    return weights.reshape(-1)


def _information(design: Design, expected: FloatArray, total: FloatArray) -> FloatArray:
    """Total times covariance of the rows: over every two outcomes, by chances and difference."""
    n_pairs = design.one.size // total.size if total.size else 1
    whole = total if n_pairs == 1 else np.repeat(total, n_pairs)
    weight = expected[design.one] * expected[design.other] / whole
    found: FloatArray = (design.differences * weight[:, None]).T @ design.differences
    return found
