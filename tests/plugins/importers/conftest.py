"""A session of two conditions and three seats, and the importers called on bytes."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from fairhearing.api import (
    Condition,
    Criteria,
    MeasurementFile,
    Reading,
    ReadOptions,
    Room,
    ScoreFile,
    Seat,
    Session,
    SourceFile,
)
from fairhearing_builtins.importers.response_table import ResponseTable
from fairhearing_builtins.importers.score_sheet import ScoreSheet

SESSION = Session(
    id="made-up",
    date=None,
    question="",
    room=Room(id="made-up"),
    conditions=(Condition(id="out", label="Out", reference=True), Condition(id="in", label="In")),
    seats=(Seat(id="A"), Seat(id="B"), Seat(id="sofa")),
    measurements=(),
    scores=(),
    criteria=Criteria(),
    folder=Path("nowhere"),
)


def _bytes(content: str | bytes) -> bytes:
    return content if isinstance(content, bytes) else content.encode("utf-8")


@pytest.fixture(scope="session")
def session() -> Session:
    return SESSION


@pytest.fixture(scope="session")
def response_file() -> Callable[..., SourceFile]:
    def make(content: str | bytes, path: str = "a.csv", entry: int = 0, **options: object) -> SourceFile:
        item = MeasurementFile(path=path, line=1, entry=entry, options=ReadOptions(**options))
        return SourceFile(item=item, path=path, data=_bytes(content))

    return make


@pytest.fixture(scope="session")
def read_response(response_file: Callable[..., SourceFile]) -> Callable[..., Reading]:
    def read(content: str | bytes, **options: object) -> Reading:
        (reading,) = ResponseTable().read([response_file(content, **options)], SESSION)
        return reading

    return read


@pytest.fixture(scope="session")
def score_file() -> Callable[..., SourceFile]:
    def make(content: str | bytes, method: str = "abx", path: str = "s.csv", **more: object) -> SourceFile:
        options = ReadOptions(
            delimiter=more.pop("delimiter", None), decimal=more.pop("decimal", None), columns=more.pop("columns", ())
        )
        item = ScoreFile(path=path, line=9, entry=more.pop("entry", 0), method=method, options=options, **more)
        return SourceFile(item=item, path=path, data=_bytes(content))

    return make


@pytest.fixture(scope="session")
def read_scores(score_file: Callable[..., SourceFile]) -> Callable[..., Reading]:
    def read(content: str | bytes, method: str = "abx", **more: object) -> Reading:
        (reading,) = ScoreSheet().read([score_file(content, method, **more)], SESSION)
        return reading

    return read
