"""How many trials and listeners a question takes, and what so many can and cannot show."""

from __future__ import annotations

import math
from dataclasses import dataclass

from fairhearing.protocol.methods import form_of
from fairhearing.session import Look, Method, Question
from fairhearing.statistics._listener_counts import listener_counts, share_moments
from fairhearing.statistics.clustered_power import (
    LISTENERS_LOGIT_SD,
    fewest_listeners,
    listeners_needed,
    listeners_needed_for_rating,
    preference_power,
    rating_power,
)
from fairhearing.statistics.power import binomial_power, binomial_tail, smallest_proportion, trials_needed

MOST_TRIALS, MOST_EQUIVALENT = 2000, 2000
ONE_PERSON_TRIALS = 10
# How far listeners' own mean differences scatter about their mean, in steps of the scale: our choice, and stated
# wherever it is used.
RATING_SPREAD = {"comparison": 1.0, "impairment": 0.8, "quality": 15.0}
PREFERENCE_TRIALS, RATING_TRIALS = 16, 8  # of each listener, where nothing is said: common practice, no source


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What is asked of a session. `n_trials` (of each listener) and `n_listeners` None: as many as it takes.

    `spread`: how much listeners differ: standard deviation of their log odds of preferring, or of their mean rating
    differences in steps of the scale; None: the usual one.
    """

    question: Question
    method: Method
    scale: str | None
    effect: float
    alpha: float
    power: float
    margin: float | None = None
    n_listeners: int | None = None
    n_trials: int | None = None
    n_looks: int = 1
    spending: str = "obrien-fleming"
    spread: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class OnePerson:
    """The claim about one person alone: so many of so many trials, with its one-sided and two-sided p."""

    n_trials: int
    n_needed: int
    p_one_sided: float
    p_two_sided: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Sizes:
    """Trials and listeners, exact. Totals are over all listeners.

    `first`, `every`: the first total that reaches the power, and the one from which every larger total does;
    `critical_first`, `critical_every`: how many must be right then. `listeners_first`: the fewest listeners that reach
    the power with `n_trials` each, `fewest`: those with fewer than whom no result reaches alpha. `n_needed`: how many
    of `n_total` must be right (equivalent: the most that may be), `size`: how often guessing gets there.
    `smallest_effect`: what the session finds with the power asked for; None: nothing.
    """

    n_listeners: int
    n_trials: int
    n_total: int
    power: float
    power_error: float = 0.0
    power_method: str = "exact"
    chance: float | None = None
    first: int | None = None
    critical_first: int | None = None
    every: int | None = None
    critical_every: int | None = None
    n_needed: int | None = None
    size: float | None = None
    smallest_effect: float | None = None
    looks: tuple[Look, ...] = ()
    mean_n_trials: float | None = None
    listeners_first: int | None = None
    fewest: int | None = None
    spread: float | None = None
    one_person: OnePerson | None = None

    @property
    def can_reach_alpha(self) -> bool:
        """Whether any result of this session could reach alpha."""
        if self.fewest is not None:
            return self.n_listeners >= self.fewest
        return self.n_needed is not None or self.power > 0.0


def sizes_of(wanted: Wanted) -> Sizes:
    """The numbers for a question.

    Exact binomial for right answers; over listeners, as the test of preferences and ratings is, by their exact or
    simulated power.

    Raises
    ------
    ValueError
        A number is out of its range: see `statistics.power`, `statistics.clustered_power`, `statistics.sequential`.

    Examples
    --------
    >>> found = sizes_of(Wanted(question="heard", method="abx", scale=None, effect=0.7, alpha=0.05, power=0.8))
    >>> found.first, found.every, found.n_needed
    (37, 42, 27)
    """
    if wanted.question == "preferred":
        return _preferred(wanted)
    if wanted.question == "better":
        return _better(wanted)
    if wanted.question == "equivalent":
        identifies = form_of(wanted.method, wanted.scale).n_right > 0
        return _equivalent(wanted) if identifies else _equivalent_over_listeners(wanted)
    return _same_different(wanted) if wanted.method == "same-different" else _heard(wanted)


def one_person(alpha: float, n_trials: int = ONE_PERSON_TRIALS) -> OnePerson | None:
    """The fewest of so many trials with which one person's preference, or being better than chance, is shown.

    Two-sided, as nobody knows beforehand which of two a person prefers. None: not even all of them.

    >>> found = one_person(0.05)
    >>> found.n_needed, round(found.p_one_sided, 3), round(found.p_two_sided, 3)
    (9, 0.011, 0.021)
    """
    needed = binomial_power(n_trials, 0.5, 0.5, alpha, two_sided=True).critical
    if needed is None:
        return None
    tail = binomial_tail(needed, n_trials, 0.5)
    return OnePerson(n_trials=n_trials, n_needed=needed, p_one_sided=tail, p_two_sided=min(1.0, 2.0 * tail))


def _chance(wanted: Wanted) -> float:
    return 1.0 / form_of(wanted.method, wanted.scale).n_right


def _per_listener(total: int, n_listeners: int) -> int:
    return math.ceil(total / n_listeners)


def _heard(wanted: Wanted) -> Sizes:
    chance, n_listeners = _chance(wanted), wanted.n_listeners or 1
    needed = trials_needed(chance, wanted.effect, wanted.alpha, wanted.power, MOST_TRIALS)
    n_trials = wanted.n_trials or _per_listener(needed.every or MOST_TRIALS, n_listeners)
    looks: tuple[Look, ...] = ()
    mean_n = None
    if wanted.n_looks > 1:
        n_trials, looks, power, mean_n = _with_looks(wanted, chance, n_trials)
    n_total = n_trials * n_listeners
    test = binomial_power(n_total, chance, wanted.effect, wanted.alpha)
    smallest = smallest_proportion(n_total, chance, wanted.alpha, wanted.power)
    return Sizes(
        chance=chance,
        first=needed.first,
        critical_first=needed.critical_first,
        every=needed.every,
        critical_every=needed.critical_every,
        n_listeners=n_listeners,
        n_trials=n_trials,
        n_total=n_total,
        n_needed=looks[-1].n_right_needed if looks else test.critical,
        size=looks[-1].alpha_spent if looks else test.size,
        power=power if looks else test.power,
        smallest_effect=None if math.isnan(smallest) or looks else smallest,
        looks=looks,
        mean_n_trials=mean_n,
    )


def _with_looks(wanted: Wanted, chance: float, n_trials: int) -> tuple[int, tuple[Look, ...], float, float]:
    """Trials of each listener, the looks, their power and the mean number of trials; more trials until it suffices."""
    from fairhearing.statistics.sequential import Spending, sequential_plan, sequential_power

    spending: Spending = "pocock" if wanted.spending == "pocock" else "obrien-fleming"
    n_listeners = wanted.n_listeners or 1
    while True:
        each = [math.ceil(n_trials * (look + 1) / wanted.n_looks) for look in range(wanted.n_looks)]
        plan = sequential_plan([n * n_listeners for n in each], chance, wanted.alpha, spending)
        power = sequential_power(plan, wanted.effect)
        if power.power >= wanted.power or wanted.n_trials is not None or n_trials * n_listeners >= MOST_TRIALS:
            break
        n_trials += 1
    looks = tuple(
        Look(n_trials=n, n_right_needed=right, alpha_spent=alpha)
        for n, right, alpha in zip(plan.n_trials, plan.n_right_needed, plan.alpha_spent, strict=True)
    )
    return n_trials, looks, power.power, power.expected_n_trials


def _same_different(wanted: Wanted) -> Sizes:
    """By Fisher's exact test, for somebody who says same and different equally readily."""
    from fairhearing.statistics.same_different_power import same_different_power, same_different_trials_needed

    hits, false_alarms, n_listeners = wanted.effect, 1.0 - wanted.effect, wanted.n_listeners or 1
    needed = same_different_trials_needed(hits, false_alarms, wanted.alpha, wanted.power)
    n_trials = wanted.n_trials or _per_listener(needed.every.n_trials if needed.every else needed.most, n_listeners)
    n_total = n_trials * n_listeners
    reached = same_different_power(
        max(1, n_total // 2), max(1, n_total - n_total // 2), hits, false_alarms, wanted.alpha
    )
    return Sizes(
        chance=0.5,
        first=needed.first.n_trials if needed.first else None,
        every=needed.every.n_trials if needed.every else None,
        n_listeners=n_listeners,
        n_trials=n_trials,
        n_total=n_total,
        size=reached.size,
        power=reached.power,
        power_method="exact, for equal halves",
    )


def _equivalent(wanted: Wanted) -> Sizes:
    from fairhearing.statistics.equivalence_power import equivalence_power, trials_needed_for_equivalence

    n_listeners, margin = wanted.n_listeners or 1, wanted.margin
    if n_listeners > 1:
        return _equivalent_of_listeners(wanted, n_listeners, margin or 0.0)
    needed = trials_needed_for_equivalence(wanted.effect, None, margin, wanted.alpha, wanted.power, MOST_TRIALS)
    n_trials = wanted.n_trials or (needed.every.n_trials if needed.every else MOST_TRIALS)
    reached = equivalence_power(n_trials, wanted.effect, None, margin, wanted.alpha)
    return Sizes(
        chance=_chance(wanted),
        first=needed.first.n_trials if needed.first else None,
        critical_first=needed.first.most if needed.first else None,
        every=needed.every.n_trials if needed.every else None,
        critical_every=needed.every.most if needed.every else None,
        n_listeners=n_listeners,
        n_trials=n_trials,
        n_total=n_trials,
        n_needed=reached.most,
        size=reached.size,
        power=reached.power,
    )


def _equivalent_of_listeners(wanted: Wanted, n_listeners: int, margin: float) -> Sizes:
    """By the exact test over trials and t over listeners, both of which must show it; listeners alike."""
    from fairhearing.statistics.equivalence_of_listeners import (
        equivalence_power_of_listeners,
        trials_needed_of_listeners,
    )
    from fairhearing.statistics.equivalence_power import equivalence_power

    def most_right(n_trials: int | None) -> int | None:
        if n_trials is None:
            return None
        return equivalence_power(n_trials * n_listeners, wanted.effect, None, margin, wanted.alpha).most

    most = MOST_TRIALS // n_listeners
    needed = trials_needed_of_listeners(n_listeners, wanted.effect, margin, wanted.alpha, wanted.power, most)
    n_trials = wanted.n_trials or needed.every or most
    first, every = (None if each is None else each * n_listeners for each in (needed.first, needed.every))
    power, size = (
        equivalence_power_of_listeners(n_listeners, n_trials, share, margin, wanted.alpha)
        for share in (wanted.effect, margin)
    )
    return Sizes(
        chance=_chance(wanted),
        first=first,
        critical_first=most_right(needed.first),
        every=every,
        critical_every=most_right(needed.every),
        n_listeners=n_listeners,
        n_trials=n_trials,
        n_total=n_trials * n_listeners,
        n_needed=most_right(n_trials),
        size=size,
        power=power,
        power_method="exact over trials and t over listeners",
    )


def _equivalent_over_listeners(wanted: Wanted) -> Sizes:
    """By two one-sided t tests over listeners, whose means scatter as their differences and their trials make them."""
    from fairhearing.statistics.equivalence_power import (
        equivalence_power_over_listeners,
        listeners_needed_for_equivalence,
    )

    margin = wanted.margin or 0.0
    if wanted.method == "grading":
        spread = RATING_SPREAD[wanted.scale or "comparison"] if wanted.spread is None else wanted.spread
        n_trials, scatter, lower = wanted.n_trials or RATING_TRIALS, spread, -margin
    else:
        spread = LISTENERS_LOGIT_SD if wanted.spread is None else wanted.spread
        n_trials, lower = wanted.n_trials or PREFERENCE_TRIALS, 1.0 - margin
        scatter = share_moments(listener_counts(n_trials, wanted.effect, spread)).spread

    alpha, effect = wanted.alpha, wanted.effect
    needed = listeners_needed_for_equivalence(effect, scatter, lower, margin, alpha, wanted.power, MOST_EQUIVALENT)
    n_listeners = wanted.n_listeners or needed or MOST_EQUIVALENT
    power = 0.0
    if n_listeners > 1:
        power = equivalence_power_over_listeners(n_listeners, effect, scatter, lower, margin, alpha)
    return Sizes(
        n_listeners=n_listeners,
        n_trials=n_trials,
        n_total=n_trials * n_listeners,
        power=power,
        power_method="two one-sided t tests over listeners",
        listeners_first=needed,
        fewest=2,
        spread=spread,
    )


def _preferred(wanted: Wanted) -> Sizes:
    spread = LISTENERS_LOGIT_SD if wanted.spread is None else wanted.spread
    n_trials = wanted.n_trials or PREFERENCE_TRIALS
    needed = listeners_needed(n_trials, wanted.effect, spread, wanted.alpha, wanted.power)
    n_listeners = wanted.n_listeners or needed.n_listeners or needed.most
    reached = preference_power(n_listeners, n_trials, wanted.effect, spread, wanted.alpha)
    return _over_listeners(
        wanted,
        n_trials,
        n_listeners,
        needed.n_listeners,
        spread,
        (reached.power, reached.standard_error, reached.method),
    )


def _better(wanted: Wanted) -> Sizes:
    spread = RATING_SPREAD[wanted.scale or "comparison"] if wanted.spread is None else wanted.spread
    needed = listeners_needed_for_rating(wanted.effect, spread, wanted.alpha, wanted.power)
    n_listeners = wanted.n_listeners or needed.n_listeners or needed.most
    reached = (0.0, 0.0, "exact")
    if n_listeners >= fewest_listeners(wanted.alpha):
        found = rating_power(n_listeners, wanted.effect, spread, wanted.alpha)
        reached = (found.power, found.standard_error, "t over listeners")
    n_trials = wanted.n_trials or RATING_TRIALS
    return _over_listeners(wanted, n_trials, n_listeners, needed.n_listeners, spread, reached)


def _over_listeners(
    wanted: Wanted,
    n_trials: int,
    n_listeners: int,
    needed: int | None,
    spread: float,
    reached: tuple[float, float, str],
) -> Sizes:
    return Sizes(
        listeners_first=needed,
        fewest=fewest_listeners(wanted.alpha),
        n_listeners=n_listeners,
        n_trials=n_trials,
        n_total=n_trials * n_listeners,
        power=reached[0],
        power_error=reached[1],
        power_method=reached[2],
        spread=spread,
        one_person=one_person(wanted.alpha),
    )
