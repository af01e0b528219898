"""Whether a response file was cut: by its own last row, and by the other files of its entry."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fairhearing.api import ImportProblem

FloatArray = npt.NDArray[np.float64]
_BUCKET_ROWS = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Ending:
    """How a file ends.

    `grid`: the bytes of its frequencies. `proven`: its last number is written with as many decimals as all others of
    its column.
    """

    path: str
    entry: int
    frequency_hz: FloatArray
    grid: bytes
    last_line: int
    last_text: str
    ends_with_newline: bool
    proven: bool


def n_after_mark(text: str, decimal: str) -> int:
    """How many characters follow the decimal mark, an exponent included.

    >>> n_after_mark("8.51e+01", ".")
    6
    """
    return len(text.strip().partition(decimal)[2])


def decimals_are_proof(column: Sequence[str], decimal: str) -> bool:
    """Whether a column has a fixed number of decimals (at least one), so that a cut last number would show."""
    counts = {n_after_mark(text, decimal) for text in column[:-1]}
    return len(counts) == 1 and 0 not in counts


def cut_number(column: Sequence[str], decimal: str, line: int, path: str) -> ImportProblem | None:
    """The problem of a last number with fewer decimals than every other one of a column with fixed decimals.

    Only for a file without a line end behind its last row.
    """
    if not decimals_are_proof(column, decimal):
        return None
    usual, last = n_after_mark(column[0], decimal), n_after_mark(column[-1], decimal)
    if last >= usual:
        return None
    return ImportProblem(
        f"the file is cut: its last number {column[-1].strip()!r} has fewer decimals than all others, "
        f"such as {column[-2].strip()!r}, and no line end follows",
        where=f"{path}, line {line}",
        try_="copy or export the file again",
    )


def longer_siblings(endings: Sequence[Ending]) -> dict[str, Ending]:
    """For each path whose grid is the beginning of the grid of another file of its entry, the longest such file."""
    buckets: dict[tuple[int, bytes], dict[bytes, Ending]] = {}
    for ending in endings:
        bucket = buckets.setdefault((ending.entry, ending.frequency_hz[:_BUCKET_ROWS].tobytes()), {})
        bucket.setdefault(ending.grid, ending)
    longer: dict[tuple[int, bytes], Ending] = {}
    for (entry, _), bucket in buckets.items():
        by_length = sorted(bucket.items(), key=lambda item: len(item[0]), reverse=True)
        for i, (grid, _ending) in enumerate(by_length):
            found = next((other for whole, other in by_length[:i] if whole[: len(grid)] == grid), None)
            if found is not None:
                longer[entry, grid] = found
    keyed = ((ending, longer.get((ending.entry, ending.grid))) for ending in endings)
    return {ending.path: sibling for ending, sibling in keyed if sibling is not None}


def judge(ending: Ending, longer: Ending | None, whole: Ending | None) -> ImportProblem | str | None:
    """A problem, a caveat or nothing, from what the other files of the entry are like.

    Parameters
    ----------
    ending : Ending
    longer : Ending or None
        A file whose grid begins with this one's and goes on.
    whole : Ending or None
        A file with the same grid that ends with a line end.
    """
    n_rows, stop = len(ending.frequency_hz), f"{ending.frequency_hz[-1]:.10g} Hz"
    if longer is not None:
        goes_on = f"where {longer.path} goes on to {longer.frequency_hz[-1]:.10g} Hz (row {len(longer.frequency_hz)})"
        if ending.ends_with_newline:
            return f"ends at {stop} (row {n_rows}), {goes_on}: it may be cut"
        return ImportProblem(
            f"the file is cut: it ends at {stop} (row {n_rows}) with no line end, {goes_on}",
            where=f"{ending.path}, line {ending.last_line}",
            try_="copy or export the file again; if it is complete, end its last line",
        )
    if whole is not None and not ending.ends_with_newline and not ending.proven:
        return f"no line end follows the last number {ending.last_text!r}, unlike in {whole.path}: it may be cut"
    return None
