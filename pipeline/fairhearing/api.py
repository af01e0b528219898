"""What plug-in authors import, besides fairhearing.acoustics and fairhearing.statistics: re-exports only."""

from fairhearing.api_version import API_VERSION
from fairhearing.audio import Accumulator, AudioFormat, Recording, RecordingFile, RiffChunk, Summary, riff_chunks
from fairhearing.contracts import (
    Analyser,
    Comparison,
    Harmonic,
    Importer,
    Inputs,
    Needs,
    OutputFile,
    OwnUnits,
    Reading,
    Recognition,
    Reporter,
    ReportInputs,
    ResponseCurve,
    ScoreTable,
    Sheet,
    SourceFile,
    SourceNote,
    Symmetry,
    Take,
    TargetCurve,
)
from fairhearing.errors import FairHearingError, ImportProblem, InputProblem, nearest, unreadable
from fairhearing.hookspecs import hookimpl
from fairhearing.result import (
    AnalyserResult,
    Axis,
    ChartRequest,
    Finding,
    Refusal,
    Result,
    Rule,
    Table,
)
from fairhearing.session import (
    Chain,
    Condition,
    Criteria,
    Equipment,
    Guess,
    ImpedanceTable,
    Listening,
    ListeningPlan,
    Look,
    MeasurementFile,
    ReadOptions,
    Room,
    ScoreFile,
    Seat,
    Session,
)
from fairhearing.units import UNITS

__all__ = [
    "API_VERSION", "UNITS", "Accumulator", "Analyser", "AnalyserResult", "AudioFormat", "Axis", "Chain", "ChartRequest",
    "Comparison", "Condition", "Criteria", "Equipment", "FairHearingError", "Finding", "Guess", "Harmonic",
    "ImpedanceTable", "ImportProblem", "Importer", "InputProblem", "Inputs", "Listening", "ListeningPlan", "Look",
    "MeasurementFile", "Needs", "OutputFile", "OwnUnits", "ReadOptions", "Reading", "Recognition", "Recording",
    "RecordingFile", "Refusal", "ReportInputs", "Reporter", "ResponseCurve", "Result", "RiffChunk", "Room", "Rule",
    "ScoreFile", "ScoreTable", "Seat", "Session", "Sheet", "SourceFile", "SourceNote", "Summary", "Symmetry", "Table",
    "Take", "TargetCurve", "hookimpl", "nearest", "riff_chunks", "unreadable",
]  # fmt: skip
