"""Tests of fairhearing_builtins.reporters.charts, .chart_data, .chart_look and .svg."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from itertools import pairwise
from xml.etree import ElementTree

import numpy as np
import pytest

from fairhearing.api import Axis, ChartRequest, Rule
from fairhearing_builtins.reporters.chart_data import BUCKETS, MOST_POINTS, chart_rows
from fairhearing_builtins.reporters.chart_look import OKABE_ITO, axis_title, log_ticks
from fairhearing_builtins.reporters.charts import vega_lite
from fairhearing_builtins.reporters.svg import svg

from .build_charts import (
    corner_chart,
    foreign_chart,
    level_chart,
    map_chart,
    preference_chart,
    responses_chart,
    target_chart,
    trials_chart,
)

BAND = replace(responses_chart(90.0), name="band", form="band", panel=None)
CHARTS = (
    corner_chart(90.0), foreign_chart(), level_chart(), map_chart(), preference_chart(), responses_chart(90.0),
    target_chart(), trials_chart(), BAND,
)  # fmt: skip
SVG = "{http://www.w3.org/2000/svg}"


def drawn(request: ChartRequest) -> ElementTree.Element:
    return ElementTree.fromstring(svg(vega_lite(request, titled=True), title=request.title, alternative="a & b"))


def line_of(levels: list[float | None], frequencies: list[float] | None = None) -> ChartRequest:
    return ChartRequest(
        name="line", title="Line", alternative="A line.", form="line",
        data={"f": frequencies or [100.0 * (i + 1) for i in range(len(levels))], "level": levels},
        x=Axis(column="f", label="Frequency", unit="Hz", scale="log"), y=Axis(column="level", label="Level", unit="dB"),
    )  # fmt: skip


def marks(picture: ElementTree.Element, kind: str) -> list[ElementTree.Element]:
    groups = [g for g in picture.iter(f"{SVG}g") if f"mark-{kind}" in g.get("class", "").split()]
    return [mark for group in groups for mark in group if "role-axis" not in group.get("class", "")]


@pytest.mark.parametrize("request_", CHARTS, ids=lambda chart: chart.name)
def test_every_form_becomes_an_svg_that_parses_and_has_its_title_and_description(request_: ChartRequest) -> None:
    picture = drawn(request_)
    assert picture.tag == f"{SVG}svg"
    assert [child.tag for child in picture][:2] == [f"{SVG}title", f"{SVG}desc"]
    assert picture[0].text == request_.title
    assert picture[1].text == "a & b"


@pytest.mark.parametrize("request_", CHARTS, ids=lambda chart: chart.name)
def test_every_axis_of_a_drawing_says_its_unit(request_: ChartRequest) -> None:
    texts = [text.text for text in drawn(request_).iter(f"{SVG}text")]
    for axis in (request_.x, request_.y):
        assert axis_title(axis) in texts
        if axis.unit not in ("", "1"):
            assert axis_title(axis).endswith(f" in {axis.unit}")


@pytest.mark.parametrize("request_", CHARTS, ids=lambda chart: chart.name)
def test_a_specification_is_valid_by_the_schema_of_vega_lite(request_: ChartRequest) -> None:
    import altair as alt
    from altair.utils.schemapi import validate_jsonschema

    validate_jsonschema(
        vega_lite(request_, titled=True), alt.TopLevelSpec._schema, rootschema=alt.TopLevelSpec._rootschema
    )


def test_the_check_against_the_schema_can_fail() -> None:
    import altair as alt
    from altair.utils.schemapi import validate_jsonschema
    from jsonschema import ValidationError

    with pytest.raises(ValidationError):
        validate_jsonschema({"mark": "hexagram"}, alt.TopLevelSpec._schema, rootschema=alt.TopLevelSpec._rootschema)


@pytest.mark.parametrize("request_", CHARTS, ids=lambda chart: chart.name)
def test_a_specification_names_no_address(request_: ChartRequest) -> None:
    specification = vega_lite(request_)
    assert "http" not in json.dumps(specification)
    assert "url" not in json.dumps(specification)


@pytest.mark.parametrize("request_", CHARTS, ids=lambda chart: chart.name)
def test_the_same_request_gives_the_same_bytes(request_: ChartRequest) -> None:
    from fairhearing_builtins.reporters import svg as module

    specification = vega_lite(request_)
    first = svg(specification, title="t", alternative="a")
    module._svg.cache_clear()
    assert svg(vega_lite(request_), title="t", alternative="a") == first


def test_a_gap_breaks_a_line_in_two_and_no_gap_does_not() -> None:
    whole = marks(drawn(line_of([1.0, 2.0, 3.0, 2.0, 1.0])), "line")
    broken = marks(drawn(line_of([1.0, 2.0, None, 2.0, 1.0])), "line")
    assert [path.get("d", "").count("M") for path in whole] == [1]
    assert [path.get("d", "").count("M") for path in broken] == [2]


def test_not_a_number_and_text_on_a_number_axis_are_gaps() -> None:
    rows = chart_rows(line_of([1.0, float("nan"), "x", float("inf"), 5.0]), {})  # type: ignore[list-item]
    assert [row["y"] for row in rows] == [1.0, None, None, None, 5.0]


def test_a_frequency_of_zero_is_no_place_on_a_logarithmic_axis() -> None:
    assert chart_rows(line_of([1.0, 2.0], [0.0, 50.0]), {})[0]["x"] is None


def test_long_series_keep_their_extremes_ends_and_gaps() -> None:
    frequencies = np.geomspace(10.0, 20_000.0, 50_000).tolist()
    levels: list[float | None] = np.random.default_rng(7).normal(size=50_000).tolist()
    levels[31_415], levels[27_182] = 99.0, -99.0
    levels[40_000] = None
    rows = chart_rows(line_of(levels, frequencies), {})
    kept = {row["x"]: row["y"] for row in rows}
    assert len(rows) <= MOST_POINTS
    assert kept[frequencies[31_415]] == 99.0
    assert kept[frequencies[27_182]] == -99.0
    assert kept[frequencies[40_000]] is None
    assert {frequencies[0], frequencies[-1]} <= set(kept)
    assert [row["x"] for row in rows] == sorted(row["x"] for row in rows)  # type: ignore[type-var]


def test_every_extreme_of_every_bucket_stays() -> None:
    frequencies = np.geomspace(10.0, 20_000.0, 6_000)
    levels = np.random.default_rng(8).normal(size=6_000)
    rows = chart_rows(line_of(levels.tolist(), frequencies.tolist()), {})
    kept = {float(row["x"]): float(row["y"]) for row in rows}  # type: ignore[arg-type]
    edges = np.geomspace(10.0, 20_000.0, BUCKETS + 1)
    for low, high in pairwise(edges):
        chosen = (frequencies > low * 1.0001) & (frequencies < high * 0.9999)
        own = [
            kept[f] for f in frequencies[(frequencies >= low * 0.9999) & (frequencies <= high * 1.0001)] if f in kept
        ]
        assert max(own) >= levels[chosen].max()
        assert min(own) <= levels[chosen].min()
    assert len(rows) < 3 * BUCKETS


def test_series_of_two_thousand_points_are_left_alone() -> None:
    assert (
        len(chart_rows(line_of([0.5] * MOST_POINTS, np.geomspace(10, 20e3, MOST_POINTS).tolist()), {})) == MOST_POINTS
    )


def test_panels_become_facets_with_the_seat_in_their_heading() -> None:
    specification = vega_lite(responses_chart(90.0))
    assert specification["columns"] == 3
    headings = [text.text for text in drawn(responses_chart(90.0)).iter(f"{SVG}text")]
    assert {"Seat A", "Seat B", "Seat C"} <= set(headings)
    assert len(marks(drawn(responses_chart(90.0)), "line")) == 6


def test_bands_and_legend_of_lines_stand_together() -> None:
    picture = drawn(responses_chart(90.0))
    legends = [g for g in picture.iter(f"{SVG}g") if "role-legend" in g.get("class", "").split()]
    assert len(legends) == 1
    assert len(marks(picture, "area")) == 6
    fills = {area.get("fill") for area in marks(picture, "area")}
    strokes = {line.get("stroke") for line in marks(picture, "line")}
    assert fills == strokes == {OKABE_ITO[0], OKABE_ITO[1]}


def test_lines_differ_in_dash_as_well_as_in_colour() -> None:
    dashes = {path.get("stroke-dasharray") for path in marks(drawn(corner_chart(90.0)), "line")}
    assert len(dashes) == 2


def test_conditions_are_named_by_their_labels() -> None:
    rows = chart_rows(responses_chart(90.0), {"in": "Filter in", "out": "Filter out"})
    assert {row["series"] for row in rows} == {"Filter in", "Filter out"}


def test_a_rule_is_drawn_once_in_each_panel_and_labelled() -> None:
    request_ = replace(responses_chart(90.0), rules=(Rule(at=70.0, label="seventy"),))
    texts = [text.text for text in drawn(request_).iter(f"{SVG}text")]
    assert texts.count("seventy") == 3


def test_two_limits_of_one_name_are_named_once() -> None:
    rules = (Rule(at=69.0, label="tolerance"), Rule(at=70.0, label="middle"), Rule(at=71.0, label="tolerance"))
    picture = drawn(replace(responses_chart(90.0), rules=rules))
    texts = [text.text for text in picture.iter(f"{SVG}text")]
    assert (texts.count("tolerance"), texts.count("middle")) == (3, 3)
    assert len(marks(picture, "rule")) == 9


def test_the_legend_of_marked_lines_shows_lines_and_the_points_have_shapes() -> None:
    data = {"f": [20.0, 50.0] * 2, "l": [1.0, 2.0, 3.0, 4.0], "s": ["out", "out", "in", "in"]}
    request_ = replace(line_of(data["f"], data["l"]), data=data, series="s")
    request_ = replace(request_, x=replace(request_.x, column="f"), y=replace(request_.y, column="l"))
    assert vega_lite(request_)["config"]["legend"]["symbolType"] == "stroke"  # type: ignore[index]
    picture = drawn(request_)
    legends = [g for g in picture.iter(f"{SVG}g") if "role-legend" in g.get("class", "").split()]
    assert len(legends) == 1
    points = marks(picture, "symbol")
    assert len({path.get("d") for path in points}) >= 2


def test_on_a_map_of_changes_colour_has_a_sign_even_where_all_have_the_same() -> None:
    losing = replace(map_chart(), data={**map_chart().data, "change": [2.9, 2.4, 1.1]})
    scale = vega_lite(losing)["layer"][0]["encoding"]["color"]["scale"]  # type: ignore[index]
    assert scale["domain"] == [-2.9, 2.9]
    levels = replace(losing, value=replace(losing.value, label="Level"))  # type: ignore[type-var]
    assert "domain" not in vega_lite(levels)["layer"][0]["encoding"]["color"]["scale"]  # type: ignore[index]


def test_bars_start_at_nothing() -> None:
    data = {"listener": ["a", "b"], "right": [0.8, 0.9], "low": [0.7, 0.8], "high": [0.9, 1.0]}
    picture = drawn(replace(trials_chart(), data=data))
    texts = [text.text for text in picture.iter(f"{SVG}text")]
    assert "0.0" in texts


def test_metres_are_as_long_across_as_down_on_a_map() -> None:
    specification = vega_lite(map_chart())
    encoding = specification["layer"][0]["encoding"]  # type: ignore[index]
    spans = [np.ptp(encoding[axis]["scale"]["domain"]) for axis in ("x", "y")]
    ratio = specification["width"] / specification["height"]  # type: ignore[operator]
    assert ratio == pytest.approx(spans[0] / spans[1], rel=0.003)


def test_the_ticks_of_a_frequency_axis_are_the_usual_ones() -> None:
    # 1-2-5 steps: the tick series of IEC 60263:1982 for frequency axes (from memory).
    assert log_ticks(20.0, 20_000.0) == [20, 50, 100, 200, 500, 1000, 2000, 5000, 10_000, 20_000]
    assert log_ticks(31.0, 33.0) == []


def test_thousands_of_hertz_read_as_k() -> None:
    texts = [text.text for text in drawn(corner_chart(90.0)).iter(f"{SVG}text")]
    assert {"20", "50", "100", "200", "500", "1k", "2k", "5k"} <= set(texts)


def test_colours_are_those_of_okabe_and_ito() -> None:
    # Okabe and Ito, "Color Universal Design (CUD)", 2008, figure 16: RGB (from memory).
    published = {
        (0, 0, 0), (230, 159, 0), (86, 180, 233), (0, 158, 115), (240, 228, 66), (0, 114, 178), (213, 94, 0),
        (204, 121, 167),
    }  # fmt: skip
    ours = {tuple(int(colour[i : i + 2], 16) for i in (1, 3, 5)) for colour in OKABE_ITO}
    assert ours == published


def test_many_series_are_told_apart_by_colour_and_dash() -> None:
    names = [f"s{index}" for index in range(20) for _ in (0, 1)]
    request_ = replace(line_of([float(i) for i in range(40)], [20.0, 50.0] * 20), series="s")
    request_ = replace(request_, data={**request_.data, "s": names})
    codes = [(path.get("stroke"), path.get("stroke-dasharray")) for path in marks(drawn(request_), "line")]
    assert len(codes) == len(set(codes)) == 20


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"x": Axis(column="absent", label="X")}, "absent"),
        ({"data": {"f": [1.0], "level": [1.0, 2.0]}}, "differ in length"),
    ],
)
def test_a_request_that_does_not_fit_its_data_is_refused_in_words(change: dict[str, object], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        vega_lite(replace(line_of([1.0, 2.0]), **change))  # type: ignore[arg-type]


@pytest.mark.parametrize("form", ["line", "band", "interval", "bar", "grid", "seat-map", "forest"])
def test_a_chart_without_rows_is_drawn_empty(form: str) -> None:
    numbers = form in ("line", "band", "seat-map")
    request_ = ChartRequest(
        name="empty", title="Empty", alternative="Nothing.", form=form,  # type: ignore[arg-type]
        data={"x": [], "y": [], "low": [], "high": [], "v": []},
        x=Axis(column="x", label="X", scale="linear" if numbers else "category"),
        y=Axis(column="y", label="Y", scale="linear" if numbers or form == "bar" else "category"),
        low="low", high="high", value=Axis(column="v", label="V", unit="dB"),
    )  # fmt: skip
    assert drawn(request_).tag == f"{SVG}svg"


def test_ids_inside_a_drawing_count_from_one() -> None:
    ids = re.findall(r'id="([^"]+)"', svg(vega_lite(responses_chart(91.0)), title="t", alternative="a").decode())
    assert ids[0] == "clip-1"
    assert len(ids) == len(set(ids))
