"""Screening of listeners after a graded test: the rules of ITU-R BS.1534-3 and BS.1116-3."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from scipy import special

# ITU-R BS.1534-3 (2015), 4.1.2: "for more than 15 % of the test items".
LARGEST_SHARE = Fraction(15, 100)
REFERENCE_GRADE = 90
# The same clause: the rule of the mid-range anchor spares an item on which more than 25 % of listeners do so.
COMMON_SHARE = Fraction(25, 100)
EXPERTISE_ALPHA = 0.05


def too_many(n_odd: int, n_items: int) -> bool:
    """Whether more than 15 % of the items are odd (ITU-R BS.1534-3, 4.1.2): of 20, four are too many, three are not.

    Parameters
    ----------
    n_odd, n_items : int, 0 <= n_odd <= n_items

    Returns
    -------
    bool

    Raises
    ------
    ValueError
        More items are odd than there are, or fewer than none.

    Examples
    --------
    >>> too_many(3, 20), too_many(4, 20)
    (False, True)
    """
    if not 0 <= n_odd <= n_items:
        raise ValueError(f"{n_odd} of {n_items} items are odd")
    return n_odd > LARGEST_SHARE * n_items


def spared(n_odd: int, n_listeners: int) -> bool:
    """Whether so many listeners put the mid-range anchor above 90 on an item that it counts against none of them.

    More than 25 % (ITU-R BS.1534-3, 4.1.2).

    Parameters
    ----------
    n_odd, n_listeners : int, 0 <= n_odd <= n_listeners

    Returns
    -------
    bool

    Raises
    ------
    ValueError
        More listeners did so than there are, or fewer than none.

    Examples
    --------
    >>> spared(2, 8), spared(3, 8)
    (False, True)
    """
    if not 0 <= n_odd <= n_listeners:
        raise ValueError(f"{n_odd} of {n_listeners} listeners")
    return n_odd > COMMON_SHARE * n_listeners


@dataclass(frozen=True, slots=True, kw_only=True)
class Expertise:
    """Whether a listener told objects from the hidden reference; `t` and `p_value` NaN where they can't be had.

    `expert`: None where fewer than two differences, which say nothing.
    """

    expert: bool | None
    t: float
    p_value: float
    n_items: int


def expertise(differences: Sequence[float]) -> Expertise:
    r"""Whether a listener graded the objects below the hidden reference, by a one-sided t-test over the items.

    :math:`t = \bar d \sqrt n / s` of the differences object minus hidden reference, expert if
    :math:`P(T_{n-1} \le t) \le 0.05` (post-screening of ITU-R BS.1116-3, 2015).

    Parameters
    ----------
    differences : (n_items,) sequence of float, grades

    Returns
    -------
    Expertise

    Raises
    ------
    ValueError
        A difference is not finite.

    Notes
    -----
    Who is kept has graded the objects down: a test of that very difference over those who are kept is no test.

    Examples
    --------
    >>> found = expertise([-1.0, -0.5, -1.5, -1.0])
    >>> found.expert, round(found.t, 3)
    (True, -4.899)
    """
    if not all(math.isfinite(d) for d in differences):
        raise ValueError("a difference is not finite")
    n_items = len(differences)
    if n_items < 2:
        return Expertise(expert=None, t=math.nan, p_value=math.nan, n_items=n_items)
    ordered = sorted(differences)
    mean = math.fsum(ordered) / n_items
    variance = math.fsum((d - mean) ** 2 for d in ordered) / (n_items - 1)
    if variance <= 1e-24:  # all alike but for rounding: the sign alone speaks
        return Expertise(expert=mean < -1e-12, t=math.nan, p_value=math.nan, n_items=n_items)
    t = mean * math.sqrt(n_items / variance)
    p_value = float(special.stdtr(n_items - 1, t))
    return Expertise(expert=p_value <= EXPERTISE_ALPHA, t=t, p_value=p_value, n_items=n_items)
