"""Every fault that stands in session.toml itself: what is said, on which line, what to try."""

from __future__ import annotations

from pathlib import Path

import pytest
from session_text import HEAD, assert_told, line_of, loaded

from fairhearing.errors import ManifestProblem
from fairhearing.manifest import load_session

BASE = f"""{HEAD}[chain]
setting_kohm = 47
[conditions.out]
reference = true
[conditions.in]
[seats.A]
[seats.B]
[[measurements]]
files = "m/{{seat}}_{{condition}}.csv"
[[scores]]
files = "abx.csv"
method = "abx"
[criteria]
alpha = 0.05
"""
FILES = ("m/A_in.csv", "m/A_out.csv", "abx.csv")


def problems_of(folder: Path, text: str, files: tuple[str, ...] = FILES) -> tuple[ManifestProblem, ...]:
    return loaded(folder, text, files).problems


def changed(old: str, new: str) -> str:
    assert BASE.count(old) == 1, old
    return BASE.replace(old, new)


def test_the_base_of_these_cases_has_no_fault(tmp_path: Path) -> None:
    assert problems_of(tmp_path, BASE) == ()


# (changed from, to, on the line with, what, try)
UNKNOWN = [
    ("[room]", "[rooms]\n[room]", "[rooms]", "unknown key 'rooms' in session.toml", "did you mean 'room'?"),
    ('id = "s"', 'id = "s"\nday = 1', "day", "unknown key 'day' in [session]", "did you mean 'date'?"),
    ('id = "r"', 'id = "r"\nsize = 1', "size", "unknown key 'size' in [room]", "did you mean 'size_m'?"),
    ("[chain]", "[chain]\nsettin_kohm = 1", "settin_", "unknown key 'settin_kohm' in [chain]", "'setting_kohm'?"),
    ("[seats.B]", "[seats.B]\nwait = 1", "wait", "unknown key 'wait' in [seats.B]", "did you mean 'weight'?"),
    ("[seats.B]", "[seats.B]\nx = 1", "x = 1", "unknown key 'x' in [seats.B]", "known: near, position_m, weight"),
    ("[conditions.in]", "[conditions.in]\nlable = 1", "lable", "unknown key 'lable' in [conditions.in]", "'label'?"),
    (
        "[seats.A]",
        "[conditions.in.chain]\nloudspeakr_ohm = 1\n[seats.A]",
        "speakr",
        "unknown key 'loudspeakr_ohm' in [conditions.in.chain]",
        "did you mean 'loudspeaker_ohm'?",
    ),
    ("[[scores]]", "knid = 1\n[[scores]]", "knid", "unknown key 'knid' in [[measurements]]", "did you mean 'kind'?"),
    ("[[scores]]", "[[scores]]\nmethd = 1", "methd", "unknown key 'methd' in [[scores]]", "did you mean 'method'?"),
    ("alpha = 0.05", "alfa = 0.05", "alfa", "unknown key 'alfa' in [criteria]", "did you mean 'alpha'?"),
    (
        "[[scores]]",
        'columns = { freq = "Hz" }\n[[scores]]',
        "freq",
        "unknown key 'freq' in columns of [[measurements]]",
        "did you mean 'frequency'?",
    ),
    (
        "[criteria]",
        'columns.preferd = "P"\n[criteria]',
        "preferd",
        "unknown key 'preferd' in columns of [[scores]]",
        "known: answer, listener, programme, seat, trial, x",
    ),
]
MISSING = [
    ("format = 1\n", "", "[session]", "format is missing", "write format = 1 as the first line"),
    ('[session]\nid = "s"', "[session]", "[session]", "id is missing in [session]", 'write id = "north-hall'),
    ('[room]\nid = "r"', "[room]", "[room]", "id is missing in [room]", 'write id = "north-hall" below [room]'),
    ('[room]\nid = "r"', "", "format", "id is missing in [room]", 'write id = "north-hall" below [room]'),
    ('method = "abx"', "", "[[scores]]", "method is missing in [[scores]]", 'method = "triangle"'),
    ('files = "abx.csv"', "", "[[scores]]", "files is missing in [[scores]]", 'write files = "scores/abx.csv"'),
    ('method = "abx"', 'method = "grading"', "[[scores]]", "scale is missing in [[scores]]", 'scale = "impairment"'),
]
SHAPES = [
    ("format = 1", "format = 0", "format", "format = 0 is unknown", "write format = 1"),
    ("format = 1", 'format = "1"', "format", "format = '1' is unknown", "write format = 1"),
    ("format = 1", "format = true", "format", "format = true is unknown", "write format = 1"),
    ("format = 1", "format = 2", "format", "format = 2 was made by a later version; this one reads format 1", "later"),
    ("setting_kohm = 47", 'setting_kohm = "47,5"', "_kohm", "is text, not a number", "quotes: setting_kohm = 47.5"),
    ("setting_kohm = 47", 'setting_kohm = "47 k"', "_kohm", "= '47 k' in [chain] is text, not a number", "alone"),
    ("setting_kohm = 47", "setting_kohm = true", "_kohm", "= true in [chain] is true or false, not a number", "write"),
    ("setting_kohm = 47", "setting_kohm = nan", "_kohm", "= nan in [chain] is not a finite number", "write a number"),
    ("setting_kohm = 47", "setting_kohm = inf", "_kohm", "= inf in [chain] is not a finite number", "write a number"),
    ("setting_kohm = 47", f"setting_kohm = 1{'0' * 400}", "_kohm", "is not a finite number", "write a number"),
    ("setting_kohm = 47", "setting_kohm = -47", "_kohm", "= -47 in [chain] is out of range", "write a number above 0"),
    ("setting_kohm = 47", "setting_kohm = 0", "_kohm", "= 0 in [chain] is out of range", "write a number above 0"),
    ("setting_kohm = 47", "source_output_ohm = -1", "source", "= -1 in [chain] is out of range", "at least 0"),
    ("setting_kohm = 47", 'bass_given_back = "yes"', "bass", "= 'yes' in [chain] is text, not true or false", "= true"),
    ('id = "s"', "id = 7", "id = 7", "id = 7 in [session] is a number, not text", 'write it in quotes: id = "…"'),
    ('id = "s"', 'id = "a b"', "a b", "id = 'a b' in [session] is no id", "letters, digits, - and _"),
    ('id = "s"', 'id = ""', 'id = ""', "id = '' in [session] is empty", "fill id in, or leave the line out"),
    ('id = "s"', 'id = "s"\ndate = 10:00:00', "date", "date = 10:00:00 in [session] is a time of day, not text", "in"),
    (
        'id = "r"',
        'id = "r"\nsize_m = [7, 5]',
        "size_m",
        "= [7, 5] in [room] is not three numbers above 0",
        "length, wi",
    ),
    ('id = "r"', 'id = "r"\nsize_m = [7, 5, 0]', "size_m", "[7, 5, 0] in [room] is not three numbers", "size_m = [len"),
    (
        'id = "r"',
        'id = "r"\nsize_m = 7',
        "size_m",
        "size_m = 7 in [room] is not three numbers above 0",
        "size_m = [len",
    ),
    (
        'id = "r"',
        'id = "r"\ntemperature_c = 294',
        "temp",
        "= 294 in [room] is out of range",
        "at least -50 and at most 70",
    ),
    ("[seats.B]", "[seats.B]\nweight = -0.5", "weight", "= -0.5 in [seats.B] is out of range", "at least 0"),
    ("[seats.B]", "[seats.B]\nposition_m = [1, 2, '3']", "posi", "is not three numbers", "position_m = [x, y, z]"),
    ("[seats.B]", '[seats."B b"]', "B b", "'B b' in [seats] is no id", "letters, digits, - and _"),
    ("[seats.B]", "[seats]\nB = 3", "B = 3", "B is a number (3), not a table", "write [seats.B]"),
    (
        "[conditions.in]",
        "[conditions.in]\nreference = 1",
        "= 1\n",
        "= 1 in [conditions.in] is a number, not true",
        "= true",
    ),
    (
        "[conditions.in]",
        "[conditions.in]\ntrim_db = '1'",
        "trim",
        "= '1' in [conditions.in] is text, not a number",
        "= 1",
    ),
    ('[room]\nid = "r"', "[[room]]\nid = 'r'", "[[room]]", "room is a list ([[room]]), not a table", "write [room]"),
    ("[[scores]]", "[scores]", "[scores]", "scores is a table, not a list of tables", "write [[scores]] with two"),
    ("alpha = 0.05", "alpha = 5", "alpha", "alpha = 5 in [criteria] is out of range", "above 0 and below 1"),
    ("alpha = 0.05", "confidence = 1.0", "confi", "= 1.0 in [criteria] is out of range", "above 0 and below 1"),
    ("alpha = 0.05", "guard_db = 0.0", "guard", "guard_db = 0.0 in [criteria] is out of range", "above 0"),
    ("alpha = 0.05", "level_tolerance_db = -1", "level", "= -1 in [criteria] is out of range", "above 0"),
    ("alpha = 0.05", "corner_tolerance_octaves = 0", "corner", "= 0 in [criteria] is out of range", "above 0"),
    ("alpha = 0.05", "smallest_change_db = 0", "small", "= 0 in [criteria] is out of range", "above 0"),
    ("alpha = 0.05", "min_snr_db = -1", "min", "= -1 in [criteria] is out of range", "at least 0"),
    ("alpha = 0.05", "bass_band_hz = [200, 20]", "bass", "= [200, 20] in [criteria] does not rise", "[lower, upper]"),
    (
        "alpha = 0.05",
        "guard_band_hz = [0, 20]",
        "guard",
        "= [0, 20] in [criteria] is not two numbers above 0",
        "upper]",
    ),
]
# (written, on the line with, what, try): in place of one line of the base, or before it
MEASUREMENT_WORDS = [
    ('kind = "respons"', "kind", "= 'respons' in [[measurements]] is not a known word", "'response'?"),
    ('point = "seats"', "point", "= 'seats' in [[measurements]] is not a known word", "'seat'?"),
    ('playing = "mane"', "playing", "= 'mane' in [[measurements]] is not a known", "'main'?"),
    ('repeats = "in place"', "repeats", "= 'in place' in [[measurements]] is not", "'in-place'?"),
    ('delimiter = "semi"', "deli", "= 'semi' in [[measurements]] is no delimiter", "'semicolon'?"),
    ('decimal = ";"', "deci", "= ';' in [[measurements]] is no decimal mark", 'decimal = "."'),
    (
        'decimal = ","\ndelimiter = "comma"',
        "decimal",
        "= ',' in [[measurements]] is the delimiter too",
        "write delimiter",
    ),
    ("columns = { level = 3 }", "columns", "level = 3 in columns of [[measurements]] is a number", "in quotes"),
    ('columns = "dB"', "columns", "columns is text ('dB'), not a table", "columns of [[measurements]]"),
    ('condition = "in"', "condition =", "is said twice: files has {condition} too", "leave out condition"),
    ("full_scale_pa = 1\nfull_scale_v = 1", "_v", "stands beside full_scale_pa", "in Pa or in V"),
    ("full_scale_pa = 0", "_pa", "= 0 in [[measurements]] is out of range", "above 0"),
    ("calibrator_db = 94", "calib", "= 94 in [[measurements]] has no recording", "calibrator ="),
]
SCORE_WORDS = [
    ('method = "axb"', "method", "method = 'axb' in [[scores]] is not a known word", "'abx'?"),
    ('method = "abx"\norder = "free"', "order", "= 'free' in [[scores]] is not", "balanced, independent"),
    ('method = "grading"\nscale = "qualty"', "scale", "scale = 'qualty' in [[scores]] is not a known", "'quality'?"),
    (
        'method = "abx"\nscale = "quality"',
        "scale",
        "= 'quality' in [[scores]] does not belong to method 'abx'",
        "leave it out",
    ),
    ('method = "abx"\nreference = "aut"', '= "aut"', "= 'aut' in [[scores]] names no condition", "did you mean 'out'?"),
    (
        'method = "abx"\ntreatment = "inn"',
        "inn",
        "treatment = 'inn' in [[scores]] names no condition",
        "did you mean 'in'?",
    ),
    (
        'method = "abx"\nreference = "in"\ntreatment = "in"',
        "treat",
        "= 'in' in [[scores]] is the reference too",
        "two different",
    ),
    ('method = "abx"\nseat = "C"', "seat =", "seat = 'C' in [[scores]] names no seat", "known: A, B"),
]
CRITERIA_WORDS = [
    ('level_measure = "loud"', "level", "= 'loud' in [criteria] is not a known word", "'loudness'?"),
    ('require = ["herd"]', "req", "require in [criteria] has 'herd', which is not a known", "'heard'?"),
    ('benefit = [\n"better",\n3]', "3]", "benefit in [criteria] has 3, which is not a known word", "known: as-set"),
    ('benefit = "better"', "benefit", "= 'better' in [criteria] is text, not a list of words", '["…", "…"]'),
    ('benefit = ["relief", "relief"]', "benefit", "has 'relief' twice", "say it once"),
]
WORDS = [
    *(("[[scores]]", f"{written}\n[[scores]]", *rest) for written, *rest in MEASUREMENT_WORDS),
    *(('method = "abx"', written, *rest) for written, *rest in SCORE_WORDS),
    *(("alpha = 0.05", written, *rest) for written, *rest in CRITERIA_WORDS),
]
CONDITIONS = [
    (
        "reference = true",
        "",
        "[conditions.out]",
        "no condition is the reference; there are 'out' (line 8), 'in' (line 10)",
        "write reference = true in the one that the others are compared with",
    ),
    (
        "[conditions.in]",
        "[conditions.in]\nlabel = 'In'\nreference = true # too",
        "# too",
        "2 conditions are the reference: 'out' (line 9), 'in' (line 12)",
        "leave reference = true in one of them",
    ),
]


@pytest.mark.parametrize(
    ("old", "new", "at", "what", "try_"), [*UNKNOWN, *MISSING, *SHAPES, *WORDS, *CONDITIONS], ids=lambda text: text[:40]
)
def test_one_fault_is_told_once_with_its_line(
    tmp_path: Path, old: str, new: str, at: str, what: str, try_: str
) -> None:
    text = changed(old, new)
    [problem] = problems_of(tmp_path, text)
    line = line_of(text, at) if not at.endswith("\n") else text.split("\n").index("reference = 1") + 1
    assert_told(problem, what, line, try_)


def test_all_faults_are_told_in_the_order_of_the_lines(tmp_path: Path) -> None:
    text = changed("setting_kohm = 47", "setting_kohm = -1").replace("alpha = 0.05", "alpha = 7\nbeta = 1")
    text = text.replace("[seats.B]", "[seats.B]\nweight = -1").replace('id = "s"', "id = 3")
    lines = [3, 7, 13, 20, 21]
    assert [problem.where for problem in problems_of(tmp_path, text)] == [f"session.toml, line {n}" for n in lines]


def test_a_later_format_is_not_picked_apart(tmp_path: Path) -> None:
    [problem] = problems_of(tmp_path, "format = 3\nnew_table = {}\n", ())
    assert problem.what == "format = 3 was made by a later version; this one reads format 1"


def test_one_condition_makes_no_comparison(tmp_path: Path) -> None:
    text = 'format = 1\nsession.id = "s"\nroom.id = "r"\n[conditions.out]\nreference = true\n'
    [problem] = problems_of(tmp_path, text, ())
    assert problem.what == "there is one condition only, 'out'"
    assert problem.where == "session.toml, line 4"
    assert "[conditions.in]" in problem.try_


@pytest.mark.parametrize(
    ("more", "what"),
    [
        ("", "there are no conditions in session.toml"),
        ("conditions = {}\n", "there are no conditions in session.toml"),
        ("conditions = 3\n", "conditions is a number (3), not a table"),
    ],
)
def test_no_conditions_are_told(tmp_path: Path, more: str, what: str) -> None:
    [problem] = problems_of(tmp_path, f'{more}format = 1\nsession.id = "s"\nroom.id = "r"\n', ())
    assert (problem.what, problem.where) == (what, "session.toml, line 1")


@pytest.mark.parametrize(
    ("data", "what", "where"),
    [
        (b"format = \n", "session.toml is not TOML: Invalid value", "session.toml, line 1, column 10"),
        (
            b'format = 1\nid = "s\n',
            "session.toml is not TOML: Illegal character '\\n'",
            "session.toml, line 2, column 8",
        ),
        (b"a = 1\nb = [1,\n", "session.toml is not TOML: Invalid value", "session.toml, line 3, column 1"),
        (b"a = 1\na = 2\n", "session.toml is not TOML: Cannot overwrite a value", "session.toml, line 2, column 6"),
        (b"a = 1" + b"0" * 5000, "session.toml is not TOML: Exceeds the limit", "session.toml"),
        (b"a = " + b"[" * 50_000, "session.toml is not TOML: lists or tables stand too deep", "session.toml"),
        (b"format = 1\n# K\xfcche\n", "session.toml is not UTF-8: byte 0xfc", "session.toml, line 2"),
    ],
)
def test_what_is_no_toml_is_told_with_its_place(tmp_path: Path, data: bytes, what: str, where: str) -> None:
    (tmp_path / "session.toml").write_bytes(data)
    found = load_session(tmp_path)
    [problem] = found.problems
    assert found.session is None
    assert problem.what.startswith(what)
    assert problem.where == where
    assert problem.try_


@pytest.mark.parametrize("make_folder", [False, True])
def test_a_missing_session_toml_is_told(tmp_path: Path, make_folder: bool) -> None:
    if make_folder:
        (tmp_path / "session.toml").mkdir()
    [problem] = load_session(tmp_path).problems
    assert problem.what == f"there is no session.toml in {str(tmp_path)!r}"
    assert problem.where == str(tmp_path)
