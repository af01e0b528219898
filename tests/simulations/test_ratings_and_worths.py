"""A short run of the simulation of ratings and worths, and of a screened test through the analyser."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from fairhearing.api import Condition, Criteria, Finding, Inputs, Room, Seat, Session, Sheet
from fairhearing.statistics.resampling import sign_flip_test
from fairhearing_builtins.analysers.grading import Grading
from simulations.ratings_and_worths import LISTENER_SD, N_LISTENERS, Rates, over_trials, ratings, worths

SEED = 4711


def held(rates: Rates) -> bool:
    """93 to 97 %, widened by three standard deviations of the simulation itself."""
    low, high = 0.93 - 3 * math.sqrt(0.93 * 0.07 / rates.n), 0.97 + 3 * math.sqrt(0.97 * 0.03 / rates.n)
    return low <= rates.covered <= high


def cries_wolf(claimed: float, n: int) -> bool:
    return claimed > 0.05 + 3 * math.sqrt(0.05 * 0.95 / n)


@pytest.mark.parametrize("n_listeners", N_LISTENERS)
def test_intervals_of_worths_hold_where_listeners_differ(n_listeners: int) -> None:
    found = worths(n_listeners, 200, SEED)
    assert found.n > 0.95 * 200 * 3
    assert held(found)


def test_intervals_that_take_trials_for_independent_would_fail() -> None:
    assert not held(worths(12, 200, SEED, over_trials))


@pytest.mark.parametrize("n_listeners", N_LISTENERS)
def test_tests_of_ratings_claim_no_more_than_alpha_and_their_intervals_hold(n_listeners: int) -> None:
    found = ratings(n_listeners, 600, SEED)
    assert held(found)
    assert not cries_wolf(found.claimed, found.n)
    assert (found.claimed > 0.02) == (n_listeners > 5)  # with five or fewer nothing can be shown


def impaired(generator: np.random.Generator, n_listeners: int) -> Inputs:
    """Grades of four programmes by listeners to half of whom the object is better, to half worse."""
    taste = generator.normal(0.0, LISTENER_SD, n_listeners)
    rows = [
        {"listener": f"l{n}", "trial": f"{name}{p}", "programme": f"p{p}", "seat": None, "condition": name,
         "rating": f"{np.clip(4.0 + shift + generator.normal(0.0, 0.4), 1, 5):.1f}"}
        for n in range(n_listeners)
        for name, shift in (("out", -taste[n] / 4), ("in", taste[n] / 4))
        for p in range(4)
    ]  # fmt: skip
    session = Session(
        id="made-up",
        date=None,
        question="",
        room=Room(id="room"),
        conditions=(
            Condition(id="out", label="Out", reference=True),
            Condition(id="in", label="In", reference=False),
        ),
        seats=(Seat(id="A", weight=1.0),),
        measurements=(),
        scores=(),
        criteria=Criteria(),
        folder=Path("nowhere"),
    )
    sheet = Sheet(
        method="grading",
        entry=0,
        paths=("scores.csv",),
        reference=None,
        treatment=None,
        order="independent",
        scale="impairment",
        trials=pd.DataFrame(rows, dtype=object),
    )
    return Inputs(session=session, sheets=(sheet,))


def own_means(findings: tuple[Finding, ...], left_out: set[str]) -> list[float]:
    own = {f.listener: f.value for f in findings if f.quantity == "rating_difference" and f.listener is not None}
    return [value for name, value in own.items() if name not in left_out and value is not None]


def test_screening_by_the_tested_grades_does_not_make_the_test_cry_wolf() -> None:
    generator = np.random.default_rng(SEED)
    n_sessions, claims, claims_of_the_kept = 40, 0, 0
    for _ in range(n_sessions):
        result = Grading().analyse(impaired(generator, 40))
        (headline,) = [
            f for f in result.findings
            if (f.quantity, f.variant, f.listener, f.programme) == ("rating_difference", None, None, None)
        ]  # fmt: skip
        claims += headline.verdict != "not-shown"
        table = result.tables[0].columns
        left_out = {str(name) for name, kept in zip(table["listener"], table["kept"], strict=True) if not kept}
        kept = own_means(result.findings, left_out)
        claims_of_the_kept += len(kept) > 0 and sign_flip_test(kept).p_value <= 0.05
    assert not cries_wolf(claims / n_sessions, n_sessions)
    assert cries_wolf(claims_of_the_kept / n_sessions, n_sessions)  # what p over those who are left would claim
