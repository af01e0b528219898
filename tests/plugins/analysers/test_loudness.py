"""Loudness, range, true peak and weighted levels of recordings: known tones, and what cannot be had."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest

from fairhearing.api import Analyser, Inputs
from fairhearing_builtins.analysers.loudness import Loudness, fairhearing_analysers

from .build_inputs import keys, session
from .build_music import music, recording

RATE_HZ = 48_000


def tone(level_dbfs, seconds=2.0, frequency_hz=997.0, rate_hz=RATE_HZ):
    time_s = np.arange(round(seconds * rate_hz)) / rate_hz
    return 10 ** (level_dbfs / 20) * np.sin(2 * np.pi * frequency_hz * time_s)


def analysed(*recordings):
    return Loudness().analyse(Inputs(session=session(), recordings=recordings))


def one(quantity, *recordings):
    (found,) = (finding for finding in analysed(*recordings).findings if finding.quantity == quantity)
    return found


def test_it_is_an_analyser_and_states_each_quantity_once_for_each_group():
    (made,) = fairhearing_analysers()
    assert isinstance(made, Analyser)
    result = analysed(recording(music(4)), recording(music(4), "out"), recording(music(4), programme="organ"))
    assert len(set(keys(result.findings))) == len(result.findings) == 3 * len(Loudness.quantities)
    assert {finding.quantity for finding in result.findings} == Loudness.quantities


def test_a_tone_has_its_loudness_in_every_window():
    """BS.1770-5, Annex 1: 997 Hz at full scale in one front channel is -3.01 LKFS."""
    take = recording(tone(-20.0, 5.0), rate_hz=RATE_HZ)
    for quantity in ("integrated_loudness", "momentary_loudness_maximum", "short_term_loudness_maximum"):
        found = one(quantity, take)
        assert (found.value, found.unit) == (pytest.approx(-23.01, abs=0.02), "LKFS"), quantity
    assert one("true_peak_level", take).value == pytest.approx(-20.0, abs=0.01)
    assert one("true_peak_level", take).unit == "dBTP"


def test_weighted_levels_are_those_of_a_tone_with_its_weighting():
    """IEC 61672-1:2013, Table 3: at 100 Hz A is -19.1 dB, C -0.3 dB. One pascal is 93.98 dB (ISO 1683)."""
    samples = math.sqrt(2) / 10 * tone(0.0, 5.0, 100.0)
    pascal = recording(samples, rate_hz=RATE_HZ, full_scale_pa=10.0)
    assert one("a_weighted_level", pascal).value == pytest.approx(93.98 - 19.1, abs=0.06)
    assert one("c_weighted_level", pascal).value == pytest.approx(93.98 - 0.3, abs=0.06)
    assert one("c_weighted_level", pascal).unit == "dB"
    volt = recording(tone(0.0, 5.0, 1000.0), rate_hz=RATE_HZ, full_scale_v=math.sqrt(2))
    assert (one("a_weighted_level", volt).value, one("a_weighted_level", volt).unit) == (
        pytest.approx(0.0, abs=0.001),
        "dBV",
    )
    bare = one("a_weighted_level", recording(tone(-6.0, 5.0, 1000.0), rate_hz=RATE_HZ))
    assert (bare.value, bare.unit) == (pytest.approx(-6.0, abs=0.001), "dBFS")
    assert any("no calibration" in caveat for caveat in bare.caveats)


def test_the_range_is_that_of_two_levels_and_says_when_it_is_short():
    """EBU Tech 3342, case 1: 20 s at -20 and 20 s at -30 dBFS are 10 LU."""
    found = one("loudness_range", recording(np.concatenate([tone(-20, 20.0), tone(-30, 20.0)]), rate_hz=RATE_HZ))
    assert (found.value, found.unit) == (pytest.approx(10.0, abs=0.02), "LU")
    assert any("minute" in caveat for caveat in found.caveats)
    assert not any("minute" in caveat for caveat in one("loudness_range", recording(music(61))).caveats)


def test_repeats_are_averaged_in_energy_and_the_loudest_of_them_is_the_maximum():
    takes = [recording(tone(level), rate_hz=RATE_HZ, repeat=str(k)) for k, level in enumerate((-20.0, -30.0))]
    assert one("integrated_loudness", *takes).value == pytest.approx(-23.01 + 10 * math.log10(0.55), abs=0.02)
    assert one("momentary_loudness_maximum", *takes).value == pytest.approx(-23.01, abs=0.02)
    assert one("integrated_loudness", *takes).n == 2


@pytest.mark.parametrize(
    ("samples", "said", "lacking", "why"),
    [
        (np.zeros(96_000), {}, {"integrated_loudness", "true_peak_level", "a_weighted_level"}, "silen"),
        (tone(-20.0, 0.3), {}, {"integrated_loudness", "momentary_loudness_maximum"}, "shorter|short"),
        (tone(-20.0, 2.0), {}, {"loudness_range", "short_term_loudness_maximum"}, "shorter than 3 s"),
        (tone(-20.0, 0.5), {}, {"a_weighted_level", "c_weighted_level"}, "window of the spectrum"),
        (tone(-20.0, 5.0, rate_hz=3000), {"rate_hz": 3000}, {"integrated_loudness", "loudness_range"}, "4 kHz"),
    ],
)
def test_what_cannot_be_had_is_null_and_says_why(samples, said, lacking, why):
    for quantity in lacking:
        found = one(quantity, recording(samples, **{"rate_hz": RATE_HZ, **said}))
        assert found.value is None
        assert re.search(why, found.caveats[0]), (quantity, found.caveats)


def test_a_sample_at_full_scale_is_told():
    assert any("clipped" in c for c in one("true_peak_level", recording(tone(0.0), rate_hz=RATE_HZ)).caveats)
    assert not any("clipped" in c for c in one("true_peak_level", recording(tone(-1.0), rate_hz=RATE_HZ)).caveats)


def test_channels_of_an_unknown_layout_count_alike_and_are_told():
    three = recording(np.column_stack([tone(-20.0)] * 3), rate_hz=RATE_HZ)
    found = one("integrated_loudness", three)
    assert found.value == pytest.approx(-23.01 + 10 * math.log10(3), abs=0.02)
    assert any("3 channels" in caveat for caveat in found.caveats)


def test_the_chart_shows_every_group_with_a_value():
    result = analysed(recording(music(4)), recording(music(4), "out"), recording(np.zeros(9000), programme="none"))
    (chart,) = result.charts
    assert chart.data["place"] == ["amplifier output"] * 2
    assert chart.x.unit == "LKFS"
