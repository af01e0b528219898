"""The rules of an importer, as test cases over its author's own sample files."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TypeVar

from fairhearing.conformance.importer_contents import differences
from fairhearing.conformance.importer_samples import (
    SCORES,
    ImporterSample,
    ImporterSubject,
    as_samples,
    fault_of,
    first_unclear,
    item_of,
    read,
    read_one,
    recognise,
    sample_session,
    sound_readings,
    source,
)
from fairhearing.conformance.importer_variants import (
    keeps_byte_order_mark,
    keeps_decimal_comma,
    keeps_line_ends,
    keeps_spoiled_row,
)
from fairhearing.conformance.kit import Case, NotApplicable, Rule, RuleBroken, cases, parametrised
from fairhearing.conformance.spoiling import Spoilt, hostile
from fairhearing.contracts import Importer, Recognition, SourceFile
from fairhearing.errors import PluginProblem
from fairhearing.session import MeasurementFile, ScoreFile, Session

F = TypeVar("F", bound=Callable[..., object])
HEAD_BYTES = 4096


def check_importer(
    importer: Importer,
    *,
    samples: Sequence[ImporterSample | Path | str | tuple[Path, MeasurementFile | ScoreFile]],
    waive: Mapping[str, str] | None = None,
    others: Sequence[Importer] | None = None,
) -> Callable[[F], F]:
    """A decorator that gives a test function with one argument `rule` one case for each rule of an importer.

    Parameters
    ----------
    importer : Importer
    samples : sequence of ImporterSample, Path or pairs of Path and MeasurementFile or ScoreFile
        Files that it must read.
    waive : mapping, optional
        Name of a rule -> why it is not kept.
    others : sequence of Importer, optional
        What else may claim a file; without it every installed importer.

    Raises
    ------
    ValueError
        There is no sample, a file is missing, a waiver names no rule or has no reason.
    """
    return parametrised(importer_cases(importer, samples=samples, waive=waive, others=others))


def importer_cases(
    importer: Importer,
    *,
    samples: Sequence[ImporterSample | Path | str | tuple[Path, MeasurementFile | ScoreFile]],
    waive: Mapping[str, str] | None = None,
    others: Sequence[Importer] | None = None,
) -> list[Case[ImporterSubject]]:
    """One case for each rule of an importer; the parameters are those of `check_importer`."""
    subject = ImporterSubject(
        importer=importer, samples=as_samples(samples), others=None if others is None else tuple(others)
    )
    for sample in subject.samples:
        item_of(sample, importer)
    return cases(RULES, subject, waive)


def _answers(subject: ImporterSubject) -> Iterator[tuple[str, Recognition]]:
    """What the importer says to its samples and to hostile files; answers that are none belong to another rule."""
    for sample in subject.samples:
        data = sample.path.read_bytes()
        for spoilt in (Spoilt(what="the sample", data=data), *hostile(data)):
            try:
                answer = recognise(subject.importer, source(sample, subject.importer, spoilt.data))
            except PluginProblem:
                continue
            yield f"{sample.path.name}, {spoilt.what}", answer


def _recognise_never_raises(subject: ImporterSubject) -> None:
    for sample in subject.samples:
        for spoilt in hostile(sample.path.read_bytes()):
            try:
                recognise(subject.importer, source(sample, subject.importer, spoilt.data))
            except PluginProblem as problem:
                raise RuleBroken(f"{sample.path.name}, {spoilt.what}: {problem.what}") from None


def _says_why(subject: ImporterSubject) -> None:
    for what, answer in _answers(subject):
        if not isinstance(answer.why, str) or not answer.why.strip():
            raise RuleBroken(f"{what}: says {'yes' if answer.claims else 'no'} and not why")


def _claims_samples(subject: ImporterSubject) -> None:
    for sample in subject.samples:
        data = sample.path.read_bytes()
        for what, seen in (("", data), (f", its first {HEAD_BYTES} bytes", data[:HEAD_BYTES])):
            try:
                answer = recognise(subject.importer, source(sample, subject.importer, seen))
            except PluginProblem as problem:
                raise RuleBroken(f"{sample.path.name}{what}: {problem.what}") from None
            if not answer.claims:
                raise RuleBroken(f"{sample.path.name}{what} is not claimed: {answer.why}")


def _reads_samples(subject: ImporterSubject) -> None:
    for sample in subject.samples:
        file = source(sample, subject.importer)
        try:
            fault = fault_of(file, read_one(subject.importer, sample))
        except PluginProblem as problem:
            raise RuleBroken(f"{sample.path.name}: {problem.what}") from None
        if fault is not None:
            raise RuleBroken(fault)


def _kind(file: SourceFile) -> str:
    return SCORES if isinstance(file.item, ScoreFile) else file.item.kind


def _others(subject: ImporterSubject) -> tuple[Importer, ...]:
    if subject.others is not None:
        return subject.others
    from fairhearing.registry import load_plugins

    return tuple(other for other in load_plugins().importers if other.name != subject.importer.name)


def _claims(importer: Importer, file: SourceFile) -> Recognition | None:
    """Its answer if it would be asked and says yes; one that fails claims nothing."""
    if _kind(file) not in importer.kinds:
        return None
    try:
        answer = recognise(importer, file)
    except PluginProblem:
        return None
    return answer if answer.claims else None


def offered_samples(importer: Importer) -> tuple[ImporterSample, ...]:
    """The samples that an installed importer brings along in its attribute `samples`; none if it has no such."""
    given = getattr(importer, "samples", ())
    return as_samples(given) if given else ()


def _claims_nobody_elses(subject: ImporterSubject) -> None:
    n_asked = 0
    for other in _others(subject):
        pairs = [(other, source(sample, subject.importer)) for sample in subject.samples]
        pairs += [(subject.importer, source(sample, other)) for sample in offered_samples(other)]
        for claimant, file in pairs:
            n_asked += _kind(file) in claimant.kinds
            answer = _claims(claimant, file)
            if answer is not None:
                owner = other if claimant is subject.importer else subject.importer
                raise RuleBroken(f"{claimant.name} claims {file.path}, a sample of {owner.name}: {answer.why}")
    if not n_asked:
        raise NotApplicable("no other installed importer reads files of its kinds")


def _repeatable(subject: ImporterSubject) -> None:
    for sample in subject.samples:
        first = sound_readings(subject.importer, sample)
        found = differences(first, read_one(subject.importer, sample))
        if found is not None:
            raise RuleBroken(f"{sample.path.name} read twice: {found}")


def _order_of_files(subject: ImporterSubject) -> None:
    sessions = [sample_session(sample) for sample in subject.samples]
    for session in {str(session): session for session in sessions}.values():
        samples = [sample for sample, of in zip(subject.samples, sessions, strict=True) if of == session]
        _read_in_orders(subject.importer, samples, session)


def _read_in_orders(importer: Importer, samples: Sequence[ImporterSample], session: Session) -> None:
    """Two copies of every sample of a session, each under another path, in several orders."""
    files: list[SourceFile] = []
    for sample in (*samples, *samples):
        sound_readings(importer, sample)
        place = len(files)
        file = source(sample, importer)
        path = f"{place + 1}/{file.path}"
        # A sheet's trials are counted within an entry, so each copy is an entry of its own.
        entry = place if isinstance(file.item, ScoreFile) else file.item.entry
        files.append(replace(file, path=path, item=replace(file.item, path=path, entry=entry)))
    orders = {
        "the other way round": files[::-1],
        "every second first": [*files[1::2], *files[::2]],
        "the second half first": [*files[len(files) // 2 :], *files[: len(files) // 2]],
    }
    try:
        usual = read(importer, files, session)
        for name, order in orders.items():
            found = differences(usual, read(importer, order, session))
            if found is not None:
                raise RuleBroken(f"among {len(files)} files, {name}: {found}")
    except PluginProblem as problem:
        raise RuleBroken(f"{len(files)} files at once: {problem.what}") from None


def _re_import_adds_nothing(subject: ImporterSubject) -> None:
    from fairhearing.conformance.reimporting import import_twice

    for sample in subject.samples:
        sound_readings(subject.importer, sample)
        first, second = import_twice(subject.importer, sample)
        if first != second:
            raise RuleBroken(f"{sample.path.name}: the store held {first}, after the second import {second}")


def _problem_not_exception(subject: ImporterSubject) -> None:
    for sample in subject.samples:
        for spoilt in hostile(sample.path.read_bytes()):
            what = f"{sample.path.name}, {spoilt.what}"
            if not _is_claimed(subject.importer, sample, spoilt.data):
                continue
            try:
                readings = read_one(subject.importer, sample, spoilt.data)
            except PluginProblem as problem:
                raise RuleBroken(f"{what}: {problem.what}") from None
            lacking = first_unclear(readings)
            if lacking is not None:
                raise RuleBroken(f"{what}: {lacking}")


def _is_claimed(importer: Importer, sample: ImporterSample, data: bytes) -> bool:
    """Whether the core would hand the file to `read`."""
    try:
        return recognise(importer, source(sample, importer, data)).claims
    except PluginProblem:
        return False


def _golden(subject: ImporterSubject) -> None:
    from fairhearing.conformance.golden import golden_difference

    n_golden = 0
    for sample in subject.samples:
        if sample.golden is None and not sample.golden_path.exists():
            continue
        n_golden += 1
        readings = sound_readings(subject.importer, sample)
        try:
            found = golden_difference(sample.golden_path, list(readings.values()))
        except (OSError, ValueError) as error:
            raise RuleBroken(f"{sample.golden_path.name}: {error}") from None
        if found is not None:
            raise RuleBroken(f"{sample.path.name}: {found}; a change that is meant is written with --write-golden")
    if not n_golden:
        raise NotApplicable("no golden file beside a sample; --write-golden writes them")


RULES: tuple[Rule[ImporterSubject], ...] = (
    Rule(
        name="recognise-never-raises", level="must", check=_recognise_never_raises,
        says="recognise answers with a Recognition whatever the bytes are",
    ),
    Rule(name="says-why", level="must", check=_says_why, says="recognise gives its reason for yes and for no"),
    Rule(
        name="claims-samples", level="must", check=_claims_samples, says="it claims its samples, by their head too"
    ),
    Rule(name="reads-samples", level="must", check=_reads_samples, says="it reads its samples without a problem"),
    Rule(
        name="claims-nobody-elses", level="must", check=_claims_nobody_elses,
        says="no other importer claims its samples, and it claims none of theirs",
    ),
    Rule(name="repeatable", level="must", check=_repeatable, says="the same bytes give the same content"),
    Rule(
        name="order-of-files", level="must", check=_order_of_files,
        says="files read at once give the same in any order",
    ),
    Rule(
        name="re-import-adds-nothing", level="must", check=_re_import_adds_nothing,
        says="importing the same folder again changes nothing in the store",
    ),
    Rule(
        name="crlf", level="must", check=keeps_line_ends,
        says="other line ends give the same data or a clear refusal",
    ),
    Rule(
        name="byte-order-mark", level="must", check=keeps_byte_order_mark,
        says="a byte order mark gives the same data or a clear refusal",
    ),
    Rule(
        name="decimal-comma", level="must", check=keeps_decimal_comma,
        says="the other decimal separator gives the same data or a clear refusal",
    ),
    Rule(
        name="spoiled-row", level="must", check=keeps_spoiled_row,
        says="a number replaced by a word is a problem that names its line",
    ),
    Rule(
        name="problem-not-exception", level="must", check=_problem_not_exception,
        says="read returns a problem with what, where and try for a file that it claims and cannot read",
    ),
    Rule(
        name="golden", level="should", check=_golden,
        says="what is read from a sample equals its golden file within the printed digits",
    ),
)  # fmt: skip
