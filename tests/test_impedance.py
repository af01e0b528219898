"""Checks of the impedance that a chain names: its dialects, faults with their line, and what is kept of it."""

from __future__ import annotations

from pathlib import Path

import pytest
from session_text import HEAD

from fairhearing.errors import ImportProblem
from fairhearing.impedance import read_impedance
from fairhearing.importing import read_session
from fairhearing.manifest import load_session
from fairhearing.session import Session
from fairhearing.store.codec import decode, encode

ROWS = ((20.0, 7.1, 12.0), (60.0, 31.5, 0.0), (200.0, 6.6, -15.5), (1000.0, 7.25, 8.0))
MANIFEST = f"""{HEAD}[chain]
loudspeaker_impedance = "boxes/z.csv"
[conditions.out]
reference = true
[conditions.in]
"""


def written(folder: Path, text: str) -> Path:
    (folder / "boxes").mkdir(exist_ok=True)
    (folder / "boxes" / "z.csv").write_text(text, encoding="utf-8")
    (folder / "session.toml").write_text(MANIFEST)
    return folder


def lines(separator=",", header="", decimal=".", columns=3):
    rows = [separator.join(f"{value:g}".replace(".", decimal) for value in row[:columns]) for row in ROWS]
    return "\n".join([*([header] if header else []), *rows]) + "\n"


@pytest.mark.parametrize(
    "text",
    [
        lines(),
        lines(header="Hz,ohm,deg"),
        lines(";", "Frequency (Hz);Impedance (Ohm);Phase (deg)", ","),
        lines("\t", "f [Hz]\t|Z| [Ω]\tPhase [°]"),
        "# measured in free air\n" + lines("  "),
        lines().replace("\n", "\r\n"),
        "\ufeff" + lines(header="freq,impedance,degrees"),
    ],
)
def test_each_dialect_gives_the_same_table(tmp_path, text):
    found = read_impedance(written(tmp_path, text), "boxes/z.csv").table
    assert (found.frequency_hz, found.magnitude_ohm, found.phase_deg) == tuple(zip(*ROWS, strict=True))


def test_without_a_third_column_there_is_no_phase(tmp_path):
    found = read_impedance(written(tmp_path, lines(columns=2)), "boxes/z.csv").table
    assert found.phase_deg is None
    assert found.magnitude_ohm == (7.1, 31.5, 6.6, 7.25)


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ("Hz,dB\n" + lines(columns=2), 1, "'dB' where the impedance was looked for"),
        ("kHz,ohm\n" + lines(columns=2), 1, "'kHz' where the frequency"),
        (lines().replace("31.5", "x"), 2, "'x' is not a finite number"),
        (lines().replace("31.5", "inf"), 2, "'inf' is not a finite number"),
        (lines().replace("31.5", "0"), 2, "is 0 ohm, not above 0"),
        (lines().replace("60,", "20,"), 2, "20 Hz does not rise"),
        (lines().replace("20,", "0,", 1), 1, "0 Hz, not above 0"),
        (lines().replace("-15.5", "-95"), 3, "-95 degrees"),
        (lines().replace(",-15.5", ""), 3, "2 columns, the first one has 3"),
        (lines().replace("60,", "60,1,"), 2, "has 4 columns"),
        ("\n".join(lines().split("\n")[:3]), 3, "at least 4"),
        ("", 1, "0 rows"),
    ],
)
def test_a_fault_is_told_with_its_line(tmp_path, text, line, words):
    with pytest.raises(ImportProblem) as raised:
        read_impedance(written(tmp_path, text), "boxes/z.csv")
    assert words in raised.value.what
    assert raised.value.where == f"boxes/z.csv, line {line}"
    assert "Hz and ohm" in raised.value.try_


def test_text_in_another_encoding_is_told(tmp_path):
    written(tmp_path, "")
    (tmp_path / "boxes" / "z.csv").write_bytes(b"Hz,ohm\n20,7\xe9\n")
    with pytest.raises(ImportProblem, match="not UTF-8"):
        read_impedance(tmp_path, "boxes/z.csv")


def test_the_table_is_part_of_the_session_and_a_source_with_its_hash(tmp_path):
    content = read_session(written(tmp_path, lines()), [])
    assert content.problems == ()
    session = content.session
    assert session is not None
    assert [one.path for one in session.impedances] == ["boxes/z.csv"]
    assert session.impedance_of(session.reference.chain) is session.impedances[0]
    (note,) = content.sources
    assert (note.path, note.importer, len(note.sha256)) == ("boxes/z.csv", "impedance", 64)
    assert decode(Session, encode(session)).impedances == session.impedances


def test_the_named_file_is_not_warned_of_as_matched_by_nothing(tmp_path):
    loaded = load_session(written(tmp_path, lines()))
    assert loaded.session is not None
    assert loaded.session.warnings == ()


def test_a_table_that_is_not_there_is_told_with_the_line_and_the_nearest(tmp_path):
    written(tmp_path, lines())
    (tmp_path / "boxes" / "z.csv").rename(tmp_path / "boxes" / "zz.csv")
    (problem,) = load_session(tmp_path).problems
    assert problem.where == "session.toml, line 7"
    assert "is no file of the session folder" in problem.what
    assert "boxes/zz.csv" in problem.try_


def test_a_condition_may_have_a_loudspeaker_of_its_own(tmp_path):
    written(tmp_path, lines())
    (tmp_path / "other.csv").write_text(lines(columns=2))
    with (tmp_path / "session.toml").open("a") as file:
        file.write('[conditions.in.chain]\nloudspeaker_impedance = "./other.csv"\n')
    content = read_session(tmp_path, [])
    assert content.problems == ()
    assert content.session is not None
    tables = [content.session.impedance_of(condition.chain) for condition in content.session.conditions]
    assert [table.path for table in tables if table is not None] == ["boxes/z.csv", "other.csv"]


def test_a_bad_table_is_a_problem_of_the_import(tmp_path):
    content = read_session(written(tmp_path, lines().replace("31.5", "x")), [])
    assert [problem.where for problem in content.problems] == ["boxes/z.csv, line 2"]
