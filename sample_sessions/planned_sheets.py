"""The sheets of a planned listening as they come back, and what they are opened into once the order is known."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from sealed_plans import in_eights, sha256

SWITCHING = "operator/switching.csv"
PARTS = ("practice", "scored", "sham", "control")
SWITCHING_COLUMNS = (
    "listener", "position", "trial", "part", "block", "programme", "seat", "play_A", "play_B", "play_X", "played",
    "played_at", "note",
)  # fmt: skip
LISTENER_COLUMNS = ("listener", "trial", "programme", "seat", "part", "block", "answer", "answered_at", "excluded")
OPENED_COLUMNS = (
    "listener", "trial", "programme", "seat", "x", "answer", "first", "second", "block", "position_in_session",
    "played", "played_at", "answered_at", "excluded",
)  # fmt: skip
FIRST_VISIT_S, SECOND_VISIT_S, SLOT_S = 9 * 3600, 14 * 3600, 30 * 60
TRIAL_S, TO_ANSWER_S = 60, 41

Trial = dict[str, Any]


@dataclass(slots=True, kw_only=True)
class Sheets:
    """What was written down, by the trial's place in the order. `n_at_look`: scored trials of each until the look."""

    order: Sequence[Trial]
    n_at_look: int
    answers: dict[int, str] = field(default_factory=dict)
    excluded: dict[int, str] = field(default_factory=dict)
    not_played: dict[int, str] = field(default_factory=dict)
    not_written: set[int] = field(default_factory=set)

    def before_look(self) -> set[int]:
        """Trials of the first visit: those up to the last scored one that the look counts."""
        found: set[int] = set()
        n_scored: dict[str, int] = {}
        for index, trial in enumerate(self.order):
            if n_scored.get(trial["listener"], 0) < self.n_at_look:
                found.add(index)
                n_scored[trial["listener"]] = n_scored.get(trial["listener"], 0) + (trial["part"] == "scored")
        return found

    def seconds(self, index: int) -> int:
        """When a trial was played, in seconds since midnight: one visit each in the morning, one in the afternoon."""
        own = [at for at, one in enumerate(self.order) if one["listener"] == self.order[index]["listener"]]
        first = [at for at in own if at in self.before_look()]
        visit, start = (first, FIRST_VISIT_S) if index in first else (own[len(first) :], SECOND_VISIT_S)
        slot = int(self.order[index]["listener"].removeprefix("L")) - 1
        return start + slot * SLOT_S + visit.index(index) * TRIAL_S

    def row(self, index: int) -> Trial:
        """All that is known of a trial once it was listened to."""
        trial = self.order[index]
        was_played, written = index not in self.not_played, index not in self.not_written
        at = self.seconds(index)
        why = f"not played: {self.not_played[index]}" if not was_played else self.excluded.get(index, "")
        answer = self.answers[index] if was_played else ""
        return {
            **{name: trial[name] for name in ("listener", "position", "trial", "block", "programme", "seat", "cells")},
            "part": "practice" if trial["part"] == "practice" else "listening",
            **dict(zip(("play_A", "play_B", "play_X"), trial["plays"], strict=True)),
            "played": ("yes" if was_played else "no") if written else "",
            "played_at": clock(at) if was_played and written else "",
            "note": self.not_played.get(index, ""),
            "answer": answer,
            "answered_at": clock(at + TO_ANSWER_S) if was_played else "",
            "excluded": why if was_played else "",  # a trial that was not played stays empty on the listener's sheet
            "opened_excluded": why,
        }

    def is_right(self, index: int) -> bool:
        """Whether an answer that counts names what X was."""
        cells, answer = self.order[index]["cells"], self.answers[index]
        counts = index not in self.excluded and index not in self.not_played
        return counts and cells["x"] == cells[{"A": "first", "B": "second"}[answer]]

    def of_part(self, part: str) -> list[int]:
        """The trials of a part."""
        return [index for index, trial in enumerate(self.order) if trial["part"] == part]

    def n_right(self, part: str, *, until_look: bool = False) -> int:
        """Right answers among those that count."""
        taken = self.before_look() if until_look else set(range(len(self.order)))
        return sum(self.is_right(index) for index in self.of_part(part) if index in taken)

    def flow(self, part: str) -> dict[str, int]:
        """What became of the trials of a part."""
        own = self.of_part(part)
        lost, left_out = sum(index in self.not_played for index in own), sum(index in self.excluded for index in own)
        played = len(own) - lost
        return {
            "planned": len(own),
            "played": played,
            "answered": played,
            "excluded": lost + left_out,
            "scored": played - left_out,
        }


def clock(seconds: int) -> str:
    """A time of day."""
    return f"{seconds // 3600:02d}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"


def table(columns: Sequence[str], rows: Iterable[Trial]) -> str:
    """Rows as a CSV with a header."""
    stream = io.StringIO()
    writer = csv.DictWriter(stream, columns, extrasaction="ignore", lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return stream.getvalue()


def returned_files(sheets: Sheets, commitment: str, *, until_look: bool = False) -> dict[str, str]:
    """The operator's sheet and the listeners', filled in; up to the first look or to the end."""
    empty = dict.fromkeys(("played", "played_at", "note", "answer", "answered_at", "excluded"), "")
    taken = sheets.before_look() if until_look else set(range(len(sheets.order)))
    rows = [sheets.row(index) | ({} if index in taken else empty) for index in range(len(sheets.order))]
    first = f"# commitment: {in_eights(commitment)}\n"
    files = {SWITCHING: first + table(SWITCHING_COLUMNS, rows)}
    for listener in dict.fromkeys(row["listener"] for row in rows):
        own = [row for row in rows if row["listener"] == listener]
        files[f"listeners/{listener}.csv"] = first + table(LISTENER_COLUMNS, own)
    return files


def opened_files(sheets: Sheets, commitment: str, returned: dict[str, str]) -> dict[str, str]:
    """A sheet for each part with what was played and what was answered, and opened.json."""
    opened = {
        f"opened/{part}.csv": table(OPENED_COLUMNS, (opened_row(sheets.row(index)) for index in sheets.of_part(part)))
        for part in PARTS
    }
    notes = {
        f"{trial['listener']}/{trial['trial']}": sheets.not_played[index]
        for index, trial in enumerate(sheets.order)
        if index in sheets.not_played
    }
    listeners = dict.fromkeys(trial["listener"] for trial in sheets.order)
    value = {
        "format": 1,
        "commitment": commitment,
        "reason": None,
        "remarks": [],
        "listeners": {one: {part: counts(sheets, one, part) for part in PARTS} for one in listeners},
        "played_by_default": len(sheets.not_written),
        "operator_notes": notes,
        "sheets_sha256": {name: sha256(text.encode()) for name, text in sorted(returned.items())},
        "opened_sha256": {name: sha256(text.encode()) for name, text in sorted(opened.items())},
    }
    return {**opened, "opened.json": json.dumps(value, indent=1) + "\n"}


def opened_row(row: Trial) -> Trial:
    """A trial with the order and the answer by what A and B were."""
    answer = {"A": row["cells"]["first"], "B": row["cells"]["second"]}.get(row["answer"], "")
    return {
        **row,
        **row["cells"],
        "answer": answer,
        "position_in_session": row["position"],
        "played": row["played"] or "by default",
        "excluded": row["opened_excluded"],
    }


def counts(sheets: Sheets, listener: str, part: str) -> dict[str, int]:
    """What became of one listener's trials of a part."""
    own = [index for index in sheets.of_part(part) if sheets.order[index]["listener"] == listener]
    lost = sum(index in sheets.not_played for index in own)
    return {
        "planned": len(own),
        "played": len(own) - lost,
        "played_by_default": sum(index in sheets.not_written for index in own),
        "answered": len(own) - lost,
        "excluded": lost + sum(index in sheets.excluded for index in own),
    }
