"""The reporter of a summary: verdicts, headline numbers, caveats and refusals of a run as one Markdown file."""

from __future__ import annotations

import html
import re
from collections.abc import Iterator, Sequence

from fairhearing.api import AnalyserResult, Finding, OutputFile, Reporter, ReportInputs, Session, hookimpl

PARTS = ("variant", "seat", "channel", "programme", "listener", "band_hz")
HEAD = "| quantity | of | value | interval | verdict |\n|---|---|---|---|---|"
NO_VALUE = "–"
SPECIAL = re.compile(r"([\\`*_{}\[\]()#+!|~])")


class Summary:
    """summary.md; the findings on a seat, a channel, a listener and so on are left to other reporters."""

    name = "summary"
    version = "1"

    def render(self, inputs: ReportInputs) -> Iterator[OutputFile]:
        """The file; same inputs, same bytes."""
        blocks = ["# Summary"]
        for session in inputs.sessions:
            results = [result for result in inputs.results if result.session == session.id]
            blocks += session_blocks(session, results)
        if not inputs.sessions:
            blocks.append("No session was analysed.")
        blocks += listed("Plug-ins at fault", inputs.problems)
        yield OutputFile(path="summary.md", data=("\n\n".join(blocks) + "\n").encode())


def session_blocks(session: Session, results: Sequence[AnalyserResult]) -> Iterator[str]:
    """Heading, question, table, and the lists below it."""
    yield f"## {escaped(session.id)}"
    if session.question:
        yield escaped(session.question)
    findings = [finding for result in results for finding in result.result.findings if is_headline(finding)]
    yield "\n".join([HEAD, *map(row, findings)]) if findings else "Nothing was found."
    caveats = [f"{finding.quantity}: {caveat}" for finding in findings for caveat in finding.caveats]
    yield from listed("Caveats", caveats)
    refusals = [refusal for result in results for refusal in result.result.refusals]
    yield from listed("Not done", [f"{one.what}: {one.why}; {one.try_}" for one in refusals])
    yield from listed("Failed", [f"{one.analyser}: {one.problem}" for one in results if one.problem is not None])


def is_headline(finding: Finding) -> bool:
    """Whether a finding is over all seats, channels, programmes, listeners and bands, and no variant."""
    return all(getattr(finding, part) is None for part in PARTS)


def row(finding: Finding) -> str:
    """A finding as a row of the table; what is missing is a dash, never 0."""
    value = NO_VALUE if finding.value is None else f"{number(finding.value)} {unit(finding)}".rstrip()
    interval = "" if finding.low is None and finding.high is None else f"{end(finding.low)} to {end(finding.high)}"
    where = " against ".join(one for one in (finding.condition, finding.reference) if one is not None)
    cells = (finding.quantity, where, value, interval, finding.verdict or "")
    return "| " + " | ".join(map(escaped, cells)) + " |"


def end(value: float | None) -> str:
    """One end of an interval."""
    return NO_VALUE if value is None else number(value)


def unit(finding: Finding) -> str:
    """The unit behind the number; none behind a mere ratio."""
    return "" if finding.unit == "1" else finding.unit


def number(value: float) -> str:
    """Four significant digits, and all that stand before the point.

    >>> number(88.4712), number(46830.4), number(-0.25)
    ('88.47', '46830', '-0.25')
    """
    return f"{float(f'{value:.4g}'):.15g}"


def listed(title: str, lines: Sequence[str]) -> Iterator[str]:
    """A heading with its lines, each once; nothing where there is none."""
    if lines:
        yield f"### {title}"
        yield "\n".join(f"- {escaped(line)}" for line in dict.fromkeys(lines))


def escaped(text: str) -> str:
    """Text that stays text in Markdown: no tag, no link, no table cell, no line of its own."""
    return SPECIAL.sub(r"\\\1", html.escape(" ".join(text.split()), quote=False))


@hookimpl
def fairhearing_reporters() -> list[Reporter]:
    """The reporter of this module."""
    return [Summary()]
