"""A take without the bass of its repeats is told with seat, condition and repeat, wherever the bass is read."""

from __future__ import annotations

import numpy as np
import pytest
from end_to_end.session_writer import Folder, grid

from fairhearing_builtins.analysers.cells import gather
from fairhearing_builtins.analysers.change import Change
from fairhearing_builtins.analysers.level import Level
from fairhearing_builtins.analysers.seats import Seats
from fairhearing_builtins.analysers.slept import slept
from fairhearing_builtins.analysers.target import Target

from .build_inputs import only
from .build_measured import inputs_of

FREQUENCY = grid(per_octave=12)


def room(bass_db: dict[str, list[float]], *, frequency=FREQUENCY, gain_db=None, seats=("A",), channel=None) -> Folder:
    """So much more below 90 Hz than 70 dB above: by condition, an entry per repeat, alike at each seat."""
    folder = Folder(id="made-up", seats=dict.fromkeys(seats, 1.0), conditions={name: {} for name in bass_db})
    folder.chain = {"bass_given_back": False}
    folder.add_silence()
    for condition, repeats in bass_db.items():
        for seat in seats:
            for index, more in enumerate(repeats):
                gain = (gain_db or {}).get((condition, index + 1), 0.0)
                level = np.where(frequency < 90.0, 70.0 + more, 70.0) + gain
                folder.add(condition, seat, index + 1, frequency, level, channel=channel)
    return folder


def told(folder: Folder, seat: str | None = None, channel: str | None = None) -> tuple[str, ...]:
    inputs = inputs_of(folder)
    field = gather(inputs, point="seat", playing="main")
    assert field is not None
    return slept(field, inputs.comparisons[0], seat, channel)


def test_one_of_three_repeats_without_bass_is_named_with_how_much_it_lacks():
    assert told(room({"out": [6.0, -12.0, 6.2], "in": [0.0, 0.1, 0.2]})) == (
        "seat A, condition out: repeat 2 has 18 dB less at 20-80 Hz against its 1000-4000 Hz than its repeats: "
        "a subwoofer that slept?",
    )


@pytest.mark.parametrize(("lacks_db", "n_told"), [(9.9, 0), (10.1, 1)])
def test_ten_decibels_against_the_median_of_the_others_is_the_limit(lacks_db, n_told):
    """The others have 1 and 3 dB: their median is 2 dB (by hand)."""
    assert len(told(room({"out": [1.0, 3.0, 2.0 - lacks_db], "in": [0.0, 0.1, 0.2]}))) == n_told


def test_of_two_repeats_the_lower_is_named_and_one_of_them_is_doubtful():
    assert told(room({"out": [6.0, 6.1], "in": [-14.0, 1.0]})) == (
        "seat A, condition in: repeat 1 has 15 dB less at 20-80 Hz against its 1000-4000 Hz than repeat 2: "
        "one of the two is doubtful; did a subwoofer sleep?",
    )
    assert told(room({"out": [6.0, 6.1], "in": [-8.0, 1.0]})) == ()


def test_where_most_takes_slept_the_one_that_did_not_is_named():
    found = told(room({"out": [-12.0, 6.0, -12.0, -12.1], "in": [0.0, 0.0, 0.0, 0.0]}))
    assert found == (
        "seat A, condition out: repeat 2 has 18 dB more at 20-80 Hz against its 1000-4000 Hz than its repeats: "
        "did a subwoofer sleep through those?",
    )


def test_one_repeat_alone_and_a_condition_that_has_less_bass_throughout_are_no_doubt():
    assert told(room({"out": [6.0], "in": [-20.0]})) == ()
    assert told(room({"out": [6.0, 6.1, 6.2], "in": [-20.0, -20.1, -20.2]})) == ()


def test_a_take_that_is_quieter_throughout_did_not_lose_its_bass():
    assert told(room({"out": [6.0, 6.0, 6.0], "in": [0.0, 0.0, 0.0]}, gain_db={("out", 2): -20.0})) == ()


def test_without_mids_the_bass_alone_is_compared_over_what_there_is_of_it():
    low = FREQUENCY[(FREQUENCY > 29.0) & (FREQUENCY < 400.0)]
    (found,) = told(room({"out": [6.0, -12.0, 6.0], "in": [0.0, 0.0, 0.0]}, frequency=low))
    assert found == (
        f"seat A, condition out: repeat 2 has 18 dB less at {low[0]:.0f}-80 Hz than its repeats: "
        "a subwoofer that slept?"
    )
    high = FREQUENCY[FREQUENCY > 45.0]
    assert told(room({"out": [6.0, -12.0, 6.0], "in": [0.0, 0.0, 0.0]}, frequency=high)) == ()


def test_a_seat_and_a_channel_are_told_by_themselves():
    folder = room({"out": [6.0, 6.0, -9.0], "in": [0.0] * 3}, seats=("A", "B"), channel="left")
    for condition in ("out", "in"):
        for seat in ("A", "B"):
            for index in range(3):
                folder.add(condition, seat, index + 1, FREQUENCY, 70.0, channel="right")
    start = "condition out: repeat 3 has 15 dB less"
    assert [one.split(" at 20")[0] for one in told(folder)] == [
        f"seat A, channel left, {start}",
        f"seat B, channel left, {start}",
    ]
    assert [one[:6] for one in told(folder, "B")] == ["seat B"]
    assert told(folder, channel="right") == ()


@pytest.mark.parametrize(
    ("analyser", "quantity", "said"),
    [
        (Change, "level_change", {"nominal_hz": 50.0}),
        (Level, "bass_level_difference", {}),
        (Target, "target_deviation_change", {"variant": None}),
        (Target, "seat_spread_change", {"seat": None}),
        (Seats, "seat_audit", {"variant": None}),
        (Seats, "worst_seat_change", {"variant": None, "seat": None}),
    ],
)
def test_what_reads_the_bass_tells_it_where_that_seat_counts(analyser, quantity, said):
    folder = room({"out": [6.0, 6.1, 6.2], "in": [0.0, 0.1, 0.2]}, seats=("A", "B"))
    for curve in folder.curves:
        if (curve.condition, curve.seat, curve.repeat) == ("in", "B", "2"):
            curve.level_db[FREQUENCY < 90.0] -= 16.0
    findings = analyser().analyse(inputs_of(folder)).findings
    doubt = "seat B, condition in: repeat 2 has 16 dB less at 20-80 Hz"
    for seat in [said["seat"]] if "seat" in said else ["A", "B"]:
        found = only(findings, quantity, **{**said, "seat": seat, "channel": None})
        assert [doubt in one for one in found.caveats if "dB less" in one] == ([True] if seat != "A" else [])


def test_what_does_not_read_the_bass_says_nothing_of_it():
    folder = room({"out": [6.0, 6.1, -12.0], "in": [0.0, 0.1, 0.2]})
    change = Change().analyse(inputs_of(folder)).findings
    assert not any("dB less" in c for c in only(change, "level_change", nominal_hz=1000.0, seat="A").caveats)
    level = Level().analyse(inputs_of(folder)).findings
    found = only(level, "level_difference", seat="A", variant=None, channel=None)
    assert not any("dB less" in c for c in found.caveats)
