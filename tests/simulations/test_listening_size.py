"""A short run of the simulation of listening tests: false claims no more than alpha, intervals that hold the truth."""

from __future__ import annotations

import pytest

from simulations.listening_size import N_LISTENERS, TABLE, Row, cell, rows, table

N_SESSIONS = 120
SEED = 4711
# These take all trials for one listener's: right where listeners are alike, and known to fail where they differ.
POOLED = {"no more right, all trials as one listener's", "four looks, adjusted"}
# Screening by the hidden reference leaves those who grade it high: the mean of who is left is not the mean of all.
SCREENED = {"rating, quality", "rating, impairment"}
ROWS = rows()
SOUND = [row for row in ROWS if not (row.test in POOLED and row.truth.endswith("differ"))]


def name(row: Row) -> str:
    return f"{row.test}, {row.truth}"


def named(test: str, truth: str) -> Row:
    return next(row for row in ROWS if row.test == test and row.truth.endswith(truth))


@pytest.mark.parametrize("row", [row for row in SOUND if row.null], ids=name)
@pytest.mark.parametrize("n_listeners", [3, 12])
def test_what_is_not_there_is_claimed_in_alpha_at_most(row: Row, n_listeners: int) -> None:
    assert not cell(row, n_listeners, N_SESSIONS, SEED).too_many_claims


@pytest.mark.parametrize("row", [row for row in SOUND if row.test not in SCREENED], ids=name)
@pytest.mark.parametrize("n_listeners", [3, 12])
def test_intervals_hold_the_truth_as_often_as_they_say(row: Row, n_listeners: int) -> None:
    found = cell(row, n_listeners, N_SESSIONS, SEED)
    assert found.n_intervals > 0.8 * found.n
    assert not found.covers_too_little


@pytest.mark.parametrize("test", sorted(POOLED))
def test_trials_of_listeners_who_differ_are_not_one_listeners(test: str) -> None:
    assert cell(named(test, "listeners differ"), 12, 4 * N_SESSIONS, SEED).covers_too_little


def test_with_six_listeners_something_can_be_claimed_and_with_three_nothing() -> None:
    preferred = named("preference", "alike")
    assert cell(preferred, 3, N_SESSIONS, SEED).claimed == 0.0
    assert cell(preferred, 12, 4 * N_SESSIONS, SEED).claimed > 0.015


def test_forced_choices_that_are_right_are_found() -> None:
    for method in ("abx", "triangle", "duo-trio", "same-different", "tetrad"):
        assert cell(named(method, "heard, alike"), 12, 30, SEED).claimed > 0.9


def test_the_page_has_every_test_under_every_truth_for_every_number_of_listeners() -> None:
    written = TABLE.read_text(encoding="utf-8").splitlines()
    made = table(1, SEED).splitlines()
    for lines in (written, made):
        cells = [line.split(" | ") for line in lines if line.startswith("| ") and " / " in line]
        assert [(first[2:], truth) for first, truth, *_ in cells] == [(row.test, row.truth) for row in ROWS]
        assert {len(found) for found in cells} == {2 + len(N_LISTENERS)}
        assert all(" / " in entry for _, _, *entries in cells for entry in entries)
