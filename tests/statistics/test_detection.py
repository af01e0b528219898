"""Checks of d-prime against published psychometric functions, second methods and simulated listeners."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from references.helper import check, load
from scipy import integrate, stats

from fairhearing.statistics.detection import (
    Model,
    chance_level,
    d_prime,
    d_prime_standard_error,
    proportion_correct,
)

MODELS: list[tuple[str, Model]] = [
    ("2AFC", "2afc"),
    ("ABX_independent_obs", "abx-independent"),
    ("ABX_differencing", "abx-differencing"),
    ("duo_trio", "duo-trio"),
    ("triangle", "triangle"),
    ("tetrad", "tetrad"),
]
ALL: list[Model] = [model for _, model in MODELS]


@pytest.mark.parametrize(("name", "model"), MODELS)
def test_proportions_follow_the_published_psychometric_functions(name: str, model: Model) -> None:
    reference = load(f"E06.{name}")
    for sensitivity, expected in zip(reference.inputs["d_prime"], reference.expected["pc"], strict=True):
        check(proportion_correct(sensitivity, model), expected, reference)


@pytest.mark.parametrize(
    ("name", "model"), [(name, model) for name, model in MODELS if name in ("2AFC", "ABX_differencing", "duo_trio")]
)
def test_d_prime_follows_the_published_tables(name: str, model: Model) -> None:
    reference = load(f"E07.{name}")
    for proportion, expected in zip(reference.inputs["pc"], reference.expected["d_prime"], strict=True):
        check(d_prime(proportion, model), expected, reference)


def test_d_prime_of_the_tetrad_follows_the_published_function_turned_round() -> None:
    reference = load("E08.tetrad")
    for proportion, expected in zip(reference.inputs["pc"], reference.expected["d_prime"], strict=True):
        check(d_prime(proportion, "tetrad"), expected, reference)


def test_at_a_d_prime_of_one_the_methods_stand_as_published() -> None:
    # Ennis 1993, Journal of Sensory Studies 8, table 1 (from memory): triangle 0.418, duo-trio 0.582, 2-AFC 0.760.
    found = [round(proportion_correct(1.0, model), 3) for model in ("triangle", "duo-trio", "2afc")]
    assert found == [0.418, 0.582, 0.760]


@pytest.mark.parametrize(("name", "model"), [(n, m) for n, m in MODELS if n not in ("duo_trio", "tetrad")])
def test_standard_errors_follow_the_delta_method_of_bi_ennis_and_o_mahony(name: str, model: Model) -> None:
    reference = load(f"E09.{name}")
    share = reference.inputs["correct"] / reference.inputs["n"]
    check(d_prime(share, model), reference.expected["d_prime"], reference)
    error = d_prime_standard_error(share, reference.inputs["n"], model)
    check(error, reference.expected["se_delta_method"], reference)


def test_corrected_perfect_scores_give_the_published_d_prime() -> None:
    reference = load("E31")
    check(d_prime(reference.expected["pc"], "2afc"), reference.expected["d_2AFC"], reference)
    check(d_prime(33 / 34, "2afc"), reference.expected["d_2AFC_loglinear"], reference)


def test_the_triangle_agrees_with_the_noncentral_f_distribution() -> None:
    # P = 1 - F(3; 1, 1, 2 d'^2 / 3): Brockhoff and Christensen 2010 (from memory), another function altogether.
    for sensitivity in (0.3, 1.0, 2.2, 4.0):
        second = stats.ncf.sf(3.0, 1, 1, 2.0 * sensitivity**2 / 3.0)
        assert proportion_correct(sensitivity, "triangle") == pytest.approx(second, abs=1e-8)


@pytest.mark.parametrize("sensitivity", [0.3, 1.0, 2.2, 4.0])
def test_the_tetrad_agrees_with_both_ways_of_being_right_integrated(sensitivity: float) -> None:
    # Either both strong ones lie above both weak ones, or both below: densities of the lower of two against the upper
    # tail of two (order statistics), by adaptive quadrature: another sum than ours.
    def above(shift: float) -> float:
        def density(x: float) -> float:
            return float(2 * stats.norm.pdf(x - shift) * stats.norm.sf(x - shift) * stats.norm.cdf(x) ** 2)

        return float(integrate.quad(density, -12, 12, epsabs=1e-12)[0])

    both_ways = above(sensitivity) + above(-sensitivity)
    assert proportion_correct(sensitivity, "tetrad") == pytest.approx(both_ways, abs=1e-9)


def simulated(model: Model, sensitivity: float, n_trials: int) -> float:
    """Share of right answers of listeners who decide as the model says, from drawn percepts."""
    generator = np.random.default_rng(20260509)
    strong = generator.normal(sensitivity, 1.0, (n_trials, 2))
    weak = generator.normal(0.0, 1.0, (n_trials, 2))
    a, b, x = strong[:, 0], weak[:, 0], strong[:, 1]
    if model == "2afc":
        return float(np.mean(a > b))
    if model == "abx-independent":
        return float(np.mean((a > b) == (x > sensitivity / 2.0)))
    if model in ("abx-differencing", "duo-trio"):
        return float(np.mean(np.abs(x - a) < np.abs(x - b)))
    if model == "tetrad":
        above, below = strong.min(axis=1) > weak.max(axis=1), strong.max(axis=1) < weak.min(axis=1)
        return float(np.mean(above | below))
    other = weak[:, 1]
    pair = np.abs(b - other)  # the odd one is right if the two weak ones are the closest pair
    return float(np.mean((pair < np.abs(a - b)) & (pair < np.abs(a - other))))


@pytest.mark.parametrize("model", ALL)
def test_simulated_listeners_reach_the_proportion_of_their_model(model: Model) -> None:
    # 400 000 trials: four standard errors are 0.0032, and the models differ by ten times that.
    assert simulated(model, 1.7, 400_000) == pytest.approx(proportion_correct(1.7, model), abs=0.0032)


@settings(max_examples=40)
@given(st.floats(min_value=0.01, max_value=6.0), st.sampled_from(ALL))
def test_d_prime_undoes_the_proportion(sensitivity: float, model: Model) -> None:
    share = proportion_correct(sensitivity, model)
    assert chance_level(model) < share < 1.0
    assert proportion_correct(d_prime(share, model), model) == pytest.approx(share, abs=1e-12)
    if sensitivity < 4.0 and share - chance_level(model) > 1e-6:
        assert d_prime(share, model) == pytest.approx(sensitivity, rel=1e-4)


@given(st.floats(min_value=0.0, max_value=5.0), st.floats(min_value=0.02, max_value=1.0), st.sampled_from(ALL))
def test_more_sensitivity_gives_more_right_answers(sensitivity: float, more: float, model: Model) -> None:
    assert proportion_correct(sensitivity + more, model) > proportion_correct(sensitivity, model)


@given(st.floats(min_value=0.4, max_value=3.5), st.sampled_from(ALL))
def test_the_slope_in_the_standard_error_is_that_of_the_function(sensitivity: float, model: Model) -> None:
    step = 1e-4
    slope = (proportion_correct(sensitivity + step, model) - proportion_correct(sensitivity - step, model)) / (
        2.0 * step
    )
    share = proportion_correct(sensitivity, model)
    expected = math.sqrt(share * (1.0 - share) / 50) / slope
    assert d_prime_standard_error(share, 50, model) == pytest.approx(expected, rel=1e-5)


@pytest.mark.parametrize("model", ALL)
def test_perfect_scores_are_infinite_and_chance_or_less_is_zero(model: Model) -> None:
    assert d_prime(1.0, model) == math.inf
    assert proportion_correct(math.inf, model) == 1.0
    assert d_prime(chance_level(model), model) == 0.0
    assert d_prime(0.1, model) == 0.0
    assert math.isnan(d_prime_standard_error(1.0, 16, model))
    assert math.isnan(d_prime_standard_error(0.2, 16, model))


def test_values_that_cannot_be_are_refused() -> None:
    with pytest.raises(ValueError, match=r"proportion is 1\.2"):
        d_prime(1.2, "2afc")
    with pytest.raises(ValueError, match=r"d-prime is -1"):
        proportion_correct(-1.0, "2afc")
    with pytest.raises(ValueError, match="n_trials is 0"):
        d_prime_standard_error(0.75, 0, "2afc")
    with pytest.raises(ValueError, match="model is 'abx'"):
        chance_level("abx")  # type: ignore[arg-type]
