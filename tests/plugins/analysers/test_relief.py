"""Checks of relief from recordings at the amplifier: closed forms, sums in numpy, what cannot be had, verdicts."""

from __future__ import annotations

import math

import numpy as np
import pytest
from references.helper import check, load

from fairhearing_builtins.analysers.relief import Relief

from .build_relief import (
    FILTER,
    FULL_SCALE_V,
    PLAIN,
    RATE_HZ,
    driver,
    found,
    impedance,
    inputs_of,
    recorded,
    times,
    tone,
    with_chains,
)


def analysed(*pairs, of=None):
    return Relief().analyse(inputs_of(of or with_chains(), *pairs))


def music(seconds=400.0, seed=1, rate_hz=1000):
    """Noise of changing loudness in two bands: what lies below 40 Hz, and the rest."""
    drawn = np.random.default_rng(seed)
    n = round(seconds * rate_hz)
    spectrum = np.fft.rfft(drawn.standard_normal(n))
    frequency = np.fft.rfftfreq(n, 1 / rate_hz)
    swell = np.repeat(10 ** drawn.uniform(-0.3, 0.3, -(-n // 700)), 700)[:n]
    low = np.fft.irfft(spectrum * ((frequency > 5) & (frequency < 40)), n)
    high = np.fft.irfft(spectrum * (frequency >= 40), n)
    scale = np.sqrt(np.mean((low + high) ** 2))
    return 0.12 * swell * low / scale, 0.12 * swell * high / scale


@pytest.mark.parametrize("index", range(3))
def test_the_crest_factor_of_plain_waves_is_that_of_the_handbook(index):
    reference = load("D06")
    turns = (50.0 * times(8.0) + 1 / 320) % 1.0  # eight thousand frames a second hit neither peak nor step
    triangle = 4 * np.abs(turns - 0.5) - 1
    wave = {
        "sine": np.sin(2 * np.pi * (turns - 1 / 320)),
        "triangle": triangle,
        "square": np.where(turns < 0.5, 1.0, -1),
    }
    name = reference.inputs["waves"][index]
    samples = 0.4 * wave[name] / np.max(np.abs(wave[name]))
    value = found(analysed(recorded(samples, "out")), "crest_factor").value
    if name == "triangle":
        value += 20 * math.log10(1 / np.max(np.abs(triangle)))  # its tip lies between two frames
    check(value, reference.expected["crest_factor_db"][index], reference)


def test_voltage_current_and_power_of_a_sine_into_a_resistance():
    result = analysed(recorded(tone(50.0, 0.5), "out"))
    peak_v = 0.5 * FULL_SCALE_V
    assert found(result, "amplifier_voltage").value == pytest.approx(peak_v / math.sqrt(2), rel=1e-6)
    assert found(result, "amplifier_peak_voltage").value == pytest.approx(peak_v, rel=1e-3)
    assert found(result, "amplifier_current").value == pytest.approx(peak_v / math.sqrt(2) / 8.0, rel=1e-6)
    assert found(result, "amplifier_peak_current").value == pytest.approx(peak_v / 8.0, rel=1e-3)
    assert found(result, "amplifier_power").value == pytest.approx(peak_v**2 / 2 / 8.0, rel=1e-6)
    assert {f.unit for f in result.findings if f.value is not None} == {"V", "A", "W", "dB"}


def test_a_steady_offset_is_in_none_of_it():
    plain, shifted = analysed(recorded(tone(50.0, 0.5), "out")), analysed(recorded(tone(50.0, 0.5) + 0.2, "out"))
    for one, other in zip(plain.findings, shifted.findings, strict=True):
        assert other.value == (None if one.value is None else pytest.approx(one.value, rel=1e-9))


def test_into_a_table_of_impedance_each_tone_takes_its_own_current():
    tones = ((20.0, 0.1), (60.0, 0.3), (900.0, 0.2))
    samples = sum(tone(f, a, 16.0) for f, a in tones)
    of = with_chains(reference=PLAIN_TABLE, impedances=(impedance(),))
    result = analysed(recorded(samples, "out"), of=of)
    rms = np.array([a * FULL_SCALE_V / math.sqrt(2) for _, a in tones])
    at = driver([f for f, _ in tones])
    assert found(result, "amplifier_current").value == pytest.approx(
        math.sqrt(np.sum((rms / np.abs(at)) ** 2)), rel=2e-3
    )
    assert found(result, "amplifier_power").value == pytest.approx(np.sum(rms**2 * (1 / at).real), rel=2e-3)
    assert found(result, "amplifier_peak_current").value is None
    assert "its peak cannot be told" in found(result, "amplifier_peak_current").caveats[0]


PLAIN_TABLE = type(PLAIN)(amplifier_input_kohm=20.0, loudspeaker_impedance="z.csv")


def test_a_table_without_phase_gives_a_current_and_no_power():
    of = with_chains(reference=PLAIN_TABLE, impedances=(impedance(phase=False),))
    result = analysed(recorded(tone(60.0, 0.3), "out"), of=of)
    assert found(result, "amplifier_current").value is not None
    assert found(result, "amplifier_power").value is None
    assert "has no phase" in found(result, "amplifier_power").caveats[0]


def test_energy_outside_the_table_is_told():
    of = with_chains(reference=PLAIN_TABLE, impedances=(impedance(),))
    caveats = found(analysed(recorded(tone(2.0, 0.3) + tone(60.0, 0.3), "out"), of=of), "amplifier_current").caveats
    assert any(caveat.startswith("50.0 % of the energy lies outside the table") for caveat in caveats)


def test_by_a_table_the_change_of_current_is_not_that_of_voltage():
    chain = type(FILTER)(capacitance_nf=79.6, amplifier_input_kohm=20.0, loudspeaker_impedance="z.csv")
    of = with_chains(reference=PLAIN_TABLE, condition=chain, impedances=(impedance(),))
    low, high = tone(60.0, 0.3, 16.0), tone(900.0, 0.3, 16.0)
    result = analysed(recorded(low + high, "out"), recorded(0.5 * low + high, "in"), of=of)
    z = np.abs(driver([60.0, 900.0]))
    expected = 10 * math.log10((0.25 / z[0] ** 2 + 1 / z[1] ** 2) / (1 / z[0] ** 2 + 1 / z[1] ** 2))
    assert found(result, "amplifier_current_change").value == pytest.approx(expected, abs=0.01)
    assert found(result, "amplifier_voltage_change").value == pytest.approx(10 * math.log10(1.25 / 2), abs=0.01)
    assert found(result, "amplifier_current_change").low is None


def test_the_changes_are_those_of_whole_sums_in_numpy():
    low, high = music()
    out, treated = low + high, 0.4 * low + high
    result = analysed(recorded(out, "out", rate_hz=1000), recorded(treated, "in", rate_hz=1000))
    voltage = found(result, "amplifier_voltage_change")
    assert voltage.value == pytest.approx(20 * math.log10(treated.std() / out.std()), abs=1e-9)
    assert found(result, "amplifier_power_change").value == voltage.value
    assert found(result, "amplifier_power_change").low == voltage.low < voltage.value < voltage.high
    blocks = [np.abs(one - one.mean()).reshape(-1, 100).max(axis=1) for one in (out, treated)]
    quantiles = [np.quantile(one, 0.99) for one in blocks]
    headroom = found(result, "headroom_won")
    assert headroom.value == pytest.approx(20 * math.log10(quantiles[0] / quantiles[1]), abs=1e-9)
    assert headroom.low < headroom.value < headroom.high
    peak = found(result, "headroom_won", variant="peak")
    assert peak.value == pytest.approx(20 * math.log10(blocks[0].max() / blocks[1].max()), abs=1e-9)
    assert (peak.low, peak.high) == (None, None)
    assert found(result, "amplifier_peak_voltage_change").value == pytest.approx(-peak.value)


def test_against_doubling_is_the_headroom_less_3_db_with_the_same_interval():
    low, high = music()
    result = analysed(recorded(low + high, "out", rate_hz=1000), recorded(0.4 * low + high, "in", rate_hz=1000))
    headroom, against = found(result, "headroom_won"), found(result, "headroom_against_doubling")
    reference = load("doubled-power")
    check(headroom.value - against.value, reference.expected["db"], reference)
    check(headroom.low - against.low, reference.expected["db"], reference)


@pytest.mark.parametrize(
    ("factor", "verdict"), [(0.5, "reaches"), (0.9, "falls-short"), (10 ** (-3.0103 / 20), "undecided")]
)
def test_the_verdict_goes_by_the_interval(factor, verdict):
    low, high = music()
    out = low + high
    treated = out * factor * np.repeat(1 + 0.05 * np.sin(np.arange(400)), 1000)
    result = analysed(recorded(out, "out", rate_hz=1000), recorded(treated, "in", rate_hz=1000))
    assert found(result, "headroom_against_doubling").verdict == verdict


def test_a_short_programme_has_no_interval_and_no_verdict():
    low, high = music(seconds=60.0)
    result = analysed(recorded(low + high, "out", rate_hz=1000), recorded(high, "in", rate_hz=1000))
    against = found(result, "headroom_against_doubling")
    assert (against.low, against.high, against.verdict) == (None, None, "undecided")
    assert any("one needs 100 s" in caveat for caveat in against.caveats)


def test_between_100_s_and_6_minutes_the_interval_is_said_to_be_narrow():
    low, high = music(seconds=120.0)
    result = analysed(recorded(low + high, "out", rate_hz=1000), recorded(high, "in", rate_hz=1000))
    assert found(result, "headroom_won").low is not None
    assert any("somewhat too narrow" in caveat for caveat in found(result, "headroom_won").caveats)


def test_over_three_programmes_the_interval_is_t_over_them():
    pairs = []
    gains_db = {"a": -2.0, "b": -3.0, "c": -4.0}
    for seed, (name, gain_db) in enumerate(gains_db.items()):
        sound = sum(music(seconds=40.0, seed=seed))
        pairs += [recorded(sound, "out", programme=name, rate_hz=1000),
                  recorded(10 ** (gain_db / 20) * sound, "in", programme=name, rate_hz=1000)]  # fmt: skip
    over = found(analysed(*pairs), "headroom_won")
    assert over.value == pytest.approx(3.0, abs=1e-9)
    # Student's t with 2 degrees of freedom is 4.3027 (table); the standard deviation of 2, 3 and 4 is 1.
    assert over.high - over.value == pytest.approx(4.3027 / math.sqrt(3), abs=1e-4)
    assert "t interval over programmes" in over.method


def test_over_two_programmes_the_errors_along_them_are_put_together():
    pairs, results = [], []
    for seed, name in enumerate("ab"):
        low, high = music(seed=seed)
        both = [recorded(low + high, "out", programme=name, rate_hz=1000),
                recorded(0.4 * low + high, "in", programme=name, rate_hz=1000)]  # fmt: skip
        pairs += both
        results.append(found(analysed(*both), "headroom_won", programme=name))
    over = found(analysed(*pairs), "headroom_won")
    assert over.value == pytest.approx(np.mean([one.value for one in results]))
    halves = [one.high - one.value for one in results]
    # with 9 degrees of freedom each t is 2.262; together they have from 9 to 18, t from 2.262 to 2.101 (table)
    widest = math.hypot(*halves) / 2
    assert widest * 2.10 / 2.263 < over.high - over.value < widest * 1.0001


def test_a_programme_without_bass_is_said_to_show_nothing():
    quiet = tone(50.0, 0.05, 16.0) + tone(1000.0, 0.4, 16.0)
    result = analysed(recorded(quiet, "out"), recorded(tone(1000.0, 0.4, 16.0), "in"))
    share = found(result, "energy_share_below_corner")
    assert share.value == pytest.approx(0.05**2 / (0.05**2 + 0.4**2), abs=1e-4)
    compared = [f for f in result.findings if f.reference is not None]
    assert len(compared) == 9
    assert all(any("only 1.5 % of its energy below the corner" in c for c in f.caveats) for f in compared)


def test_a_programme_with_bass_has_no_such_caveat():
    full = tone(50.0, 0.2, 16.0) + tone(1000.0, 0.4, 16.0)
    result = analysed(recorded(full, "out"), recorded(tone(1000.0, 0.4, 16.0), "in"))
    assert found(result, "energy_share_below_corner").value == pytest.approx(0.2, abs=1e-4)
    assert not any("cannot show" in caveat for f in result.findings for caveat in f.caveats)


def test_if_no_programme_has_bass_it_is_said_over_programmes_too():
    pairs = [recorded(tone(hz, 0.3), c, programme=p) for c in ("out", "in") for p, hz in (("a", 800.0), ("b", 900.0))]
    weak = found(analysed(*pairs), "headroom_won")
    assert any("none of them can show the filter" in caveat for caveat in weak.caveats)


def test_the_amplifiers_input_gives_voltages_only():
    pairs = [recorded(tone(50.0, 0.3), c, point="amplifier-input") for c in ("out", "in")]
    assert {f.quantity for f in analysed(*pairs).findings} == {
        "amplifier_voltage", "amplifier_peak_voltage", "crest_factor", "amplifier_voltage_change",
        "amplifier_peak_voltage_change", "crest_factor_change", "energy_share_below_corner",
    }  # fmt: skip


def test_without_a_full_scale_there_are_decibels_only():
    low, high = music(seconds=40.0)
    pairs = [recorded(one, c, rate_hz=1000, full_scale_v=None) for c, one in (("out", low + high), ("in", high))]
    result = analysed(*pairs)
    assert found(result, "amplifier_voltage", condition="out").value is None
    assert "no full_scale_v" in found(result, "amplifier_voltage", condition="out").caveats[0]
    assert found(result, "crest_factor", condition="out").value is not None
    assert found(result, "headroom_won").value is not None
    assert any("recorded with one gain" in caveat for caveat in found(result, "headroom_won").caveats)


def test_one_full_scale_of_two_is_no_comparison():
    result = analysed(recorded(tone(50.0, 0.3), "out"), recorded(tone(50.0, 0.2), "in", full_scale_v=None))
    assert found(result, "headroom_won").value is None
    assert "some have not" in found(result, "headroom_won").caveats[0]


def test_different_full_scales_are_allowed_for():
    result = analysed(recorded(tone(50.0, 0.4), "out"), recorded(tone(50.0, 0.4), "in", full_scale_v=FULL_SCALE_V / 2))
    assert found(result, "amplifier_voltage_change").value == pytest.approx(-20 * math.log10(2), abs=1e-9)


def test_silence_has_no_level():
    result = analysed(recorded(tone(50.0, 0.3), "out"), recorded(np.full(8 * RATE_HZ, 0.01), "in"))
    assert found(result, "amplifier_voltage", condition="in").value is None
    assert "silence" in found(result, "headroom_won").caveats[0]


def test_a_clipped_recording_is_told():
    result = analysed(recorded(np.clip(tone(50.0, 1.4), -1, 1), "out"), recorded(tone(50.0, 0.3), "in"))
    assert any("whether" in caveat for caveat in found(result, "amplifier_peak_voltage", condition="out").caveats)
    assert any("reaches full scale" in caveat for caveat in found(result, "headroom_won").caveats)
    assert not any("full scale" in c for c in found(result, "amplifier_peak_voltage", condition="in").caveats)


def test_one_condition_alone_is_no_comparison():
    result = analysed(recorded(tone(50.0, 0.3), "out"))
    compared = [f for f in result.findings if f.reference is not None]
    assert all(f.value is None and "not both conditions were recorded" in f.caveats[0] for f in compared)


def test_without_a_loudspeaker_there_is_no_current():
    bare = type(PLAIN)(amplifier_input_kohm=20.0)
    result = analysed(recorded(tone(50.0, 0.3), "out"), of=with_chains(reference=bare))
    assert found(result, "amplifier_current").value is None
    assert "neither loudspeaker_ohm nor loudspeaker_impedance" in found(result, "amplifier_current").caveats[0]
    assert found(result, "amplifier_voltage").value is not None


def test_recordings_that_begin_apart_are_laid_against_each_other():
    low, high = music(seconds=60.0, rate_hz=8000)
    out, treated = low + high, 0.4 * low + high
    straight = analysed(recorded(out, "out"), recorded(treated, "in"))
    shifted = analysed(recorded(out[RATE_HZ:], "out"), recorded(treated, "in"))
    one, other = (found(result, "amplifier_voltage_change") for result in (straight, shifted))
    expected = 20 * math.log10(treated[RATE_HZ:].std() / out[RATE_HZ:].std())
    assert other.value == pytest.approx(expected, abs=1e-3)
    assert any("begin up to 1.0 s apart" in caveat for caveat in other.caveats)
    assert not any("begin up to" in caveat for caveat in one.caveats)


def test_other_music_is_no_comparison():
    pairs = [recorded(sum(music(60.0, seed, 8000)), c) for seed, c in ((1, "out"), (2, "in"))]
    headroom = found(analysed(*pairs), "headroom_won")
    assert headroom.value is None
    assert "do not hold the same section" in headroom.caveats[0]


def test_files_of_left_and_right_are_channels_of_one_amplifier():
    pairs = [recorded(tone(50.0, peak), "out", channel=name) for name, peak in (("left", 0.3), ("right", 0.1))]
    result = analysed(*pairs)
    rms = FULL_SCALE_V * math.sqrt((0.3**2 + 0.1**2) / 4)
    assert found(result, "amplifier_voltage").value == pytest.approx(rms, rel=1e-6)
    assert found(result, "amplifier_peak_voltage").value == pytest.approx(0.3 * FULL_SCALE_V, rel=1e-3)


def test_charts_show_voltages_and_headroom_with_the_line_of_double_power():
    pairs = [recorded(tone(50.0, a), c, programme="organ") for c, a in (("out", 0.4), ("in", 0.2))]
    charts = {chart.name: chart for chart in analysed(*pairs).charts}
    assert sorted(charts) == [
        "relief-headroom-recorded-amplifier-output-in", "relief-peak-recorded-amplifier-output",
        "relief-voltage-recorded-amplifier-output",
    ]  # fmt: skip
    assert charts["relief-headroom-recorded-amplifier-output-in"].rules[0].at == pytest.approx(3.0103, abs=1e-4)


@pytest.mark.parametrize(("seconds", "within", "said"), [(40.0, 0.03, True), (150.0, 0.01, False)])
def test_the_share_of_a_beaten_bass_is_that_of_one_transform_within_what_is_said(seconds, within, said):
    at = times(seconds, 1000)
    drawn = np.random.default_rng(4)
    samples = 0.1 * np.exp(-8 * np.mod(at, 0.625)) * np.sin(2 * np.pi * 55.0 * at) + 0.02 * drawn.standard_normal(
        len(at)
    )
    frequency = np.fft.rfftfreq(len(at), 1 / 1000)
    power = np.abs(np.fft.rfft(samples - samples.mean())) ** 2 * (frequency >= 0.5) * (frequency <= 450)
    share = found(analysed(recorded(samples, "out", rate_hz=1000), recorded(samples, "in", rate_hz=1000)),
                  "energy_share_below_corner")  # fmt: skip
    assert share.value == pytest.approx(power[frequency <= 100.0].sum() / power.sum(), rel=within)
    assert any("about 3 % of itself" in caveat for caveat in share.caveats) == said
