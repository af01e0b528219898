"""Checks of the seat audit on bass shelves and tilts chosen by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from end_to_end.session_writer import Folder, grid
from hypothesis import given, settings
from references.helper import load
from scipy import stats

from fairhearing.api import Analyser, Finding, Inputs, Seat
from fairhearing_builtins.analysers.level import HIDDEN
from fairhearing_builtins.analysers.seats import NO_LEVEL, Seats, fairhearing_analysers

from .build_inputs import finding, keys, only
from .build_measured import assert_symmetry, inputs_of, known_symmetries, worlds

FREQUENCY = grid(per_octave=12)
BASS = {"bass_band_hz": [20.0, 160.0]}
# A shelf that ends halfway between bands: below it the bass, above it the mid-band at 70 dB.
EDGE_HZ = 230.0


MIDDLE_HZ = 10**1.75  # between 50 and 63 Hz: five bands of the bass lie below it and five above


def shelf(height_db: float, tilt_db: float = 0.0) -> np.ndarray:
    """So much more bass, its lower half raised and its upper half lowered by the tilt, which leaves its mean alone."""
    tilt = np.where(FREQUENCY < MIDDLE_HZ, tilt_db, -tilt_db)
    return np.where(FREQUENCY < EDGE_HZ, 70 + height_db + tilt, 70.0)


def audited(heights: dict[str, dict[str, list[float]]], *, weights=None, near=None, findings=(), **said) -> Inputs:
    """Inputs with shelves: condition, seat, one entry per repeat (a height, or a height and a tilt)."""
    first = next(iter(heights.values()))
    seats = weights or dict.fromkeys(first, 1.0)
    folder = Folder(
        id="made-up", seats=seats, conditions={name: {} for name in heights}, criteria={**BASS, **said},
        chain={"bass_given_back": False},
    )  # fmt: skip
    folder.add_silence()
    for condition, by_seat in heights.items():
        for seat, repeats in by_seat.items():
            for index, one in enumerate(repeats):
                level = shelf(*one) if isinstance(one, tuple) else shelf(one)
                folder.add(condition, seat, index + 1, FREQUENCY, level)
    inputs = inputs_of(folder)
    placed = tuple(
        Seat(id=seat.id, weight=0.0 if near and seat.id in near else seat.weight, near=(near or {}).get(seat.id))
        for seat in inputs.session.seats
    )
    return replace(inputs, session=replace(inputs.session, seats=placed), findings=tuple(findings))


def findings_of(*arguments, **said) -> tuple[Finding, ...]:
    return Seats().analyse(audited(*arguments, **said)).findings


def at(height: float, spread: float = 0.1) -> list[float]:
    return [height, height + spread, height - spread]


FIVE = {
    "out": {"A": at(6.0), "B": at(5.0), "C": at(2.0), "D": at(3.0), "E": at(4.0)},
    "in": {"A": at(2.0), "B": at(2.0), "C": at(4.0), "D": at(3.2), "E": at(7.0)},
}


@pytest.mark.parametrize("symmetry", known_symmetries(Seats), ids=lambda s: s.kind)
@settings(max_examples=5, deadline=None, derandomize=True)
@given(inputs=worlds())
def test_the_declared_symmetries_hold(symmetry, inputs):
    assert_symmetry(Seats(), symmetry, inputs)


def test_it_is_an_analyser_and_its_findings_are_unique():
    (analyser,) = fairhearing_analysers()
    assert isinstance(analyser, Analyser)
    found = findings_of(FIVE, near={"E": "A"})
    assert len(set(keys(found))) == len(found)
    assert {f.quantity for f in found} == Seats.quantities


def test_intervals_hold_for_all_five_seats_at_once():
    """Shelves: the change of the deviation is the change of height, and the repeats are the heights themselves."""
    found = findings_of(FIVE)
    cells = [heights for by_seat in FIVE.values() for heights in by_seat.values()]
    spread = np.sqrt(np.mean([np.var(cell, ddof=1) for cell in cells]))
    freedom, error = 20, spread * np.sqrt(2 / 3)
    for seat in "ABCDE":
        stated = only(found, "seat_audit", seat=seat)
        assert stated.value == pytest.approx(FIVE["in"][seat][0] - FIVE["out"][seat][0], abs=0.01)
        half = (stated.high - stated.low) / 2
        held = stats.multivariate_t.cdf(
            np.full(5, half / error), loc=np.zeros(5), shape=np.eye(5), df=freedom,
            lower_limit=np.full(5, -half / error), random_state=np.random.default_rng(1),
        )  # fmt: skip
        # The heights' pseudo-values are the heights to 1 %.
        assert held == pytest.approx(0.95, abs=0.003)
        assert half > 1.3 * stats.t.ppf(0.975, freedom) * error
        assert half < 1.01 * load("T-20-TENTH").expected["bonferroni"] * error


def test_the_seats_that_lose_are_named_first_the_one_that_loses_most_before_all():
    found = findings_of(FIVE)
    worst = only(found, "worst_seat_change", seat=None)
    assert (worst.verdict, worst.caveats[0]) == ("worse", "worse at E (+3.0 dB), C (+2.0 dB)")
    assert worst.value == pytest.approx(3.0, abs=0.01)
    assert (worst.low, worst.high) == tuple(
        getattr(only(found, "seat_audit", seat="E"), end) for end in ("low", "high")
    )
    verdicts = {seat: only(found, "seat_audit", seat=seat).verdict for seat in "ABCDE"}
    assert verdicts == {"A": "improved", "B": "improved", "C": "worse", "D": "unchanged", "E": "worse"}
    chart = next(c for c in Seats().analyse(audited(FIVE)).charts if c.form == "interval")
    assert list(dict.fromkeys(chart.data["seat"])) == ["E", "C", "D", "B", "A"]


def test_a_seat_that_is_worse_only_by_itself_is_left_open_and_said_to_be_so():
    heights = {
        "out": {seat: at(5.0, 0.3) for seat in "ABCDE"},
        "in": {**{seat: at(5.0, 0.3) for seat in "ABCD"}, "E": at(5.6, 0.3)},
    }
    five, two = findings_of(heights), findings_of({name: {s: own[s] for s in "AE"} for name, own in heights.items()})
    open_one = only(five, "seat_audit", seat="E")
    assert open_one.verdict == "undecided"
    assert any("chance: 5 seats" in caveat for caveat in open_one.caveats)
    assert any("at E: worse by itself" in caveat for caveat in only(five, "worst_seat_change", seat=None).caveats)
    # The half width of one alone: t with 20 degrees of freedom.
    assert 0 < open_one.value - 2.086 * 0.3 * np.sqrt(2 / 3) < 0.12
    assert only(two, "seat_audit", seat="E").high - only(two, "seat_audit", seat="E").value > 0


def test_level_and_shape_are_told_apart_and_add_up_in_squares():
    """One seat's bass is lowered as a whole, the other's is evened out: 5^2 = 3^2 + 4^2."""
    heights = {
        "out": {"A": [(3.0, 4.0)] * 3, "B": [(3.0, 4.0)] * 3},
        "in": {"A": [(0.0, 4.0)] * 3, "B": [(3.0, 0.0)] * 3},
    }
    found = findings_of(heights)
    for seat, whole, level, shape in (("A", -1.0, -3.0, 0.0), ("B", -2.0, 0.0, -4.0)):
        assert only(found, "seat_audit", seat=seat).value == pytest.approx(whole, abs=0.1)
        assert only(found, "seat_audit", seat=seat, variant="level").value == pytest.approx(level, abs=0.1)
        assert only(found, "seat_audit", seat=seat, variant="shape").value == pytest.approx(shape, abs=0.1)
    assert only(found, "seat_bass_level_change", seat="A").value == pytest.approx(-3.0, abs=0.1)


def test_too_little_bass_after_too_much_is_no_change_of_distance_but_one_of_level():
    found = findings_of({"out": {"A": at(3.0)}, "in": {"A": at(-3.0)}})
    assert only(found, "seat_audit", seat="A", variant="level").value == pytest.approx(0.0, abs=0.01)
    level = only(found, "seat_bass_level_change", seat="A")
    assert level.value == pytest.approx(-6.0, abs=0.01)
    assert level.verdict is None


def test_one_seat_has_the_interval_that_it_has_by_itself():
    heights = {"out": {"A": at(5.0)}, "in": {"A": at(3.0)}}
    stated = only(findings_of(heights), "seat_audit", seat="A")
    half = stats.t.ppf(0.975, 4) * 0.1 * np.sqrt(2 / 3)
    assert stated.high - stated.value == pytest.approx(half, rel=0.02)


def test_seats_of_weight_0_are_not_looked_at_with_the_others():
    found = findings_of(FIVE, weights={"A": 1.0, "B": 1.0, "C": 2.0, "D": 0.0, "E": 0.0})
    assert [f.seat for f in found if f.quantity == "seat_audit" and f.variant is None] == ["A", "B", "C"]
    assert only(found, "worst_seat_change", seat=None).caveats[0] == "worse at C (+2.0 dB)"


def test_a_seat_that_was_not_measured_keeps_the_worst_from_being_called_better():
    heights = {"out": {"A": at(6.0), "B": at(6.0)}, "in": {"A": at(2.0)}}
    found = findings_of(heights)
    missing = only(found, "seat_audit", seat="B")
    assert (missing.value, missing.verdict) == (None, "undecided")
    assert missing.caveats == ("no response of in was measured at seat B",)
    worst = only(found, "worst_seat_change", seat=None)
    assert (worst.verdict, worst.high < 0, worst.caveats) == ("undecided", True, ("no value at B",))


# --- positions around a seat ------------------------------------------------------------------------------------------

NEAR = {"A1": "A", "A2": "A", "A3": "A"}
AROUND = {
    "out": {"A": at(6.0), "A1": at(6.0), "A2": at(2.0), "A3": at(5.0), "B": at(4.0)},
    "in": {"A": at(4.0), "A1": at(3.0), "A2": at(3.0), "A3": at(3.0), "B": at(3.0)},
}


def test_positions_around_a_seat_say_how_much_hangs_on_a_few_decimetres():
    found = findings_of(AROUND, near=NEAR)
    stated = only(found, "seat_position_spread", seat="A")
    changes = [-2.0, -3.0, 1.0, -2.0]
    sd = np.std(changes, ddof=1)
    assert stated.value == pytest.approx(sd, abs=0.01)
    chi2 = stats.chi2.ppf([0.975, 0.025], 3)
    assert (stated.low, stated.high) == pytest.approx(tuple(sd * np.sqrt(3 / chi2)), rel=0.01)
    assert [f.seat for f in found if f.quantity == "seat_position_spread"] == ["A"]
    assert any("other sign a little way off: at A2 (+1.0 dB)" in c for c in only(found, "seat_audit", seat="A").caveats)
    assert {f.seat for f in found if f.quantity == "seat_audit"} == {"A", "B"}


def test_two_positions_give_a_spread_without_an_interval_and_one_gives_none():
    two = only(findings_of(AROUND, near={"A1": "A"}), "seat_position_spread", seat="A")
    assert two.value == pytest.approx(np.sqrt(0.5), abs=0.01)
    assert (two.low, two.high) == (None, None)
    assert any("fewer than 4" in caveat for caveat in two.caveats)
    gone = {"out": AROUND["out"], "in": {"A": at(4.0), "B": at(3.0)}}
    one = only(findings_of(gone, near={"A1": "A"}), "seat_position_spread", seat="A")
    assert (one.value, one.caveats) == (None, ("no change at A1",))


# --- what casts doubt -------------------------------------------------------------------------------------------------


def test_drift_at_a_seat_is_said_there_and_of_the_worst():
    drifted = finding("drift", "drifted", 0.9, seat="C", condition="out", reference=None)
    gain = finding("drift", "drifted", 0.9, seat="A", condition="out", reference=None, variant="level")
    found = findings_of(FIVE, findings=[drifted, gain])
    said = {
        f.seat: any("drifted" in c for c in f.caveats) for f in found if f.quantity == "seat_audit" and not f.variant
    }
    assert said == {"A": False, "B": False, "C": True, "D": False, "E": False}
    assert "drifted before the end of the session: at C" in only(found, "worst_seat_change", seat=None).caveats


def test_where_the_subwoofer_hides_the_bass_nothing_is_said_of_any_seat():
    inputs = audited(FIVE)
    chain = replace(inputs.session.conditions[1].chain, bass_given_back=True)
    conditions = (inputs.session.conditions[0], replace(inputs.session.conditions[1], chain=chain))
    hidden = replace(inputs, session=replace(inputs.session, conditions=conditions))
    found = Seats().analyse(hidden).findings
    assert found
    assert {f.value for f in found} == {None}
    assert {f.caveats for f in found} == {(HIDDEN,)}
    assert {f.verdict for f in found if f.quantity == "worst_seat_change"} == {"undecided"}


def test_where_the_data_stop_below_4_khz_the_shape_stands_and_the_level_is_left_open():
    inputs = audited(FIVE)
    short = tuple(
        replace(t, curve=replace(t.curve, frequency_hz=t.curve.frequency_hz[:80], level_db=t.curve.level_db[:80]))
        if t.kind == "response"
        else t
        for t in inputs.takes
    )
    found = Seats().analyse(replace(inputs, takes=short)).findings
    head, shape = only(found, "seat_audit", seat="E"), only(found, "seat_audit", seat="E", variant="shape")
    assert (head.value, head.low) == (shape.value, shape.low)
    assert any("4 kHz" in caveat for caveat in head.caveats)
    level = only(found, "seat_audit", seat="E", variant="level")
    assert (level.value, level.caveats) == (None, (NO_LEVEL,))
