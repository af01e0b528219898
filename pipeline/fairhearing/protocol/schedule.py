"""What a session costs in minutes, and what of it fits into those that there are."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from fairhearing.protocol.design import Design
from fairhearing.protocol.drawing import n_together
from fairhearing.protocol.methods import form_of

# Common practice, no source: listening goes stale after a quarter of an hour or so, and half an hour is the most.
BLOCK_MINUTES = 15.0
BREAK_S = 300.0
WELCOME_S = 300.0  # what is asked and how to answer, consent, level
SOUND_S, ANSWER_S = 12.0, 10.0  # of each sound in a trial, and to answer: common practice, no source
N_PRACTICE, N_SHAM, N_CONTROL = 4, 4, 4
SWITCHING_S = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Schedule:
    """Minutes of one listener's visit by what they go to, and of all visits together.

    `n_that_fit`: the scored trials that fit into the minutes there are; None where nobody said how many.
    """

    welcome_minutes: float
    practice_minutes: float
    trial_minutes: float
    check_minutes: float
    break_minutes: float
    listener_minutes: float
    all_minutes: float
    n_blocks: int
    n_breaks: int
    fits: bool
    n_that_fit: int | None


def usual_trial_s(design_places: int) -> float:
    """Seconds to listen to a trial of so many sounds and to answer.

    >>> usual_trial_s(3)
    46.0
    """
    return design_places * SOUND_S + ANSWER_S


def seconds_per_trial(design: Design) -> float:
    """Seconds of a trial with its switching: the switch is worked before every sound, also where nothing changes."""
    n_places = len(form_of(design.method, design.scale).places)
    return design.trial_s + n_places * design.switching_s


def usual_block_trials(trial_s: float, together: int) -> int:
    """Trials between two breaks: those of a quarter of an hour, in whole rounds.

    >>> usual_block_trials(52.0, 1)
    17
    """
    return max(1, math.floor(BLOCK_MINUTES * 60.0 / trial_s) // together) * together


def schedule_of(design: Design) -> Schedule:
    """The minutes of a design, and what fits."""
    whole = _priced(design)
    if design.minutes is None:
        return whole
    fits = whole.listener_minutes <= design.minutes
    low, high = 0, design.n_trials
    if fits:
        return replace(whole, n_that_fit=_most_that_fit(design, design.n_trials * 4 + 100))
    while low < high:  # more trials never take less time
        middle = (low + high + 1) // 2
        shorter = _priced(replace(design, n_trials=middle)).listener_minutes <= design.minutes
        low, high = (middle, high) if shorter else (low, middle - 1)
    return replace(whole, fits=False, n_that_fit=low // n_together(design) * n_together(design))


def _most_that_fit(design: Design, most: int) -> int:
    low, high = design.n_trials, most
    while low < high:
        middle = (low + high + 1) // 2
        fits = _priced(replace(design, n_trials=middle)).listener_minutes <= (design.minutes or 0.0)
        low, high = (middle, high) if fits else (low, middle - 1)
    return low // n_together(design) * n_together(design)


def _priced(design: Design) -> Schedule:
    each = seconds_per_trial(design) / 60.0
    n_mixed = design.n_trials + design.n_sham + design.n_control
    n_seats = max(1, len(design.seats))
    # At each seat the last block may be a short one; a change of seat is a break.
    per_seat = [n_mixed // n_seats + (place < n_mixed % n_seats) for place in range(n_seats)]
    n_blocks = sum(math.ceil(n / design.block_trials) for n in per_seat)
    n_breaks = max(0, n_blocks - 1) + (1 if design.n_practice else 0)
    parts = {
        "welcome_minutes": WELCOME_S / 60.0,
        "practice_minutes": design.n_practice * each,
        "trial_minutes": design.n_trials * each,
        "check_minutes": (design.n_sham + design.n_control) * each,
        "break_minutes": n_breaks * design.break_s / 60.0,
    }
    listener = sum(parts.values())
    return Schedule(
        **parts,
        listener_minutes=listener,
        all_minutes=listener * len(design.listeners),
        n_blocks=n_blocks,
        n_breaks=n_breaks,
        fits=True,
        n_that_fit=None,
    )
