"""Student's t, central and not, for whole degrees of freedom, without arrays: what planning needs of it."""

from __future__ import annotations

import math
from collections.abc import Callable

from fairhearing.statistics._search import smallest_value

INTERVALS = 800  # of Simpson's rule over the chi distribution
HALVINGS = 70


def normal_below(z: float) -> float:
    """Standard normal distribution function."""
    return 0.5 * math.erfc(-z / math.sqrt(2.0))


def normal_above_inverse(tail: float) -> float:
    """The z that is exceeded with probability `tail`, 0 < tail < 1."""
    return smallest_value(lambda z: normal_below(-z) <= tail, -40.0, 40.0, HALVINGS)


def t_above(t: float, freedom: int) -> float:
    """P(T > t), by the finite sums for whole degrees of freedom (Abramowitz and Stegun 1964, 26.7.3 and 26.7.4)."""
    angle = math.atan(t / math.sqrt(freedom))
    cosine_squared = freedom / (freedom + t * t)
    odd = freedom % 2
    term = math.cos(angle) if odd else 1.0
    total = 0.0
    for k in range(1 + odd, freedom, 2):
        total += term
        term *= cosine_squared * k / (k + 1)
    inside = math.sin(angle) * total
    if odd:
        inside = 2.0 / math.pi * (angle + inside)
    return 0.5 - 0.5 * inside


def t_critical(tail: float, freedom: int) -> float:
    """The t that is exceeded with probability `tail`, 0 < tail < 0.5."""
    low, high = 0.0, 1.0
    while t_above(high, freedom) > tail:
        low, high = high, 2.0 * high
    return smallest_value(lambda t: t_above(t, freedom) <= tail, low, high, HALVINGS)


def t_power(shift: float, freedom: int, tail: float, *, two_sided: bool) -> float:
    r"""P that noncentral t is beyond the critical value: :math:`\int \Phi(\delta - t s) f(s)\,ds`, s = chi/sqrt(df)."""
    critical = t_critical(tail, freedom)

    def beyond(scale: float) -> float:
        upper = normal_below(shift - critical * scale)
        return upper + normal_below(-shift - critical * scale) if two_sided else upper

    return over_chi(beyond, freedom)


def over_chi(value: Callable[[float], float], freedom: int) -> float:
    """Mean of `value` at s = chi/sqrt(freedom), by Simpson's rule over all of s that counts."""
    spread = 1.0 / math.sqrt(2.0 * freedom)
    low, high = max(0.0, 1.0 - 9.0 * spread), 1.0 + 11.0 * spread
    step = (high - low) / INTERVALS
    log_scale = math.log(2.0) + 0.5 * freedom * math.log(0.5 * freedom) - math.lgamma(0.5 * freedom)
    total = 0.0
    for k in range(INTERVALS + 1):
        s = low + k * step
        if s > 0.0:
            density = math.exp(log_scale + (freedom - 1) * math.log(s) - 0.5 * freedom * s * s)
        else:
            density = math.exp(log_scale) if freedom == 1 else 0.0
        total += (1 if k in (0, INTERVALS) else 4 if k % 2 else 2) * density * value(s)
    return total * step / 3.0
