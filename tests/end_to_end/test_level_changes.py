"""Level changes per band: against numbers worked out afresh from the files, through a whole run."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from references.helper import check, load

from .conftest import Runner
from .finding_list import FindingList
from .hand_numbers import NOMINAL_HZ, band_db, band_power, edges_hz, t_half, take_bands_db, takes
from .made_rooms import add_takes, unchanged
from .session_writer import Folder, Room, grid, high_pass

SEATS = {"A": 2.0, "B": 1.0, "Z": 0.0}
CHANNELS = ("left", "right")
REPEATS = {"out": 3, "in": 4, "wide": 2}
CHANGES = {
    "out": unchanged,
    "in": lambda f: 0.98 * high_pass(f, 70.0),
    "wide": lambda f: 1.1 * high_pass(f, 30.0) ** 2,
}


def drawn(identifier: str, order: Iterable[str], *, in_place: bool = False, seed: int = 1) -> Folder:
    names = list(order)
    folder = Folder(id=identifier, seats=SEATS, conditions={name: {} for name in names})
    folder.add_silence()
    return add_takes(
        folder, {n: CHANGES[n] for n in names}, seed=seed, repeats=REPEATS, channels=CHANNELS, in_place=in_place
    )


def flat(identifier: str, levels: dict[str, dict[str, list[float]]], frequency: Any = None) -> Folder:
    """Levels that are the same at every frequency: condition, seat, one entry per repeat."""
    first = next(iter(levels.values()))
    folder = Folder(id=identifier, seats=dict.fromkeys(first, 1.0), conditions={name: {} for name in levels})
    folder.add_silence()
    for condition, by_seat in levels.items():
        for seat, repeats in by_seat.items():
            for index, level in enumerate(repeats):
                folder.add(condition, seat, index + 1, grid() if frequency is None else frequency, level)
    return folder


D03 = load("D03")
FOLDERS = {
    "drawn": drawn("drawn", ("out", "in")),
    "swapped": drawn("swapped", ("in", "out")),
    "held": drawn("held", ("out", "in"), in_place=True),
    "three": drawn("three", ("out", "in", "wide")),
    "edges": flat("edges", {"out": {"A": [70.0] * 3}, "in": {"A": [69.0] * 3}}, grid(22.0, 9000.0)),
    "means": flat(
        "means",
        {
            "out": {s: [float(v)] for s, v in zip("ABC", D03.inputs["seats_out_db"], strict=True)},
            "in": {s: [float(v)] for s, v in zip("ABC", D03.inputs["seats_in_db"], strict=True)},
        },
    ),
    "energy": flat("energy", {"out": {"A": [70.0, 76.0]}, "in": {"A": [73.0, 73.5]}}),
}


def missing() -> Folder:
    folder = flat(
        "missing", {"out": {"A": [70.0, 70.1, 70.2], "B": [71.0, 71.1, 71.2]}, "in": {"A": [68.0, 68.1, 68.2]}}
    )
    return replace(folder, seats={"A": 1.0, "B": 1.0})


def slanted() -> Folder:
    """Repeats on grids of their own; levels straight over ln f, so that nothing hangs on where the points lie."""
    folder = Folder(id="slanted")
    folder.add_silence()
    grids = [grid(15, 12_000, 24), grid(12, 13_000, 17), grid(16, 11_800, 31)]
    for condition, fall in (("out", -3.0), ("in", -4.0)):
        for repeat, frequency in enumerate(grids):
            folder.add(condition, "A", repeat + 1, frequency, 70 + fall * np.log10(frequency / 1000) + 0.1 * repeat)
    return folder


@pytest.fixture(scope="module")
def found(run_folders: Runner) -> FindingList:
    return run_folders([*FOLDERS.values(), missing(), slanted()])


def change(found: FindingList, session: str, nominal_hz: float, **said: object) -> dict[str, Any]:
    return found.one(session, "level_change", nominal_hz=nominal_hz, **{"condition": "in", "playing": "main", **said})


def cells(folder: Folder, nominal_hz: float) -> list[Any]:
    """Band levels of every take, one entry per seat, channel and condition."""
    return [
        take_bands_db(takes(folder, name, seat, channel=channel), nominal_hz)
        for seat in SEATS
        for channel in CHANNELS
        for name in ("out", "in")
    ]


def seat_change(folder: Folder, seat: str, nominal_hz: float, channels: Iterable[str] = CHANNELS) -> float:
    """Mean over channels of the difference of the energy means of the repeats."""
    return float(
        np.mean(
            [
                band_db(takes(folder, "in", seat, channel=c), nominal_hz)
                - band_db(takes(folder, "out", seat, channel=c), nominal_hz)
                for c in channels
            ]
        )
    )


@pytest.mark.parametrize("nominal_hz", [20.0, 31.5, 63.0, 125.0, 1000.0, 10000.0])
def test_a_seats_change_is_the_mean_over_channels_of_energy_means_with_a_pooled_t_interval(found, nominal_hz):
    folder = FOLDERS["drawn"]
    half = t_half(cells(folder, nominal_hz), 2 * (1 / 3 + 1 / 4) / 4)
    for seat in SEATS:
        stated = change(found, "drawn", nominal_hz, seat=seat)
        value = seat_change(folder, seat, nominal_hz)
        assert stated["value"] == pytest.approx(value, abs=0.003)
        assert stated["high"] - stated["low"] == pytest.approx(2 * half, rel=0.003)
        assert (stated["low"] + stated["high"]) / 2 == pytest.approx(value, abs=0.003)
        assert (stated["n"], stated["confidence"], stated["unit"]) == (3, 0.95, "dB")
        assert stated["band_hz"] == pytest.approx(edges_hz(nominal_hz), rel=1e-12)


@pytest.mark.parametrize("nominal_hz", [25.0, 80.0, 2000.0])
def test_over_seats_is_the_weighted_mean_and_a_seat_of_weight_0_does_not_count(found, nominal_hz):
    folder = FOLDERS["drawn"]
    value = (2 * seat_change(folder, "A", nominal_hz) + seat_change(folder, "B", nominal_hz)) / 3
    half = t_half(cells(folder, nominal_hz), (4 / 9 + 1 / 9) * (1 / 3 + 1 / 4) / 2)
    stated = change(found, "drawn", nominal_hz)
    assert stated["value"] == pytest.approx(value, abs=0.003)
    assert stated["high"] - stated["low"] == pytest.approx(2 * half, rel=0.003)


def test_a_channel_alone_is_weighted_over_seats_too(found):
    folder = FOLDERS["drawn"]
    value = (2 * seat_change(folder, "A", 50.0, ["left"]) + seat_change(folder, "B", 50.0, ["left"])) / 3
    assert change(found, "drawn", 50.0, channel="left")["value"] == pytest.approx(value, abs=0.003)


@pytest.mark.parametrize("nominal_hz", [20.0, 63.0, 500.0])
def test_the_truth_lies_in_the_interval_widened_by_half(found, nominal_hz):
    for place, seat in enumerate(SEATS):
        by_channel = []
        for side in range(2):
            room = Room(seed=1000 + 10 * place + side)
            power = [
                band_power(lambda f, c=c, r=room: np.abs(r(f) * CHANGES[c](f)) ** 2, nominal_hz) for c in ("in", "out")
            ]
            by_channel.append(10 * np.log10(power[0] / power[1]))
        stated = change(found, "drawn", nominal_hz, seat=seat)
        assert abs(stated["value"] - np.mean(by_channel)) < 0.75 * (stated["high"] - stated["low"])


def test_mean_of_changes_and_change_of_energy_means_are_two_quantities(found):
    check(change(found, "means", 1000.0)["value"], D03.expected["mean_of_changes_db"], D03)
    of_means = change(found, "means", 1000.0, variant="of-means")
    check(of_means["value"], D03.expected["change_of_energy_means_db"], D03)


@pytest.mark.parametrize("nominal_hz", [40.0, 1000.0])
def test_of_means_weighs_energies_by_seat_per_channel(found, nominal_hz):
    folder = FOLDERS["drawn"]
    values = []
    for channel in CHANNELS:
        level = {
            (seat, name): band_db(takes(folder, name, seat, channel=channel), nominal_hz)
            for seat in "AB"
            for name in ("in", "out")
        }
        energy = {
            name: (2 * 10 ** (level["A", name] / 10) + 10 ** (level["B", name] / 10)) / 3 for name in ("in", "out")
        }
        values.append(10 * np.log10(energy["in"] / energy["out"]))
    stated = change(found, "drawn", nominal_hz, variant="of-means")
    assert stated["value"] == pytest.approx(np.mean(values), abs=0.003)
    assert stated["low"] < stated["value"] < stated["high"]


def test_repeats_are_averaged_in_energy_before_the_difference(found):
    assert change(found, "energy", 1000.0, seat="A")["value"] == pytest.approx(
        10 * np.log10((10**7.3 + 10**7.35) / (10**7.0 + 10**7.6)), abs=1e-3
    )


@pytest.mark.parametrize(("session", "n"), [("means", 1), ("energy", 2)])
def test_fewer_than_three_degrees_of_freedom_give_no_interval_and_say_so(found, session, n):
    stated = change(found, session, 500.0)
    assert (stated["low"], stated["high"], stated["confidence"], stated["n"]) == (None, None, None, n)
    assert any("degrees of freedom" in caveat for caveat in stated["caveats"])
    for quantity in ("level_difference", "guard_band_change", "target_deviation_change"):
        judged = found.one(session, quantity, condition="in")
        assert judged["value"] is not None
        assert (judged["low"], judged["high"], judged["verdict"]) == (None, None, "undecided")


def test_a_band_whose_edges_the_data_do_not_reach_is_null(found):
    values = {nominal: change(found, "edges", nominal, seat="A")["value"] for nominal in NOMINAL_HZ}
    assert {nominal for nominal, value in values.items() if value is None} == {20.0, 10000.0}
    assert (values[25.0], values[8000.0]) == pytest.approx((-1.0, -1.0), abs=1e-9)
    for nominal in (20.0, 10000.0):
        assert "edges" in change(found, "edges", nominal)["caveats"][0]


def test_a_seat_without_one_condition_is_null_with_a_caveat_and_the_other_seats_stand(found):
    stated = change(found, "missing", 1000.0, seat="B")
    assert stated["value"] is None
    assert any("in was measured at seat B" in caveat for caveat in stated["caveats"])
    over, alone = change(found, "missing", 1000.0), change(found, "missing", 1000.0, seat="A")
    assert over["value"] == alone["value"] == pytest.approx(-2.0, abs=1e-3)
    for quantity in ("level_difference", "guard_band_change", "target_deviation_change"):
        assert found.one("missing", quantity, seat="B", condition="in")["value"] is None


def test_repeats_on_grids_of_their_own_are_brought_together(found):
    for nominal in (20.0, 100.0, 4000.0):
        power = [
            band_power(lambda f, fall=fall: 10 ** (fall * np.log10(f / 1000) / 10), nominal) for fall in (-4.0, -3.0)
        ]
        stated = change(found, "slanted", nominal, seat="A")
        assert stated["value"] == pytest.approx(10 * np.log10(power[0] / power[1]), abs=0.002)


def test_each_of_three_conditions_is_held_against_the_reference(found):
    for nominal in (31.5, 100.0):
        assert change(found, "three", nominal, seat="A")["value"] == pytest.approx(
            change(found, "drawn", nominal, seat="A")["value"], abs=1e-9
        )
        levels = [
            np.mean([band_db(takes(FOLDERS["three"], n, "A", channel=c), nominal) for c in CHANNELS])
            for n in ("wide", "out")
        ]
        wide = change(found, "three", nominal, seat="A", condition="wide")
        assert wide["value"] == pytest.approx(levels[0] - levels[1], abs=0.003)
        assert (wide["reference"], wide["n"]) == ("out", 2)


@pytest.mark.parametrize("quantity", ["level_change", "level_difference", "bass_level_difference", "guard_band_change"])
def test_the_other_condition_as_reference_turns_the_sign(found, quantity):
    pairs = [
        (one, other)
        for one in found.all("drawn", quantity)
        for other in found.all("swapped", quantity, **{k: one[k] for k in ("seat", "channel", "variant", "band_hz")})
    ]
    assert len(pairs) == len(found.all("drawn", quantity)) > 3
    for one, other in pairs:
        assert (one["condition"], other["condition"]) == ("in", "out")
        if one["value"] is None:
            assert other["value"] is None
            continue
        assert other["value"] == pytest.approx(-one["value"], abs=1e-9)
        assert (other["low"], other["high"]) == pytest.approx((-one["high"], -one["low"]), abs=1e-9)
        assert other["verdict"] == one["verdict"]


def test_repeats_in_place_widen_the_interval_by_the_placement_spread_and_say_so(found):
    folder = FOLDERS["held"]
    for said, seats in (({"seat": "A"}, 1.0), ({}, 4 / 9 + 1 / 9)):
        stated = change(found, "held", 100.0, **said)
        half = t_half(cells(folder, 100.0), seats * (1 / 3 + 1 / 4) / 2, extra_variance=seats * 2 * 0.3**2)
        assert stated["value"] == pytest.approx(change(found, "drawn", 100.0, **said)["value"], abs=1e-9)
        assert stated["high"] - stated["low"] == pytest.approx(2 * half, rel=0.003)
        assert any("in place" in caveat for caveat in stated["caveats"])
    assert not change(found, "drawn", 100.0)["caveats"]
