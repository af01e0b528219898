"""Score sheets: the same trials from every kind of file, and what each method allows."""

from __future__ import annotations

import csv
import io

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from odf.opendocument import OpenDocumentSpreadsheet
from odf.table import Table, TableCell, TableRow
from odf.text import P

from fairhearing.api import MeasurementFile, SourceFile
from fairhearing_builtins.importers.score_sheet import ScoreSheet, fairhearing_importers

ROWS = (
    ("Listener", " TRIAL ", "Programme", "seat", "x", "answer", "Remark"),
    ("007", "1", "organ", "A", "in", "in", "calm"),
    ("007", "2", "organ", "A", "out", "in", "a, b; c"),
    ("12", "1", "", "sofa", "in", "", ""),
)
EXPECTED = {
    "listener": ("007", "007", "12"),
    "trial": ("1", "2", "1"),
    "programme": ("organ", "organ", None),
    "seat": ("A", "A", "sofa"),
    "x": ("in", "out", "in"),
    "answer": ("in", "in", None),
    "Remark": ("calm", "a, b; c", None),
}


def delimited(rows, delimiter=",", newline="\n"):
    text = io.StringIO()
    csv.writer(text, delimiter=delimiter, lineterminator=newline).writerows(rows)
    return text.getvalue()


def xlsx(*sheets, numbers=(), above=0):
    book = openpyxl.Workbook()
    book.remove(book.active)
    for i, rows in enumerate(sheets):
        sheet = book.create_sheet(f"Sheet {i + 1}")
        for r, row in enumerate(rows, start=1 + above):
            for c, value in enumerate(row, start=1):
                if value != "":
                    sheet.cell(r, c, float(value) if r > 1 + above and c - 1 in numbers else value)
    data = io.BytesIO()
    book.save(data)
    return data.getvalue()


def ods(rows, numbers=()):
    document, table = OpenDocumentSpreadsheet(), Table(name="Trials")
    for r, row in enumerate(rows):
        line = TableRow()
        for c, value in enumerate(row):
            number = r > 0 and c in numbers
            cell = TableCell(valuetype="float", value=float(value)) if number else TableCell(valuetype="string")
            cell.addElement(P(text=value))
            line.addElement(cell if value else TableCell())
        table.addElement(line)
    document.spreadsheet.addElement(table)
    data = io.BytesIO()
    document.save(data)
    return data.getvalue()


SHEETS = {
    "CSV": delimited(ROWS),
    "semicolon": delimited(ROWS, ";"),
    "TSV": delimited(ROWS, "\t"),
    "CRLF": delimited(ROWS, newline="\r\n"),
    "no line end": delimited(ROWS).rstrip("\n"),
    "byte order mark": "\ufeff" + delimited(ROWS),
    "UTF-16": delimited(ROWS, "\t").encode("utf-16"),
    "blanks around": delimited([[f"  {cell} " for cell in row] for row in ROWS]),
    "empty rows": delimited([*ROWS, [""] * 7, [""] * 7]),
    "empty columns": delimited([[*row, "", ""] for row in ROWS]),
    "XLSX, text": xlsx(ROWS),
    "XLSX, trials as numbers": xlsx(ROWS, numbers={1}),
    "XLSX, empty rows above": xlsx(ROWS, above=3),
    "ODS, text": ods(ROWS),
    "ODS, trials as numbers": ods(ROWS, numbers={1}),
}


@pytest.mark.parametrize("kind", SHEETS)
def test_every_kind_of_file_gives_the_same_trials(kind, read_scores):
    reading = read_scores(SHEETS[kind])
    assert reading.problem is None, str(reading.problem)
    assert reading.content.columns == EXPECTED
    first = 5 if kind.endswith("above") else 2
    assert reading.content.lines == (first, first + 1, first + 2)
    assert reading.caveats == ()


def test_other_letters_survive(read_scores):
    rows = [(*ROWS[0][:6], "Größe"), (*ROWS[1][:6], "größer"), *ROWS[2:]]
    for content in (delimited(rows).encode(), delimited(rows).encode("latin-1"), xlsx(rows), ods(rows)):
        assert read_scores(content).content.columns["Größe"][0] == "größer"


def test_further_filled_sheets_are_a_caveat(read_scores):
    reading = read_scores(xlsx([], ROWS, [("notes",)]))
    assert reading.content.columns == EXPECTED
    assert reading.caveats == ("only its first sheet 'Sheet 2' was read, not 'Sheet 3'",)


def test_columns_map_other_names(read_scores):
    content = delimited([("Person", "No", "X", "Antwort"), ("p1", "1", "in", "in")], ";")
    reading = read_scores(content, columns=(("listener", "person"), ("trial", "No"), ("answer", "Antwort")))
    assert reading.content.columns == {"listener": ("p1",), "trial": ("1",), "x": ("in",), "answer": ("in",)}


def test_the_file_name_fills_missing_columns(read_scores):
    content = "trial,x,answer,seat\n1,in,in,\n2,in,in,B\n"
    columns = read_scores(content, listener="p1", seat="B", programme="organ").content.columns
    assert columns["listener"] == ("p1", "p1")
    assert columns["seat"] == ("B", "B")
    assert columns["programme"] == ("organ", "organ")


def test_programme_and_seat_may_be_absent(read_scores):
    assert set(read_scores("listener,trial,x,answer\np1,1,in,in\n").content.columns) == {
        "listener",
        "trial",
        "x",
        "answer",
    }


def test_a_quoted_cell_of_two_lines_keeps_the_line_numbers(read_scores):
    content = 'listener,trial,x,answer,note\np1,1,in,in,"one\ntwo"\np1,2,in,in,\n\np1,3,nowhere,in,\n'
    assert read_scores(content.replace("nowhere", "in")).content.lines == (2, 4, 6)
    assert read_scores(content).problem.where == "s.csv, line 6, column 3 (x)"


HEADERS = {
    "abx": "listener,trial,x,answer",
    "same-different": "listener,trial,first,second,answer",
    "triangle": "listener,trial,order,answer",
    "duo-trio": "listener,trial,standard,first,second,answer",
    "tetrad": "listener,trial,order,answer",
    "paired-preference": "listener,trial,first,second,preferred",
    "impairment": "listener,trial,condition,rating",
    "quality": "listener,trial,condition,rating",
    "comparison": "listener,trial,first,second,rating",
}


def sheet(method, row):
    """Header, one row, and how `read_scores` is to be called."""
    scale = method if method in ("impairment", "quality", "comparison") else None
    return f"{HEADERS[method]}\np1,1,{row}\n", {"method": "grading" if scale else method, "scale": scale}


# method, cells behind listener and trial, the last columns as they are read
ALLOWED = [
    ("abx", "in,out", ("in", "out")),
    ("abx", "in,", ("in", None)),
    ("same-different", "in,in,same", ("in", "in", "same")),
    ("same-different", "in,out,Different", ("in", "out", "different")),
    ("same-different", "in,out,", ("in", "out", None)),
    ("triangle", "in out out,1", ("in out out", "1")),
    ("triangle", "out-in-out,2", ("out in out", "2")),
    ("triangle", "out / out / in,3", ("out out in", "3")),
    ("triangle", '"in, in,out",3', ("in in out", "3")),
    ("triangle", "in  in out,", ("in in out", None)),
    ("duo-trio", "in,in,out,1", ("in", "in", "out", "1")),
    ("duo-trio", "in,out,in,", ("in", "out", "in", None)),
    ("tetrad", "in out out in,1 4", ("in out out in", "1 4")),
    ("tetrad", "out-in-out-in,3-1", ("out in out in", "1 3")),
    ("tetrad", 'in / in / out / out,"2, 1"', ("in in out out", "1 2")),
    ("tetrad", "in in out out,34", ("in in out out", "3 4")),
    ("tetrad", "out out in  in,", ("out out in in", None)),
    ("paired-preference", "in,out,out", ("in", "out", "out")),
    ("paired-preference", "in,out,None", ("in", "out", "none")),
    ("paired-preference", "in,out,", ("in", "out", None)),
    ("impairment", "in,1", ("in", "1")),
    ("impairment", "in,5.0", ("in", "5.0")),
    ("impairment", 'in,"4,5"', ("in", "4.5")),
    ("quality", "out,100", ("out", "100")),
    ("quality", "out,0", ("out", "0")),
    ("comparison", "in,out,-3", ("in", "out", "-3")),
    ("comparison", "in,out,+3", ("in", "out", "+3")),
    ("comparison", "in,out,", ("in", "out", None)),
]


@pytest.mark.parametrize(("method", "row", "expected"), ALLOWED)
def test_what_a_method_allows_is_read(method, row, expected, read_scores):
    content, how = sheet(method, row)
    reading = read_scores(content, **how)
    assert reading.problem is None, str(reading.problem)
    assert tuple(values[0] for values in reading.content.columns.values())[2:] == expected


# method, cells, what must be said, the column, what to try
FORBIDDEN = [
    ("abx", "inn,in", "unknown condition 'inn'", "column 3 (x)", "'in'"),
    ("abx", "in,IN", "unknown condition 'IN'", "column 4 (answer)", "known: in, out"),
    ("abx", ",in", "the x is empty", "column 3 (x)", "fill"),
    ("same-different", "in,out,equal", "'equal' is none of same, different", "column 5 (answer)", "same, different"),
    ("same-different", "in,,same", "the second is empty", "column 4 (second)", "fill"),
    ("triangle", "in out out,4", "'4' is none of 1, 2, 3", "column 4 (answer)", "1, 2, 3"),
    ("triangle", "in out out,0", "'0' is none of 1, 2, 3", "column 4 (answer)", "1, 2, 3"),
    ("triangle", "in out out,1.5", "'1.5' is none of", "column 4 (answer)", "1, 2, 3"),
    ("triangle", "in out,1", "'in out' is not three conditions", "column 3 (order)", "'in out out'"),
    ("triangle", "in out otu,1", "is not three conditions", "column 3 (order)", "'out'"),
    ("triangle", "in in in,1", "has 1 different conditions, not two", "column 3 (order)", "twice"),
    ("triangle", "inoutout,1", "is not three conditions", "column 3 (order)", "blanks"),
    ("duo-trio", "in,in,out,3", "'3' is none of 1, 2", "column 6 (answer)", "1, 2"),
    ("duo-trio", "in,out,out,1", "must match one of first 'out' and second 'out'", "column 3 (standard)", "again"),
    ("duo-trio", "in,in,in,1", "and one only", "column 3 (standard)", "two conditions"),
    ("tetrad", "in out out,1 2", "'in out out' is not four conditions", "column 3 (order)", "'in out out in'"),
    ("tetrad", "in out otu in,1 4", "is not four conditions", "column 3 (order)", "'out'"),
    ("tetrad", "in out out out,1 4", "is not two conditions twice each", "column 3 (order)", "twice"),
    ("tetrad", "in in in in,1 4", "is not two conditions twice each", "column 3 (order)", "twice"),
    ("tetrad", "in out out in,1 1", "'1 1' does not name two", "column 4 (answer)", "'1 4'"),
    ("tetrad", "in out out in,1 5", "'1 5' does not name two", "column 4 (answer)", "'1 4'"),
    ("tetrad", "in out out in,4", "'4' does not name two", "column 4 (answer)", "belong together"),
    ("tetrad", "in out out in,1.4", "'1.4' does not name two", "column 4 (answer)", "belong together"),
    ("paired-preference", "in,out,first", "neither first 'in' nor second 'out'", "column 5 (preferred)", "or none"),
    ("paired-preference", "in,in,out", "neither first 'in' nor second 'in'", "column 5 (preferred)", "or none"),
    ("impairment", "in,0.9", "'0.9' is outside the scale 'impairment' (1 to 5)", "column 4 (rating)", "1 to 5"),
    ("impairment", "in,5.1", "'5.1' is outside", "column 4 (rating)", "1 to 5"),
    ("impairment", "in,good", "'good' is not a number", "column 4 (rating)", "1 to 5"),
    ("impairment", "in,nan", "'nan' is not a number", "column 4 (rating)", "1 to 5"),
    ("quality", "in,101", "'101' is outside", "column 4 (rating)", "0 to 100"),
    ("quality", "in,-1", "'-1' is outside", "column 4 (rating)", "0 to 100"),
    ("comparison", "in,out,3.5", "'3.5' is outside", "column 5 (rating)", "-3 to 3"),
    ("comparison", "in,owt,3", "unknown condition 'owt'", "column 4 (second)", "'out'"),
]


@pytest.mark.parametrize(("method", "row", "what", "column", "try_"), FORBIDDEN)
def test_what_a_method_forbids_is_told_with_its_cell(method, row, what, column, try_, read_scores):
    content, how = sheet(method, row)
    reading = read_scores(content, **how)
    assert reading.content is None
    assert what in reading.problem.what
    assert reading.problem.where == f"s.csv, line 2, {column}"
    assert try_ in reading.problem.try_


ABX = "listener,trial,seat,x,answer\n"
BAD_SHEETS = {
    "empty": (b"", "the file is empty (0 bytes)", "line 1"),
    "blank lines": ("\n\n", "the sheet is empty", "line 1"),
    "header only": (ABX, "no trial below it", "line 1"),
    "binary": (b"listener\x00,trial", "byte 0x00 at offset 8", "line 1"),
    "missing column": ("listener,trail,x,answer\np,1,in,in\n", "no column 'trial'", "line 1"),
    "no header": ("p1,1,A,in,in\n", "no column 'listener'", "line 1"),
    "column twice": ("listener,trial,x,X,answer\np,1,in,in,in\n", "two columns are 'x'", "line 1, column 4"),
    "column without name": ("listener,trial,,x,answer\np,1,what,in,in\n", "'what' stands in", "line 2, column 3"),
    "unknown seat": (ABX + "p,1,A,in,in\np,2,sofaa,in,in\n", "unknown seat 'sofaa'", "line 3, column 3 (seat)"),
    "empty listener": (ABX + " ,1,A,in,in\n", "the listener is empty", "line 2, column 1 (listener)"),
    "empty trial": (ABX + "p,,A,in,in\n", "the trial is empty", "line 2, column 2 (trial)"),
    "trial twice": (ABX + "p,1,A,in,in\nq,1,A,in,in\np,1,B,in,in\n", "here and in s.csv, line 2", "line 4"),
    "extra cell": (ABX + "p,1,A,in,in,4,5\n", "7 cells where the header has 5", "line 2, column 6"),
    "too few cells": (ABX + "p,1,A,in,in\np,2,A\n", "3 cells where the header has 5", "line 3, column 4"),
    "open quote": (ABX + 'p,1,A,in,"in\n', "the quotes don't fit", "line 2"),
    "cut XLSX": (xlsx(ROWS)[:-400], "damaged or cut", "row 1"),
    "zip of other things": (b"PK\x03\x04" + b"x" * 60, "damaged or cut", "row 1"),
    "empty XLSX": (xlsx([]), "the sheet is empty", "row 1"),
    "unknown seat in XLSX": (xlsx([*ROWS, ("p", "1", "", "C", "in", "in")], above=2), "'C'", "row 7, column 4 (seat)"),
}


@pytest.mark.parametrize("case", BAD_SHEETS)
def test_every_fault_of_a_sheet_says_what_and_where(case, read_scores):
    content, what, where = BAD_SHEETS[case]
    reading = read_scores(content)
    assert reading.content is None
    assert what in reading.problem.what
    assert reading.problem.where == f"s.csv, {where}"
    assert reading.problem.try_


def test_a_missing_column_names_the_nearest_header(read_scores):
    problem = read_scores("listener,trail,x,answer\np,1,in,in\n").problem
    assert "did you mean 'trail'?" in problem.try_
    assert "columns = { trial" in problem.try_


def test_a_damaged_byte_in_a_spreadsheet_is_found(read_scores):
    data = bytearray(xlsx(ROWS))
    data[data.index(b"xl/worksheets/sheet1.xml") + 40] ^= 0xFF
    assert "damaged" in read_scores(bytes(data)).problem.what


def test_a_cell_that_contradicts_the_file_name_is_an_error(read_scores):
    problem = read_scores(ABX + "p1,1,A,in,in\n", listener="p2").problem
    assert problem.what == "the listener is 'p1', but 'p2' by the file's name"
    assert problem.where == "s.csv, line 2"


def test_an_unknown_seat_in_the_file_name_is_told_as_such(read_scores):
    assert read_scores("listener,trial,x,answer\np,1,in,in\n", seat="Z").problem.where.endswith(
        "(from the file's name)"
    )


def test_grading_without_a_scale_points_to_session_toml(read_scores):
    problem = read_scores("listener,trial,condition,rating\np,1,in,3\n", "grading").problem
    assert problem.where == "session.toml, line 9"
    assert "impairment" in problem.try_


def test_mapped_columns_that_are_not_there_are_an_error(read_scores):
    assert "'Persn'" in read_scores(ABX + "p,1,A,in,in\n", columns=(("listener", "Persn"),)).problem.what
    assert "'person'" in read_scores(ABX + "p,1,A,in,in\n", columns=(("person", "listener"),)).problem.what


def test_a_trial_given_twice_in_two_files_names_both(score_file, session):
    one = score_file(ABX + "p,1,A,in,in\np,2,A,in,in\n", path="one.csv")
    two = score_file(ABX + "p,3,A,in,in\np,2,A,in,in\n", path="two.csv")
    other_entry = score_file(ABX + "p,1,A,in,in\n", path="three.csv", entry=1)
    first, second, third = ScoreSheet().read([one, two, other_entry], session)
    assert first.problem is None
    assert third.problem is None
    assert "one.csv, line 3" in second.problem.what
    assert second.problem.where == "two.csv, line 3"


CELL = st.text(st.characters(blacklist_categories=("Cs", "Cc", "Zs", "Zl", "Zp")), min_size=1, max_size=8)


@given(cells=st.lists(CELL, min_size=1, max_size=6), delimiter=st.sampled_from(",;\t"))
def test_text_comes_through_unchanged(cells, delimiter, read_scores):
    rows = [("listener", "trial", "x", "answer", "note")]
    rows += [("p", str(i), "in", "out", cell) for i, cell in enumerate(cells)]
    reading = read_scores(delimited(rows, delimiter))
    assert reading.problem is None, str(reading.problem)
    assert reading.content.columns["note"] == tuple(cells)


@given(data=st.binary(max_size=200), start=st.sampled_from([b"", b"PK\x03\x04", ABX.encode()]))
def test_no_bytes_make_it_raise(data, start, read_scores):
    reading = read_scores(start + data)
    assert (reading.content is None) != (reading.problem is None)


@pytest.mark.parametrize(
    ("content", "path", "claims", "why"),
    [
        (ABX, "s.csv", True, "text"),
        (xlsx(ROWS), "s.xlsx", True, "XLSX"),
        (xlsx(ROWS), "s.dat", True, "XLSX"),
        (ods(ROWS), "s.dat", True, "ODS"),
        (b"PK\x03\x04....", "s.zip", False, "no XLSX or ODS"),
        (b"\xd0\xcf\x11\xe0....", "s.xls", False, "old binary spreadsheet"),
        (b"", "s.csv", False, "empty (0 bytes)"),
    ],
)
def test_recognition_says_why(content, path, claims, why, score_file):
    recognition = ScoreSheet().recognise(score_file(content, path=path))
    assert recognition.claims is claims
    assert why in recognition.why


def test_measurements_are_not_claimed():
    item = MeasurementFile(path="a.csv", line=1, entry=0)
    assert not ScoreSheet().recognise(SourceFile(item=item, path="a.csv", data=ABX.encode())).claims


def test_the_module_offers_one_importer():
    (importer,) = fairhearing_importers()
    assert (importer.name, importer.version, importer.kinds) == ("score-sheet", "1", {"scores"})
