"""A session folder becomes a Session; folders of sessions are found."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from session_text import line_of, loaded, written

from fairhearing.errors import ManifestProblem
from fairhearing.files import write_files
from fairhearing.manifest import find_session_folders, is_session_folder, load_session
from fairhearing.session import (
    Chain,
    Condition,
    Criteria,
    MeasurementFile,
    ReadOptions,
    Room,
    ScoreFile,
    Seat,
    Session,
)

WHOLE = """\
format = 1

[session]
id = "north-hall-2026-05-09"
date = 2026-05-09
question = "Does the high-pass help at the sofa?"

[room]
id = "north-hall"
size_m = [7.4, 5.1, 2.9]              # length, width, height
temperature_c = 21.0

[chain]                               # with the filter in
design_corner_hz = 90.0
setting_kohm = 47.0
capacitance_nf = 37.6
amplifier_input_kohm = 47.0
source_output_ohm = 150.0
cable_capacitance_pf = 300.0
loudspeaker_ohm = 6.0
bass_given_back = true

[conditions.out]
reference = true
label = "Filter out"
[conditions.in]
label = "Filter in"
trim_db = 0.0

[seats.A]
position_m = [3.2, 1.4, 1.15]
weight = 1.0

[[measurements]]
files = "responses/{seat}_{condition}_{repeat}.csv"
kind = "response"
point = "seat"
playing = "main"
repeats = "replaced"

[[scores]]
files = "scores/abx.csv"
method = "abx"
reference = "out"
treatment = "in"
order = "independent"

[criteria]
bass_band_hz = [20.0, 200.0]
target = "flat"
guard_band_hz = [500.0, 10000.0]
guard_db = 0.5
level_tolerance_db = 0.1
level_measure = "midband"
corner_tolerance_octaves = 0.4
smallest_change_db = 0.5
placement_sd_db = 0.3
min_snr_db = 15.0
alpha = 0.05
confidence = 0.95
require = ["as-set", "untouched", "no-seat-worse"]
benefit = ["improved", "preferred", "better", "relief"]
relief_db = 1.0
"""

SHORT = """\
format = 1
session.id = "s"
room.id = "r"
conditions.out.reference = true
conditions.in = {}
[seats.A]
"""


def make(folder: Path, text: str, *paths: str) -> Path:
    return written(folder, text, paths)


def session_of(folder: Path, text: str, *paths: str) -> Session:
    found = loaded(folder, text, paths)
    assert found.session is not None, found.problems
    return found.session


def test_the_whole_format_is_read(tmp_path: Path) -> None:
    responses = [f"responses/A_{condition}_{repeat}.csv" for condition in ("in", "out") for repeat in ("1", "2")]
    chain = Chain(amplifier_input_kohm=47.0, source_output_ohm=150.0, cable_capacitance_pf=300.0, loudspeaker_ohm=6.0)
    with_filter = replace(chain, design_corner_hz=90.0, setting_kohm=47.0, capacitance_nf=37.6, bass_given_back=True)
    assert session_of(tmp_path, WHOLE, *responses, "scores/abx.csv") == Session(
        id="north-hall-2026-05-09",
        date="2026-05-09",
        question="Does the high-pass help at the sofa?",
        room=Room(id="north-hall", size_m=(7.4, 5.1, 2.9), temperature_c=21.0),
        conditions=(
            Condition(id="out", label="Filter out", reference=True, chain=chain),
            Condition(id="in", label="Filter in", chain=with_filter),
        ),
        seats=(Seat(id="A", position_m=(3.2, 1.4, 1.15)),),
        measurements=tuple(
            MeasurementFile(
                path=path, line=line_of(WHOLE, '"responses/'), entry=0, seat="A", condition=path[12:-6], repeat=path[-5]
            )
            for path in responses
        ),
        scores=(
            ScoreFile(
                path="scores/abx.csv",
                line=line_of(WHOLE, '"scores/'),
                entry=0,
                method="abx",
                reference="out",
                treatment="in",
            ),
        ),
        criteria=Criteria(),
        folder=tmp_path,
    )


def test_what_is_not_said_has_its_default(tmp_path: Path) -> None:
    session = session_of(tmp_path, SHORT)
    assert (session.date, session.question, session.scores, session.measurements) == (None, "", (), ())
    assert session.conditions == (Condition(id="out", label="out", reference=True), Condition(id="in", label="in"))
    assert session.seats == (Seat(id="A"),)
    assert session.criteria == Criteria()
    assert session.warnings == ()


def test_criteria_that_are_said_replace_the_defaults(tmp_path: Path) -> None:
    text = SHORT + '[criteria]\ntarget = "t/house.csv"\nguard_db = 1\nrequire = ["heard"]\nbass_band_hz = [25, 100]\n'
    session = session_of(tmp_path, text, "t/house.csv")
    assert session.criteria == Criteria(
        target="t/house.csv", guard_db=1.0, require=("heard",), bass_band_hz=(25.0, 100.0)
    )
    assert session.warnings == ()


@pytest.mark.parametrize(
    ("written", "expected"),
    [
        ("2026-05-09", "2026-05-09"),
        ('"spring 2026"', "spring 2026"),
        ("2026-05-09T10:00:00", "2026-05-09T10:00:00"),
    ],
)
def test_a_date_is_a_date_or_text(tmp_path: Path, written: str, expected: str) -> None:
    assert session_of(tmp_path, f"session.date = {written}\n" + SHORT).date == expected


def test_the_chain_of_a_condition_overrides_the_shared_one_key_by_key(tmp_path: Path) -> None:
    text = SHORT + (
        "[chain]\ndesign_corner_hz = 80\nsetting_kohm = 20\namplifier_input_kohm = 20\nbass_given_back = false\n"
        "[conditions.high.chain]\ndesign_corner_hz = 100\n[conditions.out.chain]\nsource_output_ohm = 50\n"
    )
    chains = {condition.id: condition.chain for condition in session_of(tmp_path, text).conditions}
    shared = Chain(design_corner_hz=80.0, setting_kohm=20.0, amplifier_input_kohm=20.0, bass_given_back=False)
    assert chains == {
        "in": shared,
        "high": replace(shared, design_corner_hz=100.0),
        "out": Chain(amplifier_input_kohm=20.0, source_output_ohm=50.0),
    }


def test_the_reference_has_the_filter_that_its_own_chain_gives(tmp_path: Path) -> None:
    text = SHORT + (
        "[chain]\ndesign_corner_hz = 80\nsetting_kohm = 20\ncapacitance_nf = 100\nbass_given_back = true\n"
        "[conditions.out.chain]\ncapacitance_nf = 470\nbass_given_back = false\n"
    )
    session = session_of(tmp_path, text)
    assert session.reference.chain == Chain(capacitance_nf=470.0, bass_given_back=False)


def test_all_that_an_entry_says_reaches_its_files(tmp_path: Path) -> None:
    text = SHORT + (
        '[[measurements]]\nfiles = "m/{programme}_{repeat}.wav"\nkind = "recording"\ncondition = "in"\n'
        'channel = "left"\nplaying = "both"\nrepeats = "in-place"\npoint = "amplifier-output"\nfull_scale_v = 2\n'
        'microphone = "./mic.csv"\ncalibrator = "cal.wav"\ncalibrator_db = 94\ndelimiter = "tab"\ndecimal = ","\n'
        'columns = { level = "dB", frequency = "Hz" }\n'
    )
    session = session_of(tmp_path, text, "m/organ_2.wav", "mic.csv", "cal.wav")
    assert session.measurements == (
        MeasurementFile(
            path="m/organ_2.wav",
            line=line_of(text, "files ="),
            entry=0,
            kind="recording",
            point="amplifier-output",
            playing="both",
            repeats="in-place",
            condition="in",
            repeat="2",
            channel="left",
            programme="organ",
            options=ReadOptions(delimiter="\t", decimal=",", columns=(("level", "dB"), ("frequency", "Hz"))),
            microphone="./mic.csv",
            full_scale_v=2.0,
            calibrator="cal.wav",
            calibrator_db=94.0,
        ),
    )
    assert session.warnings == ()


@pytest.mark.parametrize(
    ("written", "mark"),
    [
        (",", ","),
        (";", ";"),
        ("\\t", "\t"),
        (" ", " "),
        ("comma", ","),
        ("semicolon", ";"),
        ("tab", "\t"),
        ("blank", " "),
    ],
)
def test_a_delimiter_is_a_mark_or_its_name(tmp_path: Path, written: str, mark: str) -> None:
    text = SHORT + f'[[measurements]]\nfiles = "{{condition}}.csv"\ndelimiter = "{written}"\n'
    assert session_of(tmp_path, text, "in.csv").measurements[0].options.delimiter == mark


def test_the_only_seat_need_not_be_said_and_noise_has_no_condition(tmp_path: Path) -> None:
    text = SHORT + (
        '[[measurements]]\nfiles = "{condition}_{playing}.csv"\n[[measurements]]\nfiles = "noise.csv"\nkind = "noise"\n'
        '[[measurements]]\nfiles = "tone.wav"\nkind = "calibration"\n'
        '[[measurements]]\nfiles = "amp_{condition}.csv"\npoint = "amplifier-input"\n'
    )
    session = session_of(tmp_path, text, "in_both.csv", "noise.csv", "tone.wav", "amp_in.csv")
    said = [(file.path, file.seat, file.condition, file.playing) for file in session.measurements]
    assert said == [
        ("in_both.csv", "A", "in", "both"),
        ("noise.csv", "A", None, "main"),
        ("tone.wav", None, None, "main"),
        ("amp_in.csv", None, "in", "main"),
    ]


def test_seats_may_be_absent_where_nothing_is_measured_at_a_seat(tmp_path: Path) -> None:
    text = SHORT.replace("[seats.A]\n", "") + (
        '[[measurements]]\nfiles = "{condition}.csv"\npoint = "amplifier-output"\n'
    )
    assert session_of(tmp_path, text, "in.csv").seats == ()


def test_measurements_stand_by_entry_and_then_by_path(tmp_path: Path) -> None:
    text = SHORT + (
        '[[measurements]]\nfiles = "z/{condition}_{repeat}.csv"\n[[measurements]]\nfiles = "a/{condition}.csv"\n'
        'playing = "both"\n'
    )
    session = session_of(tmp_path, text, "a/in.csv", "z/in_2.csv", "z/in_1.csv", "a/out.csv")
    assert [file.path for file in session.measurements] == ["z/in_1.csv", "z/in_2.csv", "a/in.csv", "a/out.csv"]


def test_the_name_of_a_score_sheet_says_listener_seat_and_programme(tmp_path: Path) -> None:
    text = SHORT + (
        '[[scores]]\nfiles = "{listener}_{seat}_{programme}.xlsx"\nmethod = "grading"\nscale = "comparison"\n'
        'order = "balanced"\ncolumns = { rating = "Note" }\n'
    )
    [sheet] = session_of(tmp_path, text, "007_A_organ.xlsx").scores
    assert (sheet.listener, sheet.seat, sheet.programme) == ("007", "A", "organ")
    assert (sheet.method, sheet.scale, sheet.order) == ("grading", "comparison", "balanced")
    assert sheet.options.columns == (("rating", "Note"),)


def test_a_file_that_another_entry_reads_is_no_fault_of_the_first(tmp_path: Path) -> None:
    text = SHORT + (
        '[[measurements]]\nfiles = "{seat}_{condition}.csv"\n'
        '[[measurements]]\nfiles = "noise_{repeat}.csv"\nkind = "noise"\n'
    )
    session = session_of(tmp_path, text, "A_in.csv", "noise_1.csv")
    assert [(file.path, file.kind) for file in session.measurements] == [
        ("A_in.csv", "response"),
        ("noise_1.csv", "noise"),
    ]


def test_a_microphone_file_is_not_read_as_a_take(tmp_path: Path) -> None:
    text = SHORT + '[[measurements]]\nfiles = "{seat}_{condition}.csv"\nmicrophone = "mic_7.csv"\n'
    session = session_of(tmp_path, text, "A_in.csv", "mic_7.csv")
    assert [file.path for file in session.measurements] == ["A_in.csv"]
    assert session.warnings == ()


def test_a_file_matched_by_nothing_is_a_warning(tmp_path: Path) -> None:
    make(tmp_path, SHORT, "z.txt", "sub/notes.md", ".hidden", ".git/config", "store.duckdb", "store.duckdb.wal")
    (tmp_path / "away").symlink_to(tmp_path.parent)
    write_files(tmp_path / "report", {"report.html": b"written by a run"})
    assert session_of(tmp_path, SHORT).warnings == (
        "away is a link that leaves the session folder",
        "sub/notes.md is matched by nothing in session.toml",
        "z.txt is matched by nothing in session.toml",
    )


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-8"])
@pytest.mark.parametrize("line_end", ["\n", "\r\n"])
def test_a_byte_order_mark_and_either_line_end_are_read(tmp_path: Path, encoding: str, line_end: str) -> None:
    text = SHORT + 'label = "Küche"\n'
    (tmp_path / "session.toml").write_bytes(text.replace("\n", line_end).encode(encoding))
    [problem] = load_session(tmp_path).problems
    assert problem.where == f"session.toml, line {line_of(text, 'Küche')}"


def test_session_folders_are_found_by_name(tmp_path: Path) -> None:
    for name in ("b", "a", "c/deeper"):
        make(tmp_path / name, SHORT)
    (tmp_path / "file").write_text("no folder")
    assert find_session_folders(tmp_path) == (tmp_path / "a", tmp_path / "b")
    assert find_session_folders(tmp_path / "a") == (tmp_path / "a",)
    assert is_session_folder(tmp_path / "a")
    assert not is_session_folder(tmp_path / "c")


@pytest.mark.parametrize(
    ("path", "what", "try_"),
    [
        ("missing", "there is no folder '{0}/missing'", "check the spelling"),
        ("file", "'{0}/file' is a file, not a session folder", "name the folder that holds session.toml"),
        ("empty", "there is no session.toml in '{0}/empty', and it has no sub-folders", "name a folder that holds"),
        ("", "there is no session.toml in '{0}', nor in its sub-folders (empty)", "name a folder that holds"),
    ],
)
def test_where_there_is_no_session_what_was_seen_is_told(tmp_path: Path, path: str, what: str, try_: str) -> None:
    (tmp_path / "empty").mkdir()
    (tmp_path / "file").write_text("no folder")
    with pytest.raises(ManifestProblem) as caught:
        find_session_folders(tmp_path / path)
    assert caught.value.what == what.format(tmp_path)
    assert caught.value.where == str(tmp_path / path)
    assert try_ in caught.value.try_
