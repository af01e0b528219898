"""The corner of the filter, its order, the load behind it and what the chain says: from made voltages and rooms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from references.helper import check, load
from scipy import optimize

from .conftest import Runner
from .finding_list import FindingList
from .hand_numbers import takes
from .made_rooms import add_takes, unchanged
from .session_writer import ComplexArray, FloatArray, Folder, divider, grid, high_pass

CORNER = ("corner_frequency", "corner_ratio", "filter_order", "implied_load", "passband_gain")
A09 = load("A09")
CAPACITANCE_F, LOAD_OHM, SOURCE_OHM = (A09.inputs[k] for k in ("capacitance_f", "load_ohm", "source_ohm"))
LINE = {
    "design_corner_hz": 100.0,
    "capacitance_nf": CAPACITANCE_F * 1e9,
    "amplifier_input_kohm": LOAD_OHM / 1e3,
    "source_output_ohm": SOURCE_OHM,
    "bass_given_back": False,
}


def behind(load_ohm: float = LOAD_OHM):
    """The line of A09 with the source's resistor, over the source without it."""
    return lambda f: divider(f, CAPACITANCE_F, load_ohm, SOURCE_OHM)


def second_order(f: FloatArray) -> ComplexArray:
    """Butterworth, 80 Hz."""
    s = 1j * f / 80.0
    return s**2 / (s**2 + math.sqrt(2) * s + 1)


def made(
    identifier: str, changes, *, chain=None, seed=3, jitter_db=0.05, folder=None, seats=("A", "B"), **said
) -> Folder:
    folder = folder or Folder(
        id=identifier,
        seats=dict.fromkeys(seats, 1.0),
        conditions={name: {} for name in changes},
        chain={"design_corner_hz": 80.0, "bass_given_back": False} if chain is None else chain,
    )
    folder.add_silence()
    return add_takes(folder, changes, seed=seed, repeats=4, placement_sd_db=jitter_db, **said)


def pair(change, **said):
    return {"out": unchanged, "in": change, **said}


def points() -> Folder:
    """Each point of the chain has a corner of its own, to tell which one was read."""
    folder = made("output", pair(lambda f: high_pass(f, 60.0)), point="amplifier-output")
    made("input", pair(lambda f: high_pass(f, 90.0)), point="amplifier-input", folder=folder)
    return made("seat", pair(lambda f: high_pass(f, 120.0)), folder=folder)


def input_only() -> Folder:
    folder = made("input", pair(lambda f: high_pass(f, 90.0)), point="amplifier-input")
    return made("seat", pair(lambda f: high_pass(f, 120.0)), folder=folder)


def two_filters() -> Folder:
    """A setting moved from 80 to 100 Hz."""
    folder = made("moved", {"out": lambda f: high_pass(f, 80.0), "in": lambda f: high_pass(f, 100.0)}, jitter_db=0.03)
    folder.chain = {"bass_given_back": False}
    folder.conditions = {"out": {"chain": {"design_corner_hz": 80.0}}, "in": {"chain": {"design_corner_hz": 100.0}}}
    return folder


def reference_filters() -> Folder:
    folder = made("reference-filters", {"out": lambda f: high_pass(f, 60.0), "in": unchanged})
    folder.chain = {"bass_given_back": False}
    folder.conditions = {"out": {"chain": {"design_corner_hz": 60.0}}, "in": {}}
    return folder


def sides() -> Folder:
    """Left and right set differently."""
    folder = made("sides", pair(lambda f: high_pass(f, 95.0)), channels=("left",), jitter_db=0.03)
    return made("sides", pair(lambda f: high_pass(f, 115.0)), channels=("right",), jitter_db=0.03, folder=folder)


OUTPUT, INPUT = points(), input_only()
OUTPUT.id, INPUT.id = "output", "input"
FOLDERS = {
    folder.id: folder
    for folder in (
        OUTPUT,
        INPUT,
        made("at-seats", pair(lambda f: 0.9 * high_pass(f, 83.0)), jitter_db=0.3),
        made("line", pair(behind()), chain=LINE, jitter_db=0.02),
        made("a-fifth", pair(behind(5 * LOAD_OHM)), chain={**LINE, "setting_kohm": 20.0}, jitter_db=0.02),
        made("near", pair(lambda f: high_pass(f, 80.0 * 2**0.4)), jitter_db=0.3),
        made("both-only", pair(lambda f: high_pass(f, 80.0)), playing="both"),
        made("no-chain", pair(lambda f: high_pass(f, 80.0)), chain={"amplifier_input_kohm": 20.0}),
        two_filters(),
        reference_filters(),
        sides(),
        made("second-order", pair(second_order)),
        made("vague", pair(lambda f: high_pass(f, 80.0)), jitter_db=2.0),
        made("nothing", pair(unchanged)),
        made("nothing-unmeant", pair(unchanged), chain={"capacitance_nf": 100.0, "bass_given_back": False}),
        made("too-high-to-tell", pair(unchanged), frequency_hz=grid(90.0, 12_000.0)),
        made("high-corner-to-tell", pair(unchanged), frequency_hz=grid(90.0, 12_000.0),
             chain={"design_corner_hz": 160.0, "bass_given_back": False}),
        made("three", {"out": unchanged, "in": lambda f: high_pass(f, 80.0), "low": lambda f: high_pass(f, 40.0)}),
    )
}  # fmt: skip


@pytest.fixture(scope="module")
def found(run_folders: Runner) -> FindingList:
    return run_folders(FOLDERS.values())


def of(found: FindingList, session: str, quantity: str, **said: object) -> dict:
    return found.one(session, quantity, **{"condition": "in", "reference": "out", **said})


def assert_holds(stated: dict, truth: float, relative: float) -> None:
    """The truth lies in the interval widened by half, and the value is near it."""
    middle, half = (stated["low"] + stated["high"]) / 2, (stated["high"] - stated["low"]) / 2
    assert abs(truth - middle) < 1.5 * half
    assert stated["value"] == pytest.approx(truth, rel=relative)


@pytest.mark.parametrize(
    ("session", "point", "corner_hz"),
    [("output", "amplifier-output", 60.0), ("input", "amplifier-input", 90.0), ("at-seats", "seat", 83.0)],
)
def test_the_corner_is_read_at_the_point_nearest_to_the_filter(found, session, point, corner_hz):
    stated = of(found, session, "corner_frequency")
    assert (stated["point"], stated["playing"], stated["unit"], stated["n"]) == (point, "main", "Hz", 4)
    assert_holds(stated, corner_hz, 0.02)
    assert {f["point"] for f in found.all(session, "corner_frequency")} == {point}


def test_the_corner_is_the_least_squares_fit_with_a_gain_for_each_seat(found):
    folder = FOLDERS["at-seats"]
    frequency = folder.curves[-1].frequency_hz
    change = []
    for seat in folder.seats:
        mean = [np.mean([10 ** (t.level_db / 10) for t in takes(folder, c, seat)], axis=0) for c in ("in", "out")]
        change.append(10 * np.log10(mean[0] / mean[1]))

    def residual(parameters: FloatArray) -> FloatArray:
        shape = 20 * np.log10(np.abs(high_pass(frequency, math.exp(parameters[0]))))
        return np.concatenate([change[k] - shape - parameters[1 + k] for k in range(2)])

    fitted = optimize.least_squares(residual, [math.log(50.0), 0.0, 0.0], xtol=1e-14, ftol=1e-14).x
    assert of(found, "at-seats", "corner_frequency")["value"] == pytest.approx(math.exp(fitted[0]), rel=1e-4)
    assert of(found, "at-seats", "passband_gain")["value"] == pytest.approx(np.mean(fitted[1:]), abs=1e-3)
    for k, seat in enumerate(folder.seats):
        own = optimize.least_squares(
            lambda p, k=k: residual(np.array([p[0], p[1], p[1]]))[k * len(frequency) :][: len(frequency)], [4.0, 0.0]
        ).x
        assert of(found, "at-seats", "corner_frequency", seat=seat)["value"] == pytest.approx(
            math.exp(own[0]), rel=1e-3
        )


def test_a_source_resistance_costs_level_and_does_not_move_the_fitted_corner(found):
    gain, corner = of(found, "line", "passband_gain"), of(found, "line", "corner_frequency")
    assert gain["value"] == pytest.approx(A09.expected["passband_db"], abs=0.04)
    assert abs(gain["value"] - A09.expected["passband_db"]) < 0.75 * (gain["high"] - gain["low"])
    assert_holds(corner, A09.expected["corner_hz"], 0.005)
    check(of(found, "line", "predicted_corner_frequency", point=None)["value"], A09.expected["corner_hz"], A09)
    assert of(found, "line", "expected_corner_frequency")["value"] == 100.0
    assert_holds(of(found, "line", "implied_load"), LOAD_OHM, 0.005)


def test_a_setting_for_a_fifth_of_the_load_is_said_as_ratio_and_in_octaves(found):
    truth_hz = 1 / (2 * math.pi * CAPACITANCE_F * (SOURCE_OHM + 5 * LOAD_OHM))
    ratio, octaves = of(found, "a-fifth", "corner_ratio"), of(found, "a-fifth", "corner_ratio", variant="octaves")
    assert_holds(ratio, truth_hz / 100.0, 0.01)
    assert_holds(octaves, math.log2(truth_hz / 100.0), 0.01)
    assert (ratio["verdict"], octaves["verdict"]) == ("mis-set", "mis-set")
    assert_holds(of(found, "a-fifth", "implied_load"), 5 * LOAD_OHM, 0.01)


@pytest.mark.parametrize(
    ("session", "verdict"), [("at-seats", "as-set"), ("near", "undecided"), ("a-fifth", "mis-set")]
)
def test_the_corner_is_as_set_if_its_whole_interval_lies_within_the_tolerance(found, session, verdict):
    ratio = of(found, session, "corner_ratio")
    assert ratio["verdict"] == verdict
    inside = ratio["low"] >= 2**-0.4 and ratio["high"] <= 2**0.4
    outside = ratio["low"] > 2**0.4 or ratio["high"] < 2**-0.4
    assert (inside, outside) == (verdict == "as-set", verdict == "mis-set")


@pytest.mark.parametrize(
    ("session", "verdict", "order"),
    [("at-seats", "first-order", 1.0), ("second-order", "other", 2.0), ("vague", "undecided", None)],
)
def test_the_order_is_told_by_its_interval(found, session, verdict, order):
    stated = of(found, session, "filter_order")
    assert stated["verdict"] == verdict
    if order is not None:
        assert stated["value"] == pytest.approx(order, rel=0.03)
        assert (stated["low"] >= 0.75 and stated["high"] <= 1.25) == (verdict == "first-order")


@pytest.mark.parametrize("session", ["nothing", "nothing-unmeant", "high-corner-to-tell"])
def test_no_filter_is_said_where_one_would_have_shown(found, session):
    assert of(found, session, "filter_order")["verdict"] == "no-filter"
    assert of(found, session, "corner_frequency")["value"] is None
    ratio = of(found, session, "corner_ratio")
    assert ratio["value"] is None
    assert ratio["verdict"] == ("undecided" if session == "nothing-unmeant" else "mis-set")
    for quantity in CORNER:
        assert of(found, session, quantity)["caveats"]


def test_no_filter_is_not_said_where_the_expected_one_would_lose_less_than_3_db(found):
    lowest = grid(90.0, 12_000.0)[0]
    assert -20 * math.log10(abs(high_pass(np.array([lowest]), 80.0)[0])) < 3.0
    assert of(found, "too-high-to-tell", "filter_order")["verdict"] != "no-filter"


def test_a_subwoofer_that_plays_hides_the_filter(found):
    for quantity in CORNER:
        stated = of(found, "both-only", quantity)
        assert stated["value"] is None
        assert "the subwoofer hides the filter" in stated["caveats"]
        assert stated["verdict"] in (None, "undecided")


def test_no_corner_is_told_where_no_chain_names_a_filter(found):
    assert [f for f in found.findings if f["session"] == "no-chain" and f["analyser"] == "filter"] == []


def test_two_filters_are_a_quotient_and_give_a_corner_each(found):
    assert_holds(of(found, "moved", "corner_frequency"), 100.0, 0.05)
    assert_holds(of(found, "moved", "corner_frequency", condition="out", reference=None), 80.0, 0.05)
    expected = {(f["condition"], f["reference"]): f["value"] for f in found.all("moved", "expected_corner_frequency")}
    assert expected == {("in", "out"): 100.0, ("out", None): 80.0}


def test_a_filter_in_the_reference_alone_is_found_there(found):
    stated = of(found, "reference-filters", "corner_frequency", condition="out", reference=None)
    assert_holds(stated, 60.0, 0.02)
    assert of(found, "reference-filters", "corner_frequency")["value"] is None


def test_channels_at_different_corners_are_named(found):
    over = of(found, "sides", "corner_frequency")
    assert any("left 95" in caveat and "right 11" in caveat for caveat in over["caveats"])
    for channel, corner_hz in (("left", 95.0), ("right", 115.0)):
        assert_holds(of(found, "sides", "corner_frequency", channel=channel), corner_hz, 0.01)


def test_each_of_three_conditions_has_its_corner(found):
    assert_holds(of(found, "three", "corner_frequency"), 80.0, 0.01)
    assert_holds(of(found, "three", "corner_frequency", condition="low"), 40.0, 0.01)
    assert of(found, "three", "corner_ratio", condition="low")["verdict"] == "mis-set"
