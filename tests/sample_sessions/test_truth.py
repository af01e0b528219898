"""What the sample sessions say of themselves is true: electricity, rooms, bands, seats and listeners."""

from __future__ import annotations

import math
import re
import tomllib
from collections import defaultdict
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from references.helper import Reference, check
from scipy.stats import binomtest

FOLDER = Path(__file__).parents[2] / "sample_sessions"


def reference(**values: Any) -> Reference:
    """An outside value that only this module needs."""
    return Reference(**{"inputs": {}, "tolerance_abs": 0.0, "tolerance_rel": 0.0, **values})


def manifest_of(folder: str) -> dict[str, Any]:
    return tomllib.loads((FOLDER / folder / "session.toml").read_text(encoding="utf-8"))


def rows_of(path: Path) -> list[dict[str, str]]:
    head, *lines = [line.split("\t" if path.suffix == ".tsv" else ",") for line in path.read_text().splitlines()]
    return [dict(zip(head, line, strict=True)) for line in lines]


# Electricity


def test_a_capacitor_into_a_resistance_has_its_corner_where_tutorials_print_it(program: dict[str, ModuleType]) -> None:
    electrical = program["electrical"]
    line = electrical.Line(source_output_ohm=1.0, amplifier_input_ohm=999.0, cable_farad=0.0, capacitor_farad=10e-6)
    value = reference(
        id="rc-corner",
        expected={},
        tolerance_abs=0.0005,
        source="worked example of two tutorials, 1 kOhm and 1 uF: 159.15 Hz; here with ten times the capacitance",
        provenance="read",
    )
    check(electrical.corner_hz(line), 15.91549, value)


@pytest.mark.parametrize(
    ("ratio", "level_db"),
    [
        (0.0625, -24.0993),
        (0.125, -18.1291),
        (0.25, -12.3045),
        (0.5, -6.9897),
        (1.0, -3.0103),
        (2.0, -0.9691),
        (4.0, -0.2633),
        (8.0, -0.0673),
        (16.0, -0.0169),
    ],
)
def test_below_the_corner_the_level_falls_as_the_first_order_table(
    ratio: float, level_db: float, program: dict[str, ModuleType]
) -> None:
    # the octave table of a single-time-constant high-pass, as in textbooks of electronics; computed, to 0.0001 dB
    electrical = program["electrical"]
    line = electrical.Line(source_output_ohm=1e-6, amplifier_input_ohm=1e3, cable_farad=0.0, capacitor_farad=1e-6)
    frequency_hz = np.array([ratio * 1e6 / (2 * math.pi * 1e3)])
    assert electrical.ratio_db(line, None, frequency_hz)[0] == pytest.approx(level_db, abs=1e-4)


def test_a_source_of_1_kohm_into_20_kohm_loses_what_a_divider_loses(program: dict[str, ModuleType]) -> None:
    electrical = program["electrical"]
    line = electrical.Line(source_output_ohm=1e3, amplifier_input_ohm=20e3, cable_farad=0.0)
    # 20 lg (20/21), by hand
    assert electrical.ratio_db(line, None, np.array([50.0, 5e3])) == pytest.approx([-0.4238, -0.4238], abs=1e-4)


def test_the_corners_agree_with_time_constants_added_by_hand(truth: dict[str, Any]) -> None:
    # open-circuit time constants: C R_source + (C + C_cable) R_load
    as_set = 1 / (2 * math.pi * (68e-9 * 610 + 69e-9 * 34.2e3))
    fifth = 1 / (2 * math.pi * (120e-9 * 100 + 120.15e-9 * 60e3))
    assert truth["filter-as-set"]["filter"]["line_corner_hz"] == pytest.approx(as_set, rel=1e-3)
    assert truth["set-for-a-fifth"]["filter"]["line_corner_hz"] == pytest.approx(fifth, rel=1e-4)
    for folder in ("filter-as-set", "set-for-a-fifth"):
        # the quotient has no upper roll-off, so its passband reaches 0.002 dB higher than the line's
        of_filter = truth[folder]["filter"]
        assert of_filter["corner_hz"] == pytest.approx(of_filter["line_corner_hz"], rel=1e-3)


def test_a_filter_set_for_a_fifth_of_the_load_sits_two_and_a_third_octaves_low(truth: dict[str, Any]) -> None:
    of_filter = truth["set-for-a-fifth"]["filter"]
    assert of_filter["load_ohm"] / of_filter["setting_ohm"] == 5
    # lg 5 / lg 2 = 2.3219; the capacitor is a stock value within half a percent of what 110 Hz into 12 kOhm asks for
    assert of_filter["error_octaves"] == pytest.approx(-2.3219, abs=0.006)
    assert of_filter["corner_ratio"] == pytest.approx(2 ** of_filter["error_octaves"], rel=1e-3)
    assert (of_filter["verdict"], truth["filter-as-set"]["filter"]["verdict"]) == ("mis-set", "as-set")


def test_the_takes_at_the_amplifier_are_3_db_down_at_the_true_corner(truth: dict[str, Any]) -> None:
    of_filter = truth["filter-as-set"]["filter"]
    level: dict[str, list[float]] = defaultdict(list)
    for path in sorted((FOLDER / "filter-as-set" / "amplifier").glob("*.csv")):
        table = np.loadtxt(path, delimiter=",", skiprows=1)
        level[path.stem.split("_")[1]].append(
            float(np.interp(math.log(of_filter["corner_hz"]), np.log(table[:, 0]), table[:, 1]))
        )
    loss_db = np.mean(level["highpass"]) - np.mean(level["direct"]) - of_filter["passband_gain_db"]
    assert len(level["highpass"]) == len(level["direct"]) == 6
    # half the power; a single take scatters by 0.004 dB
    assert loss_db == pytest.approx(10 * math.log10(0.5), abs=0.01)


# Bands and rooms


@pytest.mark.parametrize(
    ("nominal", "low_hz", "high_hz"),
    [
        ("20", 17.78279, 22.38721),
        ("31.5", 28.18383, 35.48134),
        ("63", 56.23413, 70.79458),
        ("100", 89.12509, 112.20185),
        ("1000", 891.2509, 1122.0185),
        ("10000", 8912.509, 11220.185),
    ],
)
def test_band_edges_are_those_of_iec_61260_1(
    nominal: str, low_hz: float, high_hz: float, program: dict[str, ModuleType]
) -> None:
    # IEC 61260-1:2014, base ten: midband times 10^(+-1/20); computed from the standard's formulas
    edges = program["truth"].band_edges_hz(program["truth"].NOMINAL_HZ.index(nominal))
    assert edges == pytest.approx((low_hz, high_hz), rel=1e-6)


def test_band_levels_of_a_first_order_slope_agree_with_the_integral_in_tables(program: dict[str, ModuleType]) -> None:
    bands = program["truth"]
    levels = bands.band_levels_db(lambda f: 1 / (1 - 100j / f))
    for place in (0, 4, 7, 17):
        low, high = bands.band_edges_hz(place)
        # tables of integrals: f/(f^2 + a^2) integrates to half of ln(f^2 + a^2)
        mean_power = 0.5 * math.log((high**2 + 100**2) / (low**2 + 100**2)) / math.log(high / low)
        assert levels[place] == pytest.approx(10 * math.log10(mean_power), abs=1e-4)


def test_resonances_of_a_room_are_those_computed_elsewhere(program: dict[str, ModuleType]) -> None:
    # c/2 sqrt((i/L)^2 + (j/W)^2 + (k/H)^2) for 6.36 x 4.44 x 3 m and 343 m/s, Kuttruff, Room Acoustics; computed
    rooms = program["rooms"]
    room = rooms.Room(
        id="x", size_m=(6.36, 4.44, 3.0), temperature_c=(343 - 331.3) / 0.606, strength=1.0, sharpness=6.0
    )
    first_hz = np.sort(rooms.modes(room)[1])[:10]
    expected = [26.965, 38.626, 47.107, 53.931, 57.167, 63.207, 66.336, 68.993, 74.075, 77.252]
    assert first_hz == pytest.approx(expected, abs=0.01)


def test_placement_errors_have_the_size_that_was_asked_for_and_are_smooth(program: dict[str, ModuleType]) -> None:
    rng = np.random.default_rng(4)
    noise = np.array([program["rooms"].smooth_noise(264, 24.0, rng) for _ in range(400)])
    assert float(np.std(noise)) == pytest.approx(1.0, abs=0.02)
    # points a third of an octave apart hardly know of each other: a Gaussian kernel's own correlation, 2^-2 by hand
    assert float(np.mean(noise[:, :-8] * noise[:, 8:])) == pytest.approx(0.25, abs=0.03)


# What is true


def test_seats_are_better_unchanged_or_worse_with_clear_margins(truth: dict[str, Any]) -> None:
    bass = truth["loudspeaker-moved"]["bass"]
    assert [len(bass["seats"][verdict]) for verdict in ("better", "unchanged", "worse")] == [3, 1, 1]
    change = {seat: of["change"] for seat, of in bass["target_deviation_db"]["seats"].items()}
    assert max(change[seat] for seat in bass["seats"]["better"]) <= -1.5
    assert max(abs(change[seat]) for seat in bass["seats"]["unchanged"]) <= 0.1
    assert min(change[seat] for seat in bass["seats"]["worse"]) >= 1.2
    as_set = truth["filter-as-set"]["bass"]
    assert as_set["seats"]["better"] == list(manifest_of("filter-as-set")["seats"])
    assert max(of["change"] for of in as_set["target_deviation_db"]["seats"].values()) <= -1.5


@pytest.mark.parametrize("folder", ["cable-turned-round", "filter-as-set", "loudspeaker-moved"])
def test_changes_are_treatment_minus_reference_and_weighted_over_seats(folder: str, truth: dict[str, Any]) -> None:
    of_session = truth[folder]
    weight = {seat: of.get("weight", 1.0) for seat, of in manifest_of(folder)["seats"].items()}
    for measure in ("target_deviation_db", "shape_deviation_db"):
        seats = of_session["bass"][measure]["seats"]
        for of_seat in seats.values():
            difference = of_seat[of_session["treatment"]] - of_seat[of_session["reference"]]
            assert of_seat["change"] == pytest.approx(difference, abs=2e-4)
        mean = sum(weight[seat] * of["change"] for seat, of in seats.items()) / sum(weight.values())
        assert of_session["bass"][measure]["over_seats_change"] == pytest.approx(mean, abs=2e-4)


def test_the_loudspeakers_alone_lose_in_the_bands_what_the_filter_takes(truth: dict[str, Any]) -> None:
    of_session = truth["filter-as-set"]
    corner, gain_db = of_session["filter"]["corner_hz"], of_session["filter"]["passband_gain_db"]
    for by_band in of_session["band_level_change_db"]["main"].values():
        # far above the corner the band's own slope hardly weighs: 10 lg (1 + (f_c/f)^2), by hand
        for exact_hz, nominal in ((10**2.6, "400"), (10**3, "1000")):
            expected = gain_db - 10 * math.log10(1 + (corner / exact_hz) ** 2)
            assert by_band[nominal] == pytest.approx(expected, abs=0.002)


def test_levels_are_matched_and_nothing_changes_where_nothing_was_changed(truth: dict[str, Any]) -> None:
    at_amplifier = truth["filter-as-set"]["level_difference_db"]["amplifier-output"]
    # gain, trim 0.11 dB, and the 0.0073 dB that a 66 Hz high-pass still takes on the mean of the seven bands, by hand
    expected = truth["filter-as-set"]["filter"]["passband_gain_db"] + 0.11 - 0.0073
    assert at_amplifier == pytest.approx(expected, abs=0.001)
    placebo = truth["cable-turned-round"]
    assert placebo["filter"] is None
    assert placebo["level_difference_db"]["amplifier-output"] == 0
    assert {v for by_band in placebo["band_level_change_db"]["main"].values() for v in by_band.values()} == {0.0}
    assert all(abs(of["guard_band"]["largest_change_db"]) < 0.25 for of in truth.values())


def test_what_was_not_measured_or_listened_to_is_null(truth: dict[str, Any]) -> None:
    assert truth["set-for-a-fifth"]["bass"] is None
    assert truth["set-for-a-fifth"]["listening"] is None
    assert truth["set-for-a-fifth"]["level_difference_db"]["amplifier-output"] is None
    assert truth["loudspeaker-moved"]["listening"] is None
    assert {folder: of["balance"] for folder, of in truth.items()} == {
        "filter-as-set": "gain",
        "set-for-a-fifth": "no-gain",
        "cable-turned-round": "no-gain",
        "loudspeaker-moved": "no-gain",
    }


# Listeners


@pytest.mark.parametrize("folder", ["cable-turned-round", "filter-as-set"])
def test_the_sheets_hold_the_trials_and_shares_that_the_truth_tells(folder: str, truth: dict[str, Any]) -> None:
    listening = truth[folder]["listening"]
    suffix = manifest_of(folder)["scores"][0]["files"].rpartition(".")[2]
    trials = rows_of(FOLDER / folder / "scores" / f"identification.{suffix}")
    right = sum(row["x"] == row["answer"] for row in trials)
    assert len(trials) == listening["n_identification_listeners"] * listening["n_identification_trials"]
    assert right / len(trials) == pytest.approx(listening["drawn_right"], abs=1e-4)
    choices = rows_of(FOLDER / folder / "scores" / f"preference.{suffix}")
    points = {truth[folder]["treatment"]: 2, "none": 1, truth[folder]["reference"]: 0}
    assert len(choices) == listening["n_preference_listeners"] * listening["n_preference_trials"]
    share = sum(points[row["preferred"]] for row in choices) / 2 / len(choices)
    assert share == pytest.approx(listening["drawn_preference"], abs=1e-4)
    assert 0 < sum(row["preferred"] == "none" for row in choices) < len(choices) / 2


def test_the_drawn_answers_tell_the_truth_clearly(truth: dict[str, Any]) -> None:
    # exact binomial distribution, scipy; by hand nobody would sum 120 trials
    heard, guessed = truth["filter-as-set"]["listening"], truth["cable-turned-round"]["listening"]
    assert binomtest(round(heard["drawn_right"] * 120), 120, 0.5, alternative="greater").pvalue < 1e-4
    assert binomtest(round(heard["drawn_right"] * 120), 120, heard["detection_probability"]).pvalue > 0.05
    assert binomtest(round(guessed["drawn_right"] * 96), 96, 0.5, alternative="greater").pvalue > 0.05


@pytest.mark.parametrize("folder", ["cable-turned-round", "filter-as-set"])
def test_positions_are_balanced_for_each_listener_and_what_is_x_is_not(folder: str, truth: dict[str, Any]) -> None:
    suffix = manifest_of(folder)["scores"][0]["files"].rpartition(".")[2]
    treatment = truth[folder]["treatment"]
    first: dict[str, int] = defaultdict(int)
    x: dict[str, int] = defaultdict(int)
    for row in rows_of(FOLDER / folder / "scores" / f"preference.{suffix}"):
        first[row["listener"]] += row["first"] == treatment
    for row in rows_of(FOLDER / folder / "scores" / f"identification.{suffix}"):
        x[row["listener"]] += row["x"] == treatment
    assert set(first.values()) == {4}
    assert len(set(x.values())) > 2
    assert all(re.fullmatch(r"L\d\d", listener) for listener in first | x)


def test_many_made_up_listeners_answer_as_often_right_and_prefer_as_they_should(program: dict[str, ModuleType]) -> None:
    listeners = program["listeners"]
    panel = listeners.Panel(
        n_listeners=500,
        n_trials=40,
        programmes=("p",),
        seats=("s",),
        detection=0.72,
        preference=0.75,
        none=0.06,
    )
    rng = np.random.default_rng(11)
    # four standard errors of a share of 20000 independent trials
    right = listeners.share_right(listeners.identification(panel, ("a", "b"), rng))
    assert right == pytest.approx(0.72, abs=4 * math.sqrt(0.72 * 0.28 / 20_000))
    preferred = listeners.share_preferred(listeners.preferences(panel, "a", "b", rng), "b")
    assert preferred == pytest.approx(0.75, abs=4 * math.sqrt(0.75 * 0.25 / 20_000))
