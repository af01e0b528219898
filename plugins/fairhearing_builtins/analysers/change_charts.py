"""Charts of the responses and of the change at each seat, with bands of repeatability."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from fairhearing.acoustics.smoothing import smoothed_power
from fairhearing.api import Axis, ChartRequest, Comparison, Inputs
from fairhearing_builtins.analysers.cells import Field, Place

FloatArray = npt.NDArray[np.float64]
POINTS_PER_CHART_LINE = 240


def response_charts(inputs: Inputs, comparison: Comparison, field: Field) -> list[ChartRequest]:
    """In and out per seat: level of the energy mean over repeats and channels, with the span of the single takes."""
    seats = [s.id for s in inputs.session.seats if field.places(comparison, [s.id])]
    if not seats:
        return []
    columns: dict[str, list[float | str | None]] = {
        name: [] for name in ("frequency", "level", "low", "high", "condition", "seat")
    }
    for seat in seats:
        for condition in (comparison.reference, comparison.condition):
            grid, level, low, high = _curve(field, field.places(comparison, [seat]), condition.id)
            columns["frequency"] += grid.tolist()
            for name, curve in (("level", level), ("low", low), ("high", high)):
                columns[name] += [value if np.isfinite(value) else None for value in curve.tolist()]
            columns["condition"] += [condition.label] * len(grid)
            columns["seat"] += [seat] * len(grid)
    what = "everything playing" if field.playing == "both" else "the main loudspeakers playing"
    return [
        ChartRequest(
            name=f"responses-{comparison.condition.id}",
            title=f"Response at each seat, {what}: {comparison.reference.label} and {comparison.condition.label}",
            alternative=(
                f"Level over frequency at {len(seats)} seats ({', '.join(seats)}), a third of an octave smoothed, for "
                f"{comparison.reference.label} and {comparison.condition.label}; shaded bands span the single takes."
            ),
            form="line",
            data=columns,
            x=Axis(column="frequency", label="Frequency", unit="Hz", scale="log"),
            y=Axis(column="level", label="Level", unit="dB"),
            series="condition",
            panel="seat",
            low="low",
            high="high",
        )
    ]


def _curve(
    field: Field, places: tuple[Place, ...], condition: str
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Smoothed level over the seat's channels: of the energy mean, and the lowest and highest take."""
    grid = chart_grid(min((field.grids[place] for place in places), key=len))
    levels: list[FloatArray] = []
    lows: list[FloatArray] = []
    highs: list[FloatArray] = []
    for place in places:
        own = field.grids[place]
        cell = field.cells[place, condition]
        at = np.clip(grid, own[0], own[-1])
        takes = 10 * np.log10(smoothed_power(own, cell.power, 3, at))
        mean = 10 * np.log10(smoothed_power(own, cell.power.mean(axis=0), 3, at))
        levels.append(mean)
        lows.append(takes.min(axis=0))
        highs.append(takes.max(axis=0))
    return grid, np.mean(levels, axis=0), np.mean(lows, axis=0), np.mean(highs, axis=0)


def chart_grid(grid: FloatArray) -> FloatArray:
    """The grid, or as many log-spaced points over its range as a chart can show."""
    if len(grid) <= POINTS_PER_CHART_LINE:
        return grid
    return np.geomspace(grid[0], grid[-1], POINTS_PER_CHART_LINE)
