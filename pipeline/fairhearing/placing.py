"""From readings to takes: what each is of, by session.toml and by its file, and every contradiction between them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from fairhearing.audio import Recording, RecordingFile, RecordingSource
from fairhearing.contracts import Reading, ResponseCurve, Take
from fairhearing.errors import FairHearingError, ImportProblem, nearest
from fairhearing.manifest import MANIFEST_NAME
from fairhearing.session import MeasurementFile, Session

Cell = tuple[str | bool | None, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """Everything measured, and what is wrong with how it is placed."""

    takes: tuple[Take, ...] = ()
    recordings: tuple[RecordingSource, ...] = ()
    problems: tuple[FairHearingError, ...] = ()


def place(session: Session, readings: Mapping[str, Sequence[Reading]]) -> Placed:
    """The takes and recordings of a session, in the order of its files. `readings`: by path; those at fault are passed.

    A seat or channel that a file gives fills in what session.toml leaves open. One that contradicts it, a seat that is
    not defined, no seat where one is needed, and the same take twice are problems.
    """
    takes: list[Take] = []
    recordings: list[RecordingSource] = []
    problems: list[FairHearingError] = []
    seen: dict[Cell, Reading] = {}
    seatless: set[int] = set()  # entries: told once each
    seats = {seat.id for seat in session.seats}
    for item in session.measurements:
        for reading in readings.get(item.path, ()):
            if reading.problem is not None:
                continue
            faults = list(_faults(item, reading, seats))
            seat, channel = _either(item.seat, reading.seat), _either(item.channel, reading.channel)
            if seat is None and item.point == "seat" and item.kind != "calibration" and item.entry not in seatless:
                seatless.add(item.entry)
                faults.append(_no_seat(item, seats))
            other = seen.setdefault(_cell(item, seat, channel), reading)
            if other is not reading and not faults:
                faults.append(_twice(item, seat, channel, other, reading))
            problems += faults
            if isinstance(reading.content, ResponseCurve):
                takes.append(_take(item, seat, channel, reading, reading.content))
            elif isinstance(reading.content, RecordingFile):
                recordings.append(_recording(item, seat, channel, reading, reading.content))
    return Placed(takes=tuple(takes), recordings=tuple(recordings), problems=tuple(problems))


def _either(said: str | None, found: str | None) -> str | None:
    return found if said is None else said


def _faults(item: MeasurementFile, reading: Reading, seats: set[str]) -> Iterator[FairHearingError]:
    where = f"{item.path} ({MANIFEST_NAME}, line {item.line})"
    for name, said, found in (("seat", item.seat, reading.seat), ("channel", item.channel, reading.channel)):
        if None not in (said, found) and said != found:
            yield ImportProblem(
                f"the file says {name} {found!r}, and {MANIFEST_NAME} says {name} {said!r}",
                where=where,
                try_=f"correct one of them, or leave the {name} out in {MANIFEST_NAME}",
            )
    if reading.seat is not None and reading.seat not in seats:
        yield ImportProblem(
            f"the file says seat {reading.seat!r}, which {MANIFEST_NAME} does not define",
            where=where,
            try_=nearest(reading.seat, seats) if seats else f"write [seats.{reading.seat}] into {MANIFEST_NAME}",
        )


def _no_seat(item: MeasurementFile, seats: set[str]) -> FairHearingError:
    return ImportProblem(
        f"neither the name of the file, nor {MANIFEST_NAME}, nor the file itself says the seat, "
        f"and there are {', '.join(sorted(seats))}",
        where=f"{item.path} ({MANIFEST_NAME}, line {item.line})",
        try_='put {seat} into files, or write seat = "…" below it',
    )


def _twice(
    item: MeasurementFile, seat: str | None, channel: str | None, other: Reading, reading: Reading
) -> FairHearingError:
    told = (("seat", seat), ("condition", item.condition), ("repeat", item.repeat), ("channel", channel))
    known = ", ".join(f"{name} {value!r}" for name, value in told if value is not None)
    among = "it holds twice" if other.path == reading.path else f"{other.path!r} holds too"
    return ImportProblem(
        f"the file holds a take that {among}: {item.kind} at {item.point}, playing {item.playing}, {known}",
        where=f"{item.path} ({MANIFEST_NAME}, line {item.line})",
        try_="give each its own repeat, such as {repeat} in files, or take one of them out",
    )


def _cell(item: MeasurementFile, seat: str | None, channel: str | None) -> Cell:
    place = (item.kind, item.point, item.playing, seat, item.condition, channel, item.programme)
    return (*place, item.repeat, item.closing)


def _take(item: MeasurementFile, seat: str | None, channel: str | None, reading: Reading, curve: ResponseCurve) -> Take:
    return Take(
        kind=item.kind,
        point=item.point,
        playing=item.playing,
        in_place=item.repeats == "in-place",
        seat=seat,
        condition=item.condition,
        repeat=item.repeat,
        channel=channel,
        programme=item.programme,
        curve=curve,
        path=item.path,
        closing=item.closing,
        applied=reading.applied,
    )


def _recording(
    item: MeasurementFile, seat: str | None, channel: str | None, reading: Reading, file: RecordingFile
) -> RecordingSource:
    said = item.full_scale_pa is not None or item.full_scale_v is not None
    recording = Recording(
        kind=item.kind,
        point=item.point,
        playing=item.playing,
        in_place=item.repeats == "in-place",
        seat=seat,
        condition=item.condition,
        repeat=item.repeat,
        channel=channel,
        programme=item.programme,
        path=item.path,
        format=file.format,
        full_scale_pa=item.full_scale_pa if said else file.full_scale_pa,
        full_scale_v=item.full_scale_v,
        applied=reading.applied,
    )
    return RecordingSource(recording=recording, file=file)
