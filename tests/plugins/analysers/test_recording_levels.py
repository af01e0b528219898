"""Levels of recordings in their units against values worked by hand, and what is null and why."""

from __future__ import annotations

import math

import numpy as np
import pytest

from fairhearing.api import AudioFormat, Finding, Inputs, Recording
from fairhearing.audio import summary_key
from fairhearing_builtins.analysers.recording_levels import LEVELS, RecordingLevels

from .build_inputs import session

RATE_HZ = 8000


def recording(samples, *, condition="in", repeat="1", **said) -> Recording:
    """A recording of these samples (n_frames, n_channels) with its summaries."""
    samples = np.atleast_2d(np.asarray(samples, dtype=float).T).T
    format = AudioFormat(rate_hz=RATE_HZ, n_channels=samples.shape[1], n_frames=len(samples), subtype="DOUBLE")
    summaries = {}
    for summary in (LEVELS,):
        accumulator = summary.start(format)
        accumulator.update(samples)
        summaries[summary_key(summary)] = accumulator.result()
    return Recording(
        kind="recording",
        point="seat",
        playing="main",
        seat=said.pop("seat", "A"),
        condition=condition,
        repeat=repeat,
        channel=None,
        programme=said.pop("programme", "organ"),
        path=f"{condition}_{repeat}.wav",
        format=format,
        summaries=summaries,
        **said,
    )


def sine(amplitude=1.0, offset=0.0, seconds=2.0):
    """A sine of 100 Hz in whole periods."""
    return offset + amplitude * np.sin(2 * np.pi * 100 * np.arange(int(seconds * RATE_HZ)) / RATE_HZ)


def analysed(*recordings) -> tuple[Finding, ...]:
    return RecordingLevels().analyse(Inputs(session=session(), recordings=recordings)).findings


def one(quantity, *recordings) -> Finding:
    (found,) = (finding for finding in analysed(*recordings) if finding.quantity == quantity)
    return found


def test_a_full_scale_sine_is_at_0_dbfs_in_level_and_in_peak():
    """AES17: 0 dB full scale is the level of a full-scale sine (from memory)."""
    level, peak = one("recording_level", recording(sine())), one("recording_peak", recording(sine()))
    assert (level.unit, peak.unit) == ("dBFS", "dBFS")
    assert level.value == pytest.approx(0.0, abs=1e-9)
    assert peak.value == pytest.approx(0.0, abs=1e-9)
    assert one("recording_level", recording(sine(0.1))).value == pytest.approx(-20.0, abs=1e-9)


def test_one_pascal_is_at_94_db():
    """ISO 1683: re 20 µPa; 20 lg(1 / 20e-6) = 93.979 (worked by hand). Here full scale is a peak of 10 Pa."""
    found = one("recording_level", recording(sine(math.sqrt(2) / 10), full_scale_pa=10.0))
    assert (found.value, found.unit) == (pytest.approx(93.9794, abs=1e-4), "dB")
    assert one("recording_peak", recording(sine(0.1), full_scale_pa=10.0)).value == pytest.approx(93.9794, abs=1e-4)


def test_0_dbu_is_at_minus_2_2_dbv():
    """0.7746 V, the root of 0.6: 10 lg 0.6 = -2.2185 dB re 1 V (worked by hand)."""
    found = one("recording_level", recording(sine(math.sqrt(1.2) / 4), full_scale_v=4.0))
    assert (found.value, found.unit) == (pytest.approx(-2.2185, abs=1e-4), "dBV")


def test_the_share_of_an_offset_is_its_square_over_all():
    """0.1² / (0.1² + 0.2² / 2) = 1/3 (worked by hand)."""
    found = one("recording_dc_share", recording(sine(0.2, 0.1)))
    assert (found.value, found.unit) == (pytest.approx(1 / 3, abs=1e-9), "1")


def test_channels_are_averaged_in_energy_and_the_peak_is_the_largest():
    both = recording(np.column_stack([sine(0.8), sine(0.2)]))
    expected = 10 * math.log10((0.64 + 0.04) / 2)
    assert one("recording_level", both).value == pytest.approx(expected, abs=1e-9)
    assert one("recording_peak", both).value == pytest.approx(20 * math.log10(0.8), abs=1e-9)


def test_a_short_last_block_counts_by_its_length():
    samples = np.concatenate([np.full(RATE_HZ, 0.1), np.full(40, 1.0)])
    expected = 10 * math.log10(2 * np.mean(samples**2))
    assert one("recording_level", recording(samples)).value == pytest.approx(expected, abs=1e-9)


def test_repeats_are_averaged_in_energy_and_counted_in_any_order():
    takes = [recording(sine(0.2), repeat="1"), recording(sine(0.4), repeat="2"), recording(sine(0.8), repeat="3")]
    found = one("recording_level", *takes)
    assert found.n == 3
    assert found.value == pytest.approx(10 * math.log10((0.04 + 0.16 + 0.64) / 3), abs=1e-9)
    assert analysed(*takes[::-1]) == analysed(*takes)


def test_each_place_condition_and_programme_has_its_own_findings_and_none_an_interval():
    made = [
        recording(sine(0.5), condition=condition, seat=seat, programme=programme)
        for condition in ("in", "out")
        for seat in ("A", "B")
        for programme in ("organ", "choir")
    ]
    found = analysed(*made)
    assert len(found) == 3 * 8
    assert len({(f.quantity, f.condition, f.seat, f.programme) for f in found}) == 24
    assert all(f.low is None and f.high is None and f.verdict is None for f in found)
    assert all("one pass, no interval" in f.caveats for f in found)


def test_silence_has_no_level_and_says_why():
    for finding in analysed(recording(np.zeros(RATE_HZ))):
        assert finding.value is None
        assert "every sample is zero: silence has no level" in finding.caveats


def test_repeats_in_two_units_are_not_averaged():
    found = analysed(recording(sine(), full_scale_pa=2.0), recording(sine(), repeat="2"))
    assert [finding.value for finding in found] == [None, None, None]
    assert all("scaled in different units" in finding.caveats[0] for finding in found)


@pytest.mark.parametrize(("amplitude", "told"), [(1.0, True), (1 - 2**-15, True), (0.9999, False)])
def test_a_peak_at_full_scale_has_a_caveat(amplitude, told):
    caveats = one("recording_peak", recording(sine(amplitude))).caveats
    assert any("clipped" in caveat for caveat in caveats) == told


def test_there_is_a_chart_for_each_unit_with_a_level():
    result = RecordingLevels().analyse(
        Inputs(
            session=session(),
            recordings=(
                recording(sine(0.5)),
                recording(sine(0.5), condition="out"),
                recording(sine(0.1), seat="B", full_scale_pa=20.0),
                recording(np.zeros(RATE_HZ), seat="B", programme="choir", full_scale_v=2.0),
            ),
        )
    )
    charts = {chart.name: chart for chart in result.charts}
    assert list(charts) == ["recording-levels-db", "recording-levels-dbfs"]
    assert charts["recording-levels-dbfs"].data["condition"] == ["Filter out", "Filter in"]
    assert charts["recording-levels-db"].data["place"] == ["B, organ"]
    assert charts["recording-levels-db"].x.unit == "dB"


def test_without_recordings_it_finds_nothing():
    assert analysed() == ()
