"""What an analyser returns: findings, tables, chart requests, refusals. Frozen, keyword-only."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

ChartForm = Literal["line", "band", "interval", "bar", "grid", "seat-map", "forest"]
AxisScale = Literal["linear", "log", "category"]
Cell = str | float | int | bool | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """A stated number with its interval.

    `value`, `low`, `high`, `p_value`: float or None (None has a caveat that says why); never NaN.
    `condition`, `reference`: ids; `band_hz`: exact edges. None in seat, channel, programme, listener: over all.
    """

    quantity: str
    value: float | None
    unit: str
    variant: str | None = None
    low: float | None = None
    high: float | None = None
    confidence: float | None = None
    p_value: float | None = None
    n: int | None = None
    method: str
    condition: str | None = None
    reference: str | None = None
    point: str | None = None
    playing: str | None = None
    seat: str | None = None
    channel: str | None = None
    programme: str | None = None
    listener: str | None = None
    band_hz: tuple[float, float] | None = None
    nominal_hz: float | None = None
    of: str | None = None
    verdict: str | None = None
    caveats: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        for name in ("value", "low", "high", "p_value"):
            number = getattr(self, name)
            if number is not None and not math.isfinite(number):
                raise ValueError(f"finding {self.quantity}: {name} is {number}; a value that can't be had is None")
        if self.value is None and not self.caveats and self.verdict is None:
            raise ValueError(f"finding {self.quantity}: a null value needs a caveat that says why")


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Curves and other columns that stand beside the findings; `units` names the unit of each column ("" for none)."""

    name: str
    columns: Mapping[str, Sequence[Cell]]
    units: Mapping[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Axis:
    """A column of a chart's data with its label, unit ("" for none) and scale."""

    column: str
    label: str
    unit: str = ""
    scale: AxisScale = "linear"


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """A straight line in a chart, at `at` on the value axis: y for line, band and bar; x for interval and forest."""

    at: float
    label: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ChartRequest:
    """A chart as data; only reporters draw.

    `data` maps column names to equally long sequences; None is a gap and stays one.

    line      y over x, one line per `series`, in panels by `panel`; `low` and `high` (columns) shade a band
    band      the band from `low` to `high` over x, no line
    interval  a point with a whisker from `low` to `high` per category (y) along x, coloured by `series`
    bar       a bar per category (x) of height y, whisker from `low` to `high`
    grid      a cell per category x and category y, shaded by `value`
    seat-map  points at x, y in metre, labelled by `series`, shaded by `value`
    forest    as interval, with the last row a summary
    """

    name: str
    title: str
    alternative: str
    form: ChartForm
    data: Mapping[str, Sequence[Cell]]
    x: Axis
    y: Axis
    series: str | None = None
    panel: str | None = None
    low: str | None = None
    high: str | None = None
    value: Axis | None = None
    rules: tuple[Rule, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Refusal:
    """Something that could not be done, and why; shown in the report."""

    what: str
    why: str
    try_: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Result:
    """All that an analyser found in one session."""

    findings: tuple[Finding, ...] = ()
    tables: tuple[Table, ...] = ()
    charts: tuple[ChartRequest, ...] = ()
    refusals: tuple[Refusal, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class AnalyserResult:
    """A Result with what made it: session, room, analyser and its version; `problem` where the analyser failed."""

    session: str
    room: str
    analyser: str
    version: str
    result: Result = field(default_factory=Result)
    problem: str | None = None
