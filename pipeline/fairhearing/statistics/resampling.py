"""Exact sign-flip test of the mean of listeners' values against a centre."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

LARGEST_GRID = 500_000  # cells either side of 0: a few megabytes, and well under a second for a hundred listeners
LARGEST_ENUMERATION = 16  # listeners: 65 536 sums of any size

EXACT = "exact sign-flip"
ENUMERATED = "exact sign-flip, sums enumerated"
BOUNDED = "sign-flip on a coarse grid, upper bound of p"


@dataclass(frozen=True, slots=True, kw_only=True)
class SignFlipTest:
    """Two-sided p of a mean against a centre, the number of values, and how p was had."""

    p_value: float
    n_values: int
    method: str


def sign_flip_test(values: Sequence[Fraction | int | float], centre: Fraction | int | float = 0) -> SignFlipTest:
    r"""Two-sided p of the mean of `values` against `centre`, by exchanging the sign of each deviation.

    :math:`P(|\sum s_i d_i| \ge |\sum d_i|)` over all :math:`2^n` equally likely signs, :math:`d_i` = value - centre.
    Deviations are put on a common grid of integers, so that equal sums are equal. If the grid is too large for that,
    all sums are enumerated; with more than 16 values deviations are rounded to a grid of half a million cells and the
    sums that rounding may have moved are counted in, so that p is never too small.

    Parameters
    ----------
    values : sequence of Fraction, int or float, one a listener
        Shares such as 7/12 as Fraction: as float, 0.1 + 0.2 and 0.3 are two different sums.
    centre : Fraction, int or float

    Returns
    -------
    SignFlipTest
        `method` is EXACT, ENUMERATED or BOUNDED.

    Raises
    ------
    ValueError
        There are no values, or one is not finite.

    Notes
    -----
    n values can't give less than 2/2^n: five listeners never reach 0.05.

    Examples
    --------
    >>> sign_flip_test([Fraction(3, 4)] * 6, Fraction(1, 2)).p_value
    0.03125
    """
    if not values:
        raise ValueError("no values, no test")
    steps = _integers(values, centre)
    observed = abs(sum(steps))
    sizes = sorted(abs(step) for step in steps if step)
    if sum(sizes) <= LARGEST_GRID:
        return SignFlipTest(p_value=_grid_p(sizes, observed), n_values=len(values), method=EXACT)
    if len(sizes) <= LARGEST_ENUMERATION:
        return SignFlipTest(p_value=_enumerated_p(sizes, observed), n_values=len(values), method=ENUMERATED)
    cell = Fraction(sum(sizes), LARGEST_GRID - len(sizes))
    rounded = [round(size / cell) for size in sizes]
    # Each rounding moves a sum by at most half a cell.
    reach = math.ceil(observed / cell - Fraction(len(sizes), 2))
    return SignFlipTest(p_value=_grid_p(rounded, max(reach, 0)), n_values=len(values), method=BOUNDED)


def _integers(values: Sequence[Fraction | int | float], centre: Fraction | int | float) -> list[int]:
    """The deviations from the centre in units of their largest common measure."""
    try:
        ratios = [value.as_integer_ratio() for value in (*values, centre)]
    except (ValueError, OverflowError):
        odd = next(value for value in (*values, centre) if not math.isfinite(value))
        raise ValueError(f"{odd} is among the values; all must be finite") from None
    denominator = math.lcm(*{below for _, below in ratios})
    *scaled, middle = (above * (denominator // below) for above, below in ratios)
    deviations = [value - middle for value in scaled]
    common = math.gcd(*deviations)
    return [step // common for step in deviations] if common else deviations


def _grid_p(sizes: Sequence[int], observed: int) -> float:
    """P(|sum| >= observed), from how many of all choices of signs give each sum: whole numbers, however many values.

    The sum is twice the total of those with a plus, less the total of all. How many choices give each total are the
    coefficients of the product of (1 + x^size); they stand side by side in one integer, so that a factor is a shift
    and an addition.
    """
    if observed == 0:
        return 1.0
    width = len(sizes) + 1  # bits that hold any count, and any sum of counts
    counts = 1
    for size in sizes:
        counts += counts << (size * width)
    furthest = counts >> (-(-(sum(sizes) + observed) // 2) * width)
    # Digits of base B leave the same remainder by B - 1 as their sum, which is below B - 1 here.
    n_beyond = furthest % ((1 << width) - 1)
    return min(1.0, 2 * n_beyond / (1 << len(sizes)))


def _enumerated_p(sizes: Sequence[int], observed: int) -> float:
    """P(|sum| >= observed) from a count per sum; sums are Python's integers, of any size."""
    counts: dict[int, int] = {0: 1}
    for size in sizes:
        step: dict[int, int] = {}
        for total, count in counts.items():
            step[total + size] = step.get(total + size, 0) + count
            step[total - size] = step.get(total - size, 0) + count
        counts = step
    extreme = sum(count for total, count in counts.items() if abs(total) >= observed)
    return float(Fraction(extreme, 2 ** len(sizes)))
