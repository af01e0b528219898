"""Checks of the delay's findings: what is said where phase is missing, and where it is measured at the amplifier."""

from __future__ import annotations

import numpy as np
import pytest
from end_to_end.session_writer import Folder, grid
from hypothesis import given, settings

from fairhearing.api import Analyser
from fairhearing_builtins.analysers.delay import DelayDifference, fairhearing_analysers

from .build_inputs import keys, only
from .build_measured import assert_symmetry, inputs_of, known_symmetries, worlds

FREQUENCY = grid(per_octave=24)


def late(folder: Folder, condition: str, seat: str | None, delay_ms: float, *, repeats: int = 3, **said) -> None:
    for repeat in range(repeats):
        folder.add(condition, seat, repeat + 1, FREQUENCY, 70.0, -360e-3 * FREQUENCY * delay_ms, **said)


@pytest.mark.parametrize("symmetry", known_symmetries(DelayDifference), ids=lambda s: s.kind)
@settings(max_examples=6, deadline=None, derandomize=True)
@given(inputs=worlds())
def test_the_declared_symmetries_hold(symmetry, inputs):
    assert_symmetry(DelayDifference(), symmetry, inputs)


def test_it_is_an_analyser_with_a_chart_and_unique_findings():
    (analyser,) = fairhearing_analysers()
    assert isinstance(analyser, Analyser)
    folder = Folder(id="made-up", conditions={"out": {}, "in": {}, "more": {}})
    for name, delay_ms in (("out", 1.0), ("in", 2.5), ("more", 0.3)):
        late(folder, name, "A", delay_ms)
    result = analyser.analyse(inputs_of(folder))
    assert len(set(keys(result.findings))) == len(result.findings) == 4
    assert only(result.findings, "delay_difference", condition="in", seat="A").value == pytest.approx(1.5, abs=1e-4)
    assert only(result.findings, "delay_difference", condition="more", seat="A").value == pytest.approx(-0.7, abs=1e-4)
    assert [chart.name for chart in result.charts] == ["delay-in", "delay-more"]
    assert "+1.500 ms" in result.charts[0].alternative


def test_a_seat_without_phase_is_null_and_the_others_stand():
    folder = Folder(id="made-up", seats={"A": 1.0, "B": 1.0})
    for name, delay_ms in (("out", 0.0), ("in", 0.8)):
        late(folder, name, "A", delay_ms)
        folder.add(name, "B", 1, FREQUENCY, 70.0)
    findings = DelayDifference().analyse(inputs_of(folder)).findings
    assert only(findings, "delay_difference", seat=None).value == pytest.approx(0.8, abs=1e-4)
    without = only(findings, "delay_difference", seat="B")
    assert without.value is None
    assert "with phase from 500 to 10000 Hz" in without.caveats[0]


def test_phase_below_the_guard_band_alone_is_none():
    folder = Folder(id="made-up")
    for name in ("out", "in"):
        folder.add(name, "A", 1, grid(20, 400), 70.0, 0.0 * grid(20, 400))
    assert DelayDifference().analyse(inputs_of(folder)).findings == ()


def test_the_amplifiers_output_is_taken_where_no_seat_has_phase():
    folder = Folder(id="made-up")
    for name, delay_ms in (("out", 0.0), ("in", 0.02)):
        folder.add(name, "A", 1, FREQUENCY, 70.0)
        late(folder, name, None, delay_ms, point="amplifier-output")
    (stated,) = DelayDifference().analyse(inputs_of(folder)).findings
    assert (stated.point, stated.seat) == ("amplifier-output", None)
    assert stated.value == pytest.approx(0.02, abs=1e-4)


def test_what_is_heard_with_everything_playing_comes_first():
    folder = Folder(id="made-up")
    for name, main_ms, both_ms in (("out", 0.0, 0.0), ("in", 0.5, 0.9)):
        late(folder, name, "A", main_ms)
        late(folder, name, "A", both_ms, playing="both")
    stated = only(DelayDifference().analyse(inputs_of(folder)).findings, "delay_difference", seat="A")
    assert (stated.playing, stated.value) == ("both", pytest.approx(0.9, abs=1e-4))


def test_a_guard_band_that_starts_lower_is_still_read_from_500_hz():
    """A delay that is another below 500 Hz, as a filter's phase would make it, does no harm."""
    folder = Folder(id="made-up", criteria={"guard_band_hz": [200.0, 8000.0]})
    for name, delay_ms in (("out", 0.0), ("in", 1.0)):
        phase = -360e-3 * FREQUENCY * np.where(FREQUENCY < 495, 5 * delay_ms, delay_ms)
        for repeat in range(2):
            folder.add(name, "A", repeat + 1, FREQUENCY, 70.0, phase)
    stated = only(DelayDifference().analyse(inputs_of(folder)).findings, "delay_difference", seat="A")
    assert stated.value == pytest.approx(1.0, abs=1e-4)
    assert "500-8000 Hz" in stated.method
