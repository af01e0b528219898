"""The rules of an importer on files written otherwise: line ends, byte order mark, decimals, a spoiled row."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import replace

from fairhearing.conformance.importer_contents import differences
from fairhearing.conformance.importer_samples import (
    ImporterSample,
    ImporterSubject,
    first_unclear,
    read_one,
    recognise,
    sound_readings,
    source,
)
from fairhearing.conformance.kit import NotApplicable, RuleBroken
from fairhearing.conformance.spoiling import Spoilt, other_decimals, other_line_ends, other_mark, spoiled_rows
from fairhearing.contracts import Reading
from fairhearing.errors import PluginProblem
from fairhearing.session import Method, ScoreFile

# The methods whose answer is a number; on the others a number is a name, such as that of a trial.
NUMBERED_METHODS: frozenset[Method] = frozenset({"triangle", "duo-trio", "tetrad", "grading"})
_PLACE = re.compile(r"\b(?:lines?|rows?) (\d+)")


def keeps_line_ends(subject: ImporterSubject) -> None:
    """CRLF for LF, or LF for CRLF."""
    _same_or_refused(subject, other_line_ends, "with other line ends", "no sample is text")


def keeps_byte_order_mark(subject: ImporterSubject) -> None:
    """With a byte order mark, or without where there is one."""
    _same_or_refused(subject, other_mark, "with or without byte order mark", "no sample is text")


def keeps_decimal_comma(subject: ImporterSubject) -> None:
    """Decimal commas for points, or points for commas."""
    _same_or_refused(subject, other_decimals, "with the other decimal separator", "no sample is text with decimals")


def _same_or_refused(
    subject: ImporterSubject, change: Callable[[bytes], bytes | None], what: str, nothing: str
) -> None:
    n_changed = 0
    for sample in subject.samples:
        data = change(sample.path.read_bytes())
        if data is None:
            continue
        n_changed += 1
        fault = _fault_of_variant(subject, sample, data)
        if fault is not None:
            raise RuleBroken(f"{sample.path.name} {what}: {fault}")
    if not n_changed:
        raise NotApplicable(nothing)


def _fault_of_variant(subject: ImporterSubject, sample: ImporterSample, data: bytes) -> str | None:
    usual = sound_readings(subject.importer, sample)
    try:
        answer = recognise(subject.importer, source(sample, subject.importer, data))
        if not answer.claims:
            return None if answer.why.strip() else "is not claimed, and no reason is given"
        readings = read_one(subject.importer, sample, data)
    except PluginProblem as problem:
        return problem.what
    if any(reading.problem is not None for reading in readings.values()):
        return first_unclear(readings)
    found = _difference(usual, readings)
    return None if found is None else f"reads otherwise, and no problem says so: {found}"


def keeps_spoiled_row(subject: ImporterSubject) -> None:
    """A number of a row replaced by a word, each in turn; one that is not read at all may be anything."""
    n_problems, n_spoiled = 0, 0
    for sample in subject.samples:
        is_sheet = isinstance(source(sample, subject.importer).item, ScoreFile)
        if is_sheet and _method(subject, sample) not in NUMBERED_METHODS:
            continue
        for spoilt in spoiled_rows(sample.path.read_bytes(), last_only=is_sheet):
            n_spoiled += 1
            n_problems += _tells_line(subject, sample, spoilt)
    if not n_spoiled:
        raise NotApplicable("no sample is text with numbers in its rows")
    if not n_problems:
        raise RuleBroken("whatever number of a row is replaced by a word, nothing changes: the rows are not read")


def _method(subject: ImporterSubject, sample: ImporterSample) -> Method | None:
    item = source(sample, subject.importer).item
    return item.method if isinstance(item, ScoreFile) else None


def _tells_line(subject: ImporterSubject, sample: ImporterSample, spoilt: Spoilt) -> bool:
    """Whether the spoiled number is a problem that names its line; False where the number is not read."""
    usual = sound_readings(subject.importer, sample)
    what = f"{sample.path.name}, {spoilt.what}"
    try:
        answer = recognise(subject.importer, source(sample, subject.importer, spoilt.data))
        readings = read_one(subject.importer, sample, spoilt.data)
    except PluginProblem as problem:
        raise RuleBroken(f"{what}: {problem.what}") from None
    if not answer.claims:
        raise RuleBroken(f"{what}: is claimed no more, so that nobody is told the line: {answer.why}")
    problems = [reading.problem for reading in readings.values() if reading.problem is not None]
    if not problems:
        found = _difference(usual, readings)
        if found is None:
            return False
        raise RuleBroken(f"{what}: is no problem, and reads otherwise: {found}")
    lacking = first_unclear(readings)
    if lacking is not None:
        raise RuleBroken(f"{what}: {lacking}")
    named = {int(number) for problem in problems for number in _PLACE.findall(problem.where)}
    if spoilt.line not in named:
        raise RuleBroken(f"{what}: the problem names no line {spoilt.line}: {problems[0].where!r}")
    return True


def _difference(usual: Mapping[str, Reading], readings: Mapping[str, Reading]) -> str | None:
    """How the contents differ: caveats may, where a file is written otherwise."""
    return differences(*({k: replace(v, caveats=()) for k, v in some.items()} for some in (usual, readings)))
