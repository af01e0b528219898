"""How often the tests of forced choices cry wolf where nobody hears anything, and how often the intervals cover."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from scipy import stats

from fairhearing_builtins.analysers.choice_rows import Choice
from fairhearing_builtins.analysers.choice_tests import CHOICE_METHODS, right_answers_test
from fairhearing_builtins.analysers.choice_trials import Trial
from fairhearing_builtins.analysers.listening import Tally, interval_over_listeners

from .choice_sheets import CHANCE, METHODS

ALPHA = 0.05
N_TRIALS = 6
# A test for each method, order and number of listeners: few sessions each, three standard errors.
N_SESSIONS = {3: 250, 6: 250, 12: 120, 40: 50}


def played(generator: np.random.Generator, kinds: int, shape: tuple[int, int], balanced: bool) -> np.ndarray:
    if balanced:
        return generator.permuted(np.tile(np.arange(shape[1]) % kinds, (shape[0], 1)), axis=1)
    return generator.integers(0, kinds, shape)


def trials_of(given: np.ndarray, answered: np.ndarray) -> list[Trial]:
    return [
        Trial(listener=f"L{who:02d}", entry=0, seat=None, programme=None, choice=Choice(played=int(p), answered=int(a)))
        for who, rows in enumerate(zip(given, answered, strict=True))
        for p, a in zip(*rows, strict=True)
    ]


def share_heard(method: str, n_listeners: int, balanced: bool, seed: int) -> float:
    """Share of sessions with p of ALPHA or less; listeners guess, each with a lean of their own to one answer."""
    generator = np.random.default_rng(seed)
    kinds, n_sessions = CHOICE_METHODS[method].n_kinds, N_SESSIONS[n_listeners]
    n_heard = 0
    for _ in range(n_sessions):
        given = played(generator, kinds, (n_listeners, N_TRIALS), balanced)
        leans = generator.dirichlet(np.ones(kinds), n_listeners).cumsum(axis=1)
        answered = (generator.random((n_listeners, N_TRIALS, 1)) > leans[:, None, :]).sum(axis=2)
        n_heard += right_answers_test(trials_of(given, answered), method, balanced).p_value <= ALPHA
    return n_heard / n_sessions


@pytest.mark.parametrize("n_listeners", N_SESSIONS)
@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize("balanced", [False, True], ids=["independent", "balanced"])
def test_where_nobody_hears_anything_heard_is_said_no_more_often_than_alpha(
    method: str, balanced: bool, n_listeners: int
) -> None:
    error = np.sqrt(ALPHA * (1 - ALPHA) / N_SESSIONS[n_listeners])
    found = share_heard(method, n_listeners, balanced, seed=100 + n_listeners)
    assert found <= ALPHA + 3 * error


@pytest.mark.parametrize("method", METHODS)
def test_the_size_is_not_held_by_never_saying_heard(method: str) -> None:
    assert share_heard(method, 12, False, seed=9) > 0.0
    assert share_heard(method, 12, True, seed=9) > 0.0


@cache
def interval(counts: tuple[int, ...], n_trials: int) -> tuple[float, float]:
    tallies = [Tally(listener=f"L{i}", halves=2 * k, n_trials=n_trials) for i, k in enumerate(counts)]
    found = interval_over_listeners(tallies, 0.95)
    return found.low, found.high


def coverage(chance: float, heard: float, n_listeners: int, seed: int) -> float:
    """How often the interval holds the mean share; each listener's own ability is drawn from a beta distribution."""
    generator = np.random.default_rng(seed)
    abilities = (
        generator.beta(4 * heard, 4 * (1 - heard), (300, n_listeners)) if heard else np.zeros((300, n_listeners))
    )
    counts = np.sort(generator.binomial(12, abilities + (1 - abilities) * chance), axis=1)
    mean = heard + (1 - heard) * chance
    within = [low <= mean <= high for low, high in (interval(tuple(map(int, row)), 12) for row in counts)]
    return float(np.mean(within))


@pytest.mark.parametrize("n_listeners", [3, 6, 12, 40])
@pytest.mark.parametrize("chance", sorted(set(CHANCE.values())))
@pytest.mark.parametrize("heard", [0.0, 0.4])
def test_the_interval_covers_the_mean_of_listeners_who_guess_and_of_those_who_differ(
    heard: float, chance: float, n_listeners: int
) -> None:
    # 93 to 97 %, wider with few listeners, where the exact interval holds; two and a half standard errors of 300 each.
    found = coverage(chance, heard, n_listeners, seed=40 + n_listeners)
    assert found >= 0.93 - 2.5 * np.sqrt(0.93 * 0.07 / 300)
    if n_listeners >= 12:
        assert found <= 0.97 + 2.5 * np.sqrt(0.97 * 0.03 / 300)


def test_the_exact_interval_alone_would_cover_too_rarely_where_listeners_differ() -> None:
    generator = np.random.default_rng(6)
    abilities = generator.beta(1.6, 2.4, (150, 12))
    totals = generator.binomial(12, abilities + (1 - abilities) / 3).sum(axis=1)
    exact = [stats.binomtest(int(k), 144).proportion_ci(0.95, method="exact") for k in totals]
    assert float(np.mean([one.low <= 0.6 <= one.high for one in exact])) < 0.9
