"""The analyser and its summary keep the rules of the kit, and silences that are known are found."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest
from fairhearing_longest_silence import SILENCE, LongestSilenceAnalyser
from fairhearing_longest_silence.silence import LongestSilence

from fairhearing.api import AudioFormat, Condition, Criteria, Inputs, Recording, Room, Session
from fairhearing.audio import summary_key
from fairhearing.conformance import Case, check_analyser, check_summary

RATE_HZ = 1000


@check_analyser(LongestSilenceAnalyser())
def test_it_keeps(rule: Case) -> None:
    rule()


@check_summary(LongestSilence(below=0.05))
def test_its_summary_keeps(rule: Case) -> None:
    """The kit's signal is noise of 0.1 of full scale: below 0.05 it is silent now and then."""
    rule()


def signal(*stretches: tuple[float, int], n_channels: int = 2) -> np.ndarray:
    """Frames of a level each, alternating in sign."""
    values = np.concatenate([np.full(n_frames, level) for level, n_frames in stretches])
    values[::2] *= -1
    return np.column_stack([values] * n_channels)


def longest_s(samples: np.ndarray, sizes: Sequence[int]) -> float:
    form = AudioFormat(rate_hz=RATE_HZ, n_channels=samples.shape[1], n_frames=len(samples), subtype="PCM_24")
    listening = LongestSilence().start(form)
    for block in np.split(samples, np.cumsum(sizes)):
        listening.update(block)
    (found,) = listening.result()["longest_s"]
    return float(found)


@pytest.mark.parametrize("sizes", [(), (90,), (90, 30, 200), (100, 270), (1,) * 400])
@pytest.mark.parametrize(
    ("stretches", "expected_s"),
    [
        ([(0.5, 100), (0.0, 270), (0.5, 200)], 0.270),
        ([(0.0, 130), (0.5, 1), (0.0, 120)], 0.130),
        ([(0.5, 300), (0.0009, 111)], 0.111),
        ([(0.001, 400)], 0.0),
        ([(0.0, 400)], 0.400),
    ],
)
def test_a_silence_is_as_long_as_it_was_made(
    stretches: list[tuple[float, int]], expected_s: float, sizes: tuple[int, ...]
) -> None:
    assert longest_s(signal(*stretches), sizes) == pytest.approx(expected_s, abs=1e-12)


def test_a_channel_that_plays_ends_the_silence() -> None:
    samples = signal((0.0, 400))
    samples[150, 1] = 0.3
    assert longest_s(samples, (100,)) == pytest.approx(0.249, abs=1e-12)


def recording(condition: str, repeat: str, silence_s: float) -> Recording:
    return Recording(
        kind="recording", point="seat", playing="main", seat="A", condition=condition, repeat=repeat, channel=None,
        programme="organ", path=f"{condition}{repeat}.wav",
        format=AudioFormat(rate_hz=RATE_HZ, n_channels=2, n_frames=400, subtype="PCM_24"),
        summaries={summary_key(SILENCE): {"longest_s": np.array([silence_s])}},
    )  # fmt: skip


def test_of_the_repeats_the_longest_counts() -> None:
    session = Session(
        id="made-up", date=None, question="", room=Room(id="made-up"),
        conditions=(Condition(id="out", label="Out", reference=True), Condition(id="in", label="In")),
        seats=(), measurements=(), scores=(), criteria=Criteria(), folder=None,
    )  # fmt: skip
    recordings = (recording("in", "1", 0.3), recording("in", "2", 1.7), recording("out", "1", 0.2))
    found = LongestSilenceAnalyser().analyse(Inputs(session=session, recordings=recordings)).findings
    assert {(one.condition, one.value, one.n, one.unit) for one in found} == {
        ("in", 1.7, 2, "s"),
        ("out", 0.2, 1, "s"),
    }
