"""Bass against a target, at each seat and over seats, and its spread: worked out afresh from the written numbers."""

from __future__ import annotations

import numpy as np
import pytest

from .conftest import Runner
from .finding_list import FindingList
from .hand_numbers import band_db, nominal_between, takes
from .made_rooms import add_takes, unchanged
from .session_writer import FloatArray, Folder, grid, high_pass

BASS = nominal_between(20, 200)
MIDBAND = nominal_between(1000, 4000)
TARGET = (np.array([20.0, 63.0, 200.0, 1000.0]), np.array([6.0, 4.0, 1.0, 0.0]))
SEATS = {"A": 1.0, "B": 3.0, "C": 0.0}


def shelved(
    identifier: str,
    heights: dict[str, tuple[float, float]],
    *,
    jitter_db: float = 0.05,
    top_hz: float = 12_000.0,
    **said: object,
) -> Folder:
    """Seats whose bass stands so many dB above the rest in reference and condition, four repeats each."""
    seats = {seat: 0.0 if seat == "Z" else 1.0 for seat in heights}
    folder = Folder(id=identifier, seats=seats, **said)  # type: ignore[arg-type]
    folder.add_silence()
    draw = np.random.default_rng(len(identifier))
    frequency = grid(15.0, top_hz)
    for seat, levels in heights.items():
        for name, height in zip(("out", "in"), levels, strict=True):
            for repeat in range(4):
                level = 70 + np.where(frequency < 230.0, height + draw.normal(0, jitter_db), 0.0)
                folder.add(name, seat, repeat + 1, frequency, level)
    return folder


def drawn(identifier: str, target: tuple[FloatArray, FloatArray] | None = None, order=("out", "in")) -> Folder:
    folder = Folder(id=identifier, seats=SEATS, conditions={name: {} for name in order}, target=target)
    folder.add_silence()
    changes = {"out": unchanged, "in": lambda f: 1.05 * high_pass(f, 45.0)}
    return add_takes(folder, changes, seed=8, repeats=3, channels=("left", "right"))


FOLDERS = {
    folder.id: folder
    for folder in (
        drawn("drawn"),
        drawn("to-target", TARGET),
        drawn("swapped", order=("in", "out")),
        shelved("better", {"A": (6.0, 3.0), "B": (5.0, 3.0), "Z": (0.0, 4.0)}),
        shelved("one-worse", {"A": (8.0, 2.0), "B": (6.0, 1.0), "C": (1.0, 2.5)}),
        shelved("worse", {"A": (1.0, 3.0), "B": (2.0, 3.0)}),
        shelved("little-better", {"A": (3.0, 2.7), "B": (3.0, 2.7)}),
        shelved("unclear", {"A": (3.0, 2.4), "B": (3.0, 2.4)}, jitter_db=1.0),
        shelved("to-3000-hz", {"A": (6.0, 3.0), "B": (5.0, 3.0)}, top_hz=3000.0),
        shelved("to-1000-hz", {"A": (6.0, 3.0), "B": (5.0, 3.0)}, top_hz=1000.0),
        shelved("to-4200-hz", {"A": (6.0, 3.0), "B": (5.0, 3.0)}, top_hz=4200.0),
        shelved("from-40-hz", {"A": (6.0, 3.0)}, criteria={"bass_band_hz": [40.0, 100.0]}),
        shelved("apart", {"A": (2.0, 1.0), "B": (8.0, 1.0), "C": (5.0, 1.0)}),
    )
}


@pytest.fixture(scope="module")
def found(run_folders: Runner) -> FindingList:
    return run_folders(FOLDERS.values())


def relative(folder: Folder, condition: str, seat: str, channel: str | None, shape: bool) -> FloatArray:
    """Band levels less target of the bass, less their own mean or the mid-band's."""

    def less_target(nominals: list[float]) -> FloatArray:
        exact = 10 ** (np.round(10 * np.log10(nominals)) / 10)
        level = np.array([band_db(takes(folder, condition, seat, channel=channel), n) for n in nominals])
        if folder.target is None:
            return level
        return level - np.interp(np.log(exact), np.log(folder.target[0]), folder.target[1])

    bass = less_target(BASS)
    return bass - (bass if shape else less_target(MIDBAND)).mean()


def deviation(folder: Folder, condition: str, seat: str, shape: bool, channels=("left", "right")) -> float:
    each = [np.sqrt(np.mean(relative(folder, condition, seat, c, shape) ** 2)) for c in channels]
    return float(np.mean(each))


@pytest.mark.parametrize("variant", [None, "shape"])
@pytest.mark.parametrize("session", ["drawn", "to-target"])
def test_deviation_and_its_change_are_those_of_the_written_numbers(found, session, variant):
    by_hand = {
        (name, seat): deviation(FOLDERS[session], name, seat, variant == "shape")
        for name in ("in", "out")
        for seat in SEATS
    }
    changes = {}
    for seat in SEATS:
        for name in ("in", "out"):
            stated = found.one(session, "target_deviation", variant=variant, condition=name, seat=seat)
            assert stated["value"] == pytest.approx(by_hand[name, seat], abs=0.003)
            assert stated["reference"] is None
        changes[seat] = by_hand["in", seat] - by_hand["out", seat]
        stated = found.one(session, "target_deviation_change", variant=variant, seat=seat)
        assert stated["value"] == pytest.approx(changes[seat], abs=0.003)
        assert stated["low"] < stated["value"] < stated["high"]
    over = found.one(session, "target_deviation_change", variant=variant)
    assert over["value"] == pytest.approx((changes["A"] + 3 * changes["B"]) / 4, abs=0.003)


def test_the_spread_is_the_mean_square_over_bands_of_the_deviation_over_seats_that_count(found):
    folder, spread = FOLDERS["drawn"], {}
    for name in ("in", "out"):
        each = []
        for channel in ("left", "right"):
            levels = np.array([relative(folder, name, seat, channel, False) for seat in "AB"])
            each.append(np.sqrt(np.mean(np.std(levels, axis=0, ddof=1) ** 2)))
        spread[name] = np.mean(each)
    stated = found.one("drawn", "seat_spread_change")
    assert stated["value"] == pytest.approx(spread["in"] - spread["out"], abs=0.003)


def test_seats_that_come_together_have_less_spread(found):
    stated = found.one("apart", "seat_spread_change")
    assert stated["value"] == pytest.approx(-3.0, abs=0.1)
    assert stated["verdict"] == "improved"


@pytest.mark.parametrize(
    ("session", "seat", "verdict"),
    [
        ("better", "A", "improved"),
        ("better", "Z", "worse"),
        ("better", None, "improved"),
        ("one-worse", "A", "improved"),
        ("one-worse", "C", "worse"),
        ("one-worse", None, "undecided"),
        ("worse", "A", "worse"),
        ("worse", None, "worse"),
        ("little-better", "A", "unchanged"),
        ("little-better", None, "unchanged"),
        ("unclear", "A", "undecided"),
        ("unclear", None, "undecided"),
    ],
)
def test_the_change_is_judged_unchanged_first_then_by_its_sign(found, session, seat, verdict):
    stated = found.one(session, "target_deviation_change", seat=seat)
    assert stated["verdict"] == verdict
    if session == "little-better":
        assert stated["high"] < 0


def test_over_seats_better_but_worse_at_one_names_that_seat(found):
    over = found.one("one-worse", "target_deviation_change")
    assert over["high"] < 0
    assert [c for c in over["caveats"] if "worse at C" in c]
    assert not any("worse at" in c for c in found.one("better", "target_deviation_change")["caveats"])


@pytest.mark.parametrize("session", ["to-3000-hz", "to-1000-hz"])
def test_where_data_stop_below_4_khz_the_headline_is_the_shape_and_says_so(found, session):
    for quantity in ("target_deviation", "target_deviation_change"):
        for headline in found.all(session, quantity, variant=None):
            same = {k: headline[k] for k in ("seat", "condition", "reference")}
            assert headline["value"] == found.one(session, quantity, variant="shape", **same)["value"]
            assert any("4 kHz" in caveat for caveat in headline["caveats"])
    assert found.one(session, "target_deviation", condition="out", seat="A")["value"] < 0.5


def test_data_to_4200_hz_keep_the_mid_band(found):
    stated = found.one("to-4200-hz", "target_deviation", condition="out", seat="A")
    assert stated["value"] == pytest.approx(6.0, abs=0.2)
    assert not any("4 kHz" in caveat for caveat in stated["caveats"])
    assert any("4000" in c for c in found.one("to-4200-hz", "level_difference", seat="A")["caveats"])


def test_the_bass_band_of_the_criteria_counts(found):
    stated = found.one("from-40-hz", "target_deviation", condition="in", seat="A")
    assert stated["value"] == pytest.approx(3.0, abs=0.1)


def test_the_other_condition_as_reference_turns_the_sign(found):
    for quantity in ("target_deviation_change", "seat_spread_change"):
        for one in found.all("drawn", quantity):
            other = found.one("swapped", quantity, variant=one["variant"], seat=one["seat"])
            assert other["value"] == pytest.approx(-one["value"], abs=1e-9)
            assert (other["low"], other["high"]) == pytest.approx((-one["high"], -one["low"]), abs=1e-9)
