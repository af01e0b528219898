"""An importer that reads several takes from a file is held to the rules by each of them, not by the first alone."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path

import pytest
from conformance.saboteurs.importers import OtherLog, SoundLog, sample_text

from fairhearing.api import ImportProblem, Reading, ResponseCurve, Session, SourceFile
from fairhearing.conformance import ImporterSample, importer_cases, write_golden
from fairhearing.conformance.golden import golden_difference


class TwoChannels(SoundLog):
    """The level of the left channel stands in the file; the right one is 3 dB louder."""

    n_read = 0

    def read(self, files: Sequence[SourceFile], session: Session) -> Iterable[Reading]:
        for reading in super().read(files, session):
            if reading.content is None:
                yield reading
                continue
            yield replace(reading, channel="left")
            yield self.right(reading, reading.content)

    def right(self, reading: Reading, curve: ResponseCurve) -> Reading:
        return replace(reading, channel="right", content=replace(curve, level_db=curve.level_db + 3.0))


class RightFalls(TwoChannels):
    def right(self, reading: Reading, curve: ResponseCurve) -> Reading:
        return replace(super().right(reading, curve), content=replace(curve, frequency_hz=curve.frequency_hz[::-1]))


class RightIsAProblem(TwoChannels):
    def right(self, reading: Reading, curve: ResponseCurve) -> Reading:
        told = ImportProblem("the right channel is lost", where=reading.path, try_="export it anew")
        return replace(reading, channel="right", content=None, problem=told)


class RightDrifts(TwoChannels):
    def right(self, reading: Reading, curve: ResponseCurve) -> Reading:
        self.n_read += 1
        return replace(super().right(reading, curve), caveats=(f"number {self.n_read}",))


class RightIsLouderWithCrlf(TwoChannels):
    def rows(self, data: bytes, path: str) -> list[tuple[float, float]]:
        self.crlf = b"\r\n" in data
        return super().rows(data, path)

    def right(self, reading: Reading, curve: ResponseCurve) -> Reading:
        curve = replace(curve, level_db=curve.level_db + 1.0) if self.crlf else curve
        return super().right(reading, curve)


class RightHasNoGolden(TwoChannels):
    def right(self, reading: Reading, curve: ResponseCurve) -> Reading:
        return super().right(reading, replace(curve, level_db=curve.level_db + 0.001))


class RightIsCalledOtherwise(TwoChannels):
    def right(self, reading: Reading, curve: ResponseCurve) -> Reading:
        return replace(super().right(reading, curve), channel="centre")


class NothingTellsThemApart(TwoChannels):
    def right(self, reading: Reading, curve: ResponseCurve) -> Reading:
        return replace(super().right(reading, curve), channel="left")


@pytest.fixture
def samples(tmp_path: Path) -> list[ImporterSample]:
    (tmp_path / "steep.log").write_text(sample_text(0.07), encoding="utf-8")
    sample = ImporterSample(tmp_path / "steep.log")
    write_golden(TwoChannels(), sample)
    return [sample]


def broken(importer: SoundLog, samples: list[ImporterSample]) -> dict[str, str]:
    others = (OtherLog(samples[0].path.parent),)
    outcomes = [case.outcome() for case in importer_cases(importer, samples=samples, others=others)]
    return {outcome.rule: outcome.why for outcome in outcomes if outcome.state == "broken"}


def test_a_sound_importer_of_two_channels_keeps_every_rule(samples: list[ImporterSample]) -> None:
    others = (OtherLog(samples[0].path.parent),)
    states = {case.outcome().state for case in importer_cases(TwoChannels(), samples=samples, others=others)}
    # Its sample has no channel in session.toml, and is imported all the same.
    assert states == {"kept"}


@pytest.mark.parametrize(
    ("kind", "rule", "why"),
    [
        (RightFalls, "reads-samples", "channel right: the frequencies do not rise"),
        (RightIsAProblem, "reads-samples", "channel right: the right channel is lost"),
        (NothingTellsThemApart, "reads-samples", "nothing tells them apart"),
        (RightDrifts, "repeatable", "channel right: caveats ('number "),
        (RightIsLouderWithCrlf, "crlf", "channel right: level_db[0] is 83.0 against 84.0"),
        (RightHasNoGolden, "golden", "right: level_db of row 1 is 83.001, golden 83.000000"),
        (RightIsCalledOtherwise, "golden", "'channel': 'centre'"),
    ],
)
def test_what_is_wrong_with_the_second_take_only_is_found(
    kind: type[TwoChannels], rule: str, why: str, samples: list[ImporterSample]
) -> None:
    assert why in broken(kind(), samples)[rule]


def test_a_golden_file_of_several_takes_has_a_table_for_each(samples: list[ImporterSample]) -> None:
    golden = json.loads(samples[0].golden_path.read_text(encoding="utf-8"))
    assert [(one["seat"], one["channel"]) for one in golden["readings"]] == [(None, "left"), (None, "right")]
    left, right = (one["rows"] for one in golden["readings"])
    assert right[0] == [left[0][0], pytest.approx(left[0][1] + 3.0, abs=1e-9)]
    one = Reading(path="steep.log", content=SoundLog().curve(samples[0].path.read_bytes(), "steep.log"))
    assert "golden [{'seat': None, 'channel': 'left'}" in (golden_difference(samples[0].golden_path, [one]) or "")
    write_golden(SoundLog(), samples[0])
    assert golden_difference(samples[0].golden_path, [one]) is None
    assert golden_difference(samples[0].golden_path, [one, one]) == "2 readings, golden one"
