"""Checks of d_prime of every forced-choice method: published functions, scipy's distributions, cases by hand."""

from __future__ import annotations

import pytest
from references.helper import check, load
from scipy import optimize, stats

from fairhearing.api import Result, Sheet
from fairhearing_builtins.analysers.forced_choice import ForcedChoice

from .build_inputs import inputs, matched, only, session, sheet
from .choice_sheets import choice_rows, counted_rows


def analysed(*sheets: Sheet) -> Result:
    return ForcedChoice().analyse(inputs(session(), sheets=sheets, findings=(matched(),)))


@pytest.mark.parametrize(
    ("method", "identifier"), [("triangle", "E09.triangle"), ("tetrad", "E08.tetrad"), ("duo-trio", "E07.duo_trio")]
)
def test_d_prime_is_the_published_function_turned_round(method: str, identifier: str) -> None:
    reference = load(identifier)
    if "pc" in reference.inputs:
        told = dict(zip(reference.inputs["pc"], reference.expected["d_prime"], strict=True))
    else:
        told = {reference.inputs["correct"] / reference.inputs["n"]: reference.expected["d_prime"]}
    for share, expected in told.items():
        right = round(20 * share)
        found = only(analysed(sheet(method, choice_rows(method, "L1", right, 20 - right))).findings, "d_prime")
        assert found.value is not None
        check(found.value, expected, reference)
        assert "Thurstonian" in found.method
        assert found.p_value is None


def by_quadrature(hits: float, alarms: float) -> float:
    """d-prime by differencing, from scipy's noncentral chi-square instead of our sum of normal tails."""
    criterion = stats.chi2.isf(alarms, 1)
    return float(optimize.brentq(lambda d: stats.ncx2.sf(criterion, 1, d**2 / 2) - hits, 1e-3, 20.0))


def test_d_prime_of_same_different_comes_from_hits_and_false_alarms() -> None:
    rows = counted_rows("same-different", "L1", [[15, 5], [4, 16]])
    result = analysed(sheet("same-different", rows))
    found, other = (only(result.findings, "d_prime", variant=variant) for variant in (None, "independent"))
    assert found.value == pytest.approx(by_quadrature(0.8, 0.25), rel=1e-6)
    # By hand: z(0.8) = 0.8416, z(0.25) = -0.6745; half of 1.5161 is 0.7581, of which 0.7758; root of 0.5516 is 0.7427.
    assert other.value == pytest.approx(2 * stats.norm.ppf((1 + 0.74268) / 2), abs=2e-4)
    assert "differencing" in found.method
    assert "hits 16 of 20; false alarms 5 of 20" in found.method
    exact = [stats.binomtest(k, 20).proportion_ci(0.975, method="exact") for k in (16, 5)]
    assert found.low == pytest.approx(by_quadrature(exact[0].low, exact[1].high), rel=1e-6)
    assert found.high == pytest.approx(by_quadrature(exact[0].high, exact[1].low), rel=1e-6)
    assert other.low is not None
    assert other.value is not None
    assert other.low < other.value


def test_a_listener_who_says_different_readily_has_the_p_of_fisher_not_of_the_share() -> None:
    # 20 different pairs among 24: "different" throughout but once is 20 of 24 right, and shows nothing.
    readily = counted_rows("same-different", "L1", [[0, 4], [1, 19]])
    found = only(analysed(sheet("same-different", readily)).findings, "proportion_correct")
    assert found.value == 19 / 24
    assert found.p_value == 1.0
    assert found.verdict == "not-shown"
    assert any("how readily" in caveat for caveat in found.caveats)
    sensitivity = only(analysed(sheet("same-different", readily)).findings, "d_prime")
    assert sensitivity.value == 0.0
    assert any("set to 0" in caveat for caveat in sensitivity.caveats)


@pytest.mark.parametrize(
    ("table", "value", "words"),
    [
        ([[24, 0], [4, 20]], None, "only a lower bound"),
        ([[20, 4], [0, 24]], None, "only a lower bound"),
        ([[8, 0], [8, 0]], None, "the same answer throughout"),
        ([[0, 0], [3, 9]], None, "only one sort of pairs"),
        ([[9, 3], [0, 0]], None, "only one sort of pairs"),
        ([[4, 4], [4, 4]], 0.0, None),
    ],
)
def test_rates_that_give_no_estimate_say_so(table: list[list[int]], value: float | None, words: str | None) -> None:
    result = analysed(sheet("same-different", counted_rows("same-different", "L1", table)))
    for variant in (None, "independent"):
        found = only(result.findings, "d_prime", variant=variant)
        assert found.value == value
        assert words is None or any(words in caveat for caveat in found.caveats)
        if words == "only a lower bound":
            assert found.low is not None
            assert found.low > 0.2
            assert found.high is None
        if words == "only one sort of pairs":
            assert (found.low, found.high) == (None, None)


@pytest.mark.parametrize("method", ["triangle", "tetrad", "duo-trio"])
def test_perfect_scores_and_scores_below_chance_say_so(method: str) -> None:
    perfect = only(analysed(sheet(method, choice_rows(method, "L1", 12, 0))).findings, "d_prime")
    assert (perfect.value, perfect.high) == (None, None)
    assert perfect.low is not None
    assert perfect.low > 1.0
    below = only(analysed(sheet(method, choice_rows(method, "L1", 3, 9))).findings, "d_prime")
    assert (below.value, below.low) == (0.0, 0.0)
    assert any("set to 0" in caveat for caveat in below.caveats)
