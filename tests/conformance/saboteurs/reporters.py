"""A reporter that keeps every rule, and for each rule those that break it and no other."""

from __future__ import annotations

import html
from collections.abc import Iterable, Iterator
from dataclasses import replace

from fairhearing.api import Axis, ChartRequest, Finding, OutputFile, ReportInputs, Table

Cell = str | float | int | bool | None
MISSING = "–"
ENDS = ("low", "high")


class SoundPage:
    """A page with everything in it: findings, tables, and a drawing of each chart that lists its points."""

    name = "made-up-page"
    version = "1"
    head = "<meta charset='utf-8'>"

    def render(self, inputs: ReportInputs) -> Iterable[OutputFile]:
        parts = [self.head]
        parts += [f"<h2>{self.escaped(session.question)}</h2>" for session in inputs.sessions]
        for result in inputs.results:
            parts += map(self.finding, result.result.findings)
            parts += map(self.table, result.result.tables)
            parts += map(self.chart, result.result.charts)
        yield OutputFile(path="page.html", data="\n".join(parts).encode(), main=True)

    def escaped(self, text: object) -> str:
        return html.escape(str(text))

    def cell(self, cell: Cell) -> str:
        return MISSING if cell is None else self.escaped(cell)

    def number(self, value: float | None) -> str:
        return MISSING if value is None else str(value)

    def finding(self, finding: Finding) -> str:
        ends = " to ".join(self.number(getattr(finding, name)) for name in ENDS)
        caveats = "; ".join(map(self.escaped, finding.caveats))
        words = f"{self.escaped(finding.quantity)} {self.number(finding.value)} {self.escaped(finding.unit)}"
        return f"<p title='{self.attribute(finding.method)}'>{words} ({ends}) {self.verdict(finding)} {caveats}</p>"

    def verdict(self, finding: Finding) -> str:
        return self.escaped(finding.verdict or "")

    def attribute(self, text: str) -> str:
        return html.escape(text)

    def table(self, table: Table) -> str:
        columns = (" ".join(map(self.cell, column)) for column in table.columns.values())
        return f"<pre>{' / '.join(columns)}</pre>"

    def chart(self, chart: ChartRequest) -> str:
        axes = (chart.x, chart.y, *([chart.value] if chart.value else []))
        points = (f"<text>{self.point(cell)}</text>" for column in chart.data.values() for cell in column)
        return f"<svg>{''.join(map(self.axis, axes))}{''.join(points)}</svg>"

    def point(self, cell: Cell) -> str:
        return self.cell(cell)

    def axis(self, axis: Axis) -> str:
        return f"<text>{self.escaped(axis.label)} in {self.escaped(axis.unit)}</text>"


class TakesTheFirstSession(SoundPage):
    def render(self, inputs: ReportInputs) -> Iterable[OutputFile]:
        assert inputs.sessions[0].question is not None
        return super().render(inputs)


class TakesTheFirstResult(SoundPage):
    def render(self, inputs: ReportInputs) -> Iterable[OutputFile]:
        assert inputs.results[0].analyser is not None
        return super().render(inputs)


class KnowsItsVerdicts(SoundPage):
    def verdict(self, finding: Finding) -> str:
        return {None: "", "improved": "better", "gain": "a gain", "undecided": "open"}[finding.verdict]


class WritesText(SoundPage):
    def render(self, inputs: ReportInputs) -> Iterable[OutputFile]:
        for file in super().render(inputs):
            yield replace(file, data=file.data.decode()) if inputs.results else file  # type: ignore[arg-type]


class LeavesOutCaveats(SoundPage):
    def finding(self, finding: Finding) -> str:
        return super().finding(replace(finding, caveats=finding.caveats if finding.value is None else ()))


class LeavesOutIntervals(SoundPage):
    def finding(self, finding: Finding) -> str:
        known = finding.unit != "tilt"
        return super().finding(finding if known else replace(finding, low=None, high=None))


class LeavesOutTheUnknown(SoundPage):
    def finding(self, finding: Finding) -> str:
        return "" if finding.quantity == "tilt_of_the_floor" else super().finding(finding)


class LeavesOutUnits(SoundPage):
    def finding(self, finding: Finding) -> str:
        return super().finding(replace(finding, unit=finding.unit if finding.unit == "dB" else ""))


class RoundsToTwoDigits(SoundPage):
    def number(self, value: float | None) -> str:
        return MISSING if value is None else f"{float(f'{value:.2g}'):g}"


class LosesTheSign(SoundPage):
    def number(self, value: float | None) -> str:
        return MISSING if value is None else str(abs(value))


class AxesWithoutUnits(SoundPage):
    def axis(self, axis: Axis) -> str:
        return f"<text>{self.escaped(axis.label)}</text>"


class LegendWithoutUnit(SoundPage):
    def chart(self, chart: ChartRequest) -> str:
        return super().chart(replace(chart, value=replace(chart.value, unit="") if chart.value else None))


class DrawsGapsAsZero(SoundPage):
    def point(self, cell: Cell) -> str:
        return self.cell(0.0 if cell is None else cell)


class DrawsGapsOfBarsAsZero(SoundPage):
    def chart(self, chart: ChartRequest) -> str:
        if chart.form == "bar":
            data = {name: [0.0 if cell is None else cell for cell in column] for name, column in chart.data.items()}
            chart = replace(chart, data=data)
        return super().chart(chart)


class TablesGapsAsZero(SoundPage):
    def table(self, table: Table) -> str:
        columns = {name: [0.0 if cell is None else cell for cell in cells] for name, cells in table.columns.items()}
        return super().table(replace(table, columns=columns))


class StatesNullAsZero(SoundPage):
    def number(self, value: float | None) -> str:
        return str(value or 0.0)


class FailsOnAMissingEnd(SoundPage):
    def finding(self, finding: Finding) -> str:
        if finding.high is not None:
            assert finding.low is not None
        return super().finding(finding)


class LoadsAStyle(SoundPage):
    head = "<link rel='stylesheet' href='https://fonts.invalid/a.css'>"


class LoadsAPicture(SoundPage):
    head = "<img alt='' src='//pictures.invalid/a.png'>"


class ImportsAStyle(SoundPage):
    head = "<style>@import 'a.css';</style>"


class StylesFromAnAddress(SoundPage):
    head = "<p style='background: url(http://pictures.invalid/a.png)'>"


class Fetches(SoundPage):
    head = "<script>fetch('/' + 'tell')</script>"


class CountsItsCalls(SoundPage):
    n_calls = 0

    def render(self, inputs: ReportInputs) -> Iterator[OutputFile]:
        self.n_calls += 1
        for file in super().render(inputs):
            yield replace(file, data=file.data + f"<!-- {self.n_calls} -->".encode())


class WritesAbove(SoundPage):
    def render(self, inputs: ReportInputs) -> Iterator[OutputFile]:
        yield from (replace(file, path=f"../{file.path}") for file in super().render(inputs))


class WritesAbsolutely(SoundPage):
    def render(self, inputs: ReportInputs) -> Iterator[OutputFile]:
        yield from (replace(file, path=f"/{file.path}") for file in super().render(inputs))


class HasTwoMains(SoundPage):
    def render(self, inputs: ReportInputs) -> Iterator[OutputFile]:
        for file in super().render(inputs):
            yield from (file, replace(file, path="again.html"))


class WritesTwice(SoundPage):
    def render(self, inputs: ReportInputs) -> Iterator[OutputFile]:
        for file in super().render(inputs):
            yield from (file, replace(file, path="Page.html", main=False))


class EscapesNothing(SoundPage):
    def escaped(self, text: object) -> str:
        return str(text)


class EscapesNoQuotes(SoundPage):
    def attribute(self, text: str) -> str:
        return html.escape(text, quote=False)


class PutsTextIntoAScript(SoundPage):
    def finding(self, finding: Finding) -> str:
        verdict = (finding.verdict or "").replace("<", "\\u003c")
        return super().finding(finding) + f'<script>const verdict = "{verdict}";</script>'


class DrawsBadXml(SoundPage):
    def render(self, inputs: ReportInputs) -> Iterator[OutputFile]:
        yield from super().render(inputs)
        titles = "".join(chart.title.replace("<", "&lt;") for r in inputs.results for chart in r.result.charts)
        yield OutputFile(path="titles.svg", data=f"<svg><title>{titles}</title></svg>".encode())


SABOTEURS: tuple[tuple[type[SoundPage], str], ...] = (
    (TakesTheFirstSession, "renders-empty"),
    (TakesTheFirstResult, "renders-empty"),
    (KnowsItsVerdicts, "renders-everything"),
    (WritesText, "renders-everything"),
    (LeavesOutCaveats, "every-claim-appears"),
    (LeavesOutIntervals, "every-claim-appears"),
    (LeavesOutTheUnknown, "every-claim-appears"),
    (LeavesOutUnits, "every-claim-appears"),
    (RoundsToTwoDigits, "every-claim-appears"),
    (LosesTheSign, "every-claim-appears"),
    (AxesWithoutUnits, "axes-carry-units"),
    (LegendWithoutUnit, "axes-carry-units"),
    (DrawsGapsAsZero, "gaps-stay-gaps"),
    (DrawsGapsOfBarsAsZero, "gaps-stay-gaps"),
    (TablesGapsAsZero, "gaps-stay-gaps"),
    (StatesNullAsZero, "gaps-stay-gaps"),
    (FailsOnAMissingEnd, "gaps-stay-gaps"),
    (LoadsAStyle, "self-contained"),
    (LoadsAPicture, "self-contained"),
    (ImportsAStyle, "self-contained"),
    (StylesFromAnAddress, "self-contained"),
    (Fetches, "self-contained"),
    (CountsItsCalls, "same-bytes"),
    (WritesAbove, "stays-inside"),
    (WritesAbsolutely, "stays-inside"),
    (HasTwoMains, "stays-inside"),
    (WritesTwice, "stays-inside"),
    (EscapesNothing, "hostile-text-escaped"),
    (EscapesNoQuotes, "hostile-text-escaped"),
    (PutsTextIntoAScript, "hostile-text-escaped"),
    (DrawsBadXml, "hostile-text-escaped"),
)
