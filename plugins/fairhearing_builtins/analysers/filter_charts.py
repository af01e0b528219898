"""Chart of the measured change with the fitted corner."""

from __future__ import annotations

import numpy as np

from fairhearing.acoustics.high_pass_fit import loss_db
from fairhearing.api import Axis, ChartRequest, Comparison, Inputs
from fairhearing_builtins.analysers.cells import Field, Place
from fairhearing_builtins.analysers.change_charts import chart_grid
from fairhearing_builtins.analysers.corners import usable_frequencies
from fairhearing_builtins.analysers.filter_fits import FilterFits


def corner_chart(inputs: Inputs, comparison: Comparison, fits: FilterFits) -> list[ChartRequest]:
    """The ratio of the conditions at each place, and the fit; gaps where noise covers the measurement."""
    columns: dict[str, list[float | str | None]] = {n: [] for n in ("frequency", "change", "curve", "place")}
    over = fits.over
    places = fits.field.places(comparison)
    fitted = over is not None and not over.at_bound and fits.verdict != "no-filter"
    for place in places:
        grid = chart_grid(fits.field.grids[place])
        measured = _change_on(fits.field, place, comparison, inputs.session.criteria.min_snr_db, grid)
        _add(columns, grid, measured, "measured", _name(place, fits.field.point))
        if fitted and over is not None and place in over.data.places:
            gain = over.fit.gain_db[0, over.data.places.index(place)]
            one = np.ones(1)
            curve = gain + np.zeros(len(grid))
            if fits.model.in_condition:
                curve = curve - loss_db(grid, over.fit.corner_hz[:1], one)
            if over.fit.reference_corner_hz is not None:
                curve = curve + loss_db(grid, over.fit.reference_corner_hz[:1], one)
            _add(columns, grid, curve.tolist(), "fitted", _name(place, fits.field.point))
    labels = f"{comparison.condition.label} minus {comparison.reference.label}"
    said = (
        f"; the fitted corner is {over.fit.corner_hz[0]:.1f} Hz"
        if fitted and over is not None
        else "; no corner was fitted"
    )
    return [
        ChartRequest(
            name=f"corner-{comparison.condition.id}",
            title=f"What the filter does: {labels}",
            alternative=f"Level change over frequency at {len(places)} places, measured and as fitted{said}.",
            form="line",
            data=columns,
            x=Axis(column="frequency", label="Frequency", unit="Hz", scale="log"),
            y=Axis(column="change", label="Level change", unit="dB"),
            series="curve",
            panel="place",
        )
    ]


def _change_on(
    field: Field, place: Place, comparison: Comparison, min_snr_db: float, grid: np.ndarray
) -> list[float | None]:
    own = field.grids[place]
    cells = [field.cells[place, c.id] for c in (comparison.condition, comparison.reference)]
    change = 10 * np.log10(cells[0].mean_power() / cells[1].mean_power())
    clear = usable_frequencies(own, cells, min_snr_db)
    there = np.interp(np.log(grid), np.log(own), clear.astype(float)) > 0.5
    values = np.interp(np.log(grid), np.log(own), change)
    return [float(v) if ok else None for v, ok in zip(values, there, strict=True)]


def _add(
    columns: dict[str, list[float | str | None]], grid: np.ndarray, values: list[float | None], curve: str, place: str
) -> None:
    columns["frequency"] += grid.tolist()
    columns["change"] += values
    columns["curve"] += [curve] * len(grid)
    columns["place"] += [place] * len(grid)


def _name(place: Place, point: str) -> str:
    named = " ".join(part for part in (place.seat, place.channel) if part)
    return named or point
