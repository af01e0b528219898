"""Samples of an importer: a file with what session.toml would say of it, as bytes that can be changed and read."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import get_args

from fairhearing.calling import call_plugin
from fairhearing.conformance.importer_contents import content_fault
from fairhearing.conformance.kit import NotApplicable
from fairhearing.contracts import Importer, Reading, Recognition, SourceFile
from fairhearing.errors import FairHearingError, PluginProblem
from fairhearing.session import (
    Condition,
    Criteria,
    Kind,
    MeasurementFile,
    Method,
    Room,
    ScoreFile,
    Seat,
    Session,
)

KINDS: tuple[Kind, ...] = get_args(Kind)
METHODS: tuple[Method, ...] = get_args(Method)
SCORES = "scores"
GOLDEN_ENDING = ".golden.json"


@dataclass(frozen=True, slots=True)
class ImporterSample:
    """A file that an importer must read.

    Parameters
    ----------
    path : Path
    item : MeasurementFile or ScoreFile, optional
        What session.toml says of the file. Without it: a take at seat A with the filter in, of the first kind that the
        importer reads; or, for an importer of scores, a sheet of the method whose id begins the file's name. A sweep's
        excitation is then the file beside it with `.excitation` before its ending.
    session : Session, optional
        Conditions and seats that the file names. Without it: conditions out (the reference) and in, seats A, B and C.
    golden : Path, optional
        What must be read from it; without it the file beside the sample with `.golden.json` behind its name, if any.
    """

    path: Path
    item: MeasurementFile | ScoreFile | None = field(default=None, kw_only=True)
    session: Session | None = field(default=None, kw_only=True)
    golden: Path | None = field(default=None, kw_only=True)

    @property
    def golden_path(self) -> Path:
        """Where its golden file is, or would be written."""
        return self.golden or self.path.with_name(self.path.name + GOLDEN_ENDING)


@dataclass(frozen=True, slots=True, kw_only=True)
class ImporterSubject:
    """An importer with its samples; `others`: what else may claim a file, None for the installed importers."""

    importer: Importer
    samples: tuple[ImporterSample, ...]
    others: tuple[Importer, ...] | None = None


Given = ImporterSample | Path | str | tuple[Path, MeasurementFile | ScoreFile]


def as_samples(given: Sequence[Given]) -> tuple[ImporterSample, ...]:
    """Samples from samples, paths with what session.toml would say of them, or mere paths.

    Raises
    ------
    ValueError
        There is none, or a file is missing.
    """
    samples = tuple(_as_sample(one) for one in given)
    if not samples:
        raise ValueError("an importer is tested with at least one sample file, and there is none")
    missing = [str(sample.path) for sample in samples if not sample.path.is_file()]
    if missing:
        raise ValueError(f"no such sample file: {', '.join(missing)}")
    return samples


def _as_sample(given: Given) -> ImporterSample:
    if isinstance(given, tuple):
        path, item = given
        return ImporterSample(path, item=item)
    return given if isinstance(given, ImporterSample) else ImporterSample(Path(given))


def sample_session(sample: ImporterSample) -> Session:
    """The session of a sample, with the sample's folder as its folder."""
    if sample.session is not None:
        return sample.session
    return Session(
        id="made-up-session",
        date=None,
        question="",
        room=Room(id="made-up-room"),
        conditions=(Condition(id="out", label="Filter out", reference=True), Condition(id="in", label="Filter in")),
        seats=(Seat(id="A"), Seat(id="B"), Seat(id="C")),
        measurements=(),
        scores=(),
        criteria=Criteria(),
        folder=sample.path.parent,
    )


def item_of(sample: ImporterSample, importer: Importer) -> MeasurementFile | ScoreFile:
    """What session.toml would say of a sample.

    Raises
    ------
    ValueError
        The sample of an importer of scores alone says no item, and no method begins its name.
    """
    if sample.item is not None:
        return replace(sample.item, path=sample.path.name)
    kind = next((kind for kind in KINDS if kind in importer.kinds), None)
    session = sample_session(sample)
    if kind is not None:
        condition = session.treatments[0].id if session.treatments else session.reference.id
        seat = session.seats[0].id if session.seats else None
        excitation = sample.path.with_name(f"{sample.path.stem}.excitation{sample.path.suffix}")
        return MeasurementFile(
            path=sample.path.name,
            line=1,
            entry=0,
            kind=kind,
            seat=seat,
            condition=condition,
            excitation=excitation.name if kind == "sweep" and excitation.is_file() else None,
        )
    method = next((method for method in METHODS if sample.path.name.startswith(method)), None)
    if method is None:
        raise ValueError(
            f"{sample.path.name}: say of which method it is: begin its name with one of {', '.join(METHODS)}, "
            "or give ImporterSample(path, item=ScoreFile(…))"
        )
    return ScoreFile(path=sample.path.name, line=1, entry=0, method=method)


def source(sample: ImporterSample, importer: Importer, data: bytes | None = None) -> SourceFile:
    """The file as the importer gets it; with other bytes, where `data` is given, it lies nowhere but in memory."""
    item = item_of(sample, importer)
    status = sample.path.stat()
    content = sample.path.read_bytes() if data is None else data
    return SourceFile(
        item=item,
        path=item.path,
        data=content,
        location=sample.path if data is None else None,
        size=len(content),
        modified_ns=status.st_mtime_ns,
        sha256=hashlib.sha256(content).hexdigest(),
    )


def recognise(importer: Importer, file: SourceFile) -> Recognition:
    """What the importer says to a file.

    Raises
    ------
    PluginProblem
        It raised, or returned something else.
    """

    def ask() -> Recognition:
        answer: object = importer.recognise(file)
        if not isinstance(answer, Recognition) or not isinstance(answer.claims, bool):
            raise TypeError(f"recognise returned {answer!r}, not a Recognition that claims or does not")
        return answer

    return call_plugin(importer.name, importer.version, file.path, ask)


def read(importer: Importer, files: Sequence[SourceFile], session: Session) -> dict[str, Reading]:
    """The readings of the files by path; where a file has several, each by path, seat and channel.

    Raises
    ------
    PluginProblem
        The importer raised, did not return a whole Reading for each file, or two for the same seat and channel of one.
    """

    def ask() -> dict[str, Reading]:
        readings = list(importer.read(files, session))
        for reading in readings:
            _require_whole(reading)
        counted = Counter(reading.path for reading in readings)
        if set(counted) != {file.path for file in files}:
            raise ValueError(f"read returned readings of {sorted(counted)}, asked for {sorted(f.path for f in files)}")
        named = Counter(_name(reading, counted) for reading in readings)
        twice = next((name for name, n in named.items() if n > 1), None)
        if twice is not None:
            raise ValueError(f"read returned {named[twice]} readings of {twice}, and nothing tells them apart")
        return {_name(reading, counted): reading for reading in readings}

    where = ", ".join(file.path for file in files[:3])
    return call_plugin(importer.name, importer.version, where, ask)


def _name(reading: Reading, counted: Mapping[str, int]) -> str:
    if counted[reading.path] == 1:
        return reading.path
    parts = [f"{name} {value}" for name in ("seat", "channel") if (value := getattr(reading, name)) is not None]
    return ", ".join([reading.path, *parts])


def _require_whole(reading: object) -> None:
    if not isinstance(reading, Reading):
        raise TypeError(f"read returned a {type(reading).__name__}, not a Reading")
    if (reading.content is None) == (reading.problem is None):
        raise ValueError(f"the reading of {reading.path} must have either content or a problem")


def read_one(importer: Importer, sample: ImporterSample, data: bytes | None = None) -> dict[str, Reading]:
    """The readings of one sample, with other bytes where `data` is given; raises PluginProblem as `read` does."""
    return read(importer, [source(sample, importer, data)], sample_session(sample))


def sound_readings(importer: Importer, sample: ImporterSample) -> dict[str, Reading]:
    """The readings of a sample that is claimed and read as it should be.

    Raises
    ------
    NotApplicable
        It is not: the rule `claims-samples` or `reads-samples` says so, and no other rule says it again.
    """
    try:
        answer = recognise(importer, source(sample, importer))
        if not answer.claims:
            raise NotApplicable(f"{sample.path.name} is not claimed: {answer.why}")
        readings = read_one(importer, sample)
    except PluginProblem as problem:
        raise NotApplicable(f"{sample.path.name} is not read: {problem.what}") from None
    fault = fault_of(source(sample, importer), readings)
    if fault is not None:
        raise NotApplicable(f"not read: {fault}")
    return readings


def fault_of(file: SourceFile, readings: Mapping[str, Reading]) -> str | None:
    """Which reading of a file is none that such a file gives, and why, in words; None if all are."""
    for name, reading in readings.items():
        fault = reading.problem.what if reading.problem is not None else content_fault(file, reading.content)
        if fault is not None:
            return f"{name}: {fault}"
    return None


def first_unclear(readings: Mapping[str, Reading]) -> str | None:
    """What the first problem lacks that is no clear refusal; None if none of them lacks anything."""
    told = [unclear(reading.problem) for reading in readings.values() if reading.problem is not None]
    return next((lacking for lacking in told if lacking is not None), None)


def unclear(problem: object) -> str | None:
    """What a problem lacks to be a clear refusal: what, where, try; None if it lacks nothing."""
    if not isinstance(problem, FairHearingError):
        return f"the problem is a {type(problem).__name__}, not a FairHearingError such as ImportProblem"
    lacking = [
        name
        for name, text in (("what", problem.what), ("where", problem.where), ("try_", problem.try_))
        if not isinstance(text, str) or not text.strip()
    ]
    return f"the problem {problem.what!r} says no {', '.join(lacking)}" if lacking else None
