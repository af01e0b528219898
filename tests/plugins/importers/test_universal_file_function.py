"""Dataset 58 in its eight cases of values, the fields of its head, and what is told of values that are none."""

from __future__ import annotations

import numpy as np
import pytest

from fairhearing.api import ImportProblem
from fairhearing_builtins.importers.universal_file_function import read_head, read_values
from fairhearing_builtins.importers.universal_file_sets import (
    begins_like_universal_file,
    binary_dataset_line,
    datasets,
    real,
)

DEGREE = "    4         1    0         0 CHAPEL            12   3       NONE         7  -1"
AXES = ["        18    0    0    0            Frequency                   Hz",
        "        15    0    0    0             Pressure                   Pa",
        "         0    0    0    0              Voltage                    V",
        "         0    0    0    0                 NONE                 NONE"]  # fmt: skip


def dataset(form: str, rows: list[str], degree: str = DEGREE, axes: list[str] = AXES) -> str:
    return "\n".join(["    -1", "    58", *["NONE"] * 5, degree, form, *axes, *rows, "    -1", ""])


def values_of(form: str, rows: list[str]):
    (found,) = datasets(dataset(form, rows), "a.uff")
    return read_values(found, read_head(found, "a.uff"), "a.uff")


def form(ordinate: int, n: int, even: int, minimum: float = 0.0, increment: float = 0.0) -> str:
    return f"{ordinate:10d}{n:10d}{even:10d}{minimum:13.5E}{increment:13.5E}{0.0:13.5E}"


def single(*numbers: float) -> str:
    return "".join(f"{number:13.5E}" for number in numbers)


def double(*numbers: float) -> str:
    return "".join(f"{number:20.12E}" for number in numbers)


# Written out by hand from the table of record 12 in the description of dataset 58 (formats 6E13.5, 4E20.12,
# 2(E13.5,E20.12), E13.5,2E20.12): two or three values of 1, 2, 3 … at 20, 30, 40 Hz.
CASES = {
    "1 real single even": (
        form(2, 7, 1, 20, 10), [single(1, 2, 3, 4, 5, 6), single(7)], range(20, 90, 10), range(1, 8),
    ),
    "2 real single uneven": (
        form(2, 4, 0), [single(20, 1, 30, 2, 45, 3), single(70, 4)], [20, 30, 45, 70], [1, 2, 3, 4],
    ),
    "3 complex single even": (
        form(5, 4, 1, 20, 10), [single(1, 2, 3, 4, 5, 6), single(7, 8)],
        [20, 30, 40, 50], [1 + 2j, 3 + 4j, 5 + 6j, 7 + 8j],
    ),
    "4 complex single uneven": (
        form(5, 3, 0), [single(20, 1, 2, 31, 3, 4), single(45, 5, -6)], [20, 31, 45], [1 + 2j, 3 + 4j, 5 - 6j],
    ),
    "5 real double even": (
        form(4, 5, 1, 20, 10), [double(1, 2, 3, 4), double(5)], [20, 30, 40, 50, 60], [1, 2, 3, 4, 5],
    ),
    "6 real double uneven": (
        form(4, 3, 0), [single(20) + double(1) + single(31) + double(2), single(45) + double(3)],
        [20, 31, 45], [1, 2, 3],
    ),
    "7 complex double even": (
        form(6, 3, 1, 20, 10), [double(1, 2, 3, 4), double(5, 6)], [20, 30, 40], [1 + 2j, 3 + 4j, 5 + 6j],
    ),
    "8 complex double uneven": (
        form(6, 2, 0), [single(20) + double(1, 2), single(31) + double(3, 4)], [20, 31], [1 + 2j, 3 + 4j],
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", CASES)
def test_the_eight_cases_of_values_are_read(case: str) -> None:
    text, rows, abscissa, ordinate = CASES[case]
    values = values_of(text, rows)
    np.testing.assert_allclose(values.abscissa, list(abscissa), rtol=1e-12)
    np.testing.assert_allclose(values.ordinate, list(ordinate), rtol=1e-12)
    assert values.lines[0] == 14
    assert values.lines[-1] == 13 + len(rows)


def test_fields_that_touch_are_parted_by_their_width() -> None:
    rows = ["-1.00000E+00-2.00000E+00-3.00000E+00-4.00000E+00".replace("-", " -", 1)]
    assert len(rows[0]) == 49  # a field of 13 columns and three of 12: no fixed widths
    with pytest.raises(ImportProblem, match="finite number"):
        values_of(form(2, 4, 1, 20, 10), rows)
    rows = ["-1.000000E+00-2.000000E+00-3.000000E+00-4.000000E+00"]
    np.testing.assert_array_equal(values_of(form(2, 4, 1, 20, 10), rows).ordinate, [-1, -2, -3, -4])


@pytest.mark.parametrize(
    ("text", "value"),
    [("1.5D+01", 15.0), ("1.50000+100", 1.5e100), ("-.5E-1", -0.05), ("2.", 2.0), ("1.5e-100", 1.5e-100)],
)
def test_fortran_exponents_are_numbers(text: str, value: float) -> None:
    assert real(text, 0, 13, "here") == pytest.approx(value, rel=1e-15)


@pytest.mark.parametrize("text", ["", "nan", "INF", "1_0.0", "1,5E+00", "1 5", "1.5E", "0x10", "1.0E+999"])
def test_what_is_no_finite_number_is_refused_with_its_columns(text: str) -> None:
    with pytest.raises(ImportProblem) as caught:
        real("x" * 13 + text.rjust(13), 13, 13, "a.uff, line 20")
    assert caught.value.where == "a.uff, line 20, columns 14 to 26"


def test_the_head_holds_function_node_direction_and_units() -> None:
    (found,) = datasets(dataset(form(5, 4, 1, 20, 10), []), "a.uff")
    head = read_head(found, "a.uff")
    assert (head.function, head.function_name) == (4, "frequency response function")
    assert (head.response, head.reference) == ("12-z", "7-minus-x")
    assert (head.abscissa.quantity, head.abscissa.unit) == (18, "Hz")
    assert (head.ordinate.unit, head.denominator.unit) == ("Pa", "V")


@pytest.mark.parametrize(
    ("rows", "what", "line"),
    [
        ([single(1, 2, 3, 4, 5, 6)], "6 numbers where record 7 says 7 values", 15),
        ([single(1, 2, 3, 4, 5, 6), single(7), single(8)], "more than the 7 values", 16),
        ([single(1, 2, 3, 4, 5, 6), single(7, 8)], "longer than its 1 numbers", 15),
        ([single(1, 2, 3, 4, 5), single(6, 7)], "ends after 5 of 6 numbers", 14),
        ([single(1, 2, 3, 4, 5, 6), ""], "ends after 0 of 1 numbers, and with it the dataset", 15),
        ([single(1, 2, 3, 4, 5, 6).replace("3.00000E+00", "    missing"), single(7)], "'missing' is no finite", 14),
    ],
)  # fmt: skip
def test_values_that_do_not_fit_are_told_with_their_line(rows: list[str], what: str, line: int) -> None:
    with pytest.raises(ImportProblem, match=what) as caught:
        values_of(form(2, 7, 1, 20, 10), rows)
    assert caught.value.where.startswith(f"a.uff, line {line}")


@pytest.mark.parametrize("text", [form(3, 4, 1), form(5, 0, 1), form(5, 4, 2), "         5       4.0         1"])
def test_a_form_that_there_is_not_is_refused(text: str) -> None:
    (found,) = datasets(dataset(text, []), "a.uff")
    with pytest.raises(ImportProblem) as caught:
        read_head(found, "a.uff")
    assert caught.value.where.startswith("a.uff, line 9")


def test_datasets_are_parted_and_their_lines_counted() -> None:
    text = "\n\n    -1\n   151\nNONE\n    -1\n" + dataset(form(5, 4, 1), ["x"])
    found = list(datasets(text, "a.uff"))
    assert [(each.number, each.line) for each in found] == [(151, 4), (58, 8)]
    assert found[1].lines[-1] == "x"


@pytest.mark.parametrize(
    ("text", "what", "line"),
    [
        ("    -1\n    58\nNONE\n", "cut: the dataset that begins on line 1", 3),
        ("    -1\n   151\n    -1\nstray\n", "outside any dataset: 'stray'", 4),
        ("    -1\n    58\n    -1\n    -1\n", "cut", 4),
        ("    -1\nfifty\n    -1\n", "no number of a dataset", 2),
        ("    -1\n    -1\n", "no number of a dataset", 2),
    ],
)
def test_delimiters_that_do_not_pair_are_told_with_their_line(text: str, what: str, line: int) -> None:
    with pytest.raises(ImportProblem, match=what) as caught:
        list(datasets(text, "a.uff"))
    assert caught.value.where == f"a.uff, line {line}"


def test_a_dataset_without_its_head_is_told() -> None:
    (found,) = datasets("    -1\n    58\nNONE\nNONE\n    -1\n", "a.uff")
    with pytest.raises(ImportProblem, match="2 lines; a dataset 58 begins with eleven"):
        read_head(found, "a.uff")


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_the_first_lines_tell_a_universal_file_whatever_the_line_ends(end: str) -> None:
    text = dataset(form(5, 4, 1), []).replace("\n", end).encode()
    assert begins_like_universal_file(text)
    assert begins_like_universal_file(b"\xef\xbb\xbf" + text)
    assert not begins_like_universal_file(b"-1 58" + end.encode())
    assert not begins_like_universal_file(b"    -1" + end.encode() + b"85.5 20" + end.encode())
    binary = text.replace(b"    58", b"    58b     1     2", 1)
    assert (binary_dataset_line(text), binary_dataset_line(binary), binary_dataset_line(text + binary)) == (None, 2, 16)
