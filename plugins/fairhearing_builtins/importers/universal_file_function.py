"""Dataset 58 of a universal file, function at nodal DOF: what it is a function of, and its values."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fairhearing.api import ImportProblem
from fairhearing_builtins.importers.universal_file_sets import Dataset, real, whole

FloatArray = npt.NDArray[np.float64]

FREQUENCY_RESPONSE = 4
TIME_FUNCTIONS = frozenset({1, 25})
# Record 6, field 1.
FUNCTIONS = (
    "general", "time response", "auto spectrum", "cross spectrum", "frequency response function", "transmissibility",
    "coherence", "auto correlation", "cross correlation", "power spectral density", "energy spectral density",
    "probability density", "spectrum", "cumulative frequency distribution", "peaks valley", "stress over cycles",
    "strain over cycles", "orbit", "mode indicator function", "force pattern", "partial power", "partial coherence",
    "eigenvalue", "eigenvector", "shock response spectrum", "finite impulse response filter", "multiple coherence",
    "order function",
)  # fmt: skip
# Record 6, fields 7 and 10; as part of an id, which knows no plus.
_DIRECTIONS = {0: "scalar", 1: "x", 2: "y", 3: "z", 4: "rx", 5: "ry", 6: "rz"}
# Record 8, field 1: what is along the abscissa.
UNKNOWN, GENERAL, TIME, FREQUENCY = 0, 1, 17, 18
_N_HEAD = 11
_UNNAMED = frozenset({"", "NONE"})
# Record 7, field 1: complex, double precision.
_ORDINATES = {2: (False, False), 4: (False, True), 5: (True, False), 6: (True, True)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Axis:
    """Records 8 to 10: specific data type and unit; unit "" where none is said."""

    quantity: int
    unit: str
    line: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Head:
    """Records 6 to 10 of one function. `line`: of the dataset's number in the file."""

    line: int
    function: int
    response: str  # node and direction, as an id
    reference: str
    is_complex: bool
    is_double: bool
    n_values: int
    is_even: bool
    minimum: float
    increment: float
    abscissa: Axis
    ordinate: Axis
    denominator: Axis

    @property
    def function_name(self) -> str:
        """The kind of function in words."""
        return FUNCTIONS[self.function] if 0 <= self.function < len(FUNCTIONS) else f"type {self.function}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Values:
    """Abscissa and ordinate, one entry each; `lines`: the line of the file that each ordinate begins on."""

    abscissa: FloatArray
    ordinate: npt.NDArray[np.complex128] | FloatArray
    lines: npt.NDArray[np.int64]


def read_head(dataset: Dataset, path: str) -> Head:
    """What the first eleven records of a dataset 58 say.

    Raises
    ------
    ImportProblem
        A record is missing, or a field holds what it cannot.
    """
    lines = dataset.lines
    if len(lines) < _N_HEAD:
        raise ImportProblem(
            f"the dataset has {len(lines)} lines; a dataset 58 begins with eleven records before its values",
            where=f"{path}, line {dataset.line + len(lines)}",
            try_="copy or export the file again",
        )
    form, form_where = lines[6], f"{path}, line {dataset.line + 7}"
    ordinate_type = whole(form, 0, 10, "the ordinate data type", form_where)
    spacing = whole(form, 20, 10, "the abscissa spacing", form_where)
    n_values = whole(form, 10, 10, "the number of values", form_where)
    if ordinate_type not in _ORDINATES or spacing not in (0, 1) or n_values < 1:
        raise ImportProblem(
            f"record 7 says ordinate data type {ordinate_type}, {n_values} values, abscissa spacing {spacing}",
            where=form_where,
            try_="the types are 2, 4, 5 and 6, the spacing is 0 (uneven) or 1 (even): export the file again",
        )
    degree, degree_where = lines[5], f"{path}, line {dataset.line + 6}"
    is_even = spacing == 1
    return Head(
        line=dataset.line,
        function=whole(degree, 0, 5, "the function type", degree_where),
        response=_place(degree, 30, degree_where),
        reference=_place(degree, 55, degree_where),
        is_complex=_ORDINATES[ordinate_type][0],
        is_double=_ORDINATES[ordinate_type][1],
        n_values=n_values,
        is_even=is_even,
        minimum=real(form, 30, 13, form_where) if is_even else 0.0,
        increment=real(form, 43, 13, form_where) if is_even else 0.0,
        abscissa=_axis(dataset, 7, path),
        ordinate=_axis(dataset, 8, path),
        denominator=_axis(dataset, 9, path),
    )


def _place(line: str, start: int, where: str) -> str:
    """Node and direction as an id: 12-x, 12-minus-z, 3-scalar."""
    node = whole(line, start + 11, 10, "the node", where)
    direction = whole(line, start + 21, 4, "the direction", where)
    name = _DIRECTIONS.get(abs(direction), str(abs(direction)))
    return f"{node}-{'minus-' if direction < 0 else ''}{name}"


def _axis(dataset: Dataset, record: int, path: str) -> Axis:
    line = dataset.line + 1 + record
    text = dataset.lines[record]
    unit = text[47:67].strip()
    return Axis(
        quantity=whole(text, 0, 10, "the specific data type", f"{path}, line {line}"),
        unit="" if unit.upper() in _UNNAMED else unit,
        line=line,
    )


def read_values(dataset: Dataset, head: Head, path: str) -> Values:
    """The values of record 12 (its eight cases: real or complex, single or double, even or uneven).

    Raises
    ------
    ImportProblem
        A value is no number, or there are fewer or more than record 7 says.
    """
    per_point = (1 + head.is_complex) + (not head.is_even)
    numbers, lines = _numbers(dataset, _widths(head), per_point * head.n_values, head, path)
    table = np.array(numbers, dtype=np.float64).reshape(head.n_values, per_point)
    if head.is_even:
        abscissa = head.minimum + head.increment * np.arange(head.n_values, dtype=np.float64)
    else:
        abscissa, table = table[:, 0].copy(), table[:, 1:]
    ordinate = table[:, 0] + 1j * table[:, 1] if head.is_complex else table[:, 0]
    return Values(abscissa=abscissa, ordinate=ordinate, lines=np.array(lines[::per_point], dtype=np.int64))


def _widths(head: Head) -> Sequence[int]:
    """The widths of the fields of one line: 6E13.5, 4E20.12, 2(E13.5,E20.12) or E13.5,2E20.12."""
    if not head.is_double:
        return (13,) * 6
    if head.is_even:
        return (20,) * 4
    return (13, 20, 20) if head.is_complex else (13, 20, 13, 20)


def _numbers(
    dataset: Dataset, widths: Sequence[int], n_wanted: int, head: Head, path: str
) -> tuple[list[float], list[int]]:
    starts = [sum(widths[:i]) for i in range(len(widths))]
    numbers: list[float] = []
    lines: list[int] = []
    rows = [text.rstrip() for text in dataset.lines[_N_HEAD:]]
    first = dataset.line + 1 + _N_HEAD
    for place, text in enumerate(rows):
        where = f"{path}, line {first + place}"
        n_fields = min(len(widths), n_wanted - len(numbers))
        if n_fields == 0:
            raise _count_problem(f"more than the {head.n_values} values that record 7 says", where)
        if text[starts[n_fields - 1] :].strip() == "":
            raise _short_problem(text, starts, n_fields, head, where, is_last=place == len(rows) - 1)
        if len(text) > starts[n_fields - 1] + widths[n_fields - 1]:
            raise _count_problem(f"the line is longer than its {n_fields} numbers", where)
        numbers += [real(text, start, width, where) for start, width in zip(starts, widths[:n_fields], strict=False)]
        lines += [first + place] * n_fields
    if len(numbers) < n_wanted:
        raise _count_problem(
            f"{len(numbers)} numbers where record 7 says {head.n_values} values, which are {n_wanted} numbers",
            f"{path}, line {first + len(rows)}",
        )
    return numbers, lines


def _short_problem(
    text: str, starts: Sequence[int], n_fields: int, head: Head, where: str, *, is_last: bool
) -> ImportProblem:
    there = sum(text[start:].strip() != "" for start in starts[:n_fields])
    told = f", and with it the dataset: record 7 says {head.n_values} values" if is_last else ""
    return _count_problem(f"the line ends after {there} of {n_fields} numbers{told}", where)


def _count_problem(what: str, where: str) -> ImportProblem:
    return ImportProblem(what, where=where, try_="copy or export the file again")
