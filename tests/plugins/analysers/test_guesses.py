"""Checks of what listeners believed at the end: the share by hand, its exact interval, agreement with preferences."""

from __future__ import annotations

from dataclasses import replace

import pytest
from scipy import stats

from fairhearing.api import Analyser, Finding, Guess, Result
from fairhearing_builtins.analysers.guesses import Guesses, fairhearing_analysers

from .build_inputs import finding, inputs, only, session


def analysed(guesses: dict[str, str], findings: tuple[Finding, ...] = (), conditions: tuple[str, ...] = ("out", "in")):
    told = tuple(Guess(listener=name, guess=guess) for name, guess in guesses.items())
    result: Result = Guesses().analyse(inputs(replace(session(conditions=conditions), guesses=told), findings=findings))
    return result


def preference(listener: str, share: float) -> Finding:
    return finding("preference_share", "not-shown", share, unit="1", point=None, listener=listener)


def test_it_is_an_analyser_and_its_hook_offers_it() -> None:
    (offered,) = fairhearing_analysers()
    assert isinstance(offered, Analyser)
    assert (offered.name, offered.version) == ("guesses", "1")


def test_the_share_who_name_the_condition_has_an_exact_interval() -> None:
    found = only(analysed({"a": "in", "b": "in", "c": "out", "d": "none", "e": "in"}).findings, "guess_share")
    exact = stats.binomtest(3, 5).proportion_ci(0.95, method="exact")
    assert (found.value, found.low, found.high) == pytest.approx((3 / 5, *exact), rel=1e-9)
    assert (found.n, found.p_value, found.verdict, found.condition) == (5, None, None, "in")
    assert found.caveats == ()


def test_each_condition_has_a_share_and_a_row_in_the_chart() -> None:
    result = analysed({"a": "in", "b": "wide", "c": "wide", "d": "out"}, conditions=("out", "in", "wide"))
    shares = {f.condition: f.value for f in result.findings}
    assert shares == {"in": 1 / 4, "wide": 2 / 4}
    (chart,) = result.charts
    assert chart.data["share"] == [1 / 4, 2 / 4]
    assert chart.rules[0].at == 1 / 3


def test_nobody_asked_is_nothing_found() -> None:
    assert analysed({}) == Result()


def test_guesses_that_agree_with_preferences_are_told() -> None:
    guesses = {"a": "in", "b": "in", "c": "out", "d": "in", "e": "none"}
    own = (preference("a", 0.8), preference("b", 0.7), preference("c", 0.2), preference("d", 0.5), preference("e", 0.9))
    found = only(analysed(guesses, own).findings, "guess_share")
    assert found.caveats[0].startswith("3 of 3 listeners with a preference of their own guessed what they preferred")


@pytest.mark.parametrize("shares", [{"a": 0.8, "b": 0.2}, {"a": 0.2, "b": 0.2}, {}])
def test_guesses_that_do_not_agree_are_not(shares: dict[str, float]) -> None:
    own = tuple(preference(name, share) for name, share in shares.items())
    assert only(analysed({"a": "in", "b": "in"}, own).findings, "guess_share").caveats == ()
