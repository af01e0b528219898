"""The rules of a reporter, as test cases over made-up report inputs."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import TypeVar
from xml.etree import ElementTree

from fairhearing.calling import call_plugin
from fairhearing.conformance import report_world
from fairhearing.conformance.kit import Case, NotApplicable, Rule, RuleBroken, cases, parametrised
from fairhearing.conformance.report_charts import CHARTS, units
from fairhearing.conformance.report_reading import (
    MARKUP,
    PICTURES,
    broken_out,
    chart_words,
    draws_charts,
    ending,
    has_word,
    loads,
    plain,
    states,
    words_of,
)
from fairhearing.contracts import OutputFile, Reporter, ReportInputs
from fairhearing.errors import PluginProblem
from fairhearing.files import is_inside
from fairhearing.result import Finding

F = TypeVar("F", bound=Callable[..., object])
OVER_ALL = ("variant", "seat", "channel", "programme", "listener", "band_hz")
# How a unit may be written; what is not here is written as it is, and "1" not at all.
SPELLINGS = {
    "ohm": ("ohm", "kohm", "Ω", "kΩ"), "oct": ("oct", "octave", "octaves"), "deg": ("deg", "degree", "degrees", "°"),
}  # fmt: skip
SOME_NUMBER = 7.75


@dataclass(frozen=True, slots=True)
class ReporterSubject:
    """A reporter, and what it made of the worlds that several rules look at."""

    reporter: Reporter
    rendered: dict[str, list[OutputFile]] = field(default_factory=dict, compare=False, repr=False)


def check_reporter(reporter: Reporter, *, waive: Mapping[str, str] | None = None) -> Callable[[F], F]:
    """A decorator that gives a test function with one argument `rule` one case for each rule of a reporter.

    Parameters
    ----------
    reporter : Reporter
    waive : mapping, optional
        Name of a rule -> why it is not kept.

    Raises
    ------
    ValueError
        A waiver names no rule, or has no reason.
    """
    return parametrised(reporter_cases(reporter, waive=waive))


def reporter_cases(reporter: Reporter, *, waive: Mapping[str, str] | None = None) -> list[Case[ReporterSubject]]:
    """One case for each rule of a reporter; the parameters are those of `check_reporter`."""
    return cases(RULES, ReporterSubject(reporter), waive)


def _render(reporter: Reporter, inputs: ReportInputs) -> list[OutputFile]:
    """Its files in the order of their paths; raises PluginProblem."""

    def ask() -> list[OutputFile]:
        files = list(reporter.render(inputs))
        for file in files:
            if not isinstance(file, OutputFile) or not isinstance(file.data, bytes):
                raise TypeError(f"render returned {file!r:.80}, not an OutputFile with bytes")
        return sorted(files, key=lambda file: file.path)

    return call_plugin(reporter.name, reporter.version, "report", ask)


WORLDS: dict[str, Callable[[], ReportInputs]] = {
    "full": report_world.full_inputs,
    "hostile": report_world.hostile_inputs,
}


def _files(subject: ReporterSubject, world: str) -> list[OutputFile]:
    """What it makes of a world, made once.

    Raises
    ------
    NotApplicable
        It fails: the rule `renders-everything` says so.
    """
    if world not in subject.rendered:
        try:
            subject.rendered[world] = _render(subject.reporter, WORLDS[world]())
        except PluginProblem as problem:
            raise NotApplicable(f"it does not render: {problem.what}") from None
    return subject.rendered[world]


def _renders_empty(subject: ReporterSubject) -> None:
    for what, inputs in (
        ("nothing at all", ReportInputs(sessions=(), results=())),
        ("a session without results", report_world.without_findings()),
    ):
        try:
            _render(subject.reporter, inputs)
        except PluginProblem as problem:
            raise RuleBroken(f"{what}: {problem.what}") from None


def _renders_everything(subject: ReporterSubject) -> None:
    for world in WORLDS:
        try:
            _files(subject, world)
        except NotApplicable as why:
            raise RuleBroken(f"the {world} report: {why}") from None


def headlines(inputs: ReportInputs) -> Iterator[Finding]:
    """The findings that are no variant, and over all seats, channels, programmes, listeners and bands."""
    for result in inputs.results:
        for finding in result.result.findings:
            if all(getattr(finding, name) is None for name in OVER_ALL):
                yield finding


def _every_claim_appears(subject: ReporterSubject) -> None:
    texts = [words_of(file) for file in _files(subject, "full") if ending(file) not in PICTURES]
    if not any(text and text.strip() for text in texts):
        raise NotApplicable("it writes no text, pictures apart")
    whole = plain("\n".join(text for text in texts if text is not None))
    for finding in headlines(report_world.full_inputs()):
        for name in ("value", "low", "high"):
            number = getattr(finding, name)
            if number is not None and not states(whole, number):
                raise RuleBroken(f"{finding.quantity}: its {name} {number} stands in no text, rounded to three digits")
        spellings = SPELLINGS.get(finding.unit, (finding.unit,))
        if finding.unit not in ("", "1") and not any(has_word(whole, plain(one)) for one in spellings):
            raise RuleBroken(f"{finding.quantity}: its unit {finding.unit!r} stands in no text")
        for caveat in finding.caveats:
            if plain(caveat) not in whole:
                raise RuleBroken(f"{finding.quantity}: its caveat {caveat!r} stands in no text")


def _axes_carry_units(subject: ReporterSubject) -> None:
    drawings = [file for file in _files(subject, "full") if draws_charts(file)]
    if not drawings:
        raise NotApplicable("it draws no charts")
    texts = [chart_words(file) for file in drawings]
    for chart in CHARTS:
        for unit in units(chart):
            if not any(has_word(text, unit) for text in texts):
                raise RuleBroken(f"the unit {unit!r} of an axis of a {chart.form} chart stands in no drawing")


def _gaps_stay_gaps(subject: ReporterSubject) -> None:
    """A file that is the same for None and for 0, but another for another number, shows the gap as 0."""
    _files(subject, "full")
    n_shown = 0
    for place in report_world.gap_places():
        try:
            gap, zero, other = (
                {file.path: file.data for file in _render(subject.reporter, place.inputs(cell))}
                for cell in (None, 0.0, SOME_NUMBER)
            )
        except PluginProblem as problem:
            raise RuleBroken(f"{place.name}: {problem.what}") from None
        showing = [path for path in other if path in zero and zero[path] != other[path]]
        n_shown += bool(showing)
        for path in showing:
            if gap.get(path) == zero[path]:
                raise RuleBroken(f"{place.name}: {path} shows what is missing as 0")
    if not n_shown:
        raise NotApplicable("it shows no value that could be missing")


def _self_contained(subject: ReporterSubject) -> None:
    for world in WORLDS:
        for file in _files(subject, world):
            found = next(loads(file), None)
            if found is not None:
                raise RuleBroken(f"{file.path} would load something: {found:.200}")


def _same_bytes(subject: ReporterSubject) -> None:
    first = {file.path: file.data for file in _files(subject, "full")}
    try:
        second = {file.path: file.data for file in _render(subject.reporter, report_world.full_inputs())}
    except PluginProblem as problem:
        raise RuleBroken(f"rendered again: {problem.what}") from None
    differing = sorted(path for path in {*first, *second} if first.get(path) != second.get(path))
    if differing:
        raise RuleBroken(f"rendered twice from the same inputs, {', '.join(differing)} differ")


def _stays_inside(subject: ReporterSubject) -> None:
    for world in WORLDS:
        files = _files(subject, world)
        for file in files:
            if not is_inside(file.path):
                raise RuleBroken(f"{file.path!r} is no path inside of the report folder, with / and without ..")
        paths = [file.path.casefold() for file in files]
        doubled = sorted({path for path in paths if paths.count(path) > 1})
        if doubled:
            raise RuleBroken(f"{', '.join(doubled)} is written twice")
        main = [file.path for file in files if file.main]
        if len(main) > 1:
            raise RuleBroken(f"{len(main)} files are the main one: {', '.join(main)}")


def _hostile_text_escaped(subject: ReporterSubject) -> None:
    pages = [file for file in _files(subject, "hostile") if ending(file) in MARKUP]
    if not pages:
        raise NotApplicable("it writes no HTML, SVG or Markdown")
    for file in pages:
        found = next(broken_out(file), None)
        if found is not None:
            raise RuleBroken(f"{file.path}: {found}")
        if ending(file) == ".svg":
            try:
                ElementTree.fromstring(file.data)
            except ElementTree.ParseError as error:
                raise RuleBroken(f"{file.path} is no well-formed XML: {error}") from None


RULES: tuple[Rule[ReporterSubject], ...] = (
    Rule(
        name="renders-empty", level="must", check=_renders_empty,
        says="it renders where there is no session, and where there is no result",
    ),
    Rule(
        name="renders-everything", level="must", check=_renders_everything,
        says="it renders every kind of finding, table, chart and text",
    ),
    Rule(
        name="every-claim-appears", level="must", check=_every_claim_appears,
        says="value, unit, interval and caveats of every headline finding stand in its texts",
    ),
    Rule(
        name="axes-carry-units", level="must", check=_axes_carry_units, says="every numeric axis names its unit"
    ),
    Rule(name="gaps-stay-gaps", level="must", check=_gaps_stay_gaps, says="what is missing is never shown as 0"),
    Rule(
        name="self-contained", level="must", check=_self_contained,
        says="no file makes a browser load anything from an address",
    ),
    Rule(name="same-bytes", level="must", check=_same_bytes, says="the same inputs give the same bytes"),
    Rule(
        name="stays-inside", level="must", check=_stays_inside,
        says="paths are relative and stay in the report folder, and one file at most is the main one",
    ),
    Rule(
        name="hostile-text-escaped", level="must", check=_hostile_text_escaped,
        says="text of sessions and plug-ins becomes no element, attribute or code",
    ),
)  # fmt: skip
