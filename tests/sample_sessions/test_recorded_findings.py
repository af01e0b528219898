"""What fairhearing finds in the session of sound files, held to what is true of it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

FOLDER = Path(__file__).parents[2] / "sample_sessions"
((ID, TRUE),) = json.loads((FOLDER / "truth.json").read_text(encoding="utf-8"))["recorded"].items()
RUN_OVER = FOLDER / TRUE["folder"]
PROGRAMMES = tuple(TRUE["programmes"])
# Noise of 4 mV and sixteen bits. A low spectrum is faded over a sixteenth at either end: of a programme that swells for
# half a minute, the middle counts a little more.
LEVEL_DB = 0.06
SUBSONIC_DB = 0.1
SHARE = 0.06


def one(findings: list[dict[str, Any]], quantity: str, **said: object) -> dict[str, Any]:
    """The one finding with these fields, null in variant, seat, channel, programme and band unless said."""
    wanted = {"variant": None, "seat": None, "channel": None, "programme": None, "band_hz": None, **said}
    found = [f for f in findings if f["quantity"] == quantity and all(f[n] == v for n, v in wanted.items())]
    assert len(found) == 1, (quantity, wanted, len(found))
    return found[0]


def test_the_corner_is_read_from_the_sweeps_at_the_terminals(findings):
    corner = one(findings, "corner_frequency")
    assert (corner["point"], corner["n"]) == ("amplifier-output", 3)
    assert corner["value"] == pytest.approx(TRUE["corner_hz"], rel=2e-3)
    assert one(findings, "corner_ratio")["verdict"] == "as-set"
    assert one(findings, "filter_order")["verdict"] == "first-order"


@pytest.mark.parametrize("programme", PROGRAMMES)
def test_the_subsonic_energy_is_found_with_its_share(findings, programme):
    true = TRUE["programmes"][programme]
    change = one(findings, "subsonic_level_change", programme=programme)
    assert change["value"] == pytest.approx(true["subsonic_level_change_db"], abs=SUBSONIC_DB)
    for condition, share in true["subsonic_share"].items():
        found = one(findings, "subsonic_share", programme=programme, condition=condition)
        assert found["value"] == pytest.approx(share, rel=SHARE)


def test_over_programmes_the_relief_is_the_mean_of_the_three(findings):
    change = one(findings, "subsonic_level_change")
    mean = sum(true["subsonic_level_change_db"] for true in TRUE["programmes"].values()) / len(PROGRAMMES)
    assert change["value"] == pytest.approx(mean, abs=SUBSONIC_DB)
    assert change["low"] < mean < change["high"]
    assert change["verdict"] == "relief"


@pytest.mark.parametrize("programme", PROGRAMMES)
def test_voltages_and_peaks_are_those_of_the_programme(findings, programme):
    true = TRUE["programmes"][programme]
    for condition in ("bridged", "boxed"):
        voltage = one(findings, "amplifier_voltage", programme=programme, condition=condition)
        assert voltage["value"] == pytest.approx(true["rms_v"][condition], rel=2e-3)
        peak = one(findings, "amplifier_peak_voltage", programme=programme, condition=condition)
        assert peak["value"] == pytest.approx(true["peak_v"][condition], rel=5e-3)
    level = one(findings, "amplifier_voltage_change", programme=programme)
    assert level["value"] == pytest.approx(true["level_change_db"], abs=LEVEL_DB)
    won = one(findings, "headroom_won", programme=programme, variant="peak")
    assert won["value"] == pytest.approx(-true["peak_change_db"], abs=LEVEL_DB)


def test_the_programme_that_cannot_show_the_filter_is_named(findings):
    for programme, true in TRUE["programmes"].items():
        share = one(findings, "energy_share_below_corner", programme=programme)
        assert share["value"] == pytest.approx(true["share_below_corner"], rel=SHARE)
        named = any("cannot show the filter" in caveat for caveat in share["caveats"])
        assert named == (true["share_below_corner"] < 0.1)


def test_the_second_harmonic_is_that_of_the_loudspeaker(findings):
    levels = [
        f["value"]
        for f in findings
        if f["quantity"] == "distortion_level"
        and (f["variant"], f["condition"]) == ("order-2", "bridged")
        and f["nominal_hz"] is not None
        and 200 <= f["nominal_hz"] <= 1000
        and f["point"] == "seat"
    ]
    assert len(levels) == 16
    assert sum(levels) / len(levels) == pytest.approx(TRUE["second_harmonic_db"], abs=0.3)
