"""Every fault of a response file is told with its value, line and column, and what to try."""

from __future__ import annotations

import pytest

from fairhearing.api import ImportProblem

WHOLE = "20.5,-3.25,90\n31.5,71.5,-45\n70.1,80.125,0\n1000,85,179.5\n"

GOOD = "20,80\n25,81\n31.5,82\n40,83\n"

# content, then what must be said in: what, where, try
BAD = {
    "empty": (b"", "empty (0 bytes)", "line 1", "export"),
    "blank lines": ("\n \n", "blank lines only", "line 1", "export"),
    "comments only": ("# a\n# b\n", "every line is a comment", "line 1", "export"),
    "header only": ("Hz,dB\n", "a header and no row", "line 1", "export"),
    "binary": (b"20,80\n25\x00,81\n", "byte 0x00 at offset 8", "line 1", "text"),
    "control byte": (b"20,80\n25\x01,81\n", "byte 0x01 at offset 8", "line 1", "text"),
    "spreadsheet": (b"PK\x03\x04....", "a spreadsheet", "line 1", "text"),
    "cut UTF-16": (WHOLE.encode("utf-16")[:-1], "middle of a character", "line 1", "text"),
    "three rows": ("20,80\n25,81\n30,80\n", "3 rows", "line 3", "more frequencies"),
    "three rows and 0 Hz": ("0,1\n20,80\n25,81\n30,80\n", "3 rows above 0 Hz", "line 4", "more frequencies"),
    "text": (GOOD.replace("81", "n/a"), "'n/a' is not a number", "line 2, column 2 (level)", "leave"),
    "text for frequency": ("Hz;dB\n20;8\n25;8\nx;8\n40;8\n50;8\n", "'x'", "line 4, column 1 (Hz)", "number"),
    "NaN": (GOOD.replace("82", "NaN"), "'NaN' is not a finite number", "line 3, column 2", "leave out"),
    "infinity": (GOOD.replace("82", "-inf"), "'-inf' is not a finite number", "line 3, column 2", "leave out"),
    "too large": (GOOD.replace("82", "1e999"), "'1e999' is not a finite number", "line 3, column 2", "leave out"),
    "underscore": (GOOD.replace("82", "8_2"), "'8_2' is not a number", "line 3, column 2", "number"),
    "digits of another script": (GOOD.replace("82", "٨٢"), "'٨٢' is not a number", "line 3, column 2", "number"),
    "empty field": ("20,80,1\n25,,1\n31,8,1\n40,8,1\n", "field is empty", "line 2, column 2 (level)", "fill it in"),
    "empty field between tabs": (
        "f\tdB\tdeg\n20\t8\t1\n25\t\t1\n31\t8\t1\n40\t8\t1\n",
        "field is empty",
        "line 3, column 2 (dB)",
        "fill it in",
    ),
    "phase missing": ("20,80,1\n25,8,\n31,8,1\n40,8,1\n", "field is empty", "line 2, column 3 (phase)", "fill"),
    "too few fields": (GOOD.replace("25,81", "25"), "1 fields where the others have 2", "line 2, column 2", "fill"),
    "too many fields": (GOOD.replace("25,81", "25,81,3"), "3 fields", "line 2, column 3", "thousands"),
    "negative": ("-5,1\n" + GOOD, "-5 Hz is not above 0", "line 1, column 1 (frequency)", "rising"),
    "falling": ("20,80\n25,81\n24,82\n40,83\n", "24 Hz follows 25 Hz", "line 3, column 1", "sort"),
    "repeated": ("20,80\n25,81\n25,82\n40,83\n", "25 Hz stands twice", "line 3, column 1", "leave one"),
    "0 Hz later": (GOOD + "0,1\n", "0 Hz follows 40 Hz", "line 5, column 1", "sort"),
    "0 Hz twice": ("0,1\n0,1\n" + GOOD, "0 Hz", "line 2, column 1", "above 0 Hz"),
    "no magnitude": ("f,re,im\n20,1,0\n25,0,0\n31,1,1\n40,1,1\n", "both 0", "line 3, column 2", "leave out"),
    "thousands, point": ("20;80.5\n1,000.5;81.5\n2,000.5;8.5\n4,000.5;8\n", "'1,000.5'", "line 2, column 1", "1000.5"),
    "thousands, comma": ("20;80,5\n1.000,5;81,5\n2.000,5;8,5\n4.000,5;8\n", "'1.000,5'", "line 2", "thousands"),
    "thousands, both columns": ("1.000,5;80,5\n1.100,5;81,5\n1.200,5;8,5\n", "thousands", "line 1, column 1", "1000.5"),
    "thousands, blank": ("20;80.5\n25;8\n1 000;81.5\n2 000;8.5\n", "'1 000'", "line 3, column 1", "thousands"),
    "thousands, no-break space": (
        "20 80\n25 8\n1\u00a0000 81\n2\u00a0000 8\n",
        "thousands",
        "line 3, column 1",
        "1000.5",
    ),
    "thousands, comma-delimited": (
        "20,80\n25,8\n31,8\n1,000.5,81\n",
        "3 fields where the others have 2: 1 | 000.5 | 81",
        "line 4",
        "thousands",
    ),
    "all thousands, comma-delimited": (
        "1,000.5,81\n2,000.5,8\n3,000.5,1\n4,000.5,2\n",
        "1000.5 Hz, 81 dB",
        "line 1",
        "thousands",
    ),
    "decimals mixed": (
        "20;80,5\n25;81,5\n30;82.5\n40;80,5\n50;80,5\n",
        "decimal point where the table has commas",
        "line 3, column 2",
        "decimal = '.'",
    ),
    "two levels": ("Hz,left dB,dB,Level\n20,1,2,3\n25,1,2,3\n", "'dB' and 'Level'", "line 1", "columns ="),
    "two frequencies": ("Hz,kHz,dB\n20,0.02,3\n25,0.025,3\n", "'Hz' and 'kHz'", "line 1", "columns ="),
    "level and complex": ("Hz,dB,re,im\n20,1,2,3\n25,1,2,3\n", "'dB' and 're'", "line 1", "columns ="),
    "no frequency": ("time,dB\n20,1\n25,1\n", "no frequency: 'time', 'dB'", "line 1", "columns ="),
    "no level": ("Hz,coherence\n20,1\n25,1\n", "no level: 'Hz', 'coherence'", "line 1", "columns ="),
    "no imaginary part": ("Hz,re\n20,1\n25,1\n", "no imaginary", "line 1", "columns ="),
    "volt": ("Hz,Level (V)\n20,1\n25,1\n", "'Level (V)' is in 'V', which is not dB", "line 1, column 2", "dB"),
    "pascal": ("Hz,Magnitude Pa\n20,1\n25,1\n", "in 'Pa', which is not dB", "line 1, column 2", "dB"),
    "unknown frequency unit": ("Frequency (rpm),dB\n20,1\n25,1\n", "'rpm', which is not Hz", "line 1, column 1", "Hz"),
    "unknown phase unit": ("Hz,dB,Phase (cycles)\n20,1,1\n25,1,1\n", "'cycles'", "line 1, column 3", "rad"),
    "header too long": ("Hz,dB,deg\n" + GOOD, "3 names (Hz | dB | deg) and the first row has 2", "line 1", "one name"),
    "decimal commas in comma table": (
        "Hz,dB\n20,0,80,5\n25,0,81,5\n31,5,82,5\n40,0,1,5\n",
        "20 Hz, 80.5 dB",
        "line 2",
        "semicolon",
    ),
    "one column": ("20\n25\n30\n40\n", "one field: '20'", "line 1, column 2", "frequency and level"),
    "comment inside": (GOOD + "# note\n50,80\n", "comment stands inside the table: '# note'", "line 5", "move"),
    "row without frequency": ("20;80\n25;81\n;82\n40;83\n50;80\n", "field is empty", "line 3, column 1", "fill"),
    "unclosed quote": ('"20","80"\n"25","81"\n"31","82\n"40","83"\n', "quote is opened", "line 3", "close"),
    "cut row": ("20,80\n25,81\n31,82\n40", "cut: its last row has 1 of 2 fields", "line 4, column 2", "again"),
    "cut behind the delimiter": (
        "20,80\n25,81\n31,82\n40,",
        "cut: its last row has 1 of 2",
        "line 4, column 2",
        "again",
    ),
    "cut number": ("20,80.25\n25,81.25\n31,82.50\n40,83.5", "'83.5' has fewer decimals", "line 4", "again"),
    "cut exponent": ("20,8.25e+01\n25,8.15e+01\n31,8.25e+01\n40,8.25e+0", "'8.25e+0'", "line 4", "again"),
}


@pytest.mark.parametrize("case", BAD)
def test_every_fault_says_what_where_and_what_to_try(case, read_response):
    content, what, where, try_ = BAD[case]
    reading = read_response(content)
    assert reading.content is None
    assert isinstance(reading.problem, ImportProblem)
    assert what in reading.problem.what
    assert reading.problem.where.startswith("a.csv, ")
    assert where in reading.problem.where.removeprefix("a.csv, ")
    assert try_ in reading.problem.try_


# content, the two readings that the error must show
TWO_READINGS = {
    "grouped or decimal": ("20,125;80\n100,250;81\n200,500;82\n400,000;83\n", "20.125 Hz, 80 dB", "20125 Hz, 80 dB"),
    "grouped from the third row": ("20;80\n25;81\n31,500;82\n400,000;8\n", "31.5 Hz, 82 dB", "31500 Hz, 82 dB"),
    "grouped, tab": ("20\t1,125\n25\t1,250\n31\t1,500\n40\t1,000\n", "20 Hz, 1.125 dB", "20 Hz, 1125 dB"),
    "comma and blank": (
        "20,5, 85,1\n25,5, 86,1\n31,5, 87,1\n40,5, 8,1\n",
        "20 Hz, 5 dB, 85 degrees",
        "20.5 Hz, 85.1 dB",
    ),
    "decimal commas": ("20,0,85,1\n25,0,86,1\n31,5,84,2\n40,0,83,1\n", "20 Hz, 0 dB, 85 degrees", "20 Hz, 85.1 dB"),
    "decimal commas in one column": (
        "20,85,5\n25,86,1\n31,84,2\n40,83,1\n",
        "20 Hz, 85 dB, 5 degrees",
        "20 Hz, 85.5 dB",
    ),
    "thousands in a comma table": (
        "1,000.5,85\n2,000.5,84\n4,000.5,8\n8,000.5,8\n",
        "1 Hz, 0.5 dB",
        "1000.5 Hz, 85 dB",
    ),
    "commented kilohertz": ("# kHz,dB\n" + GOOD, "20 kHz, 80 dB", "20 Hz, 80 dB"),
    "commented order": ("* dB; f\n10;80\n15;81\n20;82\n40;83\n", "80 Hz, 10 dB", "10 Hz, 80 dB"),
    "commented radian": (
        "# Hz dB rad\n20 1 1\n25 1 1\n31 1 1\n40 1 1\n",
        "20 Hz, 1 dB, 1 rad",
        "20 Hz, 1 dB, 1 degrees",
    ),
    "quoted parts": (
        '"f";"re";"im"\n20;1;2\n25;1;2\n31;1;2\n40;1;2\n',
        "real 1, imaginary 2",
        "20 Hz, 1 dB, 2 degrees",
    ),
    "commented coherence": (
        "# Hz,dB,coherence\n20,1,1\n25,1,1\n31,1,1\n40,1,0\n",
        "first row 20 Hz, 1 dB;",
        "20 Hz, 1 dB, 1 degrees",
    ),
}


@pytest.mark.parametrize("case", TWO_READINGS)
def test_two_readings_that_differ_are_an_error_that_shows_both(case, read_response):
    content, one, other = TWO_READINGS[case]
    problem = read_response(content).problem
    assert problem is not None
    assert "reads two ways" in problem.what
    assert one in problem.what
    assert other in problem.what
    assert any(word in problem.try_ for word in ("delimiter =", "decimal =", "columns ="))


@pytest.mark.parametrize(
    ("content", "decimal"),
    [
        ("20,125;80\n100,250;81\n999,500;82\n1000,000;83\n", "a row above 999 that can't be grouped"),
        ("20,125;0,500\n25,250;81\n31,500;82\n40,000;83\n", "0,500 is no group of thousands"),
    ],
)
def test_decimal_commas_that_no_grouping_explains_are_read(content, decimal, read_response):
    reading = read_response(content)
    assert reading.problem is None, decimal
    assert reading.content.frequency_hz[0] == 20.125
