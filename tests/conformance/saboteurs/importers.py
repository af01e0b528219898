"""An importer that keeps every rule, and for each rule those that break it and no other."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from fairhearing.api import ImportProblem, Reading, Recognition, ResponseCurve, Session, SourceFile
from fairhearing.conformance import ImporterSample, write_golden

BEGINS = b"made-up log\n"
MARK = b"\xef\xbb\xbf"
N_ROWS = 300  # so that a sample is longer than the head that an importer may be shown


def sample_text(slope_db: float) -> str:
    rows = (f"{20 * 1.02**place:.4f};{80 - slope_db * place:.3f}" for place in range(N_ROWS))
    return BEGINS.decode() + "\n".join(rows) + "\n"


def write_samples(folder: Path) -> list[ImporterSample]:
    """Two samples with golden files that the sound importer wrote."""
    samples = []
    for name, slope_db in (("steep.log", 0.07), ("flat.log", 0.01)):
        (folder / name).write_text(sample_text(slope_db), encoding="utf-8")
        samples.append(ImporterSample(folder / name))
        write_golden(SoundLog(), samples[-1])
    return samples


def problem(what: str, path: str, line: int) -> ImportProblem:
    return ImportProblem(what, where=f"{path}, line {line}", try_="export it anew")


class SoundLog:
    """Rows of frequency and level with a semicolon between, below a first line that says what the file is."""

    name = "made-up-log"
    version = "1"
    kinds = frozenset({"response"})

    def recognise(self, file: SourceFile) -> Recognition:
        begins = file.data.removeprefix(MARK).replace(b"\r\n", b"\n").startswith(BEGINS)
        return Recognition(claims=begins, why="its first line" if begins else "its first line is another")

    def read(self, files: Sequence[SourceFile], session: Session) -> Iterable[Reading]:
        for file in files:
            try:
                yield Reading(path=file.path, content=self.curve(file.data, file.path))
            except ImportProblem as found:
                yield Reading(path=file.path, problem=found)

    def curve(self, data: bytes, path: str) -> ResponseCurve:
        rows = self.rows(data, path)
        if not rows:
            raise problem("there is no row", path, 1)
        frequency_hz, level_db = np.array(rows, dtype=np.float64).T.copy()
        if frequency_hz[0] <= 0 or np.any(np.diff(frequency_hz) <= 0):
            raise problem("the frequencies do not rise", path, 2)
        return ResponseCurve(frequency_hz=frequency_hz, level_db=level_db)

    def rows(self, data: bytes, path: str) -> list[tuple[float, float]]:
        lines = self.text(data, path).replace("\r\n", "\n").split("\n")
        return [self.row(line, path, n) for n, line in enumerate(lines[1:], start=2) if line.strip()]

    def text(self, data: bytes, path: str) -> str:
        try:
            return data.decode("utf-8-sig")
        except UnicodeDecodeError:
            raise problem("no UTF-8", path, 1) from None

    def row(self, line: str, path: str, n: int) -> tuple[float, float]:
        try:
            frequency, level = (float(field) for field in line.split(";"))
        except ValueError:
            raise problem(f"{line[:40]!r} is no row", path, n) from None
        if not (math.isfinite(frequency) and math.isfinite(level)):
            raise problem(f"{line[:40]!r} is not finite", path, n)
        return frequency, level


class OtherLog(SoundLog):
    """What else is installed: a format of its own, with a sample."""

    name = "other-log"

    def __init__(self, folder: Path) -> None:
        path = folder / "other.log"
        path.write_text(sample_text(0.03).replace("made-up", "another"), encoding="utf-8")
        self.samples = (path,)

    def recognise(self, file: SourceFile) -> Recognition:
        begins = file.data.startswith(b"another log")
        return Recognition(claims=begins, why="its first line")


class LooksAtTheFirstByte(SoundLog):
    def recognise(self, file: SourceFile) -> Recognition:
        return super().recognise(file) if file.data[0] else Recognition(claims=False, why="it begins with zero")


class SaysYesInAWord(SoundLog):
    def recognise(self, file: SourceFile) -> Recognition:
        return super().recognise(file) if file.data else "no"  # type: ignore[return-value]


class SilentNo(SoundLog):
    def recognise(self, file: SourceFile) -> Recognition:
        answer = super().recognise(file)
        return answer if answer.claims else replace(answer, why=" ")


class SilentYes(SoundLog):
    def recognise(self, file: SourceFile) -> Recognition:
        answer = super().recognise(file)
        return replace(answer, why="") if answer.claims and len(file.data) < 1000 else answer


class ClaimsNothing(SoundLog):
    def recognise(self, file: SourceFile) -> Recognition:
        return Recognition(claims=False, why="never does")


class LooksAtTheEnd(SoundLog):
    def recognise(self, file: SourceFile) -> Recognition:
        whole = file.data.endswith(b"\n")
        return super().recognise(file) if whole else Recognition(claims=False, why="it has no end")


class ReadsNothing(SoundLog):
    def curve(self, data: bytes, path: str) -> ResponseCurve:
        raise problem("not read today", path, 1)


class GivesLists(SoundLog):
    def curve(self, data: bytes, path: str) -> ResponseCurve:
        curve = super().curve(data, path)
        return replace(curve, level_db=curve.level_db.tolist())  # type: ignore[arg-type]


class GivesFallingFrequencies(SoundLog):
    def curve(self, data: bytes, path: str) -> ResponseCurve:
        curve = super().curve(data, path)
        return replace(curve, frequency_hz=curve.frequency_hz[::-1].copy())


class ClaimsAnyLog(SoundLog):
    def recognise(self, file: SourceFile) -> Recognition:
        claims = b" log" in file.data[:20]
        return Recognition(claims=claims, why="the word log" if claims else "not the word log")


class RemembersTheLast(SoundLog):
    """A second reading of the same file in a row has a caveat that the first had not."""

    last = b""

    def read(self, files: Sequence[SourceFile], session: Session) -> Iterable[Reading]:
        again = len(files) == 1 and files[0].data == self.last
        self.last = files[0].data
        for reading in super().read(files, session):
            yield replace(reading, caveats=("read before",)) if again else reading


class MarksTheFirst(SoundLog):
    def read(self, files: Sequence[SourceFile], session: Session) -> Iterable[Reading]:
        for place, reading in enumerate(super().read(files, session)):
            yield replace(reading, caveats=("the first",)) if place == 0 and len(files) > 1 else reading


class AllLikeTheFirst(SoundLog):
    """The level of the first file is taken out of all."""

    def read(self, files: Sequence[SourceFile], session: Session) -> Iterable[Reading]:
        readings = list(super().read(files, session))
        first = readings[0].content
        for reading in readings:
            if len(readings) > 1 and isinstance(first, ResponseCurve) and isinstance(reading.content, ResponseCurve):
                level_db = reading.content.level_db - first.level_db[-1]
                yield replace(reading, content=replace(reading.content, level_db=level_db))
            else:
                yield reading


class TidiesTheFile(SoundLog):
    """Writes into the session folder while it reads."""

    def read(self, files: Sequence[SourceFile], session: Session) -> Iterable[Reading]:
        if (session.folder / "session.toml").exists():
            for file in files:
                (session.folder / file.path).write_bytes(file.data + b"\n")
        return super().read(files, session)


class DropsARowWithCrlf(SoundLog):
    def rows(self, data: bytes, path: str) -> list[tuple[float, float]]:
        rows = super().rows(data, path)
        return rows[:-1] if b"\r\n" in data else rows


class DropsARowWithAMark(SoundLog):
    def rows(self, data: bytes, path: str) -> list[tuple[float, float]]:
        rows = super().rows(data, path)
        return rows[1:] if data.startswith(MARK) else rows


class TakesCommasOut(SoundLog):
    def row(self, line: str, path: str, n: int) -> tuple[float, float]:
        return super().row(line.replace(",", ""), path, n)


class RefusesCommasWithoutAdvice(SoundLog):
    def row(self, line: str, path: str, n: int) -> tuple[float, float]:
        if "," in line:
            raise ImportProblem("a comma", where=f"{path}, line {n}", try_="")
        return super().row(line, path, n)


class SkipsWhatItCannotRead(SoundLog):
    def rows(self, data: bytes, path: str) -> list[tuple[float, float]]:
        rows = []
        for line in self.text(data, path).replace("\r\n", "\n").split("\n")[1:]:
            try:
                rows.append(self.row(line, path, 0))
            except ImportProblem:
                continue
        return rows


class NamesTheLineBefore(SoundLog):
    def row(self, line: str, path: str, n: int) -> tuple[float, float]:
        return super().row(line, path, n - 1)


class ClaimsOnlyNumbers(SoundLog):
    """Whoever spoils a row is not told the line: no importer claims the file."""

    def recognise(self, file: SourceFile) -> Recognition:
        if b"spoiled" in file.data:
            return Recognition(claims=False, why="a word in it")
        return super().recognise(file)


class RaisesOnBadText(SoundLog):
    def text(self, data: bytes, path: str) -> str:
        return data.decode("utf-8-sig")


class ProblemWithoutAdvice(SoundLog):
    def text(self, data: bytes, path: str) -> str:
        try:
            return data.decode("utf-8-sig")
        except UnicodeDecodeError:
            raise ImportProblem("no UTF-8", where=path, try_="") from None


class ForgetsBadFiles(SoundLog):
    """No reading at all for a file that is no UTF-8."""

    def read(self, files: Sequence[SourceFile], session: Session) -> Iterable[Reading]:
        for reading in super().read(files, session):
            if reading.problem is None or reading.problem.what != "no UTF-8":
                yield reading


class ATouchTooLoud(SoundLog):
    def curve(self, data: bytes, path: str) -> ResponseCurve:
        curve = super().curve(data, path)
        return replace(curve, level_db=curve.level_db + 0.001)


SABOTEURS: tuple[tuple[type[SoundLog], str], ...] = (
    (LooksAtTheFirstByte, "recognise-never-raises"),
    (SaysYesInAWord, "recognise-never-raises"),
    (SilentNo, "says-why"),
    (SilentYes, "says-why"),
    (ClaimsNothing, "claims-samples"),
    (LooksAtTheEnd, "claims-samples"),
    (ReadsNothing, "reads-samples"),
    (GivesLists, "reads-samples"),
    (GivesFallingFrequencies, "reads-samples"),
    (ClaimsAnyLog, "claims-nobody-elses"),
    (RemembersTheLast, "repeatable"),
    (MarksTheFirst, "order-of-files"),
    (AllLikeTheFirst, "order-of-files"),
    (TidiesTheFile, "re-import-adds-nothing"),
    (DropsARowWithCrlf, "crlf"),
    (DropsARowWithAMark, "byte-order-mark"),
    (TakesCommasOut, "decimal-comma"),
    (RefusesCommasWithoutAdvice, "decimal-comma"),
    (SkipsWhatItCannotRead, "spoiled-row"),
    (NamesTheLineBefore, "spoiled-row"),
    (ClaimsOnlyNumbers, "spoiled-row"),
    (RaisesOnBadText, "problem-not-exception"),
    (ProblemWithoutAdvice, "problem-not-exception"),
    (ForgetsBadFiles, "problem-not-exception"),
    (ATouchTooLoud, "golden"),
)
