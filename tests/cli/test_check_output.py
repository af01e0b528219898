"""Checks of what `fairhearing check` prints, from sessions made by hand."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from fairhearing.cli import check_output
from fairhearing.contracts import ResponseCurve, SessionContent, Sheet, Take
from fairhearing.errors import Faults, ImportProblem, ManifestProblem
from fairhearing.session import Chain, Condition, Criteria, Room, Seat, Session

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
    assert check_output.changes(found, found.treatments[0]) == ("the filter",)
    assert "warning" not in check_output.check_text([content(session=found)])


def test_more_than_one_change_is_warned_of() -> None:
    other_input = Chain(design_corner_hz=90.0, setting_kohm=47.0, amplifier_input_kohm=22.0)
    printed = check_output.check_text([content(session=session(other_input))])
    assert "warning: more than one thing differs between in and out (the filter, amplifier_input_kohm)" in printed
    assert printed.endswith("\n\nno fault")


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
