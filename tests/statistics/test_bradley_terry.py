"""Checks of worths against published sets, other libraries, separate fits, and their own laws."""

from __future__ import annotations

import math

import choix
import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from references import helper

from fairhearing.statistics.bradley_terry import (
    FloatArray,
    by_group,
    count_outcomes,
    fit_worth,
    model_covariance,
    with_pseudo_wins,
)


def drawn(seed: int, n_items: int = 4, n_trials: int = 400, tie: float = 0.5, position: float = 0.0) -> FloatArray:
    """Counts with known worths, drawn trial by trial."""
    generator = np.random.default_rng(seed)
    worth = np.linspace(0.0, 1.2, n_items)
    first = generator.integers(0, n_items, n_trials)
    second = (first + generator.integers(1, n_items, n_trials)) % n_items
    weights = np.exp([worth[first] + position / 2, (worth[first] + worth[second]) / 2, worth[second] - position / 2])
    weights[1] *= tie
    chances = (weights / weights.sum(axis=0)).cumsum(axis=0)
    outcome = (generator.random(n_trials) > chances).sum(axis=0)
    return count_outcomes(first, second, outcome, n_items)


def loglinear(counts: FloatArray, *, ties: bool, position: bool) -> tuple[FloatArray, FloatArray]:
    """Parameters and standard errors by statsmodels: counts as Poisson with a term for each pair in its order."""
    n_items = counts.shape[0]
    rows, seen = [], []
    pairs = [(i, j) for i in range(n_items) for j in range(n_items) if i != j]
    for cell, (i, j) in enumerate(pairs):
        for outcome in (0, 1, 2) if ties else (0, 2):
            worth = np.zeros(n_items)
            worth[i] = {0: 1.0, 1: 0.5, 2: 0.0}[outcome]
            worth[j] = 1.0 - worth[i]
            extra = [float(outcome == 1)] * ties + [{0: 0.5, 1: 0.0, 2: -0.5}[outcome]] * position
            own = np.zeros(len(pairs))
            own[cell] = 1.0
            rows.append([*worth[1:], *extra, *own])
            seen.append(counts[i, j, outcome])
    fit = sm.GLM(np.array(seen), np.array(rows), family=sm.families.Poisson()).fit(tol=1e-12)
    n_terms = n_items - 1 + ties + position
    return fit.params[:n_terms], fit.bse[:n_terms]


def test_it_reproduces_the_published_baseball_season() -> None:
    reference = helper.load("F13")
    counts = np.zeros((7, 7, 3))
    counts[:, :, 0] = reference.inputs["wins"]
    turned = counts[::-1, ::-1]  # the last is the zero of the published scale
    fit = fit_worth(turned)
    errors = np.sqrt(np.diag(model_covariance(fit)))
    for index, (worth, error) in enumerate(
        zip(reference.expected["worth_against_last"], reference.expected["standard_error"], strict=True)
    ):
        helper.check(float(fit.worth[6 - index]), worth, reference)
        helper.check(float(errors[6 - index]), error, reference)
    assert fit.finite.all()


def test_it_reproduces_the_published_citations_and_their_deviance() -> None:
    reference = helper.load("F14")
    counts = np.zeros((4, 4, 3))
    saturated = 0.0
    for one, other, won, lost in reference.inputs["wins"]:
        counts[one, other] = (won, 0.0, lost)
        saturated += won * math.log(won / (won + lost)) + lost * math.log(lost / (won + lost))
    fit = fit_worth(counts)
    for found, worth in zip(fit.worth[1:], reference.expected["worth"][1:], strict=True):
        helper.check(float(found), worth, reference)
    helper.check(2.0 * (saturated - fit.log_likelihood), reference.expected["deviance"], reference)


@pytest.mark.parametrize("seed", range(5))
def test_without_ties_it_agrees_with_choix_and_with_statsmodels_logit(seed: int) -> None:
    counts = drawn(seed, 5, 300, tie=0.0)
    wins = counts[:, :, 0] + counts[:, :, 2].T
    pairs = [(i, j) for i in range(5) for j in range(5) for _ in range(int(wins[i, j]))]
    other = choix.ilsr_pairwise(5, pairs, max_iter=1000, tol=1e-12)
    fit = fit_worth(counts)
    assert fit.worth == pytest.approx(other - other[0], abs=1e-6)
    assert (fit.log_tie, fit.first_position) == (-math.inf, None)
    design = np.array([np.eye(5)[i] - np.eye(5)[j] for i, j in pairs])[:, 1:]
    # As a logit each win is a success of a row of signs; half the rows are turned, so that both outcomes occur.
    flip = np.where(np.arange(len(pairs)) % 2 == 0, 1.0, -1.0)
    logit = sm.Logit((flip > 0).astype(float), design * flip[:, None]).fit(disp=0, tol=1e-12)
    assert fit.worth[1:] == pytest.approx(logit.params, abs=1e-7)
    assert np.sqrt(np.diag(model_covariance(fit)))[1:] == pytest.approx(logit.bse, rel=1e-6)


@pytest.mark.parametrize("position", [False, True])
@pytest.mark.parametrize("seed", range(3))
def test_with_ties_and_position_it_agrees_with_a_loglinear_model(seed: int, position: bool) -> None:
    counts = drawn(seed, position=0.6)
    fit = fit_worth(counts, first_position=position)
    terms, errors = loglinear(counts, ties=True, position=position)
    assert fit.worth[1:] == pytest.approx(terms[:3], abs=1e-7)
    assert fit.log_tie == pytest.approx(terms[3], abs=1e-7)
    if position:
        assert fit.first_position == pytest.approx(terms[4], abs=1e-7)
    assert np.sqrt(np.diag(model_covariance(fit)))[1:] == pytest.approx(errors[:3], rel=1e-6)


def test_two_things_give_the_log_odds() -> None:
    fit = fit_worth(count_outcomes([0] * 10, [1] * 10, [0] * 7 + [2] * 3, 2))
    assert fit.worth[1] == pytest.approx(math.log(3 / 7), abs=1e-9)


def test_two_things_with_ties_give_davidsons_closed_form() -> None:
    # Davidson 1970 with two things: the ratio of wins is that of worths, nu^2 = ties^2 / (wins of one x wins of other).
    fit = fit_worth(count_outcomes([0] * 20, [1] * 20, [0] * 8 + [1] * 10 + [2] * 2, 2))
    assert fit.worth[1] == pytest.approx(math.log(2 / 8), abs=1e-9)
    assert math.exp(fit.log_tie) == pytest.approx(10 / math.sqrt(8 * 2), rel=1e-9)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_exchanging_positions_changes_nothing_but_the_sign_of_the_position(seed: int) -> None:
    counts = drawn(seed, n_trials=200, position=0.8)
    turned = counts.transpose(1, 0, 2)[:, :, ::-1]
    here, there = fit_worth(counts, first_position=True), fit_worth(turned, first_position=True)
    assert there.worth == pytest.approx(here.worth, abs=1e-9)
    assert there.first_position == pytest.approx(-(here.first_position or 0.0), abs=1e-9)
    assert fit_worth(turned).worth == pytest.approx(fit_worth(counts).worth, abs=1e-9)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**32 - 1), st.permutations(range(4)))
def test_other_names_permute_worths_and_their_covariance(seed: int, order: list[int]) -> None:
    groups = np.array([drawn(seed + n, n_trials=60) for n in range(5)])
    renamed = groups[:, order][:, :, order]
    here, there = fit_worth(groups.sum(axis=0)), fit_worth(renamed.sum(axis=0))
    assert there.worth == pytest.approx(here.worth[order] - here.worth[order[0]], abs=1e-9)

    def variance(covariance: FloatArray, one: int, other: int) -> float:
        return float(covariance[one, one] + covariance[other, other] - 2 * covariance[one, other])

    before, after = by_group(groups, here), by_group(renamed, there)
    assert variance(after, 1, 3) == pytest.approx(variance(before, order[1], order[3]), rel=1e-8)


def test_twice_the_trials_halve_the_variance_of_the_model_but_not_that_over_groups() -> None:
    groups = np.array([drawn(n, n_trials=60) for n in range(6)])
    once, twice = fit_worth(groups.sum(axis=0)), fit_worth(2 * groups.sum(axis=0))
    assert model_covariance(twice) == pytest.approx(model_covariance(once) / 2, rel=1e-9)
    assert by_group(2 * groups, twice) == pytest.approx(by_group(groups, once), rel=1e-9)


def test_the_one_step_jackknife_is_close_to_one_with_whole_refits() -> None:
    groups = np.array([drawn(n, n_trials=80) for n in range(40)])
    total = groups.sum(axis=0)
    whole = fit_worth(total)
    moves = np.array([fit_worth(total - own).worth - whole.worth for own in groups])
    refitted = 39 / 40 * (moves.T @ moves)
    assert np.diag(by_group(groups, whole))[1:] == pytest.approx(np.diag(refitted)[1:], rel=0.01)


def test_for_two_things_the_jackknife_is_the_one_by_hand() -> None:
    # Wins of 4: 3 and 2 by the first, p = 5/8. d = -s / (information of the other): s = (3 - 2.5, 2 - 2.5), both with
    # information 4 x 15/64: d = 0.5 / 0.9375 either way; (2 - 1)/2 x 2 d^2.
    one, other = (count_outcomes([0] * 4, [1] * 4, outcome, 2) for outcome in ([0, 0, 0, 2], [0, 0, 2, 2]))
    found = by_group(np.array([one, other]), fit_worth(one + other))
    assert found[1, 1] == pytest.approx((0.5 / 0.9375) ** 2, rel=1e-9)


def test_an_undefeated_thing_has_no_finite_worth_but_the_others_have() -> None:
    first, second, outcome = [0, 0, 1, 1, 2, 2, 2], [1, 1, 0, 0, 0, 1, 1], [0, 2, 0, 2, 0, 0, 0]
    counts = count_outcomes(first, second, outcome, 3)
    fit = fit_worth(counts)
    assert fit.finite.tolist() == [[True, True, False], [True, True, False], [False, False, True]]
    more = with_pseudo_wins(counts)
    assert more.sum() - counts.sum() == 3.0
    assert fit_worth(more).finite.all()
    assert fit_worth(more).worth[2] > max(fit_worth(more).worth[:2])


def test_one_win_and_ties_alone_are_infinite_although_ties_look_like_a_bound() -> None:
    # Of two things one wins or ties: worth and tie term run away together.
    fit = fit_worth(count_outcomes([0] * 5, [1] * 5, [0, 0, 1, 1, 1], 2))
    assert not fit.finite[0, 1]


def test_things_never_compared_have_no_difference() -> None:
    fit = fit_worth(count_outcomes([0, 0, 2, 2], [1, 1, 3, 3], [0, 2, 0, 2], 4))
    assert fit.finite[0, 1]
    assert fit.finite[2, 3]
    assert not fit.finite[0, 2]
    assert not fit.finite[1, 3]


def test_worths_far_apart_but_bounded_stay_finite() -> None:
    counts = np.zeros((3, 3, 3))
    counts[0, 1] = (100_000.0, 0.0, 1.0)
    counts[1, 2] = (100_000.0, 0.0, 1.0)
    fit = fit_worth(counts)
    assert fit.finite.all()
    assert fit.worth[2] == pytest.approx(-2 * math.log(100_000), rel=1e-9)


def test_too_few_groups_or_one_that_holds_it_all_give_no_covariance() -> None:
    counts = drawn(1)
    assert np.isnan(by_group(counts[None], fit_worth(counts))).all()
    alone = count_outcomes([0, 0], [1, 1], [0, 2], 3)
    rest = count_outcomes([0, 0, 1, 1], [2, 2, 2, 2], [0, 2, 0, 2], 3)
    only_first = np.array([alone + rest, alone])
    assert np.isnan(by_group(only_first, fit_worth(only_first.sum(axis=0)))).any()


@pytest.mark.parametrize(
    "counts", [np.zeros((2, 3, 3)), np.full((2, 2, 3), -1.0), np.full((2, 2, 3), math.nan), np.zeros((1, 1, 3))]
)
def test_odd_counts_are_refused(counts: FloatArray) -> None:
    with pytest.raises(ValueError, match="count"):
        fit_worth(counts)


def test_odd_trials_are_refused() -> None:
    with pytest.raises(ValueError, match="out of range"):
        count_outcomes([0], [2], [0], 2)
    with pytest.raises(ValueError, match="against itself"):
        count_outcomes([1], [1], [0], 2)
    assert count_outcomes([], [], [], 2).sum() == 0.0
    groups = np.array([drawn(1), drawn(2)])
    with pytest.raises(ValueError, match="add up"):
        by_group(groups, fit_worth(count_outcomes([0] * 4, [1] * 4, [0, 0, 0, 2], 4) + drawn(3, tie=0.0)))
