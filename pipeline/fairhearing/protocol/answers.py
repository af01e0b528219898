"""Sets what came back against the key: one record for each planned trial, and every fault by its name."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from fairhearing.errors import ImportProblem, InputProblem, nearest
from fairhearing.protocol.design import Design, KeyTrial
from fairhearing.protocol.methods import AnswerError, form_of, opened_answer
from fairhearing.protocol.sealing import grouped
from fairhearing.protocol.sheets import LISTENERS_FOLDER, PLAYED_COLUMNS, SWITCHING_NAME, listener_columns, part_word
from fairhearing.protocol.tables import ReadSheet, SheetRow, read_sheet
from fairhearing.protocol.times import is_before, moment

YES, NO = ("yes", "y", "1", "true", "x"), ("no", "n", "0", "false")
Place = tuple[str, str]  # listener, trial


@dataclass(frozen=True, slots=True, kw_only=True)
class Played:
    """What the operator's sheet says of a trial. `by_default`: nothing, which is taken as played as planned."""

    was_played: bool
    by_default: bool
    played_at: str
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """A planned trial with all that came back: `answer` in the session format's words, empty where there is none."""

    trial: KeyTrial
    played: Played
    answer: str
    answered_at: str
    excluded: str


@dataclass(slots=True, kw_only=True)
class Returned:
    """Everything that came back. `problems` must be set right; `breaches` happened in the room and can't be undone."""

    records: list[Record] = field(default_factory=list)
    problems: list[InputProblem] = field(default_factory=list)
    breaches: dict[Place, InputProblem] = field(default_factory=dict)
    hashes: dict[str, str] = field(default_factory=dict)
    misread: set[Place] = field(default_factory=set)  # trials with an answer that the method does not know

    def fault(self, what: str, where: str, try_: str) -> None:
        """Note a problem."""
        self.problems.append(ImportProblem(what, where=where, try_=try_))


def read_returned(folder: Path, design: Design, trials: Sequence[KeyTrial], commitment: str) -> Returned:
    """All sheets of a plan's folder against its key; nothing is raised and nothing is dropped."""
    returned = Returned()
    by_place = {(trial.listener, trial.trial): trial for trial in trials}
    played = _played(folder, by_place, commitment, returned)
    rows: dict[Place, tuple[ReadSheet, SheetRow]] = {}
    seen: set[str] = set()
    for path in _sheet_paths(folder):
        sheet = _sheet(folder, path, listener_columns(design)[:-1], commitment, returned)
        if sheet is not None:
            seen |= _take(sheet, design, by_place, rows, returned)
    for listener in design.listeners:
        if listener not in seen and not any(listener in one.where for one in returned.problems):
            hint = f"put {LISTENERS_FOLDER}/{listener}.csv back; an empty one says that nothing was answered"
            returned.fault(f"there is no sheet of listener {listener!r}", LISTENERS_FOLDER, hint)
    for place, trial in by_place.items():
        _record(trial, played.get(place), rows.get(place), design, returned)
    return returned


def _sheet_paths(folder: Path) -> list[str]:
    place = folder / LISTENERS_FOLDER
    names = sorted(child.name for child in place.iterdir()) if place.is_dir() else []
    return [f"{LISTENERS_FOLDER}/{name}" for name in names if not name.startswith(".") and not name.endswith(".html")]


def _sheet(folder: Path, path: str, wanted: Sequence[str], commitment: str, returned: Returned) -> ReadSheet | None:
    try:
        sheet = read_sheet(folder, path, wanted)
    except InputProblem as problem:
        returned.problems.append(problem)
        return None
    returned.hashes[path] = sheet.sha256
    if sheet.commitment != commitment:
        said = "no commitment" if sheet.commitment is None else f"the commitment {grouped(sheet.commitment)}"
        what = f"the sheet has {said}, the seal {grouped(commitment)}"
        returned.fault(what, f"{path}, line 1", "use the sheets that were written with this plan, first line and all")
    return sheet


def _played(
    folder: Path, by_place: Mapping[Place, KeyTrial], commitment: str, returned: Returned
) -> dict[Place, Played]:
    """What the operator filled in, by trial; a trial that the sheet lacks counts as one that says nothing."""
    wanted = ("listener", "trial", *PLAYED_COLUMNS[:2])
    sheet = _sheet(folder, SWITCHING_NAME, wanted, commitment, returned)
    found: dict[Place, Played] = {}
    for row in sheet.rows if sheet is not None else ():
        assert sheet is not None
        place = (row.cells["listener"], row.cells["trial"])
        if place not in by_place:
            _unknown_trial(place, by_place, sheet.where(row), returned)
        elif place in found:
            returned.fault(
                f"trial {place[1]} of listener {place[0]} stands there twice", sheet.where(row), "take one out"
            )
        else:
            found[place] = _what_was_played(row, sheet.where(row), returned)
    for place in by_place if sheet is not None else ():
        if place not in found:
            returned.fault(f"trial {place[1]} of listener {place[0]} is missing", SWITCHING_NAME, "put its row back")
    return found


def _what_was_played(row: SheetRow, where: str, returned: Returned) -> Played:
    said, at = row.cells["played"], row.cells["played_at"]
    if said and said.casefold() not in (*YES, *NO):
        at, said = (said, "yes") if not at else (at, said)
    if said.casefold() not in ("", *YES, *NO):
        returned.fault(f"played is {said!r}", where, "write yes, no or the time; empty means played as planned")
    if at:
        _checked_time(at, "played_at", where, returned)
    note = row.cells.get("note", "")
    return Played(was_played=said.casefold() not in NO, by_default=not said and not at, played_at=at, note=note)


def _checked_time(text: str, column: str, where: str, returned: Returned) -> bool:
    try:
        moment(text)
    except ValueError:
        returned.fault(f"{column} is {text!r}, which is no time", where, "write 14:05, 14:05:30 or 2026-05-09T14:05:30")
        return False
    return True


def _unknown_trial(place: Place, by_place: Mapping[Place, KeyTrial], where: str, returned: Returned) -> None:
    listener, trial = place
    listeners = {one for one, _ in by_place}
    if listener not in listeners:
        what = f"listener {listener!r} was not planned"
        returned.fault(what, where, f"{nearest(listener, listeners)}; anybody else needs another plan")
        return
    own = [one for name, one in by_place if name == listener]
    returned.fault(f"listener {listener} has no trial {trial!r}", where, nearest(trial, own))


def _take(
    sheet: ReadSheet,
    design: Design,
    by_place: Mapping[Place, KeyTrial],
    rows: dict[Place, tuple[ReadSheet, SheetRow]],
    returned: Returned,
) -> set[str]:
    """Add the rows of a sheet to those of the others; the listeners that it is of."""
    column = form_of(design.method, design.scale).answer_column
    told: set[str] = set()
    for row in sheet.rows:
        where, place = sheet.where(row), (row.cells["listener"], row.cells["trial"])
        trial = by_place.get(place)
        if trial is None:
            if place[0] in design.listeners or place[0] not in told:  # one fault for a listener, not one for each row
                _unknown_trial(place, by_place, where, returned)
            told.add(place[0])
            continue
        _check_row(row, trial, where, returned)
        other = rows.setdefault(place, (sheet, row))
        if other[1] is row:
            continue
        if other[0] is sheet:
            returned.fault(
                f"trial {place[1]} of listener {place[0]} stands there twice", where, "take one of the two out"
            )
            continue
        for name in (column, "answered_at", "excluded"):
            if other[1].cells.get(name, "") != row.cells.get(name, ""):
                _contradiction(place, other, (sheet, row), name, returned)
                break
    return {row.cells["listener"] for row in sheet.rows} & set(design.listeners)


def _contradiction(
    place: Place, one: tuple[ReadSheet, SheetRow], other: tuple[ReadSheet, SheetRow], column: str, returned: Returned
) -> None:
    first, second = (sheet[1].cells.get(column) or "nothing" for sheet in (one, other))
    differ = f"{column} of trial {place[1]} is {first!r} in {one[0].path}, and {second!r} here"
    what = f"listener {place[0]} has two sheets that differ: {differ}"
    returned.fault(
        what, other[0].where(other[1]), "keep the one that was written while listening, and move the other away"
    )


def _check_row(row: SheetRow, trial: KeyTrial, where: str, returned: Returned) -> None:
    """A fault where a sheet says something else of a trial than the key does."""
    part = row.cells["part"].casefold()
    if part != part_word(trial):
        what = f"trial {trial.trial} is {part_word(trial)}, and the sheet says {row.cells['part'] or 'nothing'!r}"
        returned.fault(what, where, "practice never counts, and all else does: put back what was written")
    for name, planned in (("programme", trial.programme), ("seat", trial.seat)):
        if row.cells[name] != (planned or ""):
            what = f"trial {trial.trial} was planned with {name} {planned!r}, and the sheet says {row.cells[name]!r}"
            returned.fault(what, where, f"put back {planned!r}; if it was played otherwise, say so in excluded")


def _record(
    trial: KeyTrial,
    played: Played | None,
    returned_row: tuple[ReadSheet, SheetRow] | None,
    design: Design,
    returned: Returned,
) -> None:
    played = played or Played(was_played=True, by_default=True, played_at="", note="")
    answer = answered_at = excluded = ""
    if returned_row is not None:
        sheet, row = returned_row
        where = sheet.where(row)
        answered_at, excluded = row.cells["answered_at"], row.cells.get("excluded", "")
        said = row.cells[form_of(design.method, design.scale).answer_column]
        answer = _answer(said, trial, design, where, returned)
        if not said and not excluded and not played.was_played:
            excluded = "not played" + (f": {played.note}" if played.note else "")
        breach = _breach(trial, played, said, answered_at, where, returned)
        if breach is not None:
            returned.breaches[trial.listener, trial.trial] = breach
    returned.records.append(
        Record(trial=trial, played=played, answer=answer, answered_at=answered_at, excluded=excluded)
    )


def _answer(said: str, trial: KeyTrial, design: Design, where: str, returned: Returned) -> str:
    if not said:
        return ""
    try:
        return opened_answer(design.method, design.scale, trial.cells, said)
    except AnswerError as error:
        column = form_of(design.method, design.scale).answer_column
        hint = f"{error}; leave it empty if there is no answer"
        returned.fault(f"the {column} {said!r} is none that {design.method} knows", where, hint)
        returned.misread.add((trial.listener, trial.trial))
        return ""


def _breach(
    trial: KeyTrial, played: Played, said: str, answered_at: str, where: str, returned: Returned
) -> InputProblem | None:
    """What went wrong in the room, if anything did: an answer to nothing, or one given before there was a sound."""
    sound = not answered_at or _checked_time(answered_at, "answered_at", where, returned)
    hint = "set right what was written down wrongly; what did happen is recorded with --reason"
    if said and not played.was_played:
        what = f"listener {trial.listener} answered trial {trial.trial}, which was not played"
        return ImportProblem(what, where=where, try_=hint)
    if not (sound and answered_at and played.played_at):
        return None
    try:
        early = is_before(moment(answered_at), moment(played.played_at))
    except ValueError:
        return None  # told already
    if not early:
        return None
    times = f"at {answered_at}, before it was played at {played.played_at}"
    what = f"listener {trial.listener} answered trial {trial.trial} {times}"
    return ImportProblem(what, where=where, try_=hint)
