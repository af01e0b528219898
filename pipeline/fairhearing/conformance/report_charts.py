"""A made-up chart of every form, each with a gap, each numeric axis with a unit that stands nowhere else."""

from __future__ import annotations

from collections.abc import Sequence

from fairhearing.result import Axis, Cell, ChartForm, ChartRequest, Rule

# The columns of each form that hold a gap.
GAPS: dict[ChartForm, tuple[str, ...]] = {
    "line": ("swell", "low"),
    "band": ("high",),
    "interval": ("drift",),
    "bar": ("stir",),
    "grid": ("ember",),
    "seat-map": ("glint",),
    "forest": ("whirl",),
}
_PACE: list[Cell] = [2.0, 3.0, 4.0, 5.0, 6.0] * 2
_SEATS: list[Cell] = [*("AAAAA"), *("BBBBB")]


def _line() -> ChartRequest:
    swell: list[Cell] = [3.1, 4.2, None, 5.3, 4.4, 6.1, 5.2, 4.3, 3.4, 2.5]
    return ChartRequest(
        name="line", title="Swell over pace", alternative="Swell at two seats; one value is missing.", form="line",
        data={"pace": _PACE, "seat": _SEATS, "swell": swell, "low": _moved(swell, -0.6), "high": _moved(swell, 0.6)},
        x=Axis(column="pace", label="Pace", unit="beats"), y=Axis(column="swell", label="Swell", unit="surge"),
        series="seat", low="low", high="high", rules=(Rule(at=2.0, label="calm"),),
    )  # fmt: skip


def _band() -> ChartRequest:
    high: list[Cell] = [3.7, 4.8, None, 5.9, 5.0, 6.7, 5.8, 4.9, 4.0, 3.1]
    return ChartRequest(
        name="band", title="Where the haze lies", alternative="A band at two seats with a gap.", form="band",
        data={"stride": _PACE, "seat": _SEATS, "low": [2.5] * 10, "high": high},
        x=Axis(column="stride", label="Stride", unit="steps"), y=Axis(column="low", label="Haze", unit="murk"),
        series="seat", low="low", high="high",
    )  # fmt: skip


def _interval() -> ChartRequest:
    drift: list[Cell] = [1.4, None, 2.6]
    return ChartRequest(
        name="interval", title="Drift by seat", alternative="Two seats of three; one is missing.", form="interval",
        data={"seat": ["A", "B", "C"], "drift": drift, "low": [1.1, 1.7, 2.2], "high": [1.8, 2.4, 3.1]},
        x=Axis(column="drift", label="Drift", unit="knots"), y=Axis(column="seat", label="Seat", scale="category"),
        low="low", high="high",
    )  # fmt: skip


def _bar() -> ChartRequest:
    return ChartRequest(
        name="bar", title="Stir by listener", alternative="Two listeners of three; one is missing.", form="bar",
        data={"listener": ["L1", "L2", "L3"], "stir": [4.5, None, 3.5], "low": [4.0, 2.0, 3.0],
              "high": [5.0, 3.0, 4.0]},
        x=Axis(column="listener", label="Listener", scale="category"),
        y=Axis(column="stir", label="Stir", unit="spoon"),
        low="low", high="high",
    )  # fmt: skip


def _grid() -> ChartRequest:
    return ChartRequest(
        name="grid", title="Ember by seat and hour", alternative="Four cells, one of them empty.", form="grid",
        data={"hour": ["one", "two"] * 2, "seat": ["A", "A", "B", "B"], "ember": [1.5, None, 3.5, 4.5]},
        x=Axis(column="hour", label="Hour", scale="category"), y=Axis(column="seat", label="Seat", scale="category"),
        value=Axis(column="ember", label="Ember", unit="coals"),
    )  # fmt: skip


def _seat_map() -> ChartRequest:
    return ChartRequest(
        name="seat-map", title="Glint in the room", alternative="Three seats; one has no value.", form="seat-map",
        data={"x": [3.2, 3.3, 5.6], "y": [1.4, 3.1, 2.2], "seat": ["A", "B", "C"], "glint": [1.25, None, 4.75]},
        x=Axis(column="x", label="Along", unit="ells"), y=Axis(column="y", label="Across", unit="fathoms"),
        series="seat", value=Axis(column="glint", label="Glint", unit="glow"),
    )  # fmt: skip


def _forest() -> ChartRequest:
    return ChartRequest(
        name="forest", title="Whirl by room", alternative="Two rooms, one without a value, and all.", form="forest",
        data={"room": ["mill", "barn", "all"], "whirl": [2.1, None, 2.9], "low": [1.6, 1.9, 2.2],
              "high": [2.8, 3.2, 3.4]},
        x=Axis(column="whirl", label="Whirl", unit="turns"), y=Axis(column="room", label="Room", scale="category"),
        low="low", high="high",
    )  # fmt: skip


def _moved(cells: Sequence[Cell], by: float) -> list[Cell]:
    return [cell + by if isinstance(cell, float) else None for cell in cells]


CHARTS: tuple[ChartRequest, ...] = (_line(), _band(), _interval(), _bar(), _grid(), _seat_map(), _forest())


def units(chart: ChartRequest) -> tuple[str, ...]:
    """The units of a chart's axes."""
    axes = (chart.x, chart.y, *([chart.value] if chart.value is not None else []))
    return tuple(axis.unit for axis in axes if axis.unit)
