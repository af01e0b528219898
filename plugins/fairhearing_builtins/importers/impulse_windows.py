"""Impulse responses that importers find in containers, as readings: converted all at once, a fault costs its file."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from fairhearing.api import ImportProblem, MeasurementFile, Reading, Session
from fairhearing_builtins.importers.full_scale import Calibrators
from fairhearing_builtins.importers.impulse_curves import Converted, ImpulseResponse, convert, impulse_response

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Impulse:
    """One impulse response of a file. `reading`: what it will be, without content; `where`: its place in the file.

    `starts_s`: when its first sample is, after the time zero of the file.
    """

    reading: Reading
    item: MeasurementFile
    where: str
    samples: FloatArray
    rate_hz: float
    starts_s: float


def with_responses(found: Iterable[Reading | Impulse], session: Session) -> Iterator[Reading]:
    """Readings as they are, impulse responses as responses; a file with one at fault is that problem alone."""
    parts = list(found)
    calibrators = Calibrators(session)
    responses: dict[int, ImpulseResponse] = {}
    problems: dict[str, ImportProblem] = {}
    readings: dict[str, list[Reading]] = {}
    for number, part in enumerate(parts):
        if isinstance(part, Reading):
            readings.setdefault(part.path, []).append(part)
            continue
        try:
            responses[number] = _response(part, calibrators)
        except ImportProblem as problem:
            problems.setdefault(part.reading.path, problem)
    made = convert(list(responses.values()), session.criteria.bass_band_hz)
    for number, converted in zip(responses, made, strict=True):
        part = parts[number]
        assert isinstance(part, Impulse)
        try:
            readings.setdefault(part.reading.path, []).append(_reading(part, converted, calibrators))
        except ImportProblem as problem:
            problems.setdefault(part.reading.path, problem)
    for path in dict.fromkeys(part.path if isinstance(part, Reading) else part.reading.path for part in parts):
        yield from [Reading(path=path, problem=problems[path])] if path in problems else readings[path]


def _response(part: Impulse, calibrators: Calibrators) -> ImpulseResponse:
    gain_db = calibrators.full_scale(part.item).level_db
    seat, channel = part.reading.seat or part.item.seat, part.reading.channel
    try:
        return impulse_response(part.item, seat, channel, part.samples, part.rate_hz, gain_db, part.starts_s)
    except ValueError as error:
        raise ImportProblem(
            f"the impulse response has no direct sound: {error}",
            where=part.where,
            try_="leave out what was not measured, or write the file again from the measurement",
        ) from error


def _reading(part: Impulse, made: Converted, calibrators: Calibrators) -> Reading:
    if made.curve is None:
        raise ImportProblem(
            f"the impulse response is too short: {made.why_not}",
            where=part.where,
            try_="write it with more of its decay, or measure again with less noise",
        )
    scale = calibrators.full_scale(part.item)
    return replace(
        part.reading,
        content=made.curve,
        caveats=(*part.reading.caveats, *scale.caveats, *made.caveats),
        applied=(*part.reading.applied, *scale.applied, *made.applied),
    )
