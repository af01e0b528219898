"""What an opened plan is written as: a sheet for each part, the counts, and opened.json."""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import get_args

from fairhearing.protocol.answers import Record
from fairhearing.protocol.design import Design, Part
from fairhearing.protocol.methods import SHARED_COLUMNS, form_of
from fairhearing.protocol.sheets import OPENED_FOLDER, table

OPENED_FORMAT = 1
EXTRA_COLUMNS = ("block", "position_in_session", "played", "played_at", "answered_at", "excluded")
PARTS: tuple[Part, ...] = get_args(Part)


@dataclass(frozen=True, slots=True, kw_only=True)
class Count:
    """Trials of one listener and one part."""

    listener: str
    part: Part
    n_planned: int
    n_played: int
    n_played_by_default: int
    n_answered: int
    n_excluded: int


def opened_columns(design: Design) -> tuple[str, ...]:
    """The columns of an opened sheet: those of the session format for the method, and what is known besides."""
    return (*SHARED_COLUMNS, *form_of(design.method, design.scale).columns, *EXTRA_COLUMNS)


def counts_of(design: Design, records: Sequence[Record]) -> tuple[Count, ...]:
    """Trials of each listener and part, in the order of the design."""
    groups: dict[tuple[str, Part], list[Record]] = {}
    for record in records:
        groups.setdefault((record.trial.listener, record.trial.part), []).append(record)
    return tuple(
        Count(
            listener=listener,
            part=part,
            n_planned=len(own),
            n_played=sum(one.played.was_played for one in own),
            n_played_by_default=sum(one.played.by_default for one in own),
            n_answered=sum(bool(one.answer) for one in own),
            n_excluded=sum(bool(one.excluded) for one in own),
        )
        for listener in design.listeners
        for part in PARTS
        if (own := groups.get((listener, part), []))
    )


def opened_sheets(design: Design, records: Sequence[Record]) -> dict[str, bytes]:
    """A sheet for each part that has trials, by listener and place in the session."""
    columns = opened_columns(design)
    sheets = {}
    for part in PARTS:
        own = [record for record in records if record.trial.part == part]
        if own:
            rows = [[_cells(record, design)[name] for name in columns] for record in own]
            sheets[f"{OPENED_FOLDER}/{part}.csv"] = table(columns, rows)
    return sheets


def _cells(record: Record, design: Design) -> Mapping[str, str]:
    trial = record.trial
    played = "yes" if record.played.was_played else "no"
    return {
        "listener": trial.listener,
        "trial": trial.trial,
        "programme": trial.programme or "",
        "seat": trial.seat or "",
        **trial.cells,
        form_of(design.method, design.scale).answer_column: record.answer,
        "block": str(trial.block),
        "position_in_session": str(trial.position),
        "played": "by default" if record.played.by_default else played,
        "played_at": record.played.played_at,
        "answered_at": record.answered_at,
        "excluded": record.excluded,
    }


def opened_object(
    commitment: str,
    counts: Sequence[Count],
    reason: str | None,
    remarks: Sequence[str],
    hashes: Mapping[str, str],
    records: Sequence[Record],
    sheets: Mapping[str, bytes],
) -> bytes:
    """What opened.json holds. `hashes`: of the sheets that came back; `sheets`: those that are opened."""
    by_listener: dict[str, dict[str, object]] = {}
    for count in counts:
        by_listener.setdefault(count.listener, {})[count.part] = {
            "planned": count.n_planned,
            "played": count.n_played,
            "played_by_default": count.n_played_by_default,
            "answered": count.n_answered,
            "excluded": count.n_excluded,
        }
    notes = {
        f"{record.trial.listener}/{record.trial.trial}": record.played.note for record in records if record.played.note
    }
    value = {
        "format": OPENED_FORMAT,
        "commitment": commitment,
        "reason": reason,
        "remarks": list(remarks),
        "listeners": by_listener,
        "played_by_default": Counter(record.played.by_default for record in records)[True],
        "operator_notes": notes,
        "sheets_sha256": dict(sorted(hashes.items())),
        "opened_sha256": {path: hashlib.sha256(data).hexdigest() for path, data in sorted(sheets.items())},
    }
    return (json.dumps(value, indent=1, ensure_ascii=True, allow_nan=False) + "\n").encode()
