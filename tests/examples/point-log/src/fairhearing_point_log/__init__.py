"""The importer of point logs: one JSON object with a list of points, each of hertz, decibel and perhaps turn."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np

from fairhearing.api import (
    Importer,
    ImportProblem,
    Reading,
    Recognition,
    ResponseCurve,
    Session,
    SourceFile,
    hookimpl,
)

BEGINS = re.compile(rb'(?:\xef\xbb\xbf)?\s*\{\s*"log"\s*:\s*"point-log 1"')
SAMPLES = Path(__file__).parent / "samples"


class PointLog:
    """Reads a response; the phase is the `turn` of the points, in degrees."""

    name = "point-log"
    version = "1"
    kinds = frozenset({"response"})
    samples = (SAMPLES / "high_pass.json", SAMPLES / "high_pass_turn.json")

    def recognise(self, file: SourceFile) -> Recognition:
        """Yes to what begins as a point log; whether it is whole is for `read` to say, with the line."""
        if BEGINS.match(file.data):
            return Recognition(claims=True, why='it begins with {"log": "point-log 1"')
        return Recognition(claims=False, why='it does not begin with {"log": "point-log 1"')

    def read(self, files: Sequence[SourceFile], session: Session) -> Iterable[Reading]:
        """A curve for each file, or the first problem in it."""
        for file in files:
            try:
                yield Reading(path=file.path, content=Log(file.data, file.path).curve())
            except ImportProblem as problem:
                yield Reading(path=file.path, problem=problem)


class Log:
    """One file while it is read; `problem` knows its path."""

    def __init__(self, data: bytes, path: str) -> None:
        self.path = path
        try:
            self.text = data.decode("utf-8-sig")
        except UnicodeDecodeError as error:
            line = data[: error.start].count(b"\n") + 1
            raise self.problem("the text is not UTF-8", line, "save the log as UTF-8") from None
        try:
            self.log: object = json.loads(self.text)
        except json.JSONDecodeError as error:
            raise self.problem(f"no JSON: {error.msg}", error.lineno, "copy or export the log again") from None
        except RecursionError:
            raise self.problem("no point log: brackets are nested too deep", 1, "export the log again") from None

    def curve(self) -> ResponseCurve:
        """The points as arrays."""
        points = self.log.get("points") if isinstance(self.log, dict) else None
        if not isinstance(points, list) or not points:
            raise self.problem("there is no list of points", 1, "export the log again")
        promised = self.log.get("n_points") if isinstance(self.log, dict) else None
        if promised != len(points):
            what = f"n_points is {promised!r}, and there are {len(points)} points"
            raise self.problem(what, self.line_of("n_points", 0), "copy the log again: it may be cut")
        frequency_hz = self.column(points, "hertz")
        for place in range(1, len(points)):
            if frequency_hz[place] <= frequency_hz[place - 1]:
                what = f"{frequency_hz[place]:g} Hz follows {frequency_hz[place - 1]:g} Hz"
                raise self.problem(what, self.line_of("hertz", place), "sort the points by rising frequency")
        if frequency_hz[0] <= 0:
            raise self.problem(f"{frequency_hz[0]:g} Hz is not above 0", self.line_of("hertz", 0), "leave it out")
        with_turn = any(isinstance(point, dict) and "turn" in point for point in points)
        phase_deg = self.column(points, "turn") if with_turn else None
        return ResponseCurve(frequency_hz=frequency_hz, level_db=self.column(points, "decibel"), phase_deg=phase_deg)

    def column(self, points: Sequence[object], key: str) -> np.ndarray:
        """One number of every point."""
        return np.array([self.number(point, key, place) for place, point in enumerate(points)], dtype=np.float64)

    def number(self, point: object, key: str, place: int) -> float:
        """A finite number of a point; the place of a point without it is that of the point before."""
        value = point.get(key) if isinstance(point, dict) else None
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
            what = f"{key} of point {place + 1} is {value!r}, not a number"
            raise self.problem(what, self.line_of(key, place), "leave out points that were not measured")
        return float(value)

    def line_of(self, key: str, place: int) -> int:
        """The line on which a key stands for the n-th time, or for the last time if it stands less often."""
        found = list(re.finditer(rf'"{key}"\s*:', self.text))[: place + 1]
        return self.text[: found[-1].start()].count("\n") + 1 if found else 1

    def problem(self, what: str, line: int, try_: str) -> ImportProblem:
        """What is wrong, where, and what to try."""
        return ImportProblem(what, where=f"{self.path}, line {line}", try_=try_)


@hookimpl
def fairhearing_importers() -> list[Importer]:
    """The importer of this module."""
    return [PointLog()]
