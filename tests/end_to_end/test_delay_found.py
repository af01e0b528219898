"""Delays and turned polarity: known ones, put into the phase of made takes."""

from __future__ import annotations

import numpy as np
import pytest

from .conftest import Runner
from .finding_list import FindingList
from .hand_numbers import t_half
from .session_writer import Folder, Room, grid, high_pass

SEATS = {"A": 1.0, "B": 3.0, "C": 0.0}
LATE_MS = {"A": 1.25, "B": -0.4, "C": 7.5}
CORNER_HZ = 80.0


def late(
    identifier: str,
    *,
    start_ms: float = 0.0,
    turned: tuple[str, ...] = (),
    phase: bool = True,
    in_place: bool = False,
    order: tuple[str, str] = ("out", "in"),
    channels: tuple[str | None, ...] = (None,),
    filtered: bool = False,
) -> Folder:
    """Rooms in which `in` comes later by LATE_MS; `start_ms`: spread of the moment at which each take began."""
    folder = Folder(id=identifier, seats=SEATS, conditions={name: {} for name in order})
    frequency = grid(per_octave=48)
    draw = np.random.default_rng(4)
    for place, seat in enumerate(SEATS):
        for side, channel in enumerate(channels):
            for name in ("out", "in"):
                for repeat in range(3):
                    way_s = 1e-3 * (3.0 + side + draw.normal(0, start_ms) + (LATE_MS[seat] if name == "in" else 0.0))
                    clean = Room(seed=place + 9 * side)(frequency) * np.exp(-2j * np.pi * frequency * way_s)
                    if name == "in":
                        clean = (
                            clean * (-1 if seat in turned else 1) * (high_pass(frequency, CORNER_HZ) if filtered else 1)
                        )
                    angle = np.rad2deg(np.angle(clean)) if phase else None
                    level = 20 * np.log10(np.abs(clean)) + draw.normal(0, 0.1)
                    folder.add(name, seat, repeat + 1, frequency, level, angle, channel=channel, in_place=in_place)
    return folder


FOLDERS = (
    late("exact"),
    late("scattered", start_ms=0.05),
    late("swapped", start_ms=0.05, order=("in", "out")),
    late("turned", turned=("A", "C")),
    late("no-phase", phase=False),
    late("held", start_ms=0.05, in_place=True),
    late("sides", channels=("left", "right")),
    late("filtered", filtered=True),
)


@pytest.fixture(scope="module")
def found(run_folders: Runner) -> FindingList:
    return run_folders(FOLDERS)


def delay(found: FindingList, session: str, **said: object) -> dict:
    return found.one(session, "delay_difference", **said)


@pytest.mark.parametrize("session", ["exact", "sides"])
def test_a_known_delay_is_found_at_each_seat_and_over_seats_by_weight(found, session):
    for seat, late_ms in LATE_MS.items():
        stated = delay(found, session, seat=seat)
        assert stated["value"] == pytest.approx(late_ms, abs=1e-4)
        assert (stated["unit"], stated["n"], stated["verdict"], stated["point"]) == ("ms", 3, None, "seat")
    assert delay(found, session)["value"] == pytest.approx((LATE_MS["A"] + 3 * LATE_MS["B"]) / 4, abs=1e-4)


def test_each_channel_has_its_delay(found):
    assert delay(found, "sides", channel="right")["value"] == pytest.approx((1.25 - 3 * 0.4) / 4, abs=1e-4)
    assert delay(found, "sides", channel="left", seat="C")["value"] == pytest.approx(7.5, abs=1e-4)


def test_takes_that_began_at_different_moments_give_a_pooled_t_interval(found):
    draw = np.random.default_rng(4)
    starts = {}
    for seat in SEATS:
        for name in ("out", "in"):
            starts[seat, name] = np.array([(draw.normal(0, 0.05), draw.normal(0, 0.1))[0] for _ in range(3)])
    half = t_half(list(starts.values()), 2 / 3)
    for seat, late_ms in LATE_MS.items():
        stated = delay(found, "scattered", seat=seat)
        by_hand = late_ms + starts[seat, "in"].mean() - starts[seat, "out"].mean()
        assert stated["value"] == pytest.approx(by_hand, abs=2e-4)
        assert (stated["low"], stated["high"]) == pytest.approx((by_hand - half, by_hand + half), abs=1e-3)
        assert stated["low"] < late_ms < stated["high"]


def test_the_other_condition_as_reference_turns_the_sign(found):
    for seat in (None, *SEATS):
        one, other = delay(found, "scattered", seat=seat), delay(found, "swapped", seat=seat)
        assert other["value"] == pytest.approx(-one["value"], abs=1e-6)
        assert (other["low"], other["high"]) == pytest.approx((-one["high"], -one["low"]), abs=1e-6)


def test_a_turned_polarity_is_a_caveat_at_its_seats_and_leaves_the_delay(found):
    for seat, late_ms in LATE_MS.items():
        stated = delay(found, "turned", seat=seat)
        assert stated["value"] == pytest.approx(late_ms, abs=1e-4)
        assert any("the polarity is turned" in caveat for caveat in stated["caveats"]) == (seat in "AC")
    assert "the polarity is turned (A, C)" in delay(found, "turned")["caveats"]
    assert not any("polarity" in caveat for f in found.all("exact", "delay_difference") for caveat in f["caveats"])


def test_without_phase_there_is_no_delay(found):
    assert found.all("no-phase", "delay_difference") == []


def test_repeats_in_place_are_a_caveat(found):
    assert any("in place" in caveat for caveat in delay(found, "held", seat="A")["caveats"])
    assert not any("in place" in caveat for caveat in delay(found, "scattered", seat="A")["caveats"])


def test_a_high_pass_passes_for_less_than_a_hundredth_of_a_millisecond(found):
    """Its group delay at 500 Hz is 0.05 ms, and falls with the square of the frequency."""
    shift = delay(found, "filtered", seat="A")["value"] - LATE_MS["A"]
    assert 0.0005 < abs(shift) < 0.01
