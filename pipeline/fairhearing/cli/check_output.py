"""What `fairhearing check` prints: what a session holds, what differs between its conditions, every fault."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

from fairhearing.errors import FairHearingError, Faults
from fairhearing.manifest import state_warnings
from fairhearing.session import Condition, Session, Value

if TYPE_CHECKING:
    from fairhearing.audio import Recording
    from fairhearing.contracts import SessionContent, Sheet, Take

TRIM = "trim_db"
NOT_SAID = "-"

Series = tuple[str, str, str, str | None, str | None]  # kind, point, playing, channel, programme


@dataclass(frozen=True, slots=True, kw_only=True)
class GridCell:
    """How many repeats of one kind of measurement there are at one seat in one condition."""

    kind: str
    point: str
    playing: str
    channel: str | None
    programme: str | None
    seat: str | None
    condition: str | None
    n_repeats: int

    @property
    def heading(self) -> str:
        """What the whole grid is of, in words."""
        parts = [self.kind, f"at {self.point}", f"playing {self.playing}"]
        parts += [f"channel {self.channel}"] if self.channel is not None else []
        parts += [f"programme {self.programme}"] if self.programme is not None else []
        return ", ".join(parts)


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialCount:
    """How many trials of one score sheet a listener gave."""

    entry: int
    method: str
    listener: str
    n_trials: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """A value of the chain or the equipment, or the trim, in which a condition differs from the reference."""

    condition: str
    reference: str
    key: str
    value: Value
    reference_value: Value


def n_faults(contents: Iterable[SessionContent]) -> int:
    """Number of faults in all sessions together."""
    return sum(len(_faults(content)) for content in contents)


def check_json(contents: Iterable[SessionContent]) -> dict[str, object]:
    """The check of all sessions as one JSON object."""
    return {"format": 1, "sessions": [_session_json(content) for content in contents]}


def check_text(contents: Sequence[SessionContent]) -> str:
    """The check of all sessions as plain text; the last line is "no fault" or the number of faults."""
    blocks = [_session_text(content) for content in contents]
    n_found = n_faults(contents)
    verdict = "no fault" if n_found == 0 else f"{n_found} fault" + ("s" if n_found > 1 else "")
    return "\n\n".join([*blocks, verdict])


def grid_cells(session: Session, takes: Sequence[Take | Recording]) -> tuple[GridCell, ...]:
    """Repeats for every kind of measurement at every seat in every condition, 0 where there is none."""
    repeats = {(_series(take), take.seat, take.condition, take.repeat) for take in takes}
    found = Counter(key[:-1] for key in repeats)
    cells = []
    for series in sorted({_series(take) for take in takes}, key=_with_none_first):
        own = [take for take in takes if _series(take) == series]
        kind, point, playing, channel, programme = series
        for seat in _rows(session, own):
            for condition in _columns(session, own):
                cells.append(
                    GridCell(
                        kind=kind,
                        point=point,
                        playing=playing,
                        channel=channel,
                        programme=programme,
                        seat=seat,
                        condition=condition,
                        n_repeats=found[series, seat, condition],
                    )
                )
    return tuple(cells)


def _measured(content: SessionContent) -> list[Take | Recording]:
    repeats = [take for take in content.takes if not take.closing]
    return [*repeats, *(source.recording for source in content.recordings)]


def _series(take: Take | Recording) -> Series:
    return take.kind, take.point, take.playing, take.channel, take.programme


def _with_none_first(series: Series) -> tuple[tuple[bool, str], ...]:
    return tuple((part is not None, part or "") for part in series)


def _rows(session: Session, takes: Sequence[Take | Recording]) -> list[str | None]:
    """Every seat of the session if any take has a seat; a row without a seat if any take has none."""
    seats = {take.seat for take in takes}
    rows: list[str | None] = [seat.id for seat in session.seats] if seats != {None} else []
    return rows + ([None] if None in seats else [])


def _columns(session: Session, takes: Sequence[Take | Recording]) -> list[str | None]:
    """Every condition if any take has one; a column without a condition if any take has none."""
    conditions = {take.condition for take in takes}
    columns: list[str | None] = [c.id for c in session.conditions] if conditions != {None} else []
    return columns + ([None] if None in conditions else [])


def trial_counts(sheets: Sequence[Sheet]) -> tuple[TrialCount, ...]:
    """Trials of every listener in every score sheet."""
    counts = []
    for sheet in sheets:
        listeners = sheet.trials["listener"] if "listener" in sheet.trials.columns else [None] * len(sheet.trials)
        found = Counter(NOT_SAID if listener is None else str(listener) for listener in listeners)
        counts += [
            TrialCount(entry=sheet.entry, method=sheet.method, listener=listener, n_trials=found[listener])
            for listener in sorted(found)
        ]
    return tuple(counts)


def differences(session: Session) -> tuple[Difference, ...]:
    """What differs between the reference and each other condition, in the order of session.toml."""
    return tuple(
        Difference(
            condition=condition.id,
            reference=session.reference.id,
            key=key,
            value=value,
            reference_value=reference_value,
        )
        for condition in session.treatments
        for (key, value), reference_value in zip(
            _values(condition).items(), _values(session.reference).values(), strict=True
        )
        if value != reference_value
    )


def _values(condition: Condition) -> dict[str, Value]:
    return {**condition.states, TRIM: condition.trim_db}


def _faults(content: SessionContent) -> list[FairHearingError]:
    """Every problem by itself, those bundled in one included."""
    found: list[FairHearingError] = []
    for problem in content.problems:
        found += problem.problems if isinstance(problem, Faults) else (problem,)
    return found


def _cautions(content: SessionContent) -> list[str]:
    """Warnings of the reading, and what is to be warned of in the states that are compared."""
    states = () if content.session is None else state_warnings(content.session.conditions)
    return list(dict.fromkeys((*content.warnings, *states)))


def _session_json(content: SessionContent) -> dict[str, object]:
    session = content.session
    return {
        "id": None if session is None else session.id,
        "folder": _folder(content),
        "question": None if session is None else session.question,
        "grid": [] if session is None else [_cell_json(cell) for cell in grid_cells(session, _measured(content))],
        "trials": [
            {"entry": c.entry, "method": c.method, "listener": c.listener, "n_trials": c.n_trials}
            for c in trial_counts(content.sheets)
        ],
        "differences": [] if session is None else [_difference_json(d) for d in differences(session)],
        "warnings": _cautions(content),
        "problems": [{"what": p.what, "where": p.where, "try": p.try_} for p in _faults(content)],
    }


def _folder(content: SessionContent) -> str:
    """The folder's own name: where it lies is no part of what is told."""
    return content.folder.name or content.folder.resolve().name


def _cell_json(cell: GridCell) -> dict[str, object]:
    return {field.name: getattr(cell, field.name) for field in fields(GridCell)}


def _difference_json(difference: Difference) -> dict[str, object]:
    return {field.name: getattr(difference, field.name) for field in fields(Difference)}


def _session_text(content: SessionContent) -> str:
    session = content.session
    if session is None:
        blocks = [f"session in {_folder(content)}: session.toml cannot be used"]
    else:
        blocks = [f"session {session.id} in {_folder(content)}\nquestion: {session.question or NOT_SAID}"]
        blocks += _grids_text(grid_cells(session, _measured(content))) or ["measurements: none"]
        blocks += _trials_text(trial_counts(content.sheets))
        blocks.append(_differences_text(session))
    blocks += [f"warning: {caution}" for caution in _cautions(content)]
    blocks += [f"fault: {fault}" for fault in _faults(content)]
    return "\n\n".join(blocks)


def _grids_text(cells: Sequence[GridCell]) -> list[str]:
    """A table of repeats, seats by conditions, for each kind of measurement."""
    tables = []
    for heading in dict.fromkeys(cell.heading for cell in cells):
        own = [cell for cell in cells if cell.heading == heading]
        columns = list(dict.fromkeys(cell.condition for cell in own))
        rows = [["seat", *(column or NOT_SAID for column in columns)]]
        for seat in dict.fromkeys(cell.seat for cell in own):
            rows.append([seat or NOT_SAID, *(str(cell.n_repeats) for cell in own if cell.seat == seat)])
        tables.append(f"repeats: {heading}\n{_aligned(rows)}")
    return tables


def _trials_text(counts: Sequence[TrialCount]) -> list[str]:
    if not counts:
        return ["trials: none"]
    tables = []
    for entry in dict.fromkeys(count.entry for count in counts):
        own = [count for count in counts if count.entry == entry]
        rows = [["listener", "trials"], *([count.listener, str(count.n_trials)] for count in own)]
        tables.append(f"trials: score sheet {entry + 1}, {own[0].method}\n{_aligned(rows)}")
    return tables


def _differences_text(session: Session) -> str:
    found = differences(session)
    if not found:
        return "differences between conditions: none that session.toml names"
    rows = [["key", "condition", "value", "reference", "value"]]
    rows += [[d.key, d.condition, _value(d.value), d.reference, _value(d.reference_value)] for d in found]
    return f"differences between conditions\n{_aligned(rows)}"


def _value(value: Value) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, tuple):
        return " ".join(f"{one:g}" for one in value) or "none"
    if isinstance(value, str):
        return value
    return NOT_SAID if value is None else f"{value:g}"


def _aligned(rows: Sequence[Sequence[str]]) -> str:
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    lines = ("  ".join(f"{cell:<{width}}" for cell, width in zip(row, widths, strict=True)) for row in rows)
    return "\n".join(f"  {line}".rstrip() for line in lines)
