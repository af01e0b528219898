"""Responses: every dialect gives the same curve, every fault is told with its line, and nothing else is read."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from fairhearing.api import MeasurementFile, ScoreFile, SourceFile
from fairhearing_builtins.importers.response_table import ResponseTable, fairhearing_importers

FREQUENCY_HZ = (20.0, 31.5, 70.1, 1000.0, 12500.0)
LEVEL_DB = (-3.25, 71.5, 80.125, 85.0, 60.75)
PHASE_DEG = (90.0, -45.5, 0.0, 179.5, -170.25)


def table(delimiter=",", decimal=".", header="", newline="\n", end=True, columns=(FREQUENCY_HZ, LEVEL_DB, PHASE_DEG)):
    """Rows written plainly with Python's own repr; shares nothing with the importer."""
    lines = [header] if header else []
    lines += [delimiter.join(repr(value).replace(".", decimal) for value in row) for row in zip(*columns, strict=True)]
    return newline.join(lines) + (newline if end else "")


DIALECTS = {
    "comma": table(),
    "comma and blank": table(", "),
    "semicolon": table(";"),
    "tab": table("\t"),
    "blank": table(" "),
    "blanks": table("    "),
    "semicolon, decimal comma": table(";", ","),
    "semicolon and blank, decimal comma": table("; ", ","),
    "tab, decimal comma": table("\t", ","),
    "blanks, decimal comma": table("  ", ","),
    "CRLF": table(newline="\r\n"),
    "CR": table(newline="\r"),
    "no line end": table(end=False),
    "indented": "  " + table("  ").replace("\n", "\n  "),
    "delimiter at the end": table().replace("\n", ",\n"),
    "quoted numbers": "\n".join('"' + line.replace(",", '","') + '"' for line in table(end=False).split("\n")),
    "header": table(header="Frequency,Level,Phase"),
    "header in capitals": table(header="FREQUENCY,LEVEL,PHASE"),
    "units in parentheses": table(header="Freq (Hz),Mag (dB),Phase (deg)"),
    "units in brackets": table(";", header="f [Hz];gain [dB SPL];phase [degrees]"),
    "units alone": table("\t", header="Hz\tdB\tdeg"),
    "units behind": table(header="frequency Hz,amplitude dBFS,phase degrees"),
    "units behind a stroke": table(header="f / Hz,magnitude / dB,phase / deg"),
    "units behind an underscore": table(header="frequency_hz,level_db,phase_deg"),
    "decibel reference": table(header="Hz,dB re 20 uPa,deg"),
    "quoted header": table(header='Frequency,"Level (dB)","Phase (deg)"'),
    "header of blanks": table("  ", header="Frequency (Hz)  Level (dB SPL)  Phase (deg)"),
    "header of blanks, units alone": table(" ", header="Frequency Hz Level dB Phase deg"),
    "decimal comma with header": table(";", ",", header="Hz;dB;deg"),
    "comments": "".join(f"{mark} made up, 3 rows\n" for mark in ("#", "*", ";", "%", "!", '"', "//")) + table(),
    "comments and header": "# made up\n\n" + table(header="Hz,dB,deg"),
    "commented header that agrees": "* Freq(Hz), Mag(dB), Phase(degrees)\n" + table(),
    "comment behind": table() + "# the end\n\n",
    "blank lines": table().replace("\n", "\n\n"),
    "byte order mark": "\ufeff" + table(header="Hz,dB,deg"),
    "end-of-file mark": table() + "\x1a",
    "signs and exponents": table(columns=([f"{f:+e}" for f in FREQUENCY_HZ], LEVEL_DB, PHASE_DEG)).replace("'", ""),
    "UTF-16": table().encode("utf-16"),
    "UTF-16 big endian": b"\xfe\xff" + table(header="Hz,dB,deg").encode("utf-16-be"),
    "UTF-16 without mark": table().encode("utf-16-le"),
    "UTF-16 big endian without mark": table().encode("utf-16-be"),
    "Latin-1": ("# 20 °C, gemäß Plan\n" + table(header="Hz,dB,°")).encode("latin-1"),
    "UTF-8": ("# 20 °C, gemäß Plan\n" + table(header="Hz,dB,°")).encode(),
    "other order": table(header="Phase,Level,Frequency", columns=(PHASE_DEG, LEVEL_DB, FREQUENCY_HZ)),
    "extra columns": table(
        header="coherence,f,Level,uncertainty (dB),Phase",
        columns=((0.5,) * 5, FREQUENCY_HZ, LEVEL_DB, (0.1,) * 5, PHASE_DEG),
    ),
    "extra columns without header": table(columns=(FREQUENCY_HZ, LEVEL_DB, PHASE_DEG, (0.5,) * 5)),
    "kilohertz": table(header="kHz,dB,deg", columns=((0.02, 0.0315, 0.0701, 1.0, 12.5), LEVEL_DB, PHASE_DEG)),
    "kilohertz with exponent": table(
        header="Frequency (kHz),dB,deg",
        columns=([2e-2, 3.15e-2, 7.01e-2, 1e0, 1.25e1], LEVEL_DB, PHASE_DEG),
    ),
}


@pytest.mark.parametrize("dialect", DIALECTS)
def test_every_dialect_gives_the_same_curve(dialect, read_response):
    reading = read_response(DIALECTS[dialect])
    assert reading.problem is None, str(reading.problem)
    assert reading.content.frequency_hz.tolist() == list(FREQUENCY_HZ)
    assert reading.content.level_db.tolist() == list(LEVEL_DB)
    assert reading.content.phase_deg.tolist() == list(PHASE_DEG)
    assert reading.caveats == ()


def test_radian_becomes_degree(read_response):
    radian = [math.pi / 2, -math.pi, 0.0, 1.0, -0.5]
    reading = read_response(table(header="Hz,dB,Phase (rad)", columns=(FREQUENCY_HZ, LEVEL_DB, radian)))
    # 1 rad = 180/pi degree: 57.29577951 (ISO 80000-3)
    assert reading.content.phase_deg == pytest.approx([90.0, -180.0, 0.0, 57.29577951, -28.64788976], abs=1e-8)


@pytest.mark.parametrize("header", ["Hz,Real,Imaginary", "f,re,im", "Frequency (Hz),Real (V),Imag (V)", "hz,re,IMAG"])
def test_real_and_imaginary_become_level_and_phase(header, read_response):
    reading = read_response(table(header=header, columns=(FREQUENCY_HZ, (10, 3, 0, -1, 0), (0, 4, 0.1, 0, -2))))
    # by hand: |z| = 10, 5, 0.1, 1, 2; 20 lg 5 = 13.97940009, 20 lg 2 = 6.02059991; atan(4/3) = 53.13010235 degree
    assert reading.content.level_db == pytest.approx([20.0, 13.97940009, -20.0, 0.0, 6.02059991], abs=1e-8)
    assert reading.content.phase_deg == pytest.approx([0.0, 53.13010235, 90.0, 180.0, -90.0], abs=1e-8)


def test_a_table_of_two_columns_has_no_phase(read_response):
    assert read_response(table(columns=(FREQUENCY_HZ, LEVEL_DB))).content.phase_deg is None


def test_a_first_row_at_0_hz_is_dropped_whatever_its_level(read_response):
    reading = read_response("Hz,dB\n0,-inf\n" + table(columns=(FREQUENCY_HZ, LEVEL_DB)))
    assert reading.content.frequency_hz.tolist() == list(FREQUENCY_HZ)
    assert reading.caveats == ("the row at 0 Hz (line 2) was dropped",)


def test_arrays_are_float64_contiguous_and_read_only(read_response):
    curve = read_response(table()).content
    for values in (curve.frequency_hz, curve.level_db, curve.phase_deg):
        assert values.dtype == np.float64
        assert values.flags.c_contiguous
        with pytest.raises(ValueError, match="read-only"):
            values[0] = 1.0


TWO = (FREQUENCY_HZ, LEVEL_DB)
OPTIONS = {
    "level named": (
        table(header="Hz,left (dB),right (dB)", columns=(FREQUENCY_HZ, PHASE_DEG, LEVEL_DB)),
        {"columns": (("level", "right (dB)"),)},
    ),
    "names of their own": (
        table(header="Ton;Pegel", delimiter=";", columns=TWO),
        {"columns": (("frequency", "ton"), ("level", "Pegel"))},
    ),
    "one of two levels": (
        table(header="Hz,dB,Level", columns=(FREQUENCY_HZ, LEVEL_DB, PHASE_DEG)),
        {"columns": (("level", "dB"),)},
    ),
    "commented header": (
        "# dB, Hz\n" + table(", ", columns=(LEVEL_DB, FREQUENCY_HZ)),
        {"columns": (("frequency", "Hz"), ("level", "dB"))},
    ),
    "decimal said": ("100,125;80,500\n200,250;81,125\n300,500;1,000\n400,000;2,000\n", {"decimal": ","}),
    "delimiter said": ("20,5,1,1\n25,7,1,1\n31,9,1,1\n40,2,1,1\n", {"delimiter": ","}),
    "another delimiter": (table("|", columns=TWO), {"delimiter": "|"}),
}
EXPECTED = {
    "decimal said": ([100.125, 200.25, 300.5, 400], [80.5, 81.125, 1, 2]),
    "delimiter said": ([20, 25, 31, 40], [5, 7, 9, 2]),
}


@pytest.mark.parametrize("case", OPTIONS)
def test_options_override_what_is_detected(case, read_response):
    content, options = OPTIONS[case]
    reading = read_response(content, **options)
    assert reading.problem is None, str(reading.problem)
    frequency, level = EXPECTED.get(case, TWO)
    assert reading.content.frequency_hz.tolist() == list(frequency)
    assert reading.content.level_db.tolist() == list(level)


GOOD = "20,80\n25,81\n31.5,82\n40,83\n"


@pytest.mark.parametrize(
    ("options", "what"),
    [
        ({"delimiter": ",", "decimal": ","}, "both ','"),
        ({"delimiter": "::"}, "'::'"),
        ({"decimal": "/"}, "'/'"),
        ({"columns": (("level", "Pegel"),)}, "'Pegel'"),
        ({"columns": (("levle", "dB"),)}, "'levle'"),
    ],
)
def test_options_that_fit_nothing_are_an_error(options, what, read_response):
    problem = read_response("Hz,dB\n" + GOOD, **options).problem
    assert problem is not None
    assert what in problem.what


def test_columns_for_a_file_without_a_header_are_an_error(read_response):
    problem = read_response(GOOD, columns=(("level", "dB"),)).problem
    assert problem is not None
    assert "no header" in problem.what


WRITTEN = ((",", "."), (";", "."), (";", ","), ("\t", "."), (" ", ","), (" ", "."))


@st.composite
def curves(draw):
    n_rows = draw(st.integers(4, 30))
    steps = draw(st.lists(st.floats(1e-3, 1e3), min_size=n_rows, max_size=n_rows))
    level = draw(st.lists(st.floats(-200, 200), min_size=n_rows, max_size=n_rows))
    return np.cumsum(steps), np.array(level)


@given(
    curve=curves(), dialect=st.sampled_from([(",", "."), (";", "."), (";", ","), ("\t", "."), (" ", ","), (" ", ".")])
)
def test_what_is_written_is_read_to_the_last_bit_or_refused_as_two_readings(curve, dialect, read_response):
    frequency, level = (values.tolist() for values in curve)
    assume(len(set(frequency)) == len(frequency))
    reading = read_response(table(*dialect, columns=(frequency, level)))
    if reading.problem is not None:
        assert "reads two ways" in reading.problem.what
        assert dialect[1] == ","
        return
    assert reading.content.frequency_hz.tolist() == frequency
    assert reading.content.level_db.tolist() == level


@given(data=st.binary(max_size=200))
def test_no_bytes_make_it_raise(data, read_response):
    reading = read_response(data)
    assert (reading.content is None) != (reading.problem is None)


@given(text=st.text(alphabet='0123456789.,;-+eE \t\n#"HzdBk()', max_size=120))
def test_no_text_makes_it_raise(text, read_response):
    reading = read_response(text)
    assert (reading.content is None) != (reading.problem is None)


def test_readings_come_in_the_order_of_the_files(response_file, session):
    files = [response_file(GOOD, "z.csv"), response_file("", "m.csv"), response_file(GOOD, "a.csv")]
    assert [reading.path for reading in ResponseTable().read(files, session)] == ["z.csv", "m.csv", "a.csv"]


@pytest.mark.parametrize(
    ("content", "claims", "why"),
    [
        (GOOD, True, "text"),
        ("20;x\n", True, "text"),
        ("", False, "the file is empty (0 bytes)"),
        (b"20,80\n\x0025,1", False, "binary: byte 0x00 at offset 6"),
        (b"PK\x03\x04rest", False, "a ZIP archive or a spreadsheet"),
        (b"RIFF0000WAVE", False, "WAV recording"),
        (GOOD.encode("utf-16")[:21], True, "text"),
        ("# 20 °C".encode()[:6], True, "text"),
    ],
)
def test_recognition_says_why(content, claims, why, response_file):
    recognition = ResponseTable().recognise(response_file(content))
    assert recognition.claims is claims
    assert why in recognition.why


def test_other_kinds_are_not_claimed():
    sweep = SourceFile(item=MeasurementFile(path="a", line=1, entry=0, kind="sweep"), path="a", data=GOOD.encode())
    sheet = SourceFile(item=ScoreFile(path="a", line=1, entry=0, method="abx"), path="a", data=GOOD.encode())
    noise = SourceFile(item=MeasurementFile(path="a", line=1, entry=0, kind="noise"), path="a", data=GOOD.encode())
    assert [ResponseTable().recognise(file).claims for file in (sweep, sheet, noise)] == [False, False, True]


def test_the_module_offers_one_importer():
    (importer,) = fairhearing_importers()
    assert (importer.name, importer.version, importer.kinds) == ("response-table", "1", {"response", "noise"})
