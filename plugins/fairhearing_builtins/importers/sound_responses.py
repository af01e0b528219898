"""What importers of responses as sound share: files heard one by one, their responses converted all at once."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

from fairhearing.api import Harmonic, ImportProblem, Reading, Session, SourceFile
from fairhearing_builtins.importers.impulse_curves import ImpulseResponse, convert

Found = TypeVar("Found")


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """The impulse response of one channel of a file, with what is known of it before it is converted."""

    path: str
    channel: str | None
    response: ImpulseResponse
    caveats: tuple[str, ...]
    applied: tuple[str, ...]
    harmonics: tuple[Harmonic, ...] = ()


def hear(
    files: Iterable[SourceFile], listen: Callable[[SourceFile], Sequence[Found]], heard: list[Found]
) -> Iterator[Reading]:
    """Adds what is in each file to `heard`; gives the problems of those that cannot be read."""
    for file in files:
        try:
            heard += listen(file)
        except ImportProblem as problem:
            yield Reading(path=file.path, problem=problem)


def readings_of(heard: Sequence[Heard], session: Session) -> Iterator[Reading]:
    """The reading of each, or the problem that nothing can be told of it."""
    converted = convert([one.response for one in heard], session.criteria.bass_band_hz)
    for one, made in zip(heard, converted, strict=True):
        if made.curve is None:
            problem = ImportProblem(
                f"the response is too short: {made.why_not}",
                where=one.path,
                try_="export it with more of its decay, or measure again with less noise",
            )
            yield Reading(path=one.path, problem=problem)
            continue
        yield Reading(
            path=one.path,
            content=replace(made.curve, harmonics=one.harmonics) if one.harmonics else made.curve,
            channel=one.channel,
            caveats=(*one.caveats, *made.caveats),
            applied=(*one.applied, *made.applied),
        )
