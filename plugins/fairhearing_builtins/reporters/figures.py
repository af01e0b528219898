"""The charts of a report as figures: which, in what order, drawn for the page and as SVG files."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from fairhearing.api import AnalyserResult, ChartRequest
from fairhearing_builtins.reporters.answer import without_listening_words
from fairhearing_builtins.reporters.charts import vega_lite
from fairhearing_builtins.reporters.identity import Stated
from fairhearing_builtins.reporters.names import UniqueNames
from fairhearing_builtins.reporters.overview import balance_chart, overview_chart
from fairhearing_builtins.reporters.svg import svg

# The order in which a reader asks: what was measured, what changed, what that did, what people said.
READING_ORDER = (
    "parts", "responses", "change", "corner", "target", "seats", "spread", "level", "subsonic", "trials", "preference",
    "ratings",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """A chart with its place in the report folder, its anchor, its specification for the page and its SVG file."""

    anchor: str
    path: str
    title: str
    alternative: str
    specification: dict[str, object]
    drawing: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class Undrawn:
    """A chart that could not be drawn, and why."""

    name: str
    analyser: str
    why: str


def reading_place(name: str) -> int:
    """The place of a chart in the reading order, by the first word of its name; unknown ones after all known."""
    first = name.split("-")[0]
    return READING_ORDER.index(first) if first in READING_ORDER else len(READING_ORDER)


def requested_charts(
    results: Sequence[AnalyserResult], stated: Sequence[Stated]
) -> list[tuple[AnalyserResult, ChartRequest]]:
    """Every chart of one session's results in reading order; an analyser with findings and no chart gets one.

    Parameters
    ----------
    results : sequence of AnalyserResult
    stated : sequence of Stated
        All findings of the session.
    """
    charts: list[tuple[AnalyserResult, ChartRequest]] = []
    for result in results:
        charts += [(result, chart) for chart in result.result.charts]
        if result.result.charts or not result.result.findings:
            continue
        own = [one for one in stated if one.analyser == result.analyser]
        is_balance = any(one.finding.quantity == "balance" for one in own)
        made = (balance_chart(stated) if is_balance else None) or overview_chart(result.analyser, own)
        made = made or balance_chart(own, result.analyser)
        if made is not None:
            charts.append((result, made))
    return sorted(charts, key=lambda entry: (reading_place(entry[1].name), entry[1].name, entry[0].analyser))


def figures(
    results: Sequence[AnalyserResult],
    stated: Sequence[Stated],
    labels: Mapping[str, str],
    names: UniqueNames,
    listening: bool,
) -> tuple[tuple[Figure, ...], tuple[Undrawn, ...]]:
    """The figures of one session, and the charts that could not be drawn.

    Parameters
    ----------
    results : sequence of AnalyserResult
    stated : sequence of Stated
        All findings of the session.
    labels : mapping
        Condition id -> label.
    names : UniqueNames
        Gives each file a name of its own; one for the whole report.
    listening : bool
        Whether the session has findings of listeners.
    """
    drawn: list[Figure] = []
    failed: list[Undrawn] = []
    for result, chart in requested_charts(results, stated):
        title = without_listening_words(chart.title, listening)
        alternative = without_listening_words(chart.alternative, listening)
        try:
            titled = vega_lite(chart, labels, titled=True)
            drawing = svg(titled, title=title, alternative=alternative)
        except ValueError as fault:  # a plug-in's request that does not fit its own data
            failed.append(Undrawn(name=chart.name, analyser=result.analyser, why=str(fault).splitlines()[0]))
            continue
        specification = {key: value for key, value in titled.items() if key != "title"}
        name = names.name((result.session, result.analyser, chart.name))
        drawn.append(
            Figure(
                anchor=f"chart-{name}",
                path=f"charts/{name}.svg",
                title=title,
                alternative=alternative,
                specification=specification,
                drawing=drawing,
            )
        )
    return tuple(drawn), tuple(failed)
