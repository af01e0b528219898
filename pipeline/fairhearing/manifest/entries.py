"""Reads the [[measurements]] and [[scores]] entries: a pattern each, and what holds for every file that it matches."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from typing import Generic, TypeVar, get_args

from fairhearing.errors import nearest
from fairhearing.manifest.patterns import Pattern, parse_pattern
from fairhearing.manifest.programme_files import check_programme_file
from fairhearing.manifest.reader import POSITIVE, TableReader
from fairhearing.session import (
    Kind,
    MeasurementFile,
    Method,
    OrderRule,
    Playing,
    Point,
    ReadOptions,
    RepeatMode,
    Role,
    ScoreFile,
)

Template = TypeVar("Template", MeasurementFile, ScoreFile)

PLAYING: tuple[Playing, ...] = get_args(Playing)
_KINDS: tuple[Kind, ...] = get_args(Kind)
_POINTS: tuple[Point, ...] = get_args(Point)
_REPEATS: tuple[RepeatMode, ...] = get_args(RepeatMode)
_METHODS: tuple[Method, ...] = get_args(Method)
_ORDERS: tuple[OrderRule, ...] = get_args(OrderRule)
_ROLES: tuple[Role, ...] = get_args(Role)
_KINDS_THAT_CLOSE: tuple[Kind, ...] = ("response", "impulse", "sweep")
_MAY_TELL_SEATS = (".sofa",)  # a container of AES69, whose receivers may stand at several seats
_SCALES = ("impairment", "quality", "comparison")

MEASUREMENT_PLACEHOLDERS = frozenset({"seat", "condition", "repeat", "channel", "programme", "playing"})
SCORE_PLACEHOLDERS = frozenset({"listener", "seat", "programme"})
NAMED_FILES = ("microphone", "excitation", "calibrator")
_MEASUREMENT_NUMBERS = frozenset({"full_scale_pa", "full_scale_v", "calibrator_db"})
_OPTION_KEYS = frozenset({"delimiter", "decimal", "columns"})
MEASUREMENT_KEYS = (
    frozenset({"files", "kind", "point", "playing", "repeats", "condition", "seat", "channel", "programme", "closing"})
    | _OPTION_KEYS
    | _MEASUREMENT_NUMBERS
    | frozenset(NAMED_FILES)
)
SCORE_KEYS = (
    frozenset({"files", "method", "reference", "treatment", "order", "scale", "role", "listener", "seat", "programme"})
    | _OPTION_KEYS
)
_MEASUREMENT_COLUMNS = frozenset({"frequency", "level", "phase", "real", "imaginary"})
_SHARED_COLUMNS = frozenset({"listener", "trial", "programme", "seat"})
_SCORE_COLUMNS: dict[str, frozenset[str]] = {
    "abx": _SHARED_COLUMNS | {"x", "answer"},
    "same-different": _SHARED_COLUMNS | {"first", "second", "answer"},
    "triangle": _SHARED_COLUMNS | {"order", "answer"},
    "duo-trio": _SHARED_COLUMNS | {"standard", "first", "second", "answer"},
    "tetrad": _SHARED_COLUMNS | {"order", "answer"},
    "paired-preference": _SHARED_COLUMNS | {"first", "second", "preferred"},
    "grading": _SHARED_COLUMNS | {"condition", "first", "second", "rating"},
}
_DELIMITERS = {",": ",", ";": ";", "\t": "\t", " ": " ", "comma": ",", "semicolon": ";", "tab": "\t", "blank": " "}
_DELIMITER_WORDS = ("comma", "semicolon", "tab", "blank")


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry(Generic[Template]):
    """One entry: `template` is a matched file without its path and without what its name says.

    `pattern` None: it is at fault. `sound`: nothing in the entry is.
    """

    reader: TableReader
    pattern: Pattern | None
    template: Template
    sound: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownIds:
    """The ids that the session defines."""

    seats: tuple[str, ...]
    conditions: tuple[str, ...]


def read_measurements(top: TableReader, known: KnownIds) -> list[Entry[MeasurementFile]]:
    """The [[measurements]] entries, in the order of the file."""
    return [_measurement(reader, index, known) for index, reader in enumerate(top.entries("measurements"))]


def read_scores(top: TableReader, known: KnownIds) -> list[Entry[ScoreFile]]:
    """The [[scores]] entries, in the order of the file."""
    return [_score(reader, index, known) for index, reader in enumerate(top.entries("scores"))]


def _measurement(reader: TableReader, index: int, known: KnownIds) -> Entry[MeasurementFile]:
    n_before = len(reader.log)
    reader.known_keys(MEASUREMENT_KEYS)
    pattern = _pattern(reader, MEASUREMENT_PLACEHOLDERS, "responses/{seat}_{condition}_{repeat}.csv")
    template = MeasurementFile(
        path="",
        line=reader.line("files"),
        entry=index,
        kind=reader.choice("kind", _KINDS, "response"),
        point=reader.choice("point", _POINTS, "seat"),
        playing=reader.choice("playing", PLAYING, "main"),
        repeats=reader.choice("repeats", _REPEATS, "replaced"),
        seat=_known(reader, "seat", known.seats),
        condition=_known(reader, "condition", known.conditions),
        channel=reader.id("channel"),
        programme=reader.id("programme"),
        options=_options(reader, _MEASUREMENT_COLUMNS),
        microphone=reader.text("microphone"),
        full_scale_pa=reader.optional_number("full_scale_pa", POSITIVE),
        full_scale_v=reader.optional_number("full_scale_v", POSITIVE),
        excitation=reader.text("excitation"),
        calibrator=reader.text("calibrator"),
        calibrator_db=reader.optional_number("calibrator_db"),
        closing=reader.flag("closing") or False,
    )
    _check_scaling(reader, template)
    if template.point == "programme":
        check_programme_file(reader, pattern, template)
    if template.closing and template.kind not in _KINDS_THAT_CLOSE:
        hint = "leave it out; it belongs to kind " + ", ".join(_KINDS_THAT_CLOSE)
        reader.fault("closing", f"does not belong to kind {template.kind!r}", hint)
    if pattern is not None:
        _check_condition(reader, pattern, template)
        template = _with_seat(reader, pattern, template, known)
    return Entry(reader=reader, pattern=pattern, template=template, sound=len(reader.log) == n_before)


def _score(reader: TableReader, index: int, known: KnownIds) -> Entry[ScoreFile]:
    n_before = len(reader.log)
    reader.known_keys(SCORE_KEYS)
    if "method" not in reader.table:
        reader.missing("method", "write one of " + ", ".join(f'method = "{method}"' for method in _METHODS))
    method = reader.choice("method", _METHODS, "abx")
    columns = (
        _SCORE_COLUMNS[method] if reader.table.get("method") == method else frozenset().union(*_SCORE_COLUMNS.values())
    )
    template = ScoreFile(
        path="",
        line=reader.line("files"),
        entry=index,
        method=method,
        reference=_known(reader, "reference", known.conditions),
        treatment=_known(reader, "treatment", known.conditions),
        order=reader.choice("order", _ORDERS, "independent"),
        scale=reader.choice("scale", _SCALES, _SCALES[0]) if "scale" in reader.table else None,
        role=reader.choice("role", _ROLES, "scored"),
        listener=reader.id("listener"),
        seat=_known(reader, "seat", known.seats),
        programme=reader.id("programme"),
        options=_options(reader, columns),
    )
    if template.reference is not None and template.reference == template.treatment:
        reader.fault("treatment", "is the reference too", "name two different conditions")
    if method == "grading" and template.scale is None:
        reader.missing("scale", "write one of " + ", ".join(f'scale = "{scale}"' for scale in _SCALES))
    if reader.table.get("method") not in (None, "grading") and "scale" in reader.table:
        reader.fault("scale", f"does not belong to method {method!r}", 'leave it out; it belongs to method = "grading"')
    pattern = _pattern(reader, SCORE_PLACEHOLDERS, "scores/abx.csv")
    return Entry(reader=reader, pattern=pattern, template=template, sound=len(reader.log) == n_before)


def _pattern(reader: TableReader, allowed: Collection[str], example: str) -> Pattern | None:
    if "files" not in reader.table:
        reader.missing("files", f'write files = "{example}"')
        return None
    text = reader.text("files")
    if text is None:
        return None
    pattern = parse_pattern(text, allowed)
    if not isinstance(pattern, Pattern):
        for fault in pattern:
            reader.log.add(reader.line("files"), f"files in {reader.header}: {fault.what}", fault.try_)
        return None
    for name in sorted(pattern.placeholders):
        if name in reader.table:
            hint = f"leave out {name} = …, or {{{name}}} in files"
            reader.fault(name, f"is said twice: files has {{{name}}} too", hint)
    return pattern


def _known(reader: TableReader, key: str, ids: tuple[str, ...]) -> str | None:
    value = reader.text(key)
    if value is None or value in ids:
        return value
    reader.fault(key, f"names no {'seat' if key == 'seat' else 'condition'}", nearest(value, ids))
    return None


def _check_scaling(reader: TableReader, template: MeasurementFile) -> None:
    if "full_scale_pa" in reader.table and "full_scale_v" in reader.table:
        reader.fault(
            "full_scale_v", "stands beside full_scale_pa", "say what a sample value of 1.0 is once: in Pa or in V"
        )
    if "calibrator" in reader.table and "calibrator_db" not in reader.table:
        reader.fault("calibrator", "has no level", "write calibrator_db = and the level that the calibrator makes")
    if "calibrator_db" in reader.table and "calibrator" not in reader.table and template.kind != "calibration":
        reader.fault("calibrator_db", "has no recording", 'write calibrator = "…" and the name of the recording')


def _check_condition(reader: TableReader, pattern: Pattern, template: MeasurementFile) -> None:
    is_said = "condition" in pattern.placeholders or "condition" in reader.table
    if not is_said and template.kind not in ("noise", "calibration") and template.point != "programme":
        what = f"files = {pattern.text!r} in {reader.header} says no condition"
        reader.log.add(template.line, what, 'put {condition} into files, or write condition = "…" below it')


def _with_seat(reader: TableReader, pattern: Pattern, template: MeasurementFile, known: KnownIds) -> MeasurementFile:
    """The template with the only seat where none is said and one is needed; a calibrator's tone has no seat."""
    if template.point != "seat" or template.kind == "calibration":
        return template
    if not known.seats:
        what = f"files = {pattern.text!r} in {reader.header} is measured at a seat, and no seat is defined"
        reader.log.add(template.line, what, "write [seats.A] for each seat, or point = of this entry")
    elif "seat" not in pattern.placeholders and "seat" not in reader.table:
        if len(known.seats) == 1:
            return replace(template, seat=known.seats[0])
        if pattern.text.endswith(_MAY_TELL_SEATS):
            return template
        what = f"files = {pattern.text!r} in {reader.header} says no seat, and there are {', '.join(known.seats)}"
        reader.log.add(template.line, what, 'put {seat} into files, or write seat = "…" below it')
    return template


def _options(reader: TableReader, columns: Collection[str]) -> ReadOptions:
    delimiter = _delimiter(reader)
    decimal = reader.text("decimal")
    if decimal not in (None, ".", ","):
        reader.fault("decimal", "is no decimal mark", 'write decimal = "." or decimal = ","')
    elif decimal is not None and decimal == delimiter:
        reader.fault("decimal", "is the delimiter too", 'write delimiter = ";" or decimal = "."')
    table = reader.table_of("columns", f"columns of {reader.header}")
    table.known_keys(columns)
    named = ((key, table.text(key)) for key in table.table)
    return ReadOptions(
        delimiter=delimiter, decimal=decimal, columns=tuple((key, text) for key, text in named if text is not None)
    )


def _delimiter(reader: TableReader) -> str | None:
    value = reader.text("delimiter", may_be_empty=True)
    if value is None or value in _DELIMITERS:
        return None if value is None else _DELIMITERS[value]
    reader.fault("delimiter", "is no delimiter", nearest(value, _DELIMITER_WORDS))
    return None
