"""Listening sessions made up with known truth, each put to what decides in the program: claimed or not, held or not."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache
from pathlib import Path

import numpy as np
import numpy.typing as npt

from fairhearing.api import Condition, Criteria, Inputs, Room, Seat, Session
from fairhearing.statistics._listener_counts import listener_counts
from fairhearing.statistics.beta_binomial import fit_beta_binomial
from fairhearing.statistics.equivalence import equivalent_over_listeners, equivalent_proportion
from fairhearing.statistics.resampling import sign_flip_test
from fairhearing.statistics.sequential import AdjustedResult, SequentialPlan, adjusted_result, sequential_plan
from fairhearing_builtins.analysers import grading, grading_findings, preference, worth
from fairhearing_builtins.analysers.choice_rows import Choice
from fairhearing_builtins.analysers.choice_tests import CHOICE_METHODS, right_answers_test
from fairhearing_builtins.analysers.choice_trials import Trial
from fairhearing_builtins.analysers.grading_screening import screened
from fairhearing_builtins.analysers.grading_trials import Rating, Ratings
from fairhearing_builtins.analysers.listening import Pair, Tally, interval_over_listeners
from fairhearing_builtins.analysers.worth_trials import Comparisons

FloatArray = npt.NDArray[np.float64]
Draw = np.random.Generator

ALPHA, CONFIDENCE = 0.05, 0.95
N_TRIALS = 12  # of one listener
HEARD = 0.75  # mean share of right answers where something is heard
MARGIN, LOWER_MARGIN = 0.65, 0.35
RATING_MARGIN = 0.5  # steps of the scale `comparison`
NOISE = {"comparison": 0.7, "quality": 3.0, "impairment": 0.4}  # of one grade
TASTE = {"comparison": 0.8, "quality": 8.0, "impairment": 0.4}  # of people's true differences, no one better on average
MIDDLE = {"quality": 95.0, "impairment": 4.2}
LIMITS = {"comparison": (-3.0, 3.0), "quality": (0.0, 100.0), "impairment": (1.0, 5.0)}
PROGRAMMES = 4
PAIR = Pair(condition="in", reference="out")
CONDITIONS = ["out", "in", "third", "fourth"]
N_LOOKS = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """Whether a session claims something, and whether its interval holds the truth (None: it has none)."""

    claimed: bool
    held: bool | None


def held(low: float | None, high: float | None, truth: float) -> bool | None:
    """Whether the interval holds the truth; None without one."""
    if low is None or high is None or math.isnan(low) or math.isnan(high):
        return None
    return low <= truth <= high


@cache
def own_counts(n_trials: int, share: float, sd: float) -> FloatArray:
    """The chance of each count of one listener."""
    chances = np.array(listener_counts(n_trials, share, sd))
    return chances / chances.sum()


def counts_of(draw: Draw, n_listeners: int, share: float, sd: float) -> list[int]:
    """Each listener's number of N_TRIALS."""
    return [int(k) for k in draw.choice(N_TRIALS + 1, p=own_counts(N_TRIALS, share, sd), size=n_listeners)]


# --- forced choice ----------------------------------------------------------------------------------------------------


def guesses(draw: Draw, n_listeners: int, method: str, leaning_sd: float) -> list[Outcome]:
    """Nobody hears anything; what they answer leans by `leaning_sd` logit between two answers."""
    n_kinds = CHOICE_METHODS[method].n_kinds
    played = draw.integers(0, n_kinds, (n_listeners, N_TRIALS))
    weights = np.exp(draw.normal(0.0, leaning_sd / math.sqrt(2.0), (n_listeners, 1, n_kinds)))
    bounds = np.cumsum(weights, axis=2) / weights.sum(axis=2, keepdims=True)
    answered = (draw.random((n_listeners, N_TRIALS, 1)) > bounds[:, :, :-1]).sum(axis=2)
    return _choices(method, played, answered, 1.0 / n_kinds)


def heard(draw: Draw, n_listeners: int, method: str, sd: float) -> list[Outcome]:
    """Listeners are right in HEARD of trials on average, some more than others."""
    n_kinds = CHOICE_METHODS[method].n_kinds
    played = draw.integers(0, n_kinds, (n_listeners, N_TRIALS))
    right = np.zeros((n_listeners, N_TRIALS), dtype=bool)
    for row, count in zip(right, counts_of(draw, n_listeners, HEARD, sd), strict=True):
        row[draw.permutation(N_TRIALS)[:count]] = True
    other = (played + draw.integers(1, n_kinds, played.shape)) % n_kinds
    return _choices(method, played, np.where(right, played, other), HEARD)


def modelled(draw: Draw, n_listeners: int, share: float, sd: float) -> list[Outcome]:
    """Right answers by the beta-binomial model, which claims nothing; abx."""
    counts = sorted(counts_of(draw, n_listeners, share, sd))
    low, high = _modelled(tuple(counts))
    return [Outcome(claimed=False, held=held(low, high, share))]


@cache
def _modelled(counts: tuple[int, ...]) -> tuple[float, float]:
    return fit_beta_binomial(counts, [N_TRIALS] * len(counts), 0.5, CONFIDENCE).interval


def _choices(
    method: str, played: npt.NDArray[np.int64], answered: npt.NDArray[np.int64], truth: float
) -> list[Outcome]:
    trials = [
        Trial(
            listener=f"l{listener:02}",
            entry=0,
            seat=None,
            programme=None,
            choice=Choice(played=int(played[listener, k]), answered=int(answered[listener, k])),
        )
        for listener in range(len(played))
        for k in range(N_TRIALS)
    ]
    tallies = [
        Tally(listener=f"l{listener:02}", halves=2 * int(n_right), n_trials=N_TRIALS)
        for listener, n_right in enumerate((played == answered).sum(axis=1))
    ]
    p_value = right_answers_test(trials, method, balanced=False).p_value
    interval = interval_over_listeners(tallies, CONFIDENCE)
    return [Outcome(claimed=p_value <= ALPHA, held=held(interval.low, interval.high, truth))]


# --- preference and worth ---------------------------------------------------------------------------------------------


def preferences(draw: Draw, n_listeners: int, sd: float) -> list[Outcome]:
    """No preference of people at large."""
    tallies = [
        Tally(listener=f"l{k:02}", halves=2 * count, n_trials=N_TRIALS)
        for k, count in enumerate(counts_of(draw, n_listeners, 0.5, sd))
    ]
    p_value = sign_flip_test([tally.share for tally in tallies], preference.NO_LEANING).p_value
    interval = preference._interval(tallies, CONFIDENCE)
    return [Outcome(claimed=p_value <= ALPHA, held=held(interval.low, interval.high, 0.5))]


def worths(draw: Draw, n_listeners: int, sd: float) -> list[Outcome]:
    """Four conditions of which people at large prefer none; a claim is an interval that leaves 0 out."""
    n = len(CONDITIONS)
    own = draw.normal(0.0, sd / math.sqrt(2.0), (n_listeners, n))
    counts = np.zeros((n_listeners, n, n, 3))
    for first in range(n):
        for second in range(n):
            if first != second:
                weights = np.exp([own[:, first], -0.9 + (own[:, first] + own[:, second]) / 2, own[:, second]]).T
                counts[:, first, second] = draw.multinomial(2, weights / weights.sum(axis=1, keepdims=True))
    made = Comparisons(conditions=CONDITIONS, listeners=[f"l{k:02}" for k in range(n_listeners)], counts=counts)
    fitted = worth._fitted(made, None)
    found = [worth._contrast(made, fitted, index, 0, CONFIDENCE) for index in range(1, n)]
    inside = [held(one.low, one.high, 0.0) for one in found]
    return [Outcome(claimed=one is False, held=one) for one in inside]


# --- ratings ----------------------------------------------------------------------------------------------------------


@cache
def bare_session() -> Session:
    """Two conditions and nothing else."""
    return Session(
        id="made-up",
        date=None,
        question="",
        room=Room(id="room"),
        conditions=tuple(Condition(id=name, label=name, reference=name == "out") for name in ("out", "in")),
        seats=(Seat(id="A", weight=1.0),),
        measurements=(),
        scores=(),
        criteria=Criteria(),
        folder=Path("nowhere"),
    )


def case_of(draw: Draw, n_listeners: int, scale: str, taste_sd: float, programme_sd: float) -> grading_findings.Case:
    """Grades of a change that is better to as many people, and in as many programmes, as it is worse."""
    true = draw.normal(0.0, taste_sd, (n_listeners, 1)) + draw.normal(0.0, programme_sd, (1, PROGRAMMES))
    low, high = LIMITS[scale]
    shifts = {"in": true} if scale == "comparison" else {"in": true / 2, "out": -true / 2}
    ratings = Ratings(scale=scale, references={"out": {"in"}})
    for condition, shift in shifts.items():
        grades = MIDDLE.get(scale, 0.0) + shift + draw.normal(0.0, NOISE[scale], (n_listeners, PROGRAMMES))
        steps = 1 if scale == "quality" else 10
        for (listener, programme), grade in np.ndenumerate(np.round(np.clip(grades, low, high) * steps)):
            ratings.ratings.append(
                Rating(
                    listener=f"l{listener:02}",
                    cell=(f"p{programme}", None),
                    condition=condition,
                    other="out" if scale == "comparison" else None,
                    grade=Fraction(int(grade), steps),
                )
            )
    inputs = Inputs(session=bare_session())
    return grading._case(inputs, ratings, PAIR, None, screened(ratings, PAIR.reference))


def ratings_of(draw: Draw, n_listeners: int, scale: str, sd: float, everyone: bool = False) -> list[Outcome]:
    """The difference over listeners, screened as the scale asks; or over everyone, the variant beside it."""
    case = case_of(draw, n_listeners, scale, sd, 0.0)
    if everyone:
        case = replace(case, left_out={}, weights={})
    found = grading_findings._over_listeners(case, case.units)
    claimed = found.p_value is not None and found.p_value <= ALPHA
    return [Outcome(claimed=claimed, held=held(found.low, found.high, 0.0))]


def mixed_models(draw: Draw, n_listeners: int, sd: float) -> list[Outcome]:
    """Programmes differ as much as listeners do: the truth is of all programmes, not of these four."""
    case = case_of(draw, n_listeners, "comparison", sd, sd)
    (found,) = grading_findings._mixed_model(case, sorted({unit.listener for unit in case.units}))
    claimed = found.p_value is not None and found.p_value <= ALPHA
    return [Outcome(claimed=claimed, held=held(found.low, found.high, 0.0))]


# --- equivalence ------------------------------------------------------------------------------------------------------


def at_the_margin(draw: Draw, n_listeners: int, sd: float, lower: float | None) -> list[Outcome]:
    """The mean share is MARGIN: not within it."""
    shares = [Fraction(count, N_TRIALS) for count in counts_of(draw, n_listeners, MARGIN, sd)]
    found = equivalent_over_listeners(shares, lower, MARGIN, ALPHA)
    wider = equivalent_over_listeners(shares, lower, MARGIN, (1.0 - CONFIDENCE) / 2.0)
    return [Outcome(claimed=found.within, held=held(wider.low, wider.high, MARGIN))]


def trials_at_the_margin(draw: Draw, n_listeners: int, sd: float) -> list[Outcome]:
    """The same with all trials as if they were of one listener."""
    n_right, n_trials = sum(counts_of(draw, n_listeners, MARGIN, sd)), N_TRIALS * n_listeners
    found = equivalent_proportion(n_right, n_trials, None, MARGIN, ALPHA)
    wider = equivalent_proportion(n_right, n_trials, None, MARGIN, (1.0 - CONFIDENCE) / 2.0)
    return [Outcome(claimed=found.within, held=held(wider.low, wider.high, MARGIN))]


def ratings_at_the_margin(draw: Draw, n_listeners: int, sd: float) -> list[Outcome]:
    """The mean difference on the scale `comparison` is RATING_MARGIN."""
    true = RATING_MARGIN + draw.normal(0.0, sd, (n_listeners, 1))
    grades = np.round(10 * (true + draw.normal(0.0, NOISE["comparison"], (n_listeners, N_TRIALS))))
    means = [Fraction(int(total), 10 * N_TRIALS) for total in grades.sum(axis=1)]
    found = equivalent_over_listeners(means, -RATING_MARGIN, RATING_MARGIN, ALPHA)
    wider = equivalent_over_listeners(means, -RATING_MARGIN, RATING_MARGIN, (1.0 - CONFIDENCE) / 2.0)
    return [Outcome(claimed=found.within, held=held(wider.low, wider.high, RATING_MARGIN))]


# --- looks ------------------------------------------------------------------------------------------------------------


@cache
def plan_of(n_listeners: int) -> SequentialPlan:
    """Looks after each quarter of all trials."""
    n_trials = N_TRIALS * n_listeners
    return sequential_plan([n_trials * (k + 1) // N_LOOKS for k in range(N_LOOKS)], 0.5, ALPHA)


@cache
def result_of(n_listeners: int, look: int, n_right: int) -> AdjustedResult:
    """Reckoned once for each end."""
    return adjusted_result(plan_of(n_listeners), look, n_right, CONFIDENCE)


def looks(draw: Draw, n_listeners: int, share: float, sd: float) -> list[Outcome]:
    """Listeners one after the other, all their trials together looked at four times."""
    plan = plan_of(n_listeners)
    right = np.zeros((n_listeners, N_TRIALS), dtype=np.int64)
    for row, count in zip(right, counts_of(draw, n_listeners, share, sd), strict=True):
        row[draw.permutation(N_TRIALS)[:count]] = 1
    totals = np.cumsum(right.ravel())[np.array(plan.n_trials) - 1].tolist()
    ends = zip(totals, plan.n_right_needed, strict=True)
    look = next((k for k, (n, least) in enumerate(ends) if least is not None and n >= least), N_LOOKS - 1)
    found = result_of(n_listeners, look, totals[look])
    return [Outcome(claimed=found.boundary_crossed, held=held(found.low, found.high, share))]


Maker = Callable[[Draw, int], list[Outcome]]
