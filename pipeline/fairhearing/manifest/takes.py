"""Two files that are one take: the same place in the session twice, or the same bytes under two names."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path

from fairhearing.manifest.faults import FaultLog
from fairhearing.manifest.listing import sha256_of
from fairhearing.session import MeasurementFile

Cell = tuple[str | None, ...]


def check_takes(folder: Path, files: Sequence[MeasurementFile], log: FaultLog) -> dict[str, str]:
    """A fault for each file that is the same take as one before it, or a copy of another repeat.

    Returns the sha256 by path of the files that were read for it: those with a repeat of the same size.
    """
    hashes: dict[str, str] = {}
    cells: dict[Cell, list[MeasurementFile]] = {}
    for file in files:
        cells.setdefault(_cell(file), []).append(file)
    for members in cells.values():
        first: dict[tuple[str, bool], MeasurementFile] = {}
        for file in members:
            other = first.setdefault((file.repeat, file.closing), file)
            if other is not file:
                what = f"{other.path!r} (line {other.line}) and {file.path!r} are the same take: {_told(file)}"
                log.add(file.line, what, "give each its own repeat, such as {repeat} in files, or take one of them out")
        _check_copies(folder, list(first.values()), hashes, log)
    return hashes


def _check_copies(folder: Path, repeats: Iterable[MeasurementFile], hashes: dict[str, str], log: FaultLog) -> None:
    by_size: dict[int, list[MeasurementFile]] = {}
    for file in repeats:
        try:
            by_size.setdefault((folder / file.path).stat().st_size, []).append(file)
        except OSError as error:
            _unreadable(file, error, log)
    for members in by_size.values():
        if len(members) < 2:
            continue
        first: dict[str, MeasurementFile] = {}
        for file in members:
            try:
                hashes[file.path] = sha256_of(folder / file.path)
            except OSError as error:
                _unreadable(file, error, log)
                continue
            other = first.setdefault(hashes[file.path], file)
            if other is not file:
                what = f"{other.path!r} and {file.path!r} have the same bytes: one take copied, not two repeats"
                log.add(file.line, what, "take the copy out, or put the take that was meant in its place")


def _unreadable(file: MeasurementFile, error: OSError, log: FaultLog) -> None:
    log.add(file.line, f"{file.path!r} cannot be read: {error.strerror}", "check who may read the file")


def _cell(file: MeasurementFile) -> Cell:
    return (file.kind, file.point, file.playing, file.seat, file.condition, file.channel, file.programme)


def _told(file: MeasurementFile) -> str:
    said = (
        ("seat", file.seat),
        ("condition", file.condition),
        ("repeat", file.repeat),
        ("channel", file.channel),
        ("programme", file.programme),
    )
    known = ", ".join(f"{name} {value!r}" for name, value in said if value is not None)
    closing = ", closing" if file.closing else ""
    return f"{file.kind} at {file.point}, playing {file.playing}, {known}{closing}"
