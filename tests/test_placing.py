"""What each take is of, by session.toml and by its file; every contradiction with its place and what to try."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fairhearing.api import (
    AudioFormat,
    Condition,
    Criteria,
    ImportProblem,
    MeasurementFile,
    Reading,
    RecordingFile,
    ResponseCurve,
    Room,
    Seat,
    Session,
)
from fairhearing.placing import Placed, place

CURVE = ResponseCurve(frequency_hz=np.array([20.0, 40.0]), level_db=np.array([70.0, 71.0]))
ITEM = MeasurementFile(path="a.csv", line=12, entry=0, condition="in", repeat="1")
SESSION = Session(
    id="s",
    date=None,
    question="",
    room=Room(id="r"),
    conditions=(Condition(id="out", label="out", reference=True), Condition(id="in", label="in")),
    seats=(Seat(id="A"), Seat(id="B")),
    measurements=(ITEM,),
    scores=(),
    criteria=Criteria(),
    folder=Path("made-up"),
)


def placed(
    *items: MeasurementFile, readings: list[Reading] | None = None, seats: tuple[str, ...] = ("A", "B")
) -> Placed:
    """Each item with a curve and nothing more, unless `readings` says what their files give."""
    session = replace(SESSION, measurements=items, seats=tuple(Seat(id=seat) for seat in seats))
    given: dict[str, list[Reading]] = {}
    for reading in readings or [Reading(path=item.path, content=CURVE) for item in items]:
        given.setdefault(reading.path, []).append(reading)
    return place(session, given)


def told(found: Placed) -> list[tuple[str, str, str]]:
    return [(problem.what, problem.where, problem.try_) for problem in found.problems]


def reading(**said: object) -> Reading:
    return Reading(**{"path": "a.csv", "content": CURVE, **said})


def test_what_session_toml_says_stands_and_the_file_fills_in_the_rest() -> None:
    item = replace(ITEM, channel="left", repeats="in-place", closing=True, programme="organ", playing="both")
    found = placed(item, readings=[reading(seat="B", applied=("seat B is receiver 1",))])
    (take,) = found.takes
    assert found.problems == ()
    assert (take.seat, take.channel, take.condition, take.repeat) == ("B", "left", "in", "1")
    assert (take.in_place, take.closing, take.programme, take.playing) == (True, True, "organ", "both")
    assert (take.path, take.applied, take.curve) == ("a.csv", ("seat B is receiver 1",), CURVE)


def test_a_file_that_says_the_same_contradicts_nothing() -> None:
    item = replace(ITEM, seat="A", channel="left")
    assert placed(item, readings=[reading(seat="A", channel="left")]).problems == ()


@pytest.mark.parametrize(("name", "said", "found"), [("seat", "A", "B"), ("channel", "left", "right")])
def test_a_file_that_says_another_seat_or_channel_is_told(name: str, said: str, found: str) -> None:
    item = replace(ITEM, **{"seat": "A", name: said})
    assert told(placed(item, readings=[reading(**{name: found})])) == [
        (
            f"the file says {name} {found!r}, and session.toml says {name} {said!r}",
            "a.csv (session.toml, line 12)",
            f"correct one of them, or leave the {name} out in session.toml",
        )
    ]


@pytest.mark.parametrize(
    ("seats", "try_"), [(("A", "sofa"), "did you mean 'sofa'?"), ((), "write [seats.soffa] into session.toml")]
)
def test_a_seat_of_the_file_that_is_not_defined_is_told(seats: tuple[str, ...], try_: str) -> None:
    found = placed(ITEM, readings=[reading(seat="soffa")], seats=seats)
    assert told(found) == [
        ("the file says seat 'soffa', which session.toml does not define", "a.csv (session.toml, line 12)", try_)
    ]


def test_no_seat_where_one_is_needed_is_told_once_for_an_entry() -> None:
    items = [replace(ITEM, path=f"{n}.csv", repeat=str(n)) for n in (1, 2)]
    other = replace(ITEM, path="3.csv", repeat="3", entry=1, line=20)
    what = "neither the name of the file, nor session.toml, nor the file itself says the seat, and there are A, B"
    try_ = 'put {seat} into files, or write seat = "…" below it'
    assert told(placed(*items, other)) == [
        (what, "1.csv (session.toml, line 12)", try_),
        (what, "3.csv (session.toml, line 20)", try_),
    ]


@pytest.mark.parametrize(
    "item", [replace(ITEM, point="amplifier-output"), replace(ITEM, kind="calibration", condition=None)]
)
def test_away_from_the_seats_and_for_a_calibration_none_is_needed(item: MeasurementFile) -> None:
    assert placed(item).problems == ()
    assert placed(item).takes[0].seat is None


def test_the_same_take_in_two_files_is_told_with_both() -> None:
    items = [replace(ITEM, path=path, seat="A", line=line) for path, line in (("a.csv", 12), ("b.csv", 15))]
    assert told(placed(*items)) == [
        (
            "the file holds a take that 'a.csv' holds too: response at seat, playing main, "
            "seat 'A', condition 'in', repeat '1'",
            "b.csv (session.toml, line 15)",
            "give each its own repeat, such as {repeat} in files, or take one of them out",
        )
    ]


def test_the_same_take_twice_in_one_file_is_told() -> None:
    found = placed(replace(ITEM, seat="A"), readings=[reading(channel="left"), reading(channel="left")])
    ((what, where, _),) = told(found)
    assert what.startswith("the file holds a take that it holds twice: response at seat")
    assert what.endswith("channel 'left'")
    assert where == "a.csv (session.toml, line 12)"


@pytest.mark.parametrize(
    "other",
    [
        {"seat": "B"}, {"condition": "out"}, {"channel": "left"}, {"programme": "organ"}, {"repeat": "2"},
        {"closing": True}, {"playing": "both"}, {"kind": "noise"},
    ],
)  # fmt: skip
def test_takes_that_differ_in_anything_are_two(other: dict[str, object]) -> None:
    item = replace(ITEM, seat="A")
    found = placed(item, replace(item, path="b.csv", **other))
    assert found.problems == ()
    assert [take.path for take in found.takes] == ["a.csv", "b.csv"]


def test_a_contradiction_is_not_told_a_second_time_as_a_copy() -> None:
    found = placed(replace(ITEM, seat="A"), readings=[reading(), reading(seat="B")])
    assert [what for what, _, _ in told(found)] == ["the file says seat 'B', and session.toml says seat 'A'"]


def test_files_at_fault_and_files_that_were_not_read_are_passed() -> None:
    problem = ImportProblem("cut", where="a.csv", try_="copy it")
    items = [replace(ITEM, path=path, seat="A") for path in ("a.csv", "b.csv")]
    assert placed(*items, readings=[Reading(path="a.csv", problem=problem)]) == Placed()


@pytest.mark.parametrize(
    ("said", "found_pa", "pa", "v"),
    [
        ({}, None, None, None),
        ({}, 20.0, 20.0, None),
        ({"full_scale_pa": 5.0}, 20.0, 5.0, None),
        ({"full_scale_v": 40.0}, 20.0, None, 40.0),
    ],
)
def test_a_recording_has_the_scale_of_session_toml_else_that_of_its_file(
    said: dict[str, float], found_pa: float | None, pa: float | None, v: float | None
) -> None:
    form = AudioFormat(rate_hz=8000, n_channels=1, n_frames=8000, subtype="PCM_24")
    file = RecordingFile(format=form, sha256="dd", size=24_044, modified_ns=7, full_scale_pa=found_pa)
    item = replace(ITEM, kind="recording", seat="A", repeats="in-place", **said)
    found = placed(item, readings=[reading(content=file, channel="left", applied=("by a calibrator",))])
    (source,) = found.recordings
    assert (found.takes, found.problems, source.file) == ((), (), file)
    one = source.recording
    assert (one.full_scale_pa, one.full_scale_v, one.format, one.applied) == (pa, v, form, ("by a calibrator",))
    assert (one.seat, one.channel, one.condition, one.repeat, one.in_place) == ("A", "left", "in", "1", True)


def test_takes_stand_in_the_order_of_session_toml() -> None:
    items = [replace(ITEM, path=path, seat="A", repeat=path) for path in ("c.csv", "a.csv", "b.csv")]
    readings = [Reading(path=path, content=CURVE) for path in ("a.csv", "b.csv", "c.csv")]
    assert [take.path for take in placed(*items, readings=readings).takes] == ["c.csv", "a.csv", "b.csv"]
