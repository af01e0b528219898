"""Subsonic energy from made-up recordings: what a known filter takes, what is null and why, what is noticed."""

from __future__ import annotations

import math

import numpy as np
import pytest

from fairhearing.api import Chain, Finding, Inputs, Recording, Result
from fairhearing_builtins.analysers.subsonic import Subsonic, relief

from .build_inputs import keys, only, session
from .build_recordings import RATE_HZ, change_by_hand_db, high_passed, music, recording

CORNER_HZ = 90.0
SUMMARIES = Subsonic.needs.summaries
ORGAN = music(1)


def take(samples, **said) -> Recording:
    return recording(samples, SUMMARIES, **said)


def result(*recordings, **said) -> Result:
    return Subsonic().analyse(Inputs(session=session(**said), recordings=tuple(recordings)))


def change(*recordings, quantity="subsonic_level_change", programme="organ", **said) -> Finding:
    where = {name: said.pop(name) for name in ("seat", "channel", "band_hz", "variant") if name in said}
    found = result(*recordings, **said).findings
    return only(found, quantity, **{"programme": programme, "seat": None, "channel": None, **where})


def pair(**said) -> list[Recording]:
    return [take(high_passed(ORGAN, CORNER_HZ), **said), take(ORGAN, condition="out", **said)]


def told(finding: Finding, *words: str) -> bool:
    return any(all(word in caveat for word in words) for caveat in finding.caveats)


def test_a_known_filter_changes_the_energy_by_what_its_closed_form_says():
    found = change(*pair())
    expected = change_by_hand_db(ORGAN, CORNER_HZ, 0.5, 20.0)
    assert found.value == pytest.approx(expected, abs=0.05)
    assert found.low < expected < found.high
    assert (found.verdict, found.unit, found.n, found.confidence) == ("relief", "dB", 1, 0.95)
    assert (found.condition, found.reference, found.point) == ("in", "out", "amplifier-output")
    assert "paired 8 s blocks" in found.method


@pytest.mark.parametrize(
    ("variant", "band"), [("to-10-hz", (0.5, 10)), ("from-10-hz", (10, 20)), ("to-40-hz", (0.5, 40))]
)
def test_other_edges_are_variants(variant, band):
    found = change(*pair(), variant=variant)
    assert found.value == pytest.approx(change_by_hand_db(ORGAN, CORNER_HZ, *band), abs=0.05)
    assert found.verdict is None


def test_each_third_octave_falls_by_six_decibels_an_octave():
    bands = [
        f for f in result(*pair()).findings if f.quantity == "subsonic_band_level_change" and f.programme == "organ"
    ]
    assert [f.nominal_hz for f in bands] == [1, 1.25, 1.6, 2, 2.5, 3.15, 4, 5, 6.3, 8, 10, 12.5, 16, 20]
    for found in bands:
        assert found.value == pytest.approx(change_by_hand_db(ORGAN, CORNER_HZ, *found.band_hz), abs=0.05)
        # And near what the middle of the band loses: noise is not spread evenly in so narrow a band.
        middle = math.sqrt(found.band_hz[0] * found.band_hz[1])
        assert found.value == pytest.approx(-10 * math.log10(1 + (CORNER_HZ / middle) ** 2), abs=0.4)


def test_levels_of_a_tone_are_those_worked_by_hand():
    """A tone of 1 V peak at 10 Hz: 10 lg 0.5 = -3.01 dBV, peak 0 dBV; G is 0 dB at 10 Hz (ISO 7196)."""
    x = np.sin(2 * np.pi * 10 * np.arange(40 * RATE_HZ) / RATE_HZ) / 4
    found = result(take(x, full_scale_v=4.0), take(x, condition="out", full_scale_v=4.0)).findings
    for quantity, expected in (
        ("subsonic_level", -3.0103), ("g_weighted_level", -3.0103), ("subsonic_peak_level", 0.0)
    ):  # fmt: skip
        level = only(found, quantity, condition="in", programme="organ")
        assert (level.value, level.unit) == (pytest.approx(expected, abs=0.03), "dBV")
    band = next(f for f in found if f.quantity == "subsonic_band_level" and f.nominal_hz == 10)
    assert band.value == pytest.approx(-3.0103, abs=0.03)
    # Nothing else was played.
    assert only(found, "subsonic_share", condition="in", programme="organ").value == pytest.approx(1.0, abs=0.005)


def test_the_share_is_over_all_sound_and_direct_voltage_is_none():
    """1/100 of the power at 5 Hz, the rest at 500 Hz, on as much direct voltage: 0.01 (worked by hand)."""
    t = np.arange(40 * RATE_HZ) / RATE_HZ
    x = 0.1 * np.sqrt(0.99) * np.sin(2 * np.pi * 500 * t) + 0.01 * np.sin(2 * np.pi * 5 * t) + 0.1
    found = only(
        result(take(x), take(x, condition="out")).findings, "subsonic_share", condition="in", programme="organ"
    )
    assert found.value == pytest.approx(0.01, rel=0.005)
    assert told(found, "steady offset of 67 %")


def test_repeats_are_averaged_in_energy_and_counted():
    takes = [*pair(), take(2 * high_passed(ORGAN, CORNER_HZ), repeat="2"), take(ORGAN, condition="out", repeat="2")]
    found = change(*takes)
    expected = change(*pair()).value + 10 * math.log10((1 + 4) / 2)
    assert (found.value, found.n) == (pytest.approx(expected, abs=1e-6), 2)


def test_over_three_programmes_the_interval_is_student_s_over_them():
    names = {"organ": 1, "choir": 2, "drums": 3}
    takes = [one for name, seed in names.items() for one in _programme(name, seed)]
    each = [change(*takes, programme=name).value for name in names]
    found = change(*takes, programme=None)
    assert found.value == pytest.approx(np.mean(each), abs=1e-9)
    # t for two degrees of freedom at 95 %: 4.303 (Student's table).
    assert found.high - found.value == pytest.approx(4.3027 * np.std(each, ddof=1) / math.sqrt(3), rel=1e-4)
    assert "over programmes" in found.method


def _programme(name: str, seed: int) -> list[Recording]:
    samples = music(seed, red=0.6 + 0.4 * seed)
    return [
        take(high_passed(samples, CORNER_HZ), programme=name), take(samples, condition="out", programme=name)
    ]  # fmt: skip


def test_over_two_programmes_the_blocks_speak_and_a_caveat_says_for_what():
    takes = [*_programme("organ", 1), *_programme("choir", 2)]
    found = change(*takes, programme=None)
    assert found.value == pytest.approx(np.mean([change(*takes, programme=n).value for n in ("organ", "choir")]))
    assert found.low is not None
    assert told(found, "these programmes only")


def test_over_seats_the_weights_count_and_weight_0_does_not():
    quieter = {"A": 1.0, "B": 3.0, "C": 0.0}
    takes = []
    for index, seat in enumerate(quieter):
        place = {"point": "seat", "seat": seat}
        takes += [
            take(10 ** (-index / 20) * high_passed(ORGAN, CORNER_HZ), **place),
            take(ORGAN, condition="out", **place),
        ]
    base = change(*pair()).value
    assert change(*takes, seats=quieter).value == pytest.approx(base - 0.75, abs=1e-9)
    assert change(*takes, seats=quieter, seat="C").value == pytest.approx(base - 2.0, abs=1e-9)


def test_channels_are_averaged_in_decibels_and_told_by_themselves():
    takes = []
    for channel, gain_db in (("left", 0.0), ("right", -4.0)):
        gain = 10 ** (gain_db / 20)
        takes += [
            take(gain * high_passed(ORGAN, CORNER_HZ), channel=channel),
            take(ORGAN, condition="out", channel=channel),
        ]
    base = change(*pair()).value
    assert change(*takes).value == pytest.approx(base - 2.0, abs=1e-9)
    assert change(*takes, channel="right").value == pytest.approx(base - 4.0, abs=1e-9)


def test_findings_are_unique_and_there_are_charts_for_each_point():
    takes = [*_programme("organ", 1), *_programme("choir", 2)]
    takes += [
        take(s, condition=c, point="seat", seat="A") for c, s in (("in", high_passed(ORGAN, 90.0)), ("out", ORGAN))
    ]
    found = result(*takes)
    assert len(set(keys(found.findings))) == len(found.findings)
    assert {f.point for f in found.findings} == {"seat", "amplifier-output"}
    assert [chart.name for chart in found.charts] == [
        "subsonic-spectrum-amplifier-output", "subsonic-band-change-amplifier-output",
        "subsonic-spectrum-seat", "subsonic-band-change-seat",
    ]  # fmt: skip


def test_a_mere_gain_has_no_error_and_noise_in_the_room_gives_it_one():
    drawn = np.random.default_rng(9)
    plain = change(take(ORGAN / 2), take(ORGAN, condition="out"))
    assert plain.value == pytest.approx(-6.0206, abs=1e-3)
    assert plain.high - plain.low == pytest.approx(0.0, abs=1e-9)
    noisy = [
        take(samples + 0.01 * drawn.normal(size=len(samples)), condition=condition)
        for condition, samples in (("in", ORGAN / 2), ("out", ORGAN))
    ]
    found = change(*noisy)
    assert found.high - found.low > 0.01


@pytest.mark.parametrize(
    ("low", "high", "verdict"),
    [(-3.0, -1.01, "relief"), (-3.0, -0.99, "undecided"), (-0.99, 0.5, "no-relief"), (-1.01, 0.5, "undecided")],
)
def test_verdicts_follow_the_interval(low, high, verdict):
    assert relief((low, high), 1.0) == verdict


# --- what is odd ------------------------------------------------------------------------------------------------------


def test_another_gain_is_said_and_not_corrected():
    louder = [take(1.1 * high_passed(ORGAN, CORNER_HZ)), take(ORGAN, condition="out")]
    found = change(*louder)
    assert found.value == pytest.approx(change(*pair()).value + 20 * math.log10(1.1), abs=1e-9)
    assert told(found, "1000-4000 Hz differ by +0.8")
    assert not told(change(*pair()), "1000-4000 Hz differ")


def test_a_later_beginning_is_found_and_blocks_are_put_in_time():
    longer, late = music(7, 100.0), round(12.0 * RATE_HZ)
    found = change(take(high_passed(longer, CORNER_HZ)[late:]), take(longer, condition="out"))
    assert told(found, "begins 12.0 s later")
    assert told(found, "last 88 to 100 s")
    # What both have in full: from 20 s to 92 s of the longer one.
    shared = longer[20 * RATE_HZ : 92 * RATE_HZ]
    assert found.value == pytest.approx(change_by_hand_db(shared, CORNER_HZ, 0.5, 20), abs=0.5)
    assert found.low < change_by_hand_db(longer, CORNER_HZ, 0.5, 20) < found.high


def test_another_section_is_no_comparison():
    found = change(take(high_passed(music(5), CORNER_HZ)), take(ORGAN, condition="out"))
    assert (found.value, found.verdict) == (None, "undecided")
    assert told(found, "not of the same section")


def test_a_steady_sound_cannot_be_told_to_be_the_same_section():
    drawn = np.random.default_rng(6)
    hiss = [take(0.01 * drawn.normal(size=60 * RATE_HZ), condition=condition) for condition in ("in", "out")]
    found = change(*hiss)
    assert found.value is not None
    assert told(found, "too steady")


def test_exchanged_files_are_noticed():
    exchanged = [take(ORGAN), take(high_passed(ORGAN, CORNER_HZ), condition="out")]
    assert told(change(*exchanged), "were the files exchanged?")
    assert not told(change(*pair()), "exchanged")
    assert not told(change(*exchanged, chain=Chain(loudspeaker_ohm=8.0)), "exchanged")


def test_a_subwoofer_that_slept_through_one_take_is_noticed():
    frequency = np.fft.rfftfreq(len(ORGAN), 1 / RATE_HZ)
    spectrum = np.fft.rfft(ORGAN)
    spectrum[(frequency > 15) & (frequency < 90)] *= 0.3
    asleep = np.fft.irfft(spectrum, len(ORGAN))
    takes = [*pair(), take(ORGAN, condition="out", repeat="2"), take(asleep, condition="out", repeat="3")]
    assert told(change(*takes), "out_3_organ.wav", "10 dB less at 20-80 Hz")
    assert not told(change(*pair(), take(ORGAN, condition="out", repeat="2")), "slept")


def test_clipping_an_offset_and_a_lacking_channel_are_said():
    clipped = np.clip(20 * high_passed(ORGAN, CORNER_HZ), -1.0, 1.0)
    assert told(change(take(clipped), take(20 * ORGAN, condition="out")), "in_1_organ.wav reaches full scale")
    offset = change(take(high_passed(ORGAN, CORNER_HZ) + 0.1), take(ORGAN, condition="out"))
    assert told(offset, "steady offset of", "taken out")
    assert offset.value == pytest.approx(change(*pair()).value, abs=1e-6)
    stereo = np.column_stack([ORGAN, ORGAN])
    assert told(
        change(take(high_passed(ORGAN, CORNER_HZ)), take(stereo, condition="out")), "one channel and others more"
    )


@pytest.mark.parametrize(
    ("samples", "why"),
    [(np.zeros(60 * RATE_HZ), "every sample is zero"), (ORGAN[: 3 * RATE_HZ], "shorter than two periods")],
)
def test_silence_and_a_snippet_have_no_value_and_say_why(samples, why):
    found = result(take(samples), take(ORGAN, condition="out")).findings
    for finding in found:
        if finding.reference is not None or finding.condition == "in":
            assert finding.value is None
            assert told(finding, why)
    assert only(found, "subsonic_level", condition="out", programme="organ").value is not None


def test_a_programme_of_ten_seconds_has_a_value_and_no_interval():
    short = ORGAN[: 10 * RATE_HZ]
    found = change(take(high_passed(ORGAN, CORNER_HZ)[: 10 * RATE_HZ]), take(short, condition="out"))
    assert found.value is not None
    assert (found.low, found.verdict) == (None, "undecided")
    assert told(found, "too short for an interval")


def test_two_scales_are_not_compared():
    found = change(take(high_passed(ORGAN, CORNER_HZ), full_scale_v=2.0), take(ORGAN, condition="out"))
    assert found.value is None
    assert told(found, "different units")


def test_calibrated_takes_of_other_scales_are_compared_in_volts():
    scaled = [take(high_passed(ORGAN, CORNER_HZ) / 2, full_scale_v=4.0), take(ORGAN, condition="out", full_scale_v=2.0)]
    found = change(*scaled)
    assert found.value == pytest.approx(change(*pair()).value, abs=1e-9)
    assert not told(found, "not calibrated")
    assert told(change(*pair()), "not calibrated")


def test_one_condition_alone_has_levels_and_no_change():
    found = result(take(ORGAN, condition="out")).findings
    assert {f.quantity for f in found} == {
        "subsonic_level", "subsonic_share", "subsonic_band_level", "g_weighted_level", "subsonic_peak_level"
    }  # fmt: skip
