"""What is heard and whether its level is matched: main, sub, both, trims, amplifier, loudness, guard band."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from .conftest import Runner
from .finding_list import FindingList
from .hand_numbers import band_db, nominal_between, t_half, take_bands_db, takes
from .made_rooms import add_takes, unchanged
from .session_writer import FloatArray, Folder, grid, high_pass

MIDBAND = nominal_between(1000, 4000)
BASS = nominal_between(31.5, 80)
GUARD = nominal_between(500, 10_000)
HIDDEN = "measure with the subwoofer playing"
FILTER = {"design_corner_hz": 80.0}


def steady(
    identifier: str,
    shape_db: Callable[[FloatArray], FloatArray],
    *,
    jitter_db: float = 0.02,
    point: str = "seat",
    playing: str = "main",
    folder: Folder | None = None,
    **said: object,
) -> Folder:
    """Four repeats of a flat reference and of a condition of the given change, each with a gain error of its own."""
    folder = folder or Folder(id=identifier, **said)  # type: ignore[arg-type]
    folder.add_silence()
    frequency = grid()
    draw = np.random.default_rng(len(identifier))
    for seat in folder.seats if point == "seat" else [None]:
        for name, change in (("out", 0.0 * frequency), ("in", shape_db(frequency))):
            for repeat in range(4):
                level = 70 + change + draw.normal(0, jitter_db)
                folder.add(name, seat, repeat + 1, frequency, level, point=point, playing=playing)
    return folder


def gain(level_db: float) -> Callable[[FloatArray], FloatArray]:
    return lambda f: np.full(len(f), level_db)


def bump(nominal_hz: float, height_db: float) -> Callable[[FloatArray], FloatArray]:
    """A change of this height over the band and a little beyond, and none elsewhere."""
    return lambda f: np.where(np.abs(np.log2(f / nominal_hz)) < 0.25, height_db, 0.0)


def everything() -> Folder:
    """Main, subwoofer and both, which do different things."""
    folder = steady("everything", lambda f: 20 * np.log10(np.abs(high_pass(f, 80.0))), chain=FILTER)
    steady("everything-sub", gain(0.7), playing="sub", folder=folder)
    return steady("everything-both", gain(0.3), playing="both", folder=folder)


def one_with_subwoofer() -> Folder:
    """Three conditions, of which the third was measured with the main loudspeakers only."""
    said = {"conditions": {"out": {}, "in": {}, "less": {}}, "chain": FILTER}
    folder = steady("one-with", gain(0.2), **said)
    steady("one-with-both", gain(0.04), playing="both", folder=folder)
    for repeat in range(4):
        folder.add("less", "A", repeat + 1, grid(), 70.5 + 0.01 * repeat)
    return folder


def at_amplifier() -> Folder:
    folder = steady("amplifier", gain(0.3), conditions={"out": {}, "in": {"trim_db": -0.28}})
    return steady("amplifier-output", gain(0.27), jitter_db=0.003, point="amplifier-output", folder=folder)


DRAWN = add_takes(
    Folder(id="drawn", seats={"A": 3.0, "B": 1.0}, conditions={"out": {"trim_db": 0.5}, "in": {"trim_db": 0.2}}),
    {"out": unchanged, "in": lambda f: 1.02 * high_pass(f, 60.0)},
    seed=5,
    repeats=4,
)
DRAWN.add_silence()
FOLDERS = {
    folder.id: folder
    for folder in (
        DRAWN,
        everything(),
        one_with_subwoofer(),
        at_amplifier(),
        steady("main-only", gain(0.3), chain=FILTER),
        steady("not-given-back", gain(0.3), chain={**FILTER, "bass_given_back": False}),
        steady("no-filter", gain(0.03)),
        steady("given-back-said", gain(0.03), chain={"bass_given_back": True}),
        steady("trimmed", gain(0.3), conditions={"out": {"trim_db": 0.1}, "in": {"trim_db": -0.2}}),
        steady("nearly", gain(0.1), jitter_db=0.05),
        steady("loudness", gain(0.05), criteria={"level_measure": "loudness"}),
        steady("touched", bump(2000.0, 0.9)),
        steady("near-touched", bump(6300.0, -0.5)),
        steady("untouched", bump(5000.0, 0.3)),
        steady("lifted", gain(3.0)),
    )
}


@pytest.fixture(scope="module")
def found(run_folders: Runner) -> FindingList:
    return run_folders(FOLDERS.values())


def level(found: FindingList, session: str, quantity: str = "level_difference", **said: object) -> dict:
    return found.one(session, quantity, condition="in", **said)


def mean_change(folder: Folder, seat: str, nominals: list[float]) -> float:
    changes = [band_db(takes(folder, "in", seat), n) - band_db(takes(folder, "out", seat), n) for n in nominals]
    return float(np.mean(changes))


@pytest.mark.parametrize(("quantity", "nominals"), [("level_difference", MIDBAND), ("bass_level_difference", BASS)])
def test_level_differences_are_means_of_band_changes_plus_trims(found, quantity, nominals):
    by_seat = {seat: mean_change(DRAWN, seat, nominals) - 0.3 for seat in "AB"}
    per_take = [
        np.mean([take_bands_db(takes(DRAWN, c, seat), n) for n in nominals], axis=0)
        for seat in "AB"
        for c in ("in", "out")
    ]
    stated = level(found, "drawn", quantity)
    assert stated["value"] == pytest.approx((3 * by_seat["A"] + by_seat["B"]) / 4, abs=0.002)
    half = t_half(per_take, (9 / 16 + 1 / 16) * (1 / 4 + 1 / 4))
    assert stated["high"] - stated["low"] == pytest.approx(2 * half, rel=0.003)
    for seat, value in by_seat.items():
        assert level(found, "drawn", quantity, seat=seat)["value"] == pytest.approx(value, abs=0.002)


@pytest.mark.parametrize(
    ("session", "verdict", "value"),
    [
        ("no-filter", "matched", 0.03),
        ("main-only", "unmatched", 0.3),
        ("trimmed", "matched", 0.0),
        ("nearly", "undecided", 0.1),
    ],
)
def test_the_level_is_matched_if_the_whole_interval_lies_within_the_tolerance(found, session, verdict, value):
    stated = level(found, session)
    assert stated["verdict"] == verdict
    assert stated["value"] == pytest.approx(value, abs=0.06)
    inside = stated["low"] >= -0.1 and stated["high"] <= 0.1
    outside = stated["low"] > 0.1 or stated["high"] < -0.1
    assert (inside, outside) == (verdict == "matched", verdict == "unmatched")


def test_trims_enter_the_level_difference_and_no_level_change(found):
    assert found.one("trimmed", "level_change", nominal_hz=1000.0)["value"] == pytest.approx(0.3, abs=0.05)


def test_the_amplifiers_output_counts_where_it_was_measured(found):
    stated = level(found, "amplifier")
    assert (stated["point"], stated["verdict"]) == ("amplifier-output", "matched")
    assert stated["value"] == pytest.approx(-0.01, abs=0.005)
    assert {f["point"] for f in found.all("amplifier", "level_difference")} == {"amplifier-output"}


def test_what_is_heard_is_everything_playing_where_it_was_measured(found):
    assert level(found, "everything")["playing"] == "both"
    assert level(found, "everything")["value"] == pytest.approx(0.3, abs=0.05)
    assert level(found, "everything", "bass_level_difference")["playing"] == "both"
    assert level(found, "everything", "guard_band_change")["playing"] == "both"
    assert {f["playing"] for f in found.all("everything", "target_deviation")} == {"both"}
    assert not any(HIDDEN in f["caveats"] for f in found.findings if f["session"] == "everything")


def test_the_level_change_is_given_for_each_state_of_playing(found):
    values = {
        playing: found.one("everything", "level_change", playing=playing, nominal_hz=80.0)["value"]
        for playing in ("main", "sub", "both")
    }
    assert values["main"] == pytest.approx(-3.0, abs=0.1)
    assert (values["sub"], values["both"]) == pytest.approx((0.7, 0.3), abs=0.05)


def test_a_condition_that_was_not_measured_with_the_subwoofer_is_heard_from_the_main_loudspeakers(found):
    heard = {name: found.one("one-with", "level_difference", condition=name) for name in ("in", "less")}
    assert (heard["in"]["playing"], heard["less"]["playing"]) == ("both", "main")
    assert heard["less"]["value"] == pytest.approx(0.5, abs=0.05)
    change = {name: found.one("one-with", "target_deviation_change", condition=name) for name in ("in", "less")}
    assert change["in"]["value"] is not None
    assert (change["less"]["value"], HIDDEN in change["less"]["caveats"]) == (None, True)


@pytest.mark.parametrize("session", ["main-only", "given-back-said"])
def test_bass_is_not_judged_while_the_subwoofer_that_gives_it_back_was_off(found, session):
    for quantity in ("target_deviation", "target_deviation_change", "seat_spread_change", "bass_level_difference"):
        stated = found.all(session, quantity)
        assert stated
        for finding in stated:
            assert finding["value"] is None
            assert HIDDEN in finding["caveats"]
            assert finding["verdict"] in (None, "undecided")
    assert level(found, session)["value"] is not None


@pytest.mark.parametrize("session", ["not-given-back", "no-filter"])
def test_bass_is_judged_with_the_main_loudspeakers_where_nothing_gives_it_back(found, session):
    for quantity in ("target_deviation", "target_deviation_change", "bass_level_difference"):
        assert all(f["value"] is not None for f in found.all(session, quantity))
    assert not any(HIDDEN in f["caveats"] for f in found.findings if f["session"] == session)


def test_loudness_has_no_headline_without_recordings_and_the_midband_is_its_variant(found):
    headline, midband = level(found, "loudness"), level(found, "loudness", variant="midband")
    assert (headline["value"], headline["verdict"]) == (None, "undecided")
    assert "recording" in headline["caveats"][0]
    assert midband["value"] == pytest.approx(0.05, abs=0.05)


@pytest.mark.parametrize(
    ("session", "verdict", "nominal_hz"),
    [("touched", "touched", 2000.0), ("untouched", "untouched", 5000.0), ("near-touched", "undecided", 6300.0)],
)
def test_the_guard_band_is_judged_by_its_largest_change_without_the_level_difference(
    found, session, verdict, nominal_hz
):
    by_hand = _guard(FOLDERS[session], "A")
    assert max(by_hand, key=lambda n: abs(by_hand[n])) == nominal_hz
    for said in ({}, {"seat": "A"}):
        stated = level(found, session, "guard_band_change", **said)
        assert stated["verdict"] == verdict
        assert stated["value"] == pytest.approx(by_hand[nominal_hz], abs=0.002)
        assert any(f"{nominal_hz:g} Hz" in caveat for caveat in stated["caveats"])


def test_a_gain_alone_leaves_the_guard_band_untouched(found):
    stated = level(found, "lifted", "guard_band_change")
    assert stated["verdict"] == "untouched"
    assert stated["value"] == pytest.approx(0.0, abs=1e-3)


def test_the_guard_bands_interval_holds_for_all_its_bands_together(found):
    """Bonferroni over the 14 bands; each take's band less its own mid-band."""
    nominals = {seat: _guard(DRAWN, seat) for seat in "AB"}
    over = {n: (3 * nominals["A"][n] + nominals["B"][n]) / 4 for n in GUARD}
    largest = max(GUARD, key=lambda n: abs(over[n]))
    per_take = [
        take_bands_db(takes(DRAWN, c, seat), largest)
        - np.mean([take_bands_db(takes(DRAWN, c, seat), n) for n in MIDBAND], axis=0)
        for seat in "AB"
        for c in ("in", "out")
    ]
    half = t_half(per_take, (9 / 16 + 1 / 16) / 2, comparisons=len(GUARD))
    stated = level(found, "drawn", "guard_band_change")
    assert stated["value"] == pytest.approx(over[largest], abs=0.002)
    assert stated["high"] - stated["low"] == pytest.approx(2 * half, rel=0.003)


def _guard(folder: Folder, seat: str) -> dict[float, float]:
    middle = mean_change(folder, seat, MIDBAND)
    return {n: mean_change(folder, seat, [n]) - middle for n in GUARD}
