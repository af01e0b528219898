"""What the core and a plug-in promise each other: Importer, Analyser, Reporter, Needs, Inputs, Symmetry."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Literal, Protocol, runtime_checkable

from fairhearing.audio import Recording, RecordingFile, RecordingSource, Summary
from fairhearing.errors import FairHearingError
from fairhearing.result import AnalyserResult, Finding, Result
from fairhearing.session import (
    Condition,
    Kind,
    MeasurementFile,
    Method,
    OrderRule,
    Playing,
    Point,
    Role,
    ScoreFile,
    Session,
)

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt
    import pandas as pd

    FloatArray = npt.NDArray[np.float64]

SymmetryKind = Literal[
    "swap-conditions-negates",  # condition and reference exchanged: values change sign
    "swap-conditions-inverts",  # condition and reference exchanged: values become their reciprocal
    "swap-conditions-mirrors",  # condition and reference exchanged: shares become 1 - share
    "swap-conditions-invariant",  # condition and reference exchanged: values stay
    "common-gain-invariant",  # the same gain on every take changes nothing
    "condition-gain-adds",  # a gain on every take of one condition is added to its values against the reference
    "condition-gain-invariant",  # a gain on every take of one condition changes nothing
    "row-order-invariant",  # which take or trial came first, by its number or name too, changes nothing
    "trial-order-negates",  # each listener's trials numbered the other way round: values change sign
    "relabel-listeners-invariant",  # other listener codes change nothing but the label
    "relabel-seats-invariant",
    "relabel-programmes-invariant",
    "doubled-trials-invariant",  # one listener's trials told twice: what is over listeners stays
    "first-second-mirrored",  # first and second exchanged: shares become 1 - share
    "first-second-invariant",  # first and second exchanged: values stay
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Symmetry:
    """What must happen to the findings of `quantities` when the world is changed in the way that `kind` names.

    `tolerance`: how far a value may miss that, in its own unit, besides 1e-9 of it; a fit by iteration may need more.
    """

    kind: SymmetryKind
    quantities: frozenset[str]
    tolerance: float = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceFile:
    """A file as an importer gets it: what session.toml says of it, its name and its bytes.

    Of a large file of sound `data` is the head only; `location` is where the whole lies, `size` how many bytes it has.
    """

    item: MeasurementFile | ScoreFile
    path: str  # relative to the session folder, with /
    data: bytes
    location: Path | None = None
    size: int = 0
    modified_ns: int = 0
    sha256: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Recognition:
    """Yes or no, and why: shown when no importer, or more than one, claims a file."""

    claims: bool
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Harmonic:
    """One order of the harmonics that a sweep shows: level re the fundamental, by frequency of the excitation (hertz).

    `noise_level_db`: the level that noise, and what is left of other orders, gives there by itself, re the fundamental
    too. NaN where it cannot be told.
    """

    order: int
    frequency_hz: FloatArray
    level_db: FloatArray
    noise_level_db: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class ResponseCurve:
    """One response: frequency (hertz, rising, > 0), level (dB), phase (degree, as measured, not unwrapped) or None.

    `harmonics`: what a sweep tells of distortion besides.
    """

    frequency_hz: FloatArray
    level_db: FloatArray
    phase_deg: FloatArray | None = None
    harmonics: tuple[Harmonic, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class ScoreTable:
    """The rows of a score sheet as text: `columns` maps a name to one entry per row; None is an empty cell.

    `lines` holds the line (or spreadsheet row) that each row stands on in its file.
    """

    columns: dict[str, tuple[str | None, ...]]
    lines: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """What an importer made of one file: `content`, or `problem` if it could not be read.

    A file with several takes in it gives several readings, told apart by `seat` or `channel`; these fill in what
    session.toml does not say, and never contradict it. `applied`: a line for each thing done to the samples or values.
    """

    path: str
    content: ResponseCurve | ScoreTable | RecordingFile | None = None
    caveats: tuple[str, ...] = ()
    problem: FairHearingError | None = None
    seat: str | None = None
    channel: str | None = None
    applied: tuple[str, ...] = ()


@runtime_checkable
class Importer(Protocol):
    """Reads files of one kind and dialect. `kinds`: of measurement, or "scores"."""

    name: str
    version: str
    kinds: frozenset[str]

    def recognise(self, file: SourceFile) -> Recognition:
        """Whether this importer reads `file`, and why. `file.data` may be its head only. Never raises."""
        ...

    def read(self, files: Sequence[SourceFile], session: Session) -> Iterable[Reading]:
        """One Reading or more per file; all files that this importer claimed in a session come at once."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Needs:
    """What an analyser reads. A need that is not met is a recorded refusal."""

    kinds: frozenset[Kind] = frozenset()  # of measurement; at least one take of one of them
    points: frozenset[Point] = frozenset({"seat", "amplifier-input", "amplifier-output"})
    methods: frozenset[Method] = frozenset()  # of score sheets; at least one sheet of one of them
    roles: frozenset[Role] = frozenset({"scored"})  # of score sheets; those of other roles are kept from it
    findings: frozenset[str] = frozenset()  # quantities of other analysers, read where they are there
    summaries: tuple[Summary, ...] = ()  # of each recording of `kinds` at `points`; one that lacks any is left out
    min_conditions: int = 2
    closing: bool = False  # takes measured once more at the end too; else they are kept from it


@dataclass(frozen=True, slots=True, kw_only=True)
class Take:
    """One measured curve with what it is of. Arrays are read-only; `in_place`: no microphone moved between repeats.

    `closing`: measured once more at the end, to see whether anything drifted; it is no repeat. `applied`: what was done
    to what was measured, a line each.
    """

    kind: Kind
    point: Point
    playing: Playing
    in_place: bool
    seat: str | None
    condition: str | None
    repeat: str
    channel: str | None
    programme: str | None
    curve: ResponseCurve
    path: str
    closing: bool = False
    applied: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """All trials of one `[[scores]]` entry; `trials` has a column per column of the sheet, text, None where empty.

    `role`: what the trials are for: to be scored, as a positive control, or as shams, the same against the same.
    """

    method: Method
    entry: int
    paths: tuple[str, ...]
    reference: str | None
    treatment: str | None
    order: OrderRule
    scale: str | None
    trials: pd.DataFrame
    role: Role = "scored"


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """A condition against the reference."""

    condition: Condition
    reference: Condition


@dataclass(frozen=True, slots=True, kw_only=True)
class TargetCurve:
    """The target of the criteria as a curve: hertz, dB. "flat" is None."""

    frequency_hz: FloatArray
    level_db: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Inputs:
    """What an analyser works on: one session, all its conditions, and the takes, sheets, … that it declared."""

    session: Session
    takes: tuple[Take, ...] = ()
    sheets: tuple[Sheet, ...] = ()
    recordings: tuple[Recording, ...] = ()
    findings: tuple[Finding, ...] = ()
    target: TargetCurve | None = None

    @property
    def comparisons(self) -> tuple[Comparison, ...]:
        """Each condition against the reference, in the order of session.toml."""
        reference = self.session.reference
        return tuple(Comparison(condition=c, reference=reference) for c in self.session.treatments)


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceNote:
    """A file that went into the store: for the page of sources. `applied`: what was done to its takes, a line each."""

    session: str
    path: str
    sha256: str
    size: int
    importer: str
    caveats: tuple[str, ...] = ()
    applied: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionContent:
    """All that a session folder holds, and all that is wrong with it. `manifest`: the bytes of session.toml."""

    folder: Path
    session: Session | None = None
    manifest: bytes = b""
    takes: tuple[Take, ...] = ()
    sheets: tuple[Sheet, ...] = ()
    recordings: tuple[RecordingSource, ...] = ()
    target: TargetCurve | None = None
    sources: tuple[SourceNote, ...] = ()
    problems: tuple[FairHearingError, ...] = ()
    warnings: tuple[str, ...] = ()


@runtime_checkable
class Analyser(Protocol):
    """Findings from one session. Pure: same inputs, same result; inputs are read-only.

    It may also have a method `summaries_for(session: Session) -> tuple[Summary, ...]`: summaries of each recording
    that it reads, besides `needs.summaries`, that depend on what session.toml says, such as the corners of the chains.
    It is pure too, and asked whenever the core must know which summaries are wanted.
    """

    name: str
    version: str
    quantities: frozenset[str]  # what it may return
    needs: Needs
    symmetries: tuple[Symmetry, ...]

    def analyse(self, inputs: Inputs) -> Result:
        """All findings, tables, chart requests and refusals."""
        ...


@runtime_checkable
class ChoosesSummaries(Protocol):
    """The part of an analyser that wants summaries by what session.toml says."""

    def summaries_for(self, session: Session) -> tuple[Summary, ...]:
        """Summaries of each recording that it reads, besides those of its needs."""
        ...


def declared_summaries(analyser: Analyser, session: Session) -> tuple[Summary, ...]:
    """All summaries that an analyser wants of each recording that it reads in this session."""
    chosen = analyser.summaries_for(session) if isinstance(analyser, ChoosesSummaries) else ()
    return (*analyser.needs.summaries, *chosen)


@runtime_checkable
class OwnUnits(Protocol):
    """What an analyser may have besides: units that no other states findings in, each with what it is."""

    own_units: Mapping[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportInputs:
    """All that a reporter may show. `unread`: a line for each sheet or file that no analyser reads yet.

    `problems`: plug-ins that failed or did not load, a line each. `software`: name -> version.
    """

    sessions: tuple[Session, ...]
    results: tuple[AnalyserResult, ...]
    sources: tuple[SourceNote, ...] = ()
    unread: tuple[str, ...] = ()
    problems: tuple[str, ...] = ()
    software: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class OutputFile:
    """A file that a reporter wants written: path relative to the report folder, its bytes. `main`: named at the end."""

    path: str
    data: bytes
    main: bool = False


@runtime_checkable
class Reporter(Protocol):
    """Files of a report. Pure: same inputs, same bytes; the core writes them."""

    name: str
    version: str

    def render(self, inputs: ReportInputs) -> Iterable[OutputFile]:
        """The files, in any order."""
        ...


def session_file(session: Session, relative: str) -> Path:
    """Where a file that session.toml names lies now."""
    return session.folder / relative
