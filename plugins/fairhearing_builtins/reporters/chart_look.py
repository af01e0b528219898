"""How charts look: colours, axes, scales, and the codes of a series, as altair encodings."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Literal

from fairhearing.api import Axis
from fairhearing_builtins.reporters import words
from fairhearing_builtins.reporters.chart_data import Row

if TYPE_CHECKING:
    import altair as alt

# Okabe and Ito, "Color Universal Design" (2008), the eight colours that stay apart for every common kind of colour
# vision; their yellow last, because it is faint on white.
OKABE_ITO = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#E69F00", "#56B4E9", "#000000", "#F0E442")
# Shades: cividis (Nunez, Anderton and Renslow, PLOS ONE 2018) where values rise, purple-orange (ColorBrewer PuOr,
# Harrower and Brewer 2003) where they have a sign; both hold for colour-blind readers.
RISING: Literal["cividis"] = "cividis"
SIGNED: Literal["purpleorange"] = "purpleorange"
DASHES = ([1, 0], [7, 3], [2, 2], [9, 3, 2, 3], [4, 4])
SHAPES = ("circle", "square", "triangle-up", "diamond", "cross")
INK, SOFT, FAINT = "#1b1b1b", "#5a5a5a", "#dcdcdc"
FONT = "system-ui, -apple-system, 'Segoe UI', Roboto, 'Liberation Sans', Arial, sans-serif"

LOG_STEPS = (1, 2, 5)
MOST_NARROW_TICKS = 5  # of a logarithmic axis in a narrow panel
WIDTH, HEIGHT = 740, 320
PANEL_WIDTH, PANEL_HEIGHT = {2: 355, 3: 235}, {2: 210, 3: 175}  # by number of columns


def config(symbol_size: int, symbol: str | None = None) -> dict[str, object]:
    """The look that all charts share; `symbol_size` of the legend in square pixels: long for lines; its form."""
    axis = {
        "labelColor": INK, "titleColor": INK, "domainColor": SOFT, "tickColor": SOFT, "gridColor": FAINT,
        "labelFontSize": 11, "titleFontSize": 12, "titleFontWeight": "normal", "titlePadding": 8, "labelLimit": 380,
        "maxExtent": 400,
    }  # fmt: skip
    legend = {
        "orient": "top", "labelFontSize": 12, "labelLimit": 300, "symbolSize": symbol_size, "symbolStrokeWidth": 2,
        "title": None, "columns": 4, "titleFontWeight": "normal", **({"symbolType": symbol} if symbol else {}),
    }  # fmt: skip
    return {
        "font": FONT, "background": "white", "aria": False, "view": {"stroke": FAINT}, "axis": axis, "legend": legend,
        "title": {"color": INK}, "header": {"labelColor": INK},
    }  # fmt: skip


def axis_title(axis: Axis) -> str:
    """An axis in words with its unit: "Frequency in Hz"; the label alone where there is no unit."""
    unit = words.UNITS.get(axis.unit, axis.unit)
    if not unit or axis.label.split()[-1:] in ([unit], [f"({unit})"], [f"[{unit}]"]):
        return axis.label
    return words.AXIS.format(label=axis.label, unit=unit)


def log_ticks(low: float, high: float) -> list[float]:
    """Round values 1, 2, 5 times a power of ten from low to high.

    >>> log_ticks(20.0, 1000.0)
    [20.0, 50.0, 100.0, 200.0, 500.0, 1000.0]
    """
    powers = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    ticks = [float(f"{step}e{power}") for power in powers for step in LOG_STEPS]
    return [tick for tick in ticks if low * (1 - 1e-9) <= tick <= high * (1 + 1e-9)]


def numbers_of(rows: Sequence[Row], keys: Sequence[str]) -> list[float]:
    """Every number in the columns `keys`."""
    return [float(row[key] or 0.0) for row in rows for key in keys if isinstance(row.get(key), int | float)]


def categories(rows: Sequence[Row], key: str) -> list[str]:
    """The values of a category column, each once, in the order in which they come."""
    return list(dict.fromkeys(str(row[key]) for row in rows if row.get(key) is not None))


def scale_of(axis: Axis, extent: Sequence[float], *, zero: bool = False, padding: int = 0) -> alt.Scale:
    """The scale of a number axis; a logarithmic one ends where its data end."""
    import altair as alt

    if axis.scale == "log":
        inside = [value for value in extent if value > 0]
        return alt.Scale(type="log", nice=False, domain=[min(inside), max(inside)]) if inside else alt.Scale(type="log")
    return alt.Scale(zero=zero, nice=True) if not padding else alt.Scale(zero=zero, nice=False, padding=padding)


def axis_of(axis: Axis, extent: Sequence[float], columns: int, *, grid: bool = True) -> alt.Axis:
    """The look of a number axis: its title with the unit, readable ticks."""
    import altair as alt

    inside = [value for value in extent if value > 0]
    if axis.scale != "log" or not inside:
        return alt.Axis(title=axis_title(axis), grid=grid, tickCount=6 if columns < 3 else 4)
    ticks = log_ticks(min(inside), max(inside)) or sorted({min(inside), max(inside)})
    if columns > 2 and len(ticks) > MOST_NARROW_TICKS:
        ticks = ticks[::2]
    thousands = "datum.value >= 1000 ? format(datum.value / 1000, '~g') + 'k' : format(datum.value, '~g')"
    return alt.Axis(
        title=axis_title(axis), grid=grid, values=ticks, labelExpr=thousands, labelOverlap="greedy", labelFlush=False
    )


def x_of(axis: Axis, rows: Sequence[Row], columns: int, field: str = "x", keys: Sequence[str] = ("x",)) -> alt.X:
    """A column along x; `keys` are all the columns that lie along it."""
    import altair as alt

    if axis.scale == "category":
        angle = 0 if len(categories(rows, "x")) * columns < 12 else -40
        look = alt.Axis(title=axis_title(axis), labelAngle=angle, grid=False)
        return alt.X(field=field, type="nominal", sort=categories(rows, "x"), axis=look)
    extent = numbers_of(rows, keys)
    scale = scale_of(axis, extent, padding=14 if len(keys) > 1 else 0)  # a whisker does not end at the frame
    return alt.X(field=field, type="quantitative", scale=scale, axis=axis_of(axis, extent, columns))


def y_of(axis: Axis, rows: Sequence[Row], columns: int, field: str = "y", *, zero: bool = False) -> alt.Y:
    """A column along y, with its title and scale."""
    import altair as alt

    if axis.scale == "category":
        look = alt.Axis(title=axis_title(axis), grid=False, ticks=False)
        return alt.Y(field=field, type="nominal", sort=categories(rows, "y"), axis=look)
    extent = numbers_of(rows, ("y", "low", "high"))
    look = axis_of(axis, extent, columns)
    return alt.Y(field=field, type="quantitative", scale=scale_of(axis, extent, zero=zero), axis=look)


def colour(rows: Sequence[Row]) -> alt.Color:
    """A colour for each series."""
    import altair as alt

    colours = series_colours(rows)
    scale = alt.Scale(domain=list(colours), range=list(colours.values()))
    return alt.Color(field="series", type="nominal", sort=categories(rows, "series"), scale=scale)


def fill() -> alt.Fill:
    """The colours of the series for shaded bands, written out in the column `shade`.

    With a scale of their own they would take the legend of the lines away: a layer without a legend hides it for all.
    """
    import altair as alt

    return alt.Fill(field="shade", type="nominal", scale=None)


def series_colours(rows: Sequence[Row]) -> dict[str, str]:
    """Series -> its colour."""
    return {name: OKABE_ITO[index % len(OKABE_ITO)] for index, name in enumerate(categories(rows, "series"))}


def dash(rows: Sequence[Row]) -> alt.StrokeDash:
    """A dash for each series, so that colour is not the only code."""
    import altair as alt

    names = categories(rows, "series")
    dashes = [list(DASHES[index % len(DASHES)]) for index in range(len(names))]
    return alt.StrokeDash(field="series", type="nominal", sort=names, scale=alt.Scale(domain=names, range=dashes))


def shape(rows: Sequence[Row]) -> alt.Shape:
    """A point shape for each series, so that colour is not the only code."""
    import altair as alt

    names = categories(rows, "series")
    shapes = [SHAPES[index % len(SHAPES)] for index in range(len(names))]
    return alt.Shape(field="series", type="nominal", sort=names, scale=alt.Scale(domain=names, range=shapes))


def mark() -> alt.Shape:
    """The shapes of the points on a line, written out in the column `mark`: the legend shows the line without them."""
    import altair as alt

    return alt.Shape(field="mark", type="nominal", scale=None)


def series_shapes(rows: Sequence[Row]) -> dict[str, str]:
    """Series -> the shape of its points."""
    return {name: SHAPES[index % len(SHAPES)] for index, name in enumerate(categories(rows, "series"))}


def shade(axis: Axis, rows: Sequence[Row], *, signed: bool = False) -> alt.Color:
    """The colour of a cell or a place by its value: shades for numbers, set colours for categories.

    `signed`: the sign counts even where all have the same.
    """
    import altair as alt

    if axis.scale == "category":
        names, columns = categories(rows, "value"), categories(rows, "x")
        # Cells that are called after their column have a column's colour, whichever of them are filled.
        names = columns if set(names) <= set(columns) else names
        colours = [OKABE_ITO[index % len(OKABE_ITO)] for index in range(len(names))]
        scale = alt.Scale(domain=names, range=colours)
        return alt.Color(field="value", type="nominal", scale=scale, sort=names, legend=None)
    numbers = numbers_of(rows, ("value",))
    title = axis_title(axis)
    legend = alt.Legend(title=title, orient="right", gradientLength=140, titleLimit=220, titleFontWeight="normal")
    if numbers and (signed or min(numbers) < 0 < max(numbers)):
        largest = max(abs(number) for number in numbers)
        scale = alt.Scale(scheme=SIGNED, domain=[-largest, largest])
    else:
        scale = alt.Scale(scheme=RISING)
    return alt.Color(field="value", type="quantitative", scale=scale, legend=legend)
