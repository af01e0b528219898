"""Whatever stands in session.toml, the answer is a session or problems, never a traceback."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fairhearing.manifest import LoadedSession, load_session

TEXT = """\
format = 1
[session]
id = "s"
date = 2026-05-09
question = "Is it better?"
[room]
id = "r"
size_m = [7.4, 5.1, 2.9]
temperature_c = 21.0
[chain]
design_corner_hz = 90.0
bass_given_back = true
[conditions.out]
reference = true
label = "Filter out"
[conditions.in]
trim_db = 0.0
chain = { setting_kohm = 20 }
[seats.A]
position_m = [3.2, 1.4, 1.15]
weight = 1.0
[[measurements]]
files = "m/{seat}_{condition}_{repeat}.csv"
kind = "response"
columns = { frequency = "Hz", level = "dB" }
delimiter = ","
microphone = "mic.csv"
full_scale_pa = 2
[[scores]]
files = "abx.csv"
method = "abx"
treatment = "in"
[criteria]
bass_band_hz = [20.0, 200.0]
target = "flat"
level_measure = "midband"
alpha = 0.05
require = ["as-set", "untouched"]
"""
ODD_VALUES = ("3", "-1", "nan", "true", "'x'", "''", "[]", "[1, 'a', {}]", "{}", "{ a.b = 1 }", "10:00:00", "'\\n'")


def loaded(folder: Path, text: str) -> LoadedSession:
    (folder / "m").mkdir(exist_ok=True)
    for path in ("m/A_in_1.csv", "m/A_out_1.csv", "abx.csv", "mic.csv"):
        (folder / path).write_text(path)
    (folder / "session.toml").write_text(text, encoding="utf-8")
    found = load_session(folder)
    assert (found.session is None) == bool(found.problems)
    for problem in found.problems:
        assert re.fullmatch(r"session\.toml(, line \d+(, column \d+)?)?", problem.where)
    return found


def test_the_text_of_these_cases_has_no_fault(tmp_path: Path) -> None:
    assert loaded(tmp_path, TEXT).problems == ()


@settings(derandomize=True, deadline=None, max_examples=60)
@given(st.integers(0, len(TEXT)), st.integers(0, 30), st.sampled_from(("", "\x00", '"', "[", *ODD_VALUES)))
def test_a_text_with_a_piece_taken_out_or_put_in_never_raises(
    tmp_path_factory: pytest.TempPathFactory, start: int, n_removed: int, put: str
) -> None:
    folder = tmp_path_factory.getbasetemp() / "odd"
    folder.mkdir(exist_ok=True)
    loaded(folder, TEXT[:start] + put + TEXT[start + n_removed :])


@pytest.mark.parametrize("line", [line for line in TEXT.split("\n") if "=" in line])
def test_an_odd_value_of_any_key_never_raises(tmp_path: Path, line: str) -> None:
    for value in ODD_VALUES:
        loaded(tmp_path, TEXT.replace(line, f"{line.split('=')[0]}= {value}", 1))


@pytest.mark.parametrize("table", ["session", "room", "chain", "conditions.in", "seats.A", "criteria"])
def test_a_list_of_tables_for_a_table_is_told_once(tmp_path: Path, table: str) -> None:
    problems = loaded(tmp_path, TEXT.replace(f"[{table}]", f"[[{table}]]")).problems
    line = TEXT.split("\n").index(f"[{table}]") + 1
    told = [problem for problem in problems if problem.where == f"session.toml, line {line}"]
    assert [problem.what.split(" (")[0] for problem in told] == [f"{table.split('.')[-1]} is a list"]
    assert told[0].try_ == f"write [{table}]"


@pytest.mark.parametrize("depth", [10, 100, 200, 300, 400, 600, 2000])
def test_lists_that_stand_deep_in_each_other_are_a_problem(tmp_path: Path, depth: int) -> None:
    [problem] = loaded(tmp_path, TEXT.replace('"Is it better?"', "[" * depth + "]" * depth)).problems
    assert "is a list, not text" in problem.what or "too deep" in problem.what
