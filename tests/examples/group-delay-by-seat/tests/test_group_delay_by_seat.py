"""The analyser keeps the rules of the kit, and finds delays that are known."""

from __future__ import annotations

import math

import numpy as np
import pytest
from fairhearing_group_delay_by_seat import CHANGE, DELAY, RANGE_HZ, GroupDelayBySeat, mean_group_delay_ms

from fairhearing.api import Condition, Criteria, Inputs, ResponseCurve, Room, Seat, Session, Take
from fairhearing.conformance import Case, check_analyser

FREQUENCY_HZ = np.arange(20.0, 400.0, 2.5)


@check_analyser(GroupDelayBySeat())
def test_it_keeps(rule: Case) -> None:
    rule()


def take(phase_deg: np.ndarray | None, condition: str = "in", repeat: str = "1") -> Take:
    wrapped = None if phase_deg is None else (phase_deg + 180.0) % 360.0 - 180.0
    curve = ResponseCurve(frequency_hz=FREQUENCY_HZ, level_db=np.zeros_like(FREQUENCY_HZ), phase_deg=wrapped)
    return Take(
        kind="response", point="seat", playing="main", in_place=False, seat="A", condition=condition, repeat=repeat,
        channel=None, programme=None, curve=curve, path=f"{condition}{repeat}",
    )  # fmt: skip


def delayed(delay_ms: float, more_deg: float | np.ndarray = 0.0) -> np.ndarray:
    return -360.0 * FREQUENCY_HZ * delay_ms / 1000.0 + more_deg


def inputs(*takes: Take) -> Inputs:
    session = Session(
        id="made-up", date=None, question="", room=Room(id="made-up"),
        conditions=(Condition(id="out", label="Out", reference=True), Condition(id="in", label="In")),
        seats=(Seat(id="A"),), measurements=(), scores=(), criteria=Criteria(), folder=None,
    )  # fmt: skip
    return Inputs(session=session, takes=takes)


@pytest.mark.parametrize("delay_ms", [0.0, 1.7, 12.0, 40.0])
def test_a_pure_delay_is_found_whatever_the_phase_at_the_start(delay_ms: float) -> None:
    for offset_deg in (0.0, 33.0, -150.0):
        assert mean_group_delay_ms(take(delayed(delay_ms, offset_deg))) == pytest.approx(delay_ms, abs=1e-9)


def test_a_first_order_high_pass_delays_as_its_formula_says() -> None:
    """Phase atan(f_c/f): minus its turn over the range, divided by the width."""
    corner_hz = 90.0
    phase_deg = np.degrees(np.arctan(corner_hz / FREQUENCY_HZ))
    turn = math.atan(corner_hz / RANGE_HZ[0]) - math.atan(corner_hz / RANGE_HZ[1])
    expected_ms = turn / (2 * math.pi * (RANGE_HZ[1] - RANGE_HZ[0])) * 1000
    assert expected_ms == pytest.approx(0.637, abs=0.001)
    assert mean_group_delay_ms(take(phase_deg)) == pytest.approx(expected_ms, abs=1e-9)


def test_a_phase_that_turns_too_fast_to_follow_gives_no_value() -> None:
    assert mean_group_delay_ms(take(delayed(0.9 * 1000 / 2.5 / 2))) is None
    assert mean_group_delay_ms(take(None)) is None


def test_the_change_is_condition_minus_reference_with_an_interval_from_the_repeats() -> None:
    delays_ms = {"in": (3.0, 3.2, 3.4), "out": (1.0, 1.2, 1.4)}
    takes = [take(delayed(d), c, str(i)) for c, values in delays_ms.items() for i, d in enumerate(values)]
    found = {(one.quantity, one.condition): one for one in GroupDelayBySeat().analyse(inputs(*takes)).findings}
    change = found[CHANGE, "in"]
    assert found[DELAY, "in"].value == pytest.approx(3.2)
    assert found[DELAY, "out"].value == pytest.approx(1.2)
    assert (change.value, change.n, change.unit) == (pytest.approx(2.0), 3, "ms")
    # standard deviation 0.2 in both, 4 degrees of freedom: t = 2.7764 (table of Student's t, 95 % two-sided)
    half = 2.7764 * 0.2 * math.sqrt(2 / 3)
    assert change.high - change.value == pytest.approx(half, abs=1e-4)
    assert change.value - change.low == pytest.approx(half, abs=1e-4)


def test_responses_without_phase_are_refused_in_words() -> None:
    result = GroupDelayBySeat().analyse(inputs(take(None), take(None, "out")))
    assert [refusal.why for refusal in result.refusals] == ["no response has a phase"]
    assert {one.value for one in result.findings} == {None}
    assert result.charts == ()
