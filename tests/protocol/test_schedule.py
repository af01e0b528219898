"""Minutes of a session, and what fits into those that there are."""

from __future__ import annotations

from dataclasses import replace

import pytest
from planned_listening import DESIGN, GRADED

from fairhearing.protocol.drawing import draw_trials
from fairhearing.protocol.schedule import schedule_of, seconds_per_trial

PLAIN = replace(DESIGN, n_practice=4, n_trials=20, n_sham=0, n_control=0, seats=("A",), block_trials=10)


def test_minutes_add_up_by_hand() -> None:
    # 46 s and three sounds of 2 s each: 52 s a trial. 5 to begin; two blocks of ten: two breaks.
    found = schedule_of(PLAIN)
    assert seconds_per_trial(PLAIN) == 52.0
    assert found.practice_minutes == pytest.approx(4 * 52 / 60)
    assert found.trial_minutes == pytest.approx(20 * 52 / 60)
    assert (found.n_blocks, found.n_breaks, found.break_minutes) == (2, 2, 10.0)
    assert found.listener_minutes == pytest.approx(5 + 24 * 52 / 60 + 10)
    assert found.all_minutes == pytest.approx(2 * found.listener_minutes)


def test_a_slow_switch_is_priced_at_every_sound() -> None:
    slow = schedule_of(replace(PLAIN, switching_s=92.0))
    assert slow.trial_minutes - schedule_of(PLAIN).trial_minutes == pytest.approx(20 * 3 * 90 / 60)


@pytest.mark.parametrize("minutes", [10.0, 18.0, 25.0, 32.3, 32.4, 60.0])
def test_what_fits_fits_and_one_more_does_not(minutes: float) -> None:
    design = replace(PLAIN, minutes=minutes)
    found = schedule_of(design)
    assert found.n_that_fit is not None
    assert found.fits == (found.n_that_fit >= design.n_trials)
    if found.n_that_fit:
        assert schedule_of(replace(design, n_trials=found.n_that_fit)).listener_minutes <= minutes
    assert schedule_of(replace(design, n_trials=found.n_that_fit + 1)).listener_minutes > minutes


def test_rounds_are_not_cut_in_half() -> None:
    found = schedule_of(replace(GRADED, minutes=30.0))
    assert found.n_that_fit is not None
    assert found.n_that_fit % 3 == 0


def test_nothing_is_said_of_what_fits_where_nobody_said_how_long() -> None:
    assert schedule_of(PLAIN).n_that_fit is None


@pytest.mark.parametrize("n_seats", [1, 2])
@pytest.mark.parametrize("n_trials", [7, 16, 20, 21])
def test_the_blocks_that_are_priced_are_those_that_are_drawn(n_seats: int, n_trials: int) -> None:
    design = replace(PLAIN, n_trials=n_trials, n_practice=0, seats=("A", "B")[:n_seats])
    drawn = {one.block for one in draw_trials(design, "ab" * 32) if one.listener == "k7"}
    assert len(drawn) == schedule_of(design).n_blocks
