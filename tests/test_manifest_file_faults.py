"""Every fault between session.toml and the files of its folder: what is said, on which line, what to try."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from session_text import line_of, loaded

from fairhearing.errors import ManifestProblem

HEAD = """\
format = 1
session.id = "s"
room.id = "r"
conditions.out.reference = true
conditions.in = {}
[seats]
A = {}
A_b = {}
[conditions.b_in]
"""


def entry(files: str, more: str = "", table: str = "measurements") -> str:
    return f"[[{table}]]\n{more}\nfiles = '{files}'\n"


def problems_of(folder: Path, text: str, *paths: str) -> tuple[ManifestProblem, ...]:
    return loaded(folder, text, paths).problems


PLAIN = "m/{seat}_{condition}_{repeat}.csv"
CASES = [
    # name, entries, files, on the line with (the n-th), what, try
    (
        "nothing",
        entry(PLAIN),
        ["m2/A_in_1.csv"],
        ("files", 1),
        f"files = '{PLAIN}' matches nothing",
        "holds m2/A_in_1.csv",
    ),
    (
        "nothing near",
        entry("abx.csv", 'method = "abx"', "scores"),
        ["abcx.csv"],
        ("files", 1),
        "'abx.csv' matches",
        "'abcx.csv'?",
    ),
    ("empty folder", entry(PLAIN), [], ("files", 1), "matches nothing", "the folder holds no other files"),
    (
        "unknown seat",
        entry(PLAIN),
        ["m/A_in_1.csv", "m/A-b_in_1.csv", "m/A-b_in_2.csv"],
        ("files", 1),
        "'m/A-b_in_1.csv' (and 1 more): {seat} is 'A-b', which names no seat",
        "did you mean 'A_b'?",
    ),
    (
        "unknown condition",
        entry(PLAIN),
        ["m/A_inn_1.csv"],
        ("files", 1),
        "'m/A_inn_1.csv': {condition} is 'inn', which names no condition",
        "did you mean 'in'?",
    ),
    (
        "unknown playing",
        entry("{seat}_{condition}_{playing}.csv"),
        ["A_in_bot.csv"],
        ("files", 1),
        "{playing} is 'bot', which is none of main, sub, both",
        "did you mean 'both'?",
    ),
    (
        "two readings",
        entry(PLAIN),
        ["m/A_b_in_1.csv"],
        ("files", 1),
        "'m/A_b_in_1.csv' can be read in two ways: seat 'A', condition 'b_in', repeat '1'; "
        "or seat 'A_b', condition 'in', repeat '1'",
        "rename the file",
    ),
    (
        "too many ways",
        entry("{programme}{repeat}{channel}{condition}", "seat = 'A'"),
        ["m" * 90],
        ("files", 1),
        "in very many ways",
        "set the placeholders apart",
    ),
    (
        "two entries",
        entry("{seat}_in.csv", "condition = 'in'") + entry("A_{condition}.csv", "seat = 'A'"),
        ["A_in.csv"],
        ("files", 2),
        "'A_in.csv' is matched twice: by files of line 12 and of line 15",
        "make one of the two patterns narrower",
    ),
    (
        "a sheet that is a response too",
        entry("A_{condition}.csv", "seat = 'A'") + entry("A_in.csv", "method = 'abx'", "scores"),
        ["A_in.csv"],
        ("files", 2),
        "'A_in.csv' is matched twice: by files of line 12 and of line 15",
        "make one of the two patterns narrower",
    ),
    (
        "the same take",
        entry("x/{seat}_{condition}.csv") + entry("y/{seat}_{condition}.csv"),
        ["x/A_in.csv", "y/A_in.csv"],
        ("files", 2),
        "'x/A_in.csv' (line 12) and 'y/A_in.csv' are the same take: "
        "response at seat, playing main, seat 'A', condition 'in', repeat '1'",
        "give each its own repeat",
    ),
    (
        "no seat said",
        entry("{condition}.csv"),
        ["in.csv"],
        ("files", 1),
        "files = '{condition}.csv' in [[measurements]] says no seat, and there are A, A_b",
        "put {seat} into files",
    ),
    (
        "no condition said",
        entry("{seat}.csv"),
        ["A.csv"],
        ("files", 1),
        "files = '{seat}.csv' in [[measurements]] says no condition",
        'write condition = "…" below it',
    ),
    (
        "parent",
        entry("../{seat}.csv"),
        [],
        ("files", 1),
        "files in [[measurements]]: '../{seat}.csv' leaves",
        "copy the file",
    ),
    ("wildcard", entry("{seat}/*.csv"), [], ("files", 1), "has a wildcard (*)", "write a placeholder"),
    ("backslash", entry("m\\{seat}.csv"), [], ("files", 1), "has a backslash", "'m/{seat}.csv'"),
    ("placeholder", entry("{seta}.csv"), [], ("files", 1), "has an unknown placeholder {seta}", "did you mean 'seat'?"),
    (
        "a placeholder of measurements in scores",
        entry("{condition}.csv", "method = 'abx'", "scores"),
        [],
        ("files", 1),
        "has an unknown placeholder {condition}",
        "known: listener, programme, seat",
    ),
    (
        "microphone",
        entry("{seat}_{condition}.csv", "microphone = 'mik.csv'"),
        ["A_in.csv", "mic.csv"],
        ("microphone", 1),
        "microphone = 'mik.csv' in [[measurements]] is no file of the session folder",
        "did you mean 'mic.csv'?",
    ),
    (
        "excitation",
        entry("{seat}_{condition}.wav", "excitation = '../sweep.wav'"),
        ["A_in.wav"],
        ("excitation", 1),
        "excitation in [[measurements]]: '../sweep.wav' leaves the session folder (..)",
        "copy the file into the session folder",
    ),
    (
        "calibrator",
        entry("{seat}_{condition}.wav", "calibrator = 'm'\ncalibrator_db = 94"),
        ["A_in.wav", "m/x"],
        ("calibrator =", 1),
        "calibrator = 'm' in [[measurements]] is a folder",
        "copy the file itself",
    ),
    (
        "calibrator without its level",
        entry("{seat}_{condition}.wav", "calibrator = 'cal.wav'"),
        ["A_in.wav", "cal.wav"],
        ("calibrator", 1),
        "calibrator = 'cal.wav' in [[measurements]] has no level",
        "write calibrator_db",
    ),
    (
        "target",
        "[criteria]\ntarget = 'flatt'\n",
        [],
        ("target", 1),
        "target = 'flatt' in [criteria] is no file of the session folder",
        'write "flat", or: ',
    ),
]


@pytest.mark.parametrize(
    ("entries", "files", "at", "what", "try_"), [case[1:] for case in CASES], ids=[str(case[0]) for case in CASES]
)
def test_one_fault_is_told_once_with_its_line(
    tmp_path: Path, entries: str, files: list[str], at: tuple[str, int], what: str, try_: str
) -> None:
    text = HEAD + entries
    [problem] = problems_of(tmp_path, text, *files)
    assert what in problem.what
    assert problem.where == f"session.toml, line {line_of(text, *at)}"
    assert try_ in problem.try_


def test_two_repeats_with_the_same_bytes_are_one_take_copied(tmp_path: Path) -> None:
    text = HEAD + entry(PLAIN)
    paths = ["m/A_in_1.csv", "m/A_in_2.csv", "m/A_in_3.csv", "m/A_out_1.csv"]
    problems_of(tmp_path, text, *paths)
    assert problems_of(tmp_path, text) == ()
    for path in ("m/A_in_3.csv", "m/A_out_1.csv"):  # a copy in another condition is no repeat
        (tmp_path / path).write_bytes((tmp_path / "m/A_in_1.csv").read_bytes())
    [problem] = problems_of(tmp_path, text)
    assert problem.what == "'m/A_in_1.csv' and 'm/A_in_3.csv' have the same bytes: one take copied, not two repeats"
    assert problem.where == f"session.toml, line {line_of(text, 'files', 1)}"
    assert "take the copy out" in problem.try_


def test_repeats_of_one_size_and_other_bytes_are_repeats(tmp_path: Path) -> None:
    assert problems_of(tmp_path, HEAD + entry(PLAIN), "m/A_in_1.csv", "m/A_in_2.csv") == ()


def test_a_measurement_at_a_seat_takes_a_seat(tmp_path: Path) -> None:
    text = HEAD.replace("[seats]\nA = {}\nA_b = {}\n", "") + entry("{condition}.csv")
    [problem] = problems_of(tmp_path, text, "in.csv")
    assert problem.what == "files = '{condition}.csv' in [[measurements]] is measured at a seat, and no seat is defined"
    assert problem.where == f"session.toml, line {line_of(text, 'files', 1)}"
    assert problem.try_.startswith("write [seats.A] for each seat")


def test_a_sheet_of_a_seat_that_is_not_defined_is_told(tmp_path: Path) -> None:
    text = HEAD.replace("[seats]\nA = {}\nA_b = {}\n", "") + entry("{seat}.csv", "method = 'abx'", "scores")
    [problem] = problems_of(tmp_path, text, "A.csv")
    assert problem.what == "'A.csv': {seat} is 'A', which names no seat"


@pytest.mark.parametrize("through", ["file", "folder", "named"])
def test_a_link_that_leaves_the_folder_is_refused(tmp_path: Path, through: str) -> None:
    (tmp_path / "outside").mkdir()
    (tmp_path / "outside" / "A_in_1.csv").write_text("secret")
    folder = tmp_path / "session"
    (folder / "m").mkdir(parents=True)
    text, at = HEAD + entry(PLAIN), "files"
    if through == "file":
        (folder / "m" / "A_in_1.csv").symlink_to(tmp_path / "outside" / "A_in_1.csv")
        what = "'m/A_in_1.csv' is a link that leaves the session folder"
    elif through == "folder":
        (folder / "m").rmdir()
        (folder / "m").symlink_to(tmp_path / "outside")
        what = f"files = '{PLAIN}' matches nothing: 'm' is a link that leaves the session folder"
    else:
        (folder / "m" / "A_in_1.csv").write_text("x")
        (folder / "mic.csv").symlink_to(tmp_path / "outside" / "A_in_1.csv")
        text, at = text + "microphone = 'mic.csv'\n", "microphone"
        what = "microphone = 'mic.csv' in [[measurements]] is a link that leaves the session folder"
    [problem] = problems_of(folder, text)
    assert problem.what == what
    assert problem.where == f"session.toml, line {line_of(text, at)}"
    assert problem.try_.startswith("copy the file")


def test_a_link_that_leads_nowhere_and_a_pipe_are_refused(tmp_path: Path) -> None:
    (tmp_path / "m").mkdir()
    (tmp_path / "m" / "A_in_1.csv").symlink_to("A_in_9.csv")
    (tmp_path / "m" / "A_in_2.csv").symlink_to("A_in_2.csv")
    os.mkfifo(tmp_path / "m" / "A_in_3.csv")
    assert [problem.what for problem in problems_of(tmp_path, HEAD + entry(PLAIN))] == [
        "'m/A_in_1.csv' is a link that leads nowhere",
        "'m/A_in_2.csv' is a link that leads nowhere",
        "'m/A_in_3.csv' is no file with content",
    ]


def test_a_file_that_cannot_be_read_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(place: Path) -> str:
        raise PermissionError(13, "Permission denied", str(place))

    monkeypatch.setattr("fairhearing.manifest.takes.sha256_of", refuse)
    problems = problems_of(tmp_path, HEAD + entry(PLAIN), "m/A_in_1.csv", "m/A_in_2.csv")
    assert [problem.what for problem in problems] == [
        f"'m/A_in_{repeat}.csv' cannot be read: Permission denied" for repeat in (1, 2)
    ]


def test_a_fault_of_an_entry_brings_no_second_one_for_its_files(tmp_path: Path) -> None:
    text = HEAD + entry("x_{seat}_{condition}.csv") + entry("y_{seat}_{condition}.csv", "kind = 'impulze'")
    [problem] = problems_of(tmp_path, text, "x_A_in.csv", "y_A_in.csv")
    assert problem.what == "kind = 'impulze' in [[measurements]] is not a known word"
