"""How many listeners a claim about people takes, where listeners differ: preferences and ratings."""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

from fairhearing.statistics._listener_counts import Moments, listener_counts, share_moments
from fairhearing.statistics._search import smallest_number
from fairhearing.statistics._student import t_power
from fairhearing.statistics.power import binomial_power
from fairhearing.statistics.resampling import sign_flip_test

LISTENERS_LOGIT_SD = 0.8  # of listeners' own log odds about their mean: our choice, stated wherever it is used
N_SESSIONS = 2000
SEED = 20261125
MOST_LISTENERS = 200
EXACT, SIMULATED, NEAR_T = "exact", "simulated", "noncentral t, half a count short"
LARGEST_SIMULATED = 40  # listeners: above them a session takes its time, and noncentral t is close enough
ERROR_OF_T = 0.02  # the most by which it was off in simulations of 40 and 60 listeners


@dataclass(frozen=True, slots=True, kw_only=True)
class ListenersPower:
    """Probability of a finding over so many listeners, with the error of its own reckoning (0: exact).

    The error of SIMULATED is a standard error, that of NEAR_T the most that simulations showed.
    """

    n_listeners: int
    power: float
    standard_error: float
    method: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ListenersNeeded:
    """The fewest listeners that reach a power; None: not even `most` do, and the power is that of `most`."""

    n_listeners: int | None
    power: float
    standard_error: float
    method: str
    most: int


def fewest_listeners(alpha: float) -> int:
    r"""Fewest listeners with whom a two-sided sign-flip test can give `alpha`.

    The smallest n with :math:`2/2^n \le \alpha`.

    Parameters
    ----------
    alpha : float, 0 < alpha < 1

    Returns
    -------
    int

    Raises
    ------
    ValueError
        alpha lies outside 0 to 1.

    Notes
    -----
    Even then all of them must lean the same way: five that do give 0.0625, six 0.03125.

    Examples
    --------
    >>> fewest_listeners(0.05)
    6
    """
    _require_share("alpha", alpha)
    n_listeners = 1
    while 2.0 ** (1 - n_listeners) > alpha:
        n_listeners += 1
    return n_listeners


def preference_power(
    n_listeners: int,
    n_trials: int,
    share: float,
    between_listeners_logit_sd: float = LISTENERS_LOGIT_SD,
    alpha: float = 0.05,
    n_sessions: int = N_SESSIONS,
    seed: int = SEED,
) -> ListenersPower:
    r"""Probability that the exact sign-flip test over listeners finds a preference.

    Each listener's own share is drawn from :math:`\operatorname{logit} s_i \sim N(\mu, \sigma^2)` with
    :math:`\operatorname{mean}(s_i)` = `share`, the number of trials of `n_trials` from a binomial of it; so many
    sessions are made from a fixed seed and each is put to `sign_flip_test`. Exact with one trial each; with more than
    40 listeners by noncentral t.

    Parameters
    ----------
    n_listeners, n_trials : int, >= 1
        Trials of one listener.
    share : float, 0 < share < 1
        Mean over people of the share of trials in which somebody prefers the one condition; 1/2: no preference.
    between_listeners_logit_sd : float, >= 0
    alpha : float, 0 < alpha < 1
    n_sessions, seed : int, >= 1

    Returns
    -------
    ListenersPower

    Raises
    ------
    ValueError
        A number is below 1, a share or alpha outside 0 to 1, or the spread negative.

    Notes
    -----
    How much people differ is hardly ever known beforehand: try half and twice of it. At a share of 1/2 this is the
    size of the test, not its power.

    Examples
    --------
    >>> preference_power(5, 16, 0.9).power
    0.0
    """
    _require_numbers(n_listeners=n_listeners, n_trials=n_trials, n_sessions=n_sessions)
    _require_share("alpha", alpha)
    chances = listener_counts(n_trials, share, between_listeners_logit_sd)
    if n_listeners < fewest_listeners(alpha):
        return ListenersPower(n_listeners=n_listeners, power=0.0, standard_error=0.0, method=EXACT)
    if n_trials == 1:  # then the sign-flip test is the two-sided binomial one
        power = binomial_power(n_listeners, 0.5, share, alpha, two_sided=True).power
        return ListenersPower(n_listeners=n_listeners, power=power, standard_error=0.0, method=EXACT)
    if n_listeners > LARGEST_SIMULATED:
        power = _near_t(n_listeners, n_trials, share_moments(chances), alpha)
        return ListenersPower(n_listeners=n_listeners, power=power, standard_error=ERROR_OF_T, method=NEAR_T)
    power = _simulated_power(n_listeners, n_trials, chances, alpha, n_sessions, seed)
    standard_error = math.sqrt(max(power * (1.0 - power), 1.0 / n_sessions) / n_sessions)
    return ListenersPower(n_listeners=n_listeners, power=power, standard_error=standard_error, method=SIMULATED)


def listeners_needed(
    n_trials: int,
    share: float,
    between_listeners_logit_sd: float = LISTENERS_LOGIT_SD,
    alpha: float = 0.05,
    power: float = 0.8,
    most: int = MOST_LISTENERS,
    n_sessions: int = N_SESSIONS,
    seed: int = SEED,
) -> ListenersNeeded:
    """The fewest listeners with whom the sign-flip test finds a preference with this power, by `preference_power`.

    Parameters
    ----------
    n_trials : int, >= 1
        Trials of one listener.
    share : float, 0 < share < 1, not 1/2
    between_listeners_logit_sd : float, >= 0
    alpha, power : float, 0 to 1
    most : int, >= 1
    n_sessions, seed : int, >= 1

    Returns
    -------
    ListenersNeeded

    Raises
    ------
    ValueError
        As for `preference_power`, or the share is 1/2.

    Notes
    -----
    Uncertain by the `standard_error` of the power: with 2000 sessions 1 %, a listener more or less.

    Examples
    --------
    >>> listeners_needed(16, 0.75, n_sessions=500).n_listeners
    8
    """
    _require_share("power", power)
    _require_numbers(most=most)
    if share == 0.5:
        raise ValueError("the share is 1/2; no number of listeners shows a preference that is not there")
    moments = share_moments(listener_counts(n_trials, share, between_listeners_logit_sd))
    # The search begins where noncentral t puts it.
    roughly = smallest_number(lambda n: _near_t(n, n_trials, moments, alpha) >= power, 2, most)
    here = _search(
        lambda n: preference_power(n, n_trials, share, between_listeners_logit_sd, alpha, n_sessions, seed),
        min(max(fewest_listeners(alpha), roughly), most),
        power,
        most,
    )
    return ListenersNeeded(
        n_listeners=here.n_listeners if here.power >= power else None,
        power=here.power,
        standard_error=here.standard_error,
        method=here.method,
        most=most,
    )


def rating_power(
    n_listeners: int, difference: float, sd_of_listeners_differences: float, alpha: float = 0.05
) -> ListenersPower:
    r"""Probability that a two-sided t test over listeners finds a difference of ratings.

    Noncentral t with n - 1 degrees of freedom and :math:`\delta = \sqrt n\, \Delta / s`.

    Parameters
    ----------
    n_listeners : int, >= 2
    difference : float, steps of the scale
        Mean over people.
    sd_of_listeners_differences : float, > 0, steps of the scale
        Of listeners' own mean differences, their own scatter included.
    alpha : float, 0 < alpha < 1

    Returns
    -------
    ListenersPower
        `standard_error` 0.

    Raises
    ------
    ValueError
        Fewer than two listeners, a spread that is not positive, a difference that is not finite, or alpha outside 0
        to 1.

    Notes
    -----
    The sign-flip test that decides needs `fewest_listeners` and shows a little less than t: with twelve listeners some
    3 % less.

    Examples
    --------
    >>> round(rating_power(34, 0.5, 1.0).power, 4)
    0.8078
    """
    _require_share("alpha", alpha)
    if n_listeners < 2:
        raise ValueError(f"n_listeners is {n_listeners}; it must be 2 or more")
    shift = _effect(difference, sd_of_listeners_differences) * math.sqrt(n_listeners)
    power = t_power(shift, n_listeners - 1, alpha / 2.0, two_sided=True)
    return ListenersPower(n_listeners=n_listeners, power=power, standard_error=0.0, method=EXACT)


def listeners_needed_for_rating(
    difference: float,
    sd_of_listeners_differences: float,
    alpha: float = 0.05,
    power: float = 0.8,
    most: int = 10 * MOST_LISTENERS,
) -> ListenersNeeded:
    """The fewest listeners with whom a two-sided t test finds a difference of ratings with this power.

    No fewer than `fewest_listeners`, as the sign-flip test decides.

    Parameters
    ----------
    difference : float, steps of the scale, not 0
    sd_of_listeners_differences : float, > 0, steps of the scale
    alpha, power : float, 0 to 1
    most : int, >= 2

    Returns
    -------
    ListenersNeeded

    Raises
    ------
    ValueError
        As for `rating_power`, or the difference is 0.

    Examples
    --------
    >>> listeners_needed_for_rating(0.5, 1.0).n_listeners
    34
    """
    _require_share("power", power)
    if most < 2:
        raise ValueError(f"most is {most}; it must be 2 or more")
    if _effect(difference, sd_of_listeners_differences) == 0.0:
        raise ValueError("the difference is 0; no number of listeners shows one that is not there")

    def reached(n_listeners: int) -> float:
        return rating_power(n_listeners, difference, sd_of_listeners_differences, alpha).power

    n_listeners = max(fewest_listeners(alpha), smallest_number(lambda n: reached(n) >= power, 2, most))
    enough = n_listeners <= most
    return ListenersNeeded(
        n_listeners=n_listeners if enough else None,
        power=reached(n_listeners if enough else most),
        standard_error=0.0,
        method=EXACT,
        most=most,
    )


def _simulated_power(
    n_listeners: int, n_trials: int, chances: list[float], alpha: float, n_sessions: int, seed: int
) -> float:
    """Share of sessions made from these chances of each count in which the test gives alpha or less."""
    deviations = [2 * count - n_trials for count in range(n_trials + 1)]
    # Listener by listener, so that one more listener leaves the answers of the others alone.
    draws = random.Random(seed).choices(deviations, chances, k=n_listeners * n_sessions)
    return sum(_is_found(draws[k::n_sessions], alpha) for k in range(n_sessions)) / n_sessions


def _search(reckoned: Callable[[int], ListenersPower], start: int, power: float, most: int) -> ListenersPower:
    """From the start down while fewer listeners do, or up until so many do; that of `most` if none does."""
    here = reckoned(start)
    while here.power >= power and here.n_listeners > 1:
        less = reckoned(here.n_listeners - 1)
        if less.power < power:
            break
        here = less
    while here.power < power and here.n_listeners < most:
        here = reckoned(here.n_listeners + 1)
    return here


def _is_found(deviations: list[int], alpha: float) -> bool:
    """Whether the sign-flip test gives alpha or less; without it where Hoeffding's bound (1963) already says so."""
    total, squares = sum(deviations), sum(deviation * deviation for deviation in deviations)
    if total and 2.0 * math.exp(-0.5 * total * total / squares) <= alpha:
        return True
    return _p_value(tuple(sorted(deviations))) <= alpha


@lru_cache(maxsize=1 << 14)
def _p_value(deviations: tuple[int, ...]) -> float:
    return sign_flip_test(deviations).p_value


def _near_t(n_listeners: int, n_trials: int, moments: Moments, alpha: float) -> float:
    """Power by noncentral t, with the mean drawn in by half a step of the sum of counts.

    Sums of an even number of trials move in steps of two counts as signs change, of an odd one in steps of one.
    """
    half_step = (1.0 if n_trials % 2 == 0 else 0.5) / (n_listeners * n_trials)
    effect = max(0.0, abs(moments.mean - 0.5) - half_step)
    return t_power(effect * math.sqrt(n_listeners) / moments.spread, n_listeners - 1, alpha / 2.0, two_sided=True)


def _effect(difference: float, spread: float) -> float:
    if not (math.isfinite(difference) and 0.0 < spread < math.inf):
        raise ValueError(f"the difference is {difference} and its spread {spread}; finite, and the spread above 0")
    return abs(difference) / spread


def _require_share(name: str, value: float) -> None:
    if not 0.0 < value < 1.0:
        raise ValueError(f"{name} is {value}; it must lie between 0 and 1")


def _require_numbers(**numbers: int) -> None:
    for name, number in numbers.items():
        if number < 1:
            raise ValueError(f"{name} is {number}; it must be 1 or more")
