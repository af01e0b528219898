"""The sheets of a plan as CSV: what the operator plays, and what each listener answers."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence

from fairhearing.protocol.design import Design, KeyTrial
from fairhearing.protocol.methods import SHARED_COLUMNS, form_of
from fairhearing.protocol.sealing import grouped

SWITCHING_NAME = "operator/switching.csv"
LISTENERS_FOLDER = "listeners"
OPENED_FOLDER = "opened"
COMMITMENT_MARK = "# commitment:"
PART_WORDS = {True: "practice", False: "listening"}  # a sheet tells practice from the rest, and sham from nothing
PLAYED_COLUMNS = ("played", "played_at", "note")
ANSWER_EXTRAS = ("answered_at", "excluded")


def sheet_name(listener: str) -> str:
    """Where a listener's sheet lies in the plan's folder."""
    return f"{LISTENERS_FOLDER}/{listener}.csv"


def part_word(trial: KeyTrial) -> str:
    """What a sheet says a trial is: practice or listening."""
    return PART_WORDS[trial.part == "practice"]


def play_columns(design: Design) -> tuple[str, ...]:
    """The columns of the operator's sheet that say what to play."""
    return tuple(f"play_{place}" for place in form_of(design.method, design.scale).places)


def switching_sheet(design: Design, trials: Sequence[KeyTrial], commitment: str) -> bytes:
    """What to play in each trial, for whoever switches; `played`, `played_at` and `note` are filled in by hand."""
    head = ("listener", "position", "trial", "part", "block", "programme", "seat", *play_columns(design))
    rows = (
        (
            trial.listener,
            str(trial.position),
            trial.trial,
            part_word(trial),
            str(trial.block),
            trial.programme or "",
            trial.seat or "",
            *trial.plays,
            *("" for _ in PLAYED_COLUMNS),
        )
        for trial in trials
    )
    return table((*head, *PLAYED_COLUMNS), rows, commitment)


def listener_columns(design: Design) -> tuple[str, ...]:
    """The columns of a listener's sheet: those of the method that may be known, `part`, and those to fill in."""
    answer = form_of(design.method, design.scale).answer_column
    return (*SHARED_COLUMNS, "part", "block", answer, *ANSWER_EXTRAS)


def listener_sheet(design: Design, trials: Sequence[KeyTrial], commitment: str) -> bytes:
    """One listener's sheet with nothing in it that tells what was played."""
    rows = (
        (trial.listener, trial.trial, trial.programme or "", trial.seat or "", part_word(trial), str(trial.block), "")
        + ("",) * len(ANSWER_EXTRAS)
        for trial in trials
    )
    return table(listener_columns(design), rows, commitment)


def table(head: Sequence[str], rows: Iterable[Sequence[str]], commitment: str | None = None) -> bytes:
    """A CSV of a header and rows, with the commitment in a line above where it is given."""
    stream = io.StringIO()
    if commitment is not None:
        stream.write(f"{COMMITMENT_MARK} {grouped(commitment)}\n")
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(head)
    writer.writerows(rows)
    return stream.getvalue().encode()
