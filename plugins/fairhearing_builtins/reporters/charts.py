"""ChartRequest -> Vega-Lite, through altair: one builder for each form, one look for all."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from fairhearing.api import Axis, ChartRequest, Rule
from fairhearing_builtins.reporters.chart_data import Row, chart_rows
from fairhearing_builtins.reporters.chart_look import (
    HEIGHT,
    INK,
    OKABE_ITO,
    PANEL_HEIGHT,
    PANEL_WIDTH,
    WIDTH,
    axis_title,
    categories,
    colour,
    config,
    dash,
    fill,
    mark,
    numbers_of,
    series_colours,
    series_shapes,
    shade,
    shape,
    x_of,
    y_of,
)

if TYPE_CHECKING:
    import altair as alt

    View = alt.Chart | alt.LayerChart | alt.FacetChart
    Layer = alt.Chart | alt.LayerChart

Look = dict[str, Any]  # a mark's own properties, or encodings by channel

ROW_HEIGHT = 26
FEW_POINTS = 40  # up to here the points of a line are marked
MOST_TEXTS = 80  # cells of a grid that carry their value as text
MARGIN_M = 0.6  # around the outermost seats of a map
MAP_HEIGHT = 380
LINE_SYMBOL, POINT_SYMBOL = 300, 90
LETTER_WIDTH, FEW_LETTERS = 5.6, 8  # of a row label in pixels; labels up to that length fit in anyway
GAP_STAYS = "break-paths-show-path-domains"


def vega_lite(
    request: ChartRequest, labels: Mapping[str, str] | None = None, *, titled: bool = False
) -> dict[str, object]:
    """A Vega-Lite specification with its data inside and no address of anything outside.

    Parameters
    ----------
    request : ChartRequest
    labels : mapping, optional
        Condition id -> label.
    titled : bool
        Whether the title stands in the picture (a file of its own) or is left to the page around it.

    Returns
    -------
    dict
        Without "$schema": say ``mode="vega-lite"`` where that is needed.

    Raises
    ------
    ValueError
        The request names a column that is not in its data, or its columns differ in length.
    """
    from altair.utils.schemapi import debug_mode

    rows = chart_rows(request, labels or {})
    # Altair checks each part against the schema as it is made, which takes most of the time; the tests check the whole.
    with debug_mode(False):
        spec = _layered(request, rows)
    spec["data"] = {"values": rows}
    if titled:
        spec["title"] = {"text": request.title, "anchor": "start", "fontSize": 14, "offset": 12}
    if request.form == "line":
        spec["config"] = config(LINE_SYMBOL, "stroke")
    else:
        spec["config"] = config(LINE_SYMBOL if request.form == "band" else POINT_SYMBOL)
    return spec


def _layered(request: ChartRequest, rows: Sequence[Row]) -> dict[str, object]:
    """The layers of a form, in panels where there are several; no data yet."""
    import altair as alt

    panels = categories(rows, "panel")
    columns = 1 if len(panels) < 2 else 2 if len(panels) in (2, 4) else 3
    build = {"line": _lines, "band": _lines, "interval": _intervals, "forest": _intervals, "bar": _bars, "grid": _cells}
    layers = build.get(request.form, _places)(request, rows, columns)
    view: View = alt.layer(*layers, data=alt.InlineData(values=[]))
    if columns > 1:
        header = alt.Header(title=None, labelFontSize=12, labelFontWeight="bold", labelPadding=4)
        facet = alt.Facet(field="panel", type="nominal", sort=panels, header=header)
        view = view.facet(facet=facet, columns=columns, spacing=18)
    spec: dict[str, object] = view.to_dict(validate=False)
    spec.pop("$schema", None)
    return spec


def _drawn(kind: str, look: Look, coded: Look, rows: Sequence[Row] | None = None) -> alt.Chart:
    import altair as alt

    chart = alt.Chart() if rows is None else alt.Chart(alt.InlineData(values=list(rows)))
    size = {name: look[name] for name in ("width", "height") if name in look}
    mark = {name: value for name, value in look.items() if name not in size}
    chart.mark = {"type": kind, **mark}
    return chart.encode(**coded).properties(**size)


def _size(columns: int) -> Look:
    if columns == 1:
        return {"width": WIDTH, "height": HEIGHT}
    return {"width": PANEL_WIDTH[columns], "height": PANEL_HEIGHT[columns]}


def _beside_labels(rows: Sequence[Row], columns: int) -> int:
    """The width that is left for the plot beside the labels of its rows."""
    longest = max(map(len, categories(rows, "y")), default=0)
    width: int = _size(columns)["width"]
    return max(width // 2, width - round(LETTER_WIDTH * max(0, longest - FEW_LETTERS)))


def _rules(rules: Sequence[Rule], direction: str) -> list[Layer]:
    import altair as alt

    layers: list[Layer] = []
    text = alt.Text(field="label", type="nominal")
    first = {rule.label: index for index, rule in reversed(list(enumerate(rules)))}  # two limits are named once
    for index, rule in enumerate(rules):
        rows: list[Row] = [{"at": rule.at, "label": rule.label if first[rule.label] == index else ""}]
        at: Look = {direction: (alt.Y if direction == "y" else alt.X)(field="at", type="quantitative")}
        layers.append(_drawn("rule", {"color": INK, "strokeDash": [5, 4]}, dict(at), rows))
        if direction == "y":
            look: Look = {"align": "right", "baseline": "bottom", "dx": -4, "dy": -3, "color": INK}
            at["x"] = alt.value("width")
        else:
            look = {"align": "left", "baseline": "bottom", "dx": 3, "dy": -3, "color": INK}
            at["y"] = alt.value(0)
        layers.append(_drawn("text", look, {**at, "text": text}, rows))
    return layers


def _lines(request: ChartRequest, rows: Sequence[Row], columns: int) -> list[Layer]:
    import altair as alt

    x, y = x_of(request.x, rows, columns), y_of(request.y, rows, columns)
    coded: Look = {"color": colour(rows)} if request.series else {}
    plain: Look = {**_size(columns), **({} if coded else {"color": OKABE_ITO[0]})}
    layers: list[Layer] = []
    if request.low and request.high:
        if coded and request.form == "line":
            shades = series_colours(rows)
            for row in rows:
                row["shade"] = shades[str(row["series"])]
        low = y_of(request.y, rows, columns, "low")
        named: Look = {"color": colour(rows)} if request.form == "band" else {"fill": fill()}
        shaded: Look = named if coded else {}
        bounds: Look = {"x": x, "y": low, "y2": alt.Y2(field="high"), **shaded}
        layers.append(_drawn("area", {"opacity": 0.22, "invalid": GAP_STAYS, **plain}, bounds))
    if request.form == "line":
        dashed: Look = {**coded, "strokeDash": dash(rows)} if coded else {}
        layers.append(
            _drawn(
                "line", {"strokeWidth": 1.8, "clip": True, "invalid": GAP_STAYS, **plain}, {"x": x, "y": y, **dashed}
            )
        )
        n_lines = max(1, len(categories(rows, "series"))) * max(1, len(categories(rows, "panel")))
        if len(rows) <= FEW_POINTS * n_lines:
            shaped: Look = {**coded, "shape": mark()} if coded else {}
            for row in rows if coded else ():
                row["mark"] = series_shapes(rows)[str(row["series"])]
            look = {"filled": True, "size": 28, "opacity": 1, "invalid": "filter", **plain}
            layers.append(_drawn("point", look, {"x": x, "y": y, **shaped}))
    return layers + _rules(request.rules, "y")


def _intervals(request: ChartRequest, rows: Sequence[Row], columns: int) -> list[Layer]:
    import altair as alt

    along = ("x", "low", "high")
    x, y = x_of(request.x, rows, columns, keys=along), y_of(request.y, rows, columns)
    names = categories(rows, "series")
    coded: Look = {"y": y, **({"color": colour(rows)} if names else {})}
    if len(names) > 1:
        coded["yOffset"] = alt.YOffset(field="series", type="nominal", sort=names)
    height = max(60, ROW_HEIGHT * len(categories(rows, "y")) * max(1, len(names)))
    plain: Look = {
        "width": _beside_labels(rows, columns),
        "height": height,
        **({} if names else {"color": OKABE_ITO[0]}),
    }
    layers: list[Layer] = []
    if request.low and request.high:
        low = x_of(request.x, rows, columns, "low", along)
        layers.append(_drawn("rule", {"strokeWidth": 2, **plain}, {"x": low, "x2": alt.X2(field="high"), **coded}))
    shaped: Look = {"shape": shape(rows)} if names else {}
    look = {"filled": True, "size": 70, "opacity": 1, "invalid": "filter", **plain}
    layers.append(_drawn("point", look, {"x": x, **coded, **shaped}))
    if request.form == "forest" and rows and rows[-1].get("x") is not None:
        look = {"filled": True, "size": 230, "opacity": 1, "shape": "diamond", "color": INK}
        layers.append(_drawn("point", look, {"x": x, "y": y}, rows[-1:]))
    return layers + _rules(request.rules, "x")


def _bars(request: ChartRequest, rows: Sequence[Row], columns: int) -> list[Layer]:
    import altair as alt

    x, y = x_of(request.x, rows, columns), y_of(request.y, rows, columns, zero=True)
    names = categories(rows, "series")
    coded: Look = {"color": colour(rows)} if names else {}
    beside: Look = {"xOffset": alt.XOffset(field="series", type="nominal", sort=names)} if len(names) > 1 else {}
    plain: Look = {**_size(columns), **({} if names else {"color": OKABE_ITO[5]})}
    layers: list[Layer] = [_drawn("bar", {"opacity": 0.85, **plain}, {"x": x, "y": y, **coded, **beside})]
    if request.low and request.high:
        low = y_of(request.y, rows, columns, "low", zero=True)
        whisker: Look = {"x": x, "y": low, "y2": alt.Y2(field="high"), **beside}
        layers.append(_drawn("rule", {"strokeWidth": 1.6, "color": INK}, whisker))
    return layers + _rules(request.rules, "y")


def _text(request: ChartRequest) -> alt.Text:
    import altair as alt

    if request.value is not None and request.value.scale != "category":
        return alt.Text(field="value", type="quantitative", format=".3~g")
    return alt.Text(field="value", type="nominal")


def _cells(request: ChartRequest, rows: Sequence[Row], columns: int) -> list[Layer]:
    import altair as alt

    place: Look = {"x": x_of(request.x, rows, columns), "y": y_of(request.y, rows, columns)}
    n_across, n_down = max(1, len(categories(rows, "x"))), max(1, len(categories(rows, "y")))
    width = min(_beside_labels(rows, columns), max(160, 120 * n_across))
    look: Look = {"stroke": "white", "strokeWidth": 2, "width": width, "height": ROW_HEIGHT * n_down}
    if request.value is None:
        return [_drawn("rect", look, place)]
    # The colour of a category is set back: the word in the cell is what is read.
    strength: Look = {"opacity": 0.45} if request.value.scale == "category" else {}
    filled = alt.datum["value"] != None  # noqa: E711  (an expression of the chart's, not of Python's)
    layers: list[Layer] = [
        _drawn("rect", {**look, "color": "#f4f4f4"}, place),
        _drawn("rect", {**look, **strength}, {**place, "color": shade(request.value, rows)}).transform_filter(filled),
    ]
    if len(rows) <= MOST_TEXTS:
        written: Look = {**place, "text": _text(request)}
        halo: Look = {"stroke": "white", "strokeWidth": 3, "strokeOpacity": 0.85, "color": "white", "fontSize": 11}
        layers.append(_drawn("text", halo, written).transform_filter(filled))
        layers.append(_drawn("text", {"color": INK, "fontSize": 11}, written).transform_filter(filled))
    return layers


def _places(request: ChartRequest, rows: Sequence[Row], columns: int) -> list[Layer]:
    import altair as alt

    domains: list[list[float]] = []
    for key in ("x", "y"):
        found = numbers_of(rows, (key,)) or [0.0]
        domains.append([min(found) - MARGIN_M, max(found) + MARGIN_M])
    spans = [high - low for low, high in domains]
    # A metre is as long across as it is down.
    width = max(120, min(_size(columns)["width"], round(MAP_HEIGHT * spans[0] / spans[1])))
    place: Look = {
        "x": alt.X(field="x", type="quantitative", axis=_metres(request.x), scale=_fixed(domains[0])),
        "y": alt.Y(field="y", type="quantitative", axis=_metres(request.y), scale=_fixed(domains[1])),
    }
    signed = request.value is not None and "change" in request.value.label.lower()
    coded: Look = {"color": shade(request.value, rows, signed=signed)} if request.value else {}
    look: Look = {
        "size": 900,
        "opacity": 1,
        "stroke": INK,
        "width": width,
        "height": round(width * spans[1] / spans[0]),
    }
    layers: list[Layer] = [_drawn("circle", look if coded else {**look, "color": OKABE_ITO[0]}, {**place, **coded})]
    if request.series:
        names = {**place, "text": alt.Text(field="series", type="nominal")}
        layers.append(_drawn("text", {"dy": -25, "fontSize": 12, "fontWeight": "bold"}, names))
    if request.value:
        layers.append(_drawn("text", {"dy": 26, "fontSize": 11}, {**place, "text": _text(request)}))
    return layers


def _fixed(domain: Sequence[float]) -> alt.Scale:
    import altair as alt

    return alt.Scale(domain=list(domain), nice=False, zero=False)


def _metres(axis: Axis) -> alt.Axis:
    import altair as alt

    return alt.Axis(title=axis_title(axis), tickMinStep=0.5, tickCount=6)
