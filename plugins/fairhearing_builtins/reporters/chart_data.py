"""The rows that a chart draws: columns under fixed names, gaps kept, long series thinned to their extremes."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from fairhearing.api import Axis, ChartRequest
from fairhearing_builtins.reporters import words

Cell = str | float | int | bool | None
Row = dict[str, Cell]

MOST_POINTS = 2000  # in one series; above it a screen shows no more, and the page only grows
BUCKETS = 380  # each keeps at most five rows: lowest and highest value, lower and upper bound, a gap


def clean(cell: Cell, axis: Axis | None) -> Cell:
    """A cell as the chart takes it: text on a category axis, else a finite number or a gap."""
    if cell is None:
        return None
    if axis is None or axis.scale == "category":
        return str(cell)
    if isinstance(cell, str):
        return None
    number = float(cell)
    if not math.isfinite(number) or (axis.scale == "log" and number <= 0.0):
        return None
    return number


def panel_text(column: str, value: str) -> str:
    """A panel's heading: "Seat A" for the value A of a column seat, else the value alone."""
    kind = words.PANELS.get(column)
    return f"{kind} {value}" if kind and not value.lower().startswith(kind.lower()) else value


def chart_rows(request: ChartRequest, labels: Mapping[str, str]) -> list[Row]:
    """One row per point with the keys x, y, series, panel, low, high, value (those that the request has).

    Parameters
    ----------
    request : ChartRequest
    labels : mapping
        Condition id -> label; where every series is a condition, its label stands for its id.

    Raises
    ------
    ValueError
        A column that the request names is not in its data, or columns differ in length.
    """
    bound = request.x if request.form in ("interval", "forest") else request.y
    wanted: dict[str, tuple[str | None, Axis | None]] = {
        "x": (request.x.column, request.x),
        "y": (request.y.column if request.form != "band" or request.y.column in request.data else None, request.y),
        "series": (request.series, None),
        "panel": (request.panel, None),
        "low": (request.low, bound),
        "high": (request.high, bound),
        "value": (request.value.column if request.value else None, request.value),
    }
    columns: dict[str, list[Cell]] = {}
    for key, (column, axis) in wanted.items():
        if column is None:
            continue
        if column not in request.data:
            raise ValueError(f"chart {request.name}: column {column!r} is not in its data")
        columns[key] = [clean(cell, axis) for cell in request.data[column]]
    if len({len(column) for column in columns.values()}) > 1:
        raise ValueError(f"chart {request.name}: its columns differ in length")
    if "series" in columns and {str(cell) for cell in columns["series"]} <= set(labels):
        columns["series"] = [labels[str(cell)] for cell in columns["series"]]
    if "panel" in columns:
        columns["panel"] = [panel_text(request.panel or "", str(cell)) for cell in columns["panel"]]
    rows: list[Row] = [dict(zip(columns, cells, strict=True)) for cells in zip(*columns.values(), strict=True)]
    return thin(rows, logarithmic=request.x.scale == "log") if request.form in ("line", "band") else rows


def thin(rows: Sequence[Row], *, logarithmic: bool) -> list[Row]:
    """The rows with every series of more than 2,000 points cut down to the extremes of its buckets along x.

    Buckets are equally wide in log x (or in x); of each stay the rows of its least and greatest y, least low and
    greatest high, and one gap if it holds any. Order is kept.
    """
    groups: dict[tuple[Cell, Cell], list[int]] = {}
    for index, row in enumerate(rows):
        groups.setdefault((row.get("panel"), row.get("series")), []).append(index)
    kept: set[int] = set()
    for indices in groups.values():
        kept.update(indices if len(indices) <= MOST_POINTS else _extremes(rows, indices, logarithmic))
    return [row for index, row in enumerate(rows) if index in kept]


def _number(cell: Cell) -> float | None:
    return float(cell) if isinstance(cell, int | float) else None


def _extremes(rows: Sequence[Row], indices: Sequence[int], logarithmic: bool) -> set[int]:
    placed: dict[int, float] = {}
    for index in indices:
        x = _number(rows[index]["x"])
        if x is not None:
            placed[index] = math.log(x) if logarithmic else x
    if not placed:
        return set(indices[:MOST_POINTS])
    first, last = min(placed.values()), max(placed.values())
    width = (last - first) / BUCKETS or 1.0
    buckets: dict[int, list[int]] = {}
    for index, x in placed.items():
        buckets.setdefault(min(BUCKETS - 1, int((x - first) / width)), []).append(index)
    ends = {min(placed, key=placed.__getitem__), max(placed, key=placed.__getitem__)}
    return ends.union(*(_of_bucket(rows, bucket) for bucket in buckets.values()))


def _of_bucket(rows: Sequence[Row], bucket: Sequence[int]) -> set[int]:
    kept: set[int] = set()
    for key, extremes in (("y", (min, max)), ("low", (min,)), ("high", (max,))):
        with_number = {i: number for i in bucket if (number := _number(rows[i].get(key))) is not None}
        if with_number:
            kept.update(extreme(with_number, key=with_number.__getitem__) for extreme in extremes)
    gap = next((i for i in bucket if ("y" in rows[i] and rows[i]["y"] is None)), None)
    if gap is not None:
        kept.add(gap)
    return kept
