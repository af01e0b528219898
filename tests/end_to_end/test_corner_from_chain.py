"""What the chain as written says: the corner that is meant and the one it gives, worked out by scanning the network."""

from __future__ import annotations

import math

import numpy as np
import pytest

from .conftest import Runner
from .finding_list import FindingList
from .session_writer import Folder, grid

CHAINS = {
    "meant": {"design_corner_hz": 90.0, "setting_kohm": 47.0, "amplifier_input_kohm": 47.0},
    "all": {
        "design_corner_hz": 90.0,
        "setting_kohm": 47.0,
        "capacitance_nf": 37.6,
        "amplifier_input_kohm": 33.0,
        "source_output_ohm": 1500.0,
        "cable_capacitance_pf": 900.0,
    },
    "hung": {
        "capacitance_nf": 47.0,
        "balanced": True,
        "amplifier_input_kohm": 100.0,
        "second_input_kohm": 50.0,
        "tap_kohm": 150.0,
        "measuring_input_kohm": 10.0,
        "source_output_ohm": 600.0,
    },
    "capacitor-setting": {"capacitance_nf": 100.0, "setting_kohm": 20.0, "source_output_ohm": 600.0},
    "capacitor-input": {"capacitance_nf": 15.9, "amplifier_input_kohm": 100.0, "cable_capacitance_pf": 300.0},
    "capacitor-alone": {"capacitance_nf": 68.0},
}


def scanned_corner_hz(capacitance_f: float, load_ohm: float, source_ohm: float, cable_f: float) -> float:
    """Where the network is 10 lg 2 under its highest level: found on a fine grid, by impedances."""
    f = np.geomspace(1.0, 1e6, 2_000_001)
    s = 2j * np.pi * f
    behind = 1 / (1 / load_ohm + s * cable_f)
    level = 20 * np.log10(np.abs(behind / (behind + source_ohm + 1 / (s * capacitance_f))))
    under = level - level.max() + 10 * math.log10(2)
    return float(f[np.argmax(under > 0)])


EXPECTED = {
    "meant": 90.0,
    "all": 90.0,
    "hung": 1 / (2 * math.pi * 23.5e-9 * 100_600),
    "capacitor-setting": 1 / (2 * math.pi * 100e-9 * 20_600),
    "capacitor-input": 1 / (2 * math.pi * 15.9e-9 * 100_000),
    "capacitor-alone": None,
}
PREDICTED = {
    "meant": scanned_corner_hz(1 / (2 * math.pi * 90.0 * 47_000), 47_000, 0.0, 0.0),
    "all": scanned_corner_hz(37.6e-9, 33_000, 1500, 900e-12),
    "hung": scanned_corner_hz(23.5e-9, 1 / (1 / 100e3 + 1 / 50e3 + 1 / 150e3), 600, 0.0),
    "capacitor-setting": None,
    "capacitor-input": scanned_corner_hz(15.9e-9, 100_000, 0.0, 300e-12),
    "capacitor-alone": None,
}


@pytest.fixture(scope="module")
def found(run_folders: Runner) -> FindingList:
    folders = []
    for name, chain in CHAINS.items():
        folder = Folder(id=name, chain=chain)
        for condition in ("out", "in"):
            folder.add(condition, "A", 1, grid(per_octave=6), 70.0)
        folders.append(folder)
    return run_folders(folders)


@pytest.mark.parametrize("session", CHAINS)
@pytest.mark.parametrize(
    ("quantity", "by_hand"), [("expected_corner_frequency", EXPECTED), ("predicted_corner_frequency", PREDICTED)]
)
def test_the_chain_gives_the_corner_that_a_scan_of_the_network_finds(found, session, quantity, by_hand):
    stated = found.one(session, quantity)
    assert (stated["condition"], stated["reference"], stated["unit"]) == ("in", "out", "Hz")
    if by_hand[session] is None:
        assert stated["value"] is None
        assert stated["caveats"]
    else:
        assert stated["value"] == pytest.approx(by_hand[session], rel=2e-5)


def test_the_measuring_input_is_in_the_corner_as_measured_alone(found):
    stated = found.one("hung", "predicted_corner_frequency", variant="as-measured")
    by_hand = scanned_corner_hz(23.5e-9, 1 / (1 / 100e3 + 1 / 50e3 + 1 / 150e3 + 1 / 10e3), 600, 0.0)
    assert stated["value"] == pytest.approx(by_hand, rel=2e-5)
    assert {f["session"] for f in found.findings if f["variant"] == "as-measured"} == {"hung"}


def test_the_bound_by_tolerances_has_no_confidence(found):
    """Without source and cable: 90 Hz over 1.05 * 1.2 and over 0.95 * 0.8."""
    stated = found.one("meant", "predicted_corner_frequency")
    assert (stated["low"], stated["high"]) == pytest.approx((90 / 1.26, 90 / 0.76), rel=1e-9)
    assert (stated["confidence"], stated["n"]) == (None, None)


def test_the_reference_has_no_filter_unless_its_own_chain_gives_one(found):
    assert {f["condition"] for f in found.findings if f["quantity"].endswith("corner_frequency")} == {"in"}
