"""Made-up report inputs: every kind of claim and chart, gaps, and texts that try to break out of a page."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from fairhearing.conformance.report_charts import CHARTS, GAPS
from fairhearing.contracts import ReportInputs, SourceNote
from fairhearing.result import AnalyserResult, Cell, ChartRequest, Finding, Refusal, Result, Table
from fairhearing.session import Chain, Condition, Criteria, Room, Seat, Session

# A tag, an attribute and a call that stand in no page; whoever finds one of them was broken into.
TAG, ATTRIBUTE, CALL = "spoiled-element", "spoiled-attribute", "spoiledcall"
HOSTILE = (
    f"<{TAG}>x</{TAG}>",
    f'"><{TAG} a="',
    f"'><{TAG} a='",
    f"</script><{TAG}>",
    f"</style><{TAG}>",
    f"--><{TAG}>",
    f"]]></title><{TAG}>",
    f'" {ATTRIBUTE}="1',
    f"' {ATTRIBUTE}='1",
    f'";{CALL}();"',
    f"A & B &lt;{TAG}&gt; {{{{7*7}}}} 100 % `code` *star* | bar",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class GapPlace:
    """A place in a report where a value may be missing; `inputs` gives the report with any cell there."""

    name: str
    inputs: Callable[[Cell], ReportInputs]


def session(identifier: str, question: str, *, labels: Sequence[str] = ("Filter out", "Filter in")) -> Session:
    """A session of two conditions and three seats."""
    chain = Chain(design_corner_hz=90.0, setting_kohm=47.0, amplifier_input_kohm=47.0)
    return Session(
        id=identifier,
        date="2026-05-09",
        question=question,
        room=Room(id=f"{identifier}-room", size_m=(7.4, 5.1, 2.9), temperature_c=21.0),
        conditions=(
            Condition(id="out", label=labels[0], reference=True),
            Condition(id="in", label=labels[1], chain=chain, trim_db=-0.25),
        ),
        seats=(Seat(id="A", position_m=(3.2, 1.4, 1.15)), Seat(id="B"), Seat(id="C", weight=0.0)),
        measurements=(),
        scores=(),
        criteria=Criteria(),
        folder=Path("nowhere"),
        warnings=("a file is matched by nothing",),
    )


def _against(quantity: str, value: float | None, unit: str, **more: object) -> Finding:
    fields: dict[str, object] = {"condition": "in", "reference": "out", "method": "made up", "confidence": 0.95, "n": 4}
    return Finding(quantity=quantity, value=value, unit=unit, **(fields | more))  # type: ignore[arg-type]


def known_findings() -> tuple[Finding, ...]:
    """Findings of quantities that a reporter may know, with intervals, verdicts and caveats, one of them null."""
    return (
        _against("corner_frequency", 88.47, "Hz", low=84.13, high=92.86, point="seat", playing="main",
                 caveats=("the bands below the first mode were left out of the fit",)),
        _against("level_difference", 0.37, "dB", low=0.29, high=0.46, verdict="unmatched", point="seat",
                 caveats=("taken with the curtains open",)),
        _against("implied_load", 46_830.0, "ohm", low=45_210.0, high=48_690.0),
        _against("target_deviation_change", -2.86, "dB", low=-3.59, high=-2.14, verdict="improved", point="seat"),
        _against("seat_spread_change", None, "dB", verdict="undecided", n=None,
                 caveats=("no spread without a second seat of weight above nought",)),
        _against("target_deviation_change", 1.73, "dB", low=1.12, high=2.31, verdict="worse", seat="B", point="seat"),
    )  # fmt: skip


def unknown_findings() -> tuple[Finding, ...]:
    """Findings of quantities that no reporter has heard of, in units of their own."""
    return (
        _against("shimmer_index", 6.283, "glim", low=5.417, high=7.192, verdict="twinkling",
                 caveats=("one lamp was still warming up",)),
        _against("tilt_of_the_floor", -17.64, "tilt", low=-19.38, high=-15.91),
        _against("shimmer_index", 4.918, "glim", seat="A", low=4.433, high=5.366),
        _against("colour_of_the_tide", None, "tide", caveats=("the tide was out",)),
    )  # fmt: skip


def listening_findings() -> tuple[Finding, ...]:
    """What listeners said, and the balance."""
    return (
        _against("preference_share", 0.65, "1", low=0.53, high=0.77, p_value=0.031, n=8, verdict="preferred",
                 caveats=("eight people of one household",)),
        Finding(quantity="balance", value=None, unit="", method="preferred: shown; as-set: shown", verdict="gain",
                condition="in", reference="out"),
    )  # fmt: skip


def result(of: str, analyser: str, **content: object) -> AnalyserResult:
    """What an analyser found in a session."""
    made = Result(**content)  # type: ignore[arg-type]
    return AnalyserResult(session=of, room=f"{of}-room", analyser=analyser, version="3", result=made)


def curve_table(cell: Cell = None) -> Table:
    """A table with a gap."""
    return Table(
        name="curve",
        columns={"pace": [31.7, 44.9, 63.2], "swell": [3.41, cell, 5.87], "seat": ["A", "A", "B"]},
        units={"pace": "beat", "swell": "surge", "seat": ""},
    )


def full_inputs() -> ReportInputs:
    """Two sessions with every kind of claim and every form of chart."""
    mill, barn = session("mill-2026-05-09", "Is the filter a gain?"), session("barn-2026-05-16", "And in the barn?")
    refusal = Refusal(what="the decay was not judged", why="there is no impulse response", try_="measure one")
    failed = AnalyserResult(
        session=barn.id, room=barn.room.id, analyser="breaks", version="1", problem="plug-in breaks 1 failed: no reason"
    )
    return ReportInputs(
        sessions=(barn, mill),
        results=(
            result(mill.id, "filter", findings=known_findings(), charts=tuple(CHARTS), refusals=(refusal,)),
            result(mill.id, "stranger", findings=unknown_findings(), tables=(curve_table(),)),
            result(mill.id, "listening", findings=listening_findings()),
            result(barn.id, "filter", findings=(_against("corner_frequency", 71.29, "Hz", low=68.54, high=74.08),)),
            failed,
        ),
        sources=(SourceNote(session=mill.id, path="a/left.csv", sha256="ab" * 32, size=4711, importer="some-table"),),
        unread=(f"{mill.id}: scores/late.csv: no analyser reads it yet",),
        problems=("plug-in odd (odd-plug-in) is not used: it offers nothing",),
        software={"fairhearing": "0"},
    )


def without_findings() -> ReportInputs:
    """A session of which nothing is known."""
    return ReportInputs(sessions=(session("mill-2026-05-09", ""),), results=())


def hostile_inputs() -> ReportInputs:
    """The texts of `HOSTILE` wherever a session or a plug-in can put text."""
    of = replace(session("mill-2026-05-09", " ".join(HOSTILE), labels=HOSTILE[1:3]), warnings=HOSTILE)
    findings = tuple(
        _against(f"quantity {text}", 1.5 + place, text, low=1.0, high=2.5 + place, verdict=text, caveats=HOSTILE,
                 method=text, variant=None if place % 2 else text, programme=text if place % 3 == 0 else None)
        for place, text in enumerate(HOSTILE)
    )  # fmt: skip
    columns: dict[str, Sequence[Cell]] = {text: ["x", text] for text in HOSTILE}
    table = Table(name=HOSTILE[0], columns=columns, units=dict.fromkeys(HOSTILE, HOSTILE[1]))
    refusals = tuple(Refusal(what=text, why=text, try_=text) for text in HOSTILE)
    charts = tuple(_hostile_chart(chart, HOSTILE[place % len(HOSTILE)]) for place, chart in enumerate(CHARTS))
    notes = tuple(
        SourceNote(session=of.id, path=text, sha256="cd" * 32, size=1, importer=text, caveats=HOSTILE)
        for text in HOSTILE
    )
    return ReportInputs(
        sessions=(of,),
        results=(result(of.id, "stranger", findings=findings, tables=(table,), refusals=refusals, charts=charts),),
        sources=notes,
        unread=HOSTILE,
        problems=HOSTILE,
        software=dict.fromkeys(HOSTILE, HOSTILE[0]),
    )


def _hostile_chart(chart: ChartRequest, text: str) -> ChartRequest:
    data = {
        name: [text if cell == "A" else cell for cell in column] if name in (chart.series, chart.panel) else column
        for name, column in chart.data.items()
    }
    return replace(
        chart,
        title=text,
        alternative=text,
        data=data,
        x=replace(chart.x, label=text, unit=text),
        y=replace(chart.y, label=text),
        rules=tuple(replace(rule, label=text) for rule in chart.rules),
    )


def gap_places() -> tuple[GapPlace, ...]:
    """Every place where a value may be missing: in each form of chart, in a table, in a finding."""
    places = [
        GapPlace(name=f"{chart.form}, column {column}", inputs=_with_cell(chart, column))
        for chart in CHARTS
        for column in GAPS[chart.form]
    ]
    finding = _against("shimmer_index", None, "glim", verdict="undecided", caveats=("nothing was read",))
    return (
        *places,
        GapPlace(name="table", inputs=lambda cell: _only(tables=(curve_table(cell),))),
        GapPlace(name="finding, value", inputs=lambda cell: _only(findings=(replace(finding, value=_float(cell)),))),
        GapPlace(
            name="finding, low",
            inputs=lambda cell: _only(findings=(replace(finding, value=9.5, low=_float(cell), high=11.5),)),
        ),
    )


def _float(cell: Cell) -> float | None:
    return None if cell is None else float(cell)


def _only(**content: object) -> ReportInputs:
    of = session("mill-2026-05-09", "Is it a gain?")
    return ReportInputs(sessions=(of,), results=(result(of.id, "stranger", **content),))


def _with_cell(chart: ChartRequest, column: str) -> Callable[[Cell], ReportInputs]:
    def inputs(cell: Cell) -> ReportInputs:
        data: Mapping[str, Sequence[Cell]] = {
            name: [cell if one is None and name == column else one for one in cells]
            for name, cells in chart.data.items()
        }
        return _only(charts=(replace(chart, data=data),))

    return inputs
