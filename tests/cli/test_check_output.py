"""Checks of what `fairhearing check` prints, from sessions made by hand."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from fairhearing.cli import check_output
from fairhearing.contracts import ResponseCurve, SessionContent, Sheet, Take
from fairhearing.errors import Faults, ImportProblem, ManifestProblem
from fairhearing.session import Chain, Condition, Criteria, Equipment, Room, Seat, Session

CURVE = ResponseCurve(frequency_hz=np.array([20.0, 40.0, 80.0, 160.0]), level_db=np.zeros(4))
FILTER = Chain(design_corner_hz=90.0, setting_kohm=47.0, amplifier_input_kohm=47.0, bass_given_back=True)
NO_FILTER = Chain(amplifier_input_kohm=47.0)


def session(filter_in: Chain = FILTER, trim_db: float = 0.0) -> Session:
    return Session(
        id="hall-1",
        date="2026-05-09",
        question="Does the high-pass help?",
        room=Room(id="hall"),
        conditions=(
            Condition(id="out", label="Filter out", reference=True, chain=NO_FILTER),
            Condition(id="in", label="Filter in", chain=filter_in, trim_db=trim_db),
        ),
        seats=(Seat(id="A"), Seat(id="B")),
        measurements=(),
        scores=(),
        criteria=Criteria(),
        folder=Path("somewhere/hall-1"),
    )


def take(seat: str | None, condition: str | None, repeat: str, **changed: str) -> Take:
    values: dict[str, object] = {"kind": "response", "point": "seat", "playing": "main", "channel": None} | changed
    return Take(
        seat=seat,
        condition=condition,
        repeat=repeat,
        in_place=False,
        programme=None,
        curve=CURVE,
        path=f"{seat}_{condition}_{repeat}.csv",
        **values,  # type: ignore[arg-type]
    )


def sheet(listeners: list[str | None]) -> Sheet:
    return Sheet(
        method="abx",
        entry=0,
        paths=("abx.csv",),
        reference="out",
        treatment="in",
        order="independent",
        scale=None,
        trials=pd.DataFrame({"listener": pd.Series(listeners, dtype=object)}),
    )


TAKES = (
    take("A", "out", "1"),
    take("A", "out", "2"),
    take("A", "in", "1"),
    take("B", "out", "1"),
    take(None, "in", "1", point="amplifier-output", channel="left"),
)


def content(**changed: object) -> SessionContent:
    values: dict[str, object] = {"session": session(), "takes": TAKES, "sheets": (sheet(["007", "7", "007"]),)}
    return SessionContent(folder=Path("somewhere/hall-1"), **(values | changed))  # type: ignore[arg-type]


WHOLE = """\
session hall-1 in hall-1
question: Does the high-pass help?

repeats: response, at amplifier-output, playing main, channel left
  seat  out  in
  -     0    1

repeats: response, at seat, playing main
  seat  out  in
  A     2    1
  B     1    0

trials: score sheet 1, abx
  listener  trials
  007       2
  7         1

differences between conditions
  key               condition  value  reference  value
  design_corner_hz  in         90     out        -
  setting_kohm      in         47     out        -
  bass_given_back   in         true   out        -

no fault"""


def test_a_sound_session_is_told_whole() -> None:
    assert check_output.check_text([content()]) == WHOLE


def test_repeats_are_counted_for_every_seat_and_condition_with_0_where_there_is_none() -> None:
    cells = check_output.grid_cells(session(), TAKES)
    at_seats = {(cell.seat, cell.condition): cell.n_repeats for cell in cells if cell.point == "seat"}
    assert at_seats == {("A", "out"): 2, ("A", "in"): 1, ("B", "out"): 1, ("B", "in"): 0}


def test_channels_and_what_plays_have_grids_of_their_own() -> None:
    takes = [take("A", "out", "1", channel=c, playing=p) for c in ("left", "right") for p in ("main", "both")]
    cells = check_output.grid_cells(session(), takes)
    counted = {(cell.channel, cell.playing): cell.n_repeats for cell in cells if cell.n_repeats}
    assert counted == {("left", "main"): 1, ("left", "both"): 1, ("right", "main"): 1, ("right", "both"): 1}
    assert len({cell.heading for cell in cells}) == 4


def test_a_take_of_no_condition_has_a_column_of_its_own() -> None:
    (noise_a, noise_b) = check_output.grid_cells(session(), [take("A", None, "1", kind="noise")])
    assert (noise_a.seat, noise_a.condition, noise_a.n_repeats) == ("A", None, 1)
    assert (noise_b.seat, noise_b.condition, noise_b.n_repeats) == ("B", None, 0)


def test_trials_without_a_listener_are_counted_too() -> None:
    counts = check_output.trial_counts([sheet(["L1", None])])
    assert {count.listener: count.n_trials for count in counts} == {"L1": 1, "-": 1}


def test_a_session_with_nothing_in_it_says_so() -> None:
    printed = check_output.check_text([content(session=session(NO_FILTER), takes=(), sheets=())])
    assert "measurements: none" in printed
    assert "trials: none" in printed
    assert "differences between conditions: none that session.toml names" in printed


def test_the_filter_with_its_bass_given_back_and_a_trim_are_one_change() -> None:
    found = session(trim_db=0.5)
    assert [d.key for d in check_output.differences(found)][-1] == "trim_db"
    assert found.treatments[0].changes_from(found.reference) == ("the filter",)
    assert "warning" not in check_output.check_text([content(session=found)])


def test_more_than_one_change_is_warned_of() -> None:
    other_input = Chain(design_corner_hz=90.0, setting_kohm=47.0, amplifier_input_kohm=22.0)
    printed = check_output.check_text([content(session=session(other_input))])
    told = "2 things change between in and out: the filter, amplifier_input_kohm: the result cannot tell them apart"
    assert f"warning: {told}" in printed
    assert printed.endswith("\n\nno fault")


def with_equipment(out: Equipment, in_: Equipment, chain: Chain = FILTER) -> Session:
    one, other = session(chain).conditions
    return replace(session(), conditions=(replace(one, equipment=out), replace(other, equipment=in_)))


def test_how_the_equipment_is_set_is_told_and_counted() -> None:
    found = with_equipment(
        Equipment(filter="out", subwoofer_level_db=0.0, subwoofer_polarity="normal"),
        Equipment(filter="in", subwoofer_level_db=-3.0, subwoofer_polarity="inverted"),
    )
    told = {d.key: (d.value, d.reference_value) for d in check_output.differences(found)}
    assert told["filter"] == ("in", "out")
    assert told["subwoofer_level_db"] == (-3.0, 0.0)
    printed = check_output.check_text([content(session=found)])
    assert "  subwoofer_polarity  in         inverted  out        normal" in printed.splitlines()
    things = "the filter, subwoofer_level_db, subwoofer_polarity"
    warning = f"3 things change between in and out: {things}: the result cannot tell them apart"
    assert f"warning: {warning}" in printed
    (only,) = json.loads(json.dumps(check_output.check_json([content(session=found)])))["sessions"]
    assert warning in only["warnings"]
    assert {d["key"]: d["value"] for d in only["differences"]}["subwoofer_polarity"] == "inverted"


def test_taps_are_told_as_a_list() -> None:
    found = session(replace(FILTER, tap_kohm=(150.0, 220.0), tap_before_kohm=()))
    rows = [line.split() for line in check_output.check_text([content(session=found)]).splitlines()]
    assert ["tap_kohm", "in", "150", "220", "out", "-"] in rows
    assert ["tap_before_kohm", "in", "none", "out", "-"] in rows
    (only,) = json.loads(json.dumps(check_output.check_json([content(session=found)])))["sessions"]
    assert [d["value"] for d in only["differences"] if d["key"] == "tap_kohm"] == [[150.0, 220.0]]


def test_a_tolerance_is_no_change() -> None:
    found = session(replace(FILTER, capacitor_tolerance_percent=1.0, input_tolerance_percent=5.0))
    assert found.treatments[0].changes_from(found.reference) == ("the filter",)


def test_a_boost_left_on_behind_a_filter_that_sits_too_low_is_warned_of() -> None:
    chain = Chain(design_corner_hz=100.0, setting_kohm=20.0, amplifier_input_kohm=100.0)
    found = with_equipment(Equipment(), Equipment(boost="on"), chain)
    printed = check_output.check_text([content(session=found)])
    assert (
        "warning: condition in: the boost made for 100 Hz stands behind a corner of 20.0 Hz (0.200 times) and leaves "
        "too much by 6.3 dB at 50 Hz, 11.1 dB at 20 Hz, 13.1 dB at 10 Hz, a danger to the driver: turn the boost down "
        "before this state is played"
    ) in printed.splitlines()


def test_a_warning_is_told_once_and_is_no_fault() -> None:
    checked = content(warnings=("spare.csv is matched by nothing", "spare.csv is matched by nothing"))
    printed = check_output.check_text([checked])
    assert printed.count("warning: spare.csv is matched by nothing") == 1
    assert check_output.n_faults([checked]) == 0


FAULT = ImportProblem("'x' is no number", where="a.csv, line 3", try_="correct it")


def test_every_fault_stands_in_three_lines_and_is_counted() -> None:
    checked = content(problems=(FAULT, Faults([FAULT, FAULT])))
    printed = check_output.check_text([checked])
    assert printed.count("fault: 'x' is no number\n  where: a.csv, line 3\n  try:   correct it") == 3
    assert printed.splitlines()[-1] == "3 faults"
    assert check_output.check_text([content(problems=(FAULT,))]).splitlines()[-1] == "1 fault"


def test_a_session_that_cannot_be_read_is_told_by_its_folder() -> None:
    problem = ManifestProblem("unknown key 'seet'", where="session.toml, line 4", try_="did you mean 'seat'?")
    broken = SessionContent(folder=Path("somewhere/hall-2"), problems=(problem,))
    printed = check_output.check_text([content(), broken])
    assert "session in hall-2: session.toml cannot be used" in printed
    assert printed.splitlines()[-1] == "1 fault"
    found = json.loads(json.dumps(check_output.check_json([broken]), allow_nan=False))
    assert found["sessions"][0]["id"] is None
    assert found["sessions"][0]["problems"] == [
        {"what": "unknown key 'seet'", "where": "session.toml, line 4", "try": "did you mean 'seat'?"}
    ]


def test_the_json_holds_the_same_and_no_path() -> None:
    printed = json.dumps(check_output.check_json([content(problems=(FAULT,))]), allow_nan=False)
    assert "somewhere" not in printed
    found = json.loads(printed)
    assert found["format"] == 1
    (only,) = found["sessions"]
    assert (only["id"], only["folder"]) == ("hall-1", "hall-1")
    assert sum(cell["n_repeats"] for cell in only["grid"]) == len(TAKES)
    assert only["trials"][0] == {"entry": 0, "method": "abx", "listener": "007", "n_trials": 2}
    assert only["differences"][0] == {
        "condition": "in",
        "reference": "out",
        "key": "design_corner_hz",
        "value": 90.0,
        "reference_value": None,
    }
    assert only["problems"] == [{"what": "'x' is no number", "where": "a.csv, line 3", "try": "correct it"}]


@pytest.mark.parametrize("order", [1, -1])
def test_the_order_of_the_takes_changes_nothing(order: int) -> None:
    assert check_output.check_text([content(takes=TAKES[::order])]) == WHOLE
