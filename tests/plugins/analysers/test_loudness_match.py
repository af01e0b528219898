"""The level difference by loudness: known gains, programmes, seats, and recordings that cannot be compared."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import signal

from fairhearing.api import Inputs
from fairhearing_builtins.analysers.level import Level

from .build_inputs import keys, only, session
from .build_measured import flat, inputs_of
from .build_music import RATE_HZ, music, recording

MEASURES = (None, "loudness-same-blocks", "A-weighted", "C-weighted")


def louder(samples, gain_db):
    return samples * 10 ** (gain_db / 20)


def pair(gain_db, samples=None, **said):
    """A recording of each condition, the first louder by so much."""
    samples = music() if samples is None else samples
    return [recording(louder(samples, gain_db), "in", **said), recording(samples, "out", **said)]


def found(*recordings, **said):
    made = session(level_measure=said.pop("level_measure", "loudness"), **said)
    return Level().analyse(Inputs(session=made, recordings=recordings)).findings


def level(*recordings, **of):
    """The one level difference by loudness with these parts; over all unless they are named."""
    said = {"variant": None, "seat": None, "channel": None, "programme": None, **of}
    return only(found(*recordings), "level_difference", **said)


@pytest.mark.parametrize("variant", MEASURES)
@pytest.mark.parametrize("gain_db", [0.04, -1.7])
def test_a_known_gain_is_found_by_every_measure(gain_db, variant):
    one = level(*pair(gain_db), variant=variant)
    assert one.value == pytest.approx(gain_db, abs=1e-6)
    assert (one.point, one.playing, one.n) == ("amplifier-output", "main", 1)


def test_the_verdict_follows_from_the_interval_along_the_programme():
    matched, unmatched = level(*pair(0.04)), level(*pair(0.3))
    assert (matched.verdict, unmatched.verdict) == ("matched", "unmatched")
    assert matched.low == pytest.approx(0.04, abs=1e-6)
    assert "jackknife" in matched.method
    assert matched.confidence == 0.95


def test_where_the_mid_band_is_the_measure_loudness_is_a_variant():
    findings = found(*pair(0.5), level_measure="midband")
    headline = only(findings, "level_difference", variant=None, seat=None)
    assert headline.value is None
    assert only(findings, "level_difference", variant="loudness", seat=None).value == pytest.approx(0.5, abs=1e-6)
    assert len(set(keys(findings))) == len(findings)


def test_where_loudness_is_the_measure_the_mid_band_is_a_variant():
    inputs = inputs_of(
        flat({"out": {"A": [70.0] * 3}, "in": {"A": [70.2] * 3}}, criteria={"level_measure": "loudness"})
    )
    findings = Level().analyse(replace(inputs, recordings=tuple(pair(0.06)))).findings
    assert only(findings, "level_difference", variant="midband", seat=None).value == pytest.approx(0.2, abs=1e-9)
    assert only(findings, "level_difference", variant=None, seat=None).value == pytest.approx(0.06, abs=1e-6)
    assert only(findings, "matching_trim").value == pytest.approx(-0.06, abs=1e-6)
    alone = Level().analyse(inputs).findings
    headline = only(alone, "level_difference", variant=None)
    assert (headline.value, headline.verdict) == (None, "undecided")
    assert any("no recording holds" in caveat for caveat in headline.caveats)


def test_trims_are_added():
    made = session(level_measure="loudness")
    made = replace(made, conditions=tuple(replace(c, trim_db=0.0 if c.reference else 0.5) for c in made.conditions))
    findings = Level().analyse(Inputs(session=made, recordings=tuple(pair(-0.5)))).findings
    assert only(findings, "level_difference", variant=None).value == pytest.approx(0.0, abs=1e-6)


def test_three_programmes_have_an_interval_over_them():
    """By hand: 0.1, 0.2, 0.6 dB; mean 0.3, standard error 0.1528; t(0.975, 2) = 4.3027 (any table)."""
    takes = []
    for seed, (programme, gain_db) in enumerate({"organ": 0.1, "choir": 0.2, "speech": 0.6}.items()):
        takes += pair(gain_db, music(25, seed), programme=programme)
    over = level(*takes)
    assert over.value == pytest.approx(0.3, abs=1e-6)
    assert over.high - over.value == pytest.approx(4.3027 * 0.26457513 / np.sqrt(3), rel=1e-4)
    assert "over programmes" in over.method
    assert level(*takes, programme="choir").value == pytest.approx(0.2, abs=1e-6)
    assert "jackknife" in level(*takes, programme="choir").method
    assert level(*takes, variant="A-weighted").high is not None
    assert level(*takes, variant="A-weighted", programme="choir").high is None


def test_at_seats_each_has_its_own_and_over_seats_they_are_weighted():
    takes = [*pair(0.2, point="seat", seat="A"), *pair(0.6, point="seat", seat="B")]
    findings = found(*takes, seats={"A": 3.0, "B": 1.0})
    said = {"variant": None, "programme": None, "channel": None}
    assert only(findings, "level_difference", seat="A", **said).value == pytest.approx(0.2, abs=1e-6)
    assert only(findings, "level_difference", seat=None, **said).value == pytest.approx(0.3, abs=1e-6)
    over = only(findings, "level_difference", seat=None, **said)
    assert (over.point, over.verdict) == ("seat", "unmatched")
    assert any("moving the microphone" in caveat for caveat in over.caveats)
    lacking = only(found(*takes[:2], seats={"A": 1.0, "B": 1.0}), "level_difference", seat="B", **said)
    assert (lacking.value, lacking.verdict) == (None, "undecided")
    assert "seat B" in lacking.caveats[0]


def test_in_place_at_a_seat_the_placement_of_the_criteria_is_added():
    """One error of 0.3 dB in each condition: t(0.975, 3) = 3.1824 (any table), times 0.3 root 2; 45 s: 4 segments."""
    takes = [replace(one, in_place=True) for one in pair(0.0, point="seat", seat="A")]
    one = level(*takes)
    assert one.high == pytest.approx(3.1824 * 0.3 * np.sqrt(2), rel=1e-3)
    assert one.verdict == "undecided"
    at_output = level(*[replace(one, in_place=True) for one in pair(0.0)])
    assert at_output.high == pytest.approx(0.0, abs=1e-6)


def test_the_amplifiers_output_goes_before_the_seats_and_channels_are_averaged():
    takes = [
        *pair(0.2, channel="left"),
        *pair(0.4, music(seed=2), channel="right"),
        *pair(3.0, point="seat", seat="A", channel="left"),
    ]
    assert level(*takes).value == pytest.approx(0.3, abs=1e-6)
    assert level(*takes, channel="right").value == pytest.approx(0.4, abs=1e-6)
    assert {f.point for f in found(*takes) if f.quantity == "level_difference" and f.variant is None} == {
        "amplifier-output"
    }


def test_full_scales_that_differ_are_taken_into_account():
    """1 V against 2 V for the same samples: 20 lg 2 = 6.0206 dB (by hand)."""
    samples = music()
    takes = [recording(samples, "in", full_scale_v=2.0), recording(samples, "out", full_scale_v=1.0)]
    for variant in MEASURES:
        one = level(*takes, variant=variant)
        assert one.value == pytest.approx(6.0206, abs=1e-4)
        assert not any("no full scale" in caveat for caveat in one.caveats)
    assert any("one gain" in caveat for caveat in level(*pair(0.1)).caveats)


def full_scale(one, value):
    return replace(one, full_scale_v=value)


@pytest.mark.parametrize(
    ("takes", "why"),
    [
        (lambda: [recording(music(seed=1), "in"), recording(music(seed=2), "out")], "not hold the same section"),
        (lambda: [full_scale(pair(0)[0], 1.0), pair(0)[1]], "different units"),
        (lambda: [recording(np.tile(music(), 2), "in"), recording(music(), "out")], "numbers of channels"),
        (lambda: [recording(0 * music(), "in"), recording(music(), "out")], "no block of 0.4 s passes"),
        (lambda: [recording(music(), "in", rate_hz=3000), recording(music(), "out", rate_hz=3000)], "4 kHz"),
        (
            lambda: [*pair(0, full_scale_v=1.0), full_scale(recording(music(), "in", repeat="2"), 2.0)],
            "different full scales",
        ),
    ],
)
def test_what_cannot_be_compared_is_null_and_says_why(takes, why):
    one = level(*takes())
    assert (one.value, one.verdict) == (None, "undecided")
    assert any(why in caveat for caveat in one.caveats), one.caveats


def test_a_late_start_is_found_and_what_all_hold_is_compared():
    samples = music(46.0)
    shift = round(0.7 * RATE_HZ)
    takes = [recording(louder(samples[shift:], 0.3), "in"), recording(samples[: -RATE_HZ // 10], "out")]
    one = level(*takes)
    assert one.value == pytest.approx(0.3, abs=1e-3)
    assert any("0.7 s apart" in caveat for caveat in one.caveats)
    assert any("not of one length" in caveat for caveat in one.caveats)


def test_an_even_programme_says_that_its_section_cannot_be_checked_and_a_short_one_has_no_interval():
    even = np.random.default_rng(3).normal(0, 0.05, (RATE_HZ * 10, 1))
    one = level(*pair(0.1, even))
    assert one.value == pytest.approx(0.1, abs=1e-6)
    assert (one.low, one.verdict) == (None, "undecided")
    assert any("too even" in caveat for caveat in one.caveats)
    assert any("under 20 s" in caveat for caveat in one.caveats)


def test_repeats_are_averaged_in_energy_in_any_order():
    takes = [*pair(0.0), recording(louder(music(), 1.0), "in", repeat="2")]
    expected = 10 * np.log10((1 + 10**0.1) / 2)
    assert level(*takes).value == pytest.approx(expected, abs=1e-6)
    assert level(*takes[::-1]) == level(*takes)


def test_a_filter_moves_each_measure_by_its_own_amount():
    """A high-pass of first order at 100 Hz on noise of equal power in all octaves: much by C, hardly by A."""
    rate_hz, level_db = 16_000, {}
    samples = music(45.0, 5, rate_hz)
    pink = signal.sosfilt(
        signal.zpk2sos([0.98443604, 0.83392334, 0.07568359], [0.99572754, 0.94790649, 0.53567505], 1.0), samples, axis=0
    )
    through = signal.sosfilt(signal.butter(1, 100.0, "high", fs=rate_hz, output="sos"), pink, axis=0)
    takes = [recording(one, name, rate_hz=rate_hz) for one, name in ((0.3 * through, "in"), (0.3 * pink, "out"))]
    for variant in MEASURES:
        level_db[variant] = level(*takes, variant=variant).value
    assert level_db["C-weighted"] < level_db[None] - 0.3 < level_db["A-weighted"] - 0.4
    assert level_db[None] == pytest.approx(level_db["loudness-same-blocks"], abs=0.02)


def test_the_chart_shows_the_headline_by_place_and_the_variants_over_all():
    (chart,) = Level().analyse(Inputs(session=session(level_measure="loudness"), recordings=tuple(pair(0.2)))).charts
    assert chart.data["place"] == [
        "amplifier output", "amplifier output, loudness-same-blocks", "amplifier output, A-weighted",
        "amplifier output, C-weighted",
    ]  # fmt: skip
