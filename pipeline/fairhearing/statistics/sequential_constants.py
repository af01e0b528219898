"""The classical constants of equally spaced looks at a normal mean, by numerical integration."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache, partial
from itertools import pairwise
from typing import TYPE_CHECKING

from fairhearing.statistics._search import smallest_value
from fairhearing.statistics.sequential import Spending, spent

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]

NODES = 96  # of Gauss and Legendre at each look
HALVINGS = 50
LARGEST_BOUNDARY = 12.0  # standard errors: beyond it no probability is left


def pocock_constant(n_looks: int, alpha: float) -> float:
    r"""Two-sided boundary that is the same at each of so many equally spaced looks.

    :math:`P(\max_k |Z_k| \ge C) = \alpha`, :math:`\operatorname{corr}(Z_j, Z_k) = \sqrt{j/k}` (Pocock 1977), by
    recursive integration (Armitage, McPherson and Rowe 1969).

    Parameters
    ----------
    n_looks : int, >= 1
    alpha : float, 0 < alpha < 1
        Two-sided.

    Returns
    -------
    float, standard errors

    Raises
    ------
    ValueError
        There are no looks, or alpha lies outside 0 to 1.

    Examples
    --------
    >>> round(pocock_constant(5, 0.05), 3)
    2.413
    """
    return _constant([1.0] * _checked(n_looks), alpha)


def obrien_fleming_constant(n_looks: int, alpha: float) -> float:
    r"""Two-sided boundary at the last of so many equally spaced looks, those before being :math:`C \sqrt{K/k}`.

    :math:`P(\max_k |Z_k| \sqrt{k/K} \ge C) = \alpha` (O'Brien and Fleming 1979).

    Parameters
    ----------
    n_looks : int, >= 1
    alpha : float, 0 < alpha < 1
        Two-sided.

    Returns
    -------
    float, standard errors, on the scale of the last look

    Raises
    ------
    ValueError
        There are no looks, or alpha lies outside 0 to 1.

    Examples
    --------
    >>> round(obrien_fleming_constant(5, 0.05), 3)
    2.04
    """
    looks = _checked(n_looks)
    return _constant([math.sqrt(looks / look) for look in range(1, looks + 1)], alpha)


@dataclass(frozen=True, slots=True, kw_only=True)
class NormalBoundaries:
    """Two-sided boundaries at each look, in standard errors."""

    z: tuple[float, ...]


def spending_boundaries(fractions: Sequence[float], alpha: float, spending: Spending) -> NormalBoundaries:
    r"""Two-sided boundaries of a normal mean that spend half of `alpha` on each side as `sequential.spent` says.

    Parameters
    ----------
    fractions : sequence of float, rising, the last 1
        Of all trials, at each look.
    alpha : float, 0 < alpha < 1
        Two-sided.
    spending : Spending

    Returns
    -------
    NormalBoundaries

    Raises
    ------
    ValueError
        The fractions do not rise from above 0 to 1, alpha lies outside 0 to 1, or the function is not known.

    Examples
    --------
    >>> [round(z, 3) for z in spending_boundaries([0.5, 1.0], 0.05, "obrien-fleming").z]
    [2.963, 1.969]
    """
    if not fractions or fractions[0] <= 0.0 or fractions[-1] != 1.0 or any(b <= a for a, b in pairwise(fractions)):
        raise ValueError(f"the fractions are {list(fractions)}; they must rise from above 0 to 1")
    found: list[float] = []
    for fraction in fractions:
        target = 2.0 * spent(fraction, alpha / 2.0, spending)
        found.append(_smallest_boundary(partial(_crossing_with, fractions, tuple(found)), target))
    return NormalBoundaries(z=tuple(found))


def _constant(shape: Sequence[float], alpha: float) -> float:
    if not 0.0 < alpha < 1.0:
        raise ValueError(f"alpha is {alpha}; it must lie between 0 and 1")
    fractions = [(look + 1) / len(shape) for look in range(len(shape))]
    return _smallest_boundary(lambda constant: _crossing(fractions, [constant * factor for factor in shape]), alpha)


def _smallest_boundary(crossing: Callable[[float], float], target: float) -> float:
    return smallest_value(lambda boundary: crossing(boundary) <= target, 0.0, LARGEST_BOUNDARY, HALVINGS)


def _crossing_with(fractions: Sequence[float], before: tuple[float, ...], boundary: float) -> float:
    return _crossing(fractions, [*before, boundary])


def _crossing(fractions: Sequence[float], boundaries: Sequence[float]) -> float:
    """P that a standard Brownian motion has left +-z sqrt(t) at one of the looks."""
    import numpy as np

    node, weight = _grid()
    points, inside, at = np.zeros(1), np.ones(1), 0.0
    for fraction, boundary in zip(fractions, boundaries, strict=False):
        reach, spread = boundary * math.sqrt(fraction), math.sqrt(fraction - at)
        steps = (node[:, None] * reach - points[None, :]) / spread
        density = np.exp(-0.5 * steps * steps) @ inside / (spread * math.sqrt(2.0 * math.pi))
        points, inside, at = node * reach, density * weight * reach, fraction
    return 1.0 - float(np.sum(inside))


@cache
def _grid() -> tuple[FloatArray, FloatArray]:
    import numpy as np

    node, weight = np.polynomial.legendre.leggauss(NODES)
    node.setflags(write=False)
    weight.setflags(write=False)
    return node, weight


def _checked(n_looks: int) -> int:
    if n_looks < 1:
        raise ValueError(f"n_looks is {n_looks}; it must be 1 or more")
    return n_looks
