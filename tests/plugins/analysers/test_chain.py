"""Checks of the chain's findings: the whole network, its bound, channels set apart, the measuring input, caveats."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import numpy as np
import pytest
from references.helper import check, load
from scipy.optimize import minimize_scalar

from fairhearing.api import Analyser, Chain, Equipment, Finding, Result, Session
from fairhearing_builtins.analysers.chain import ChainAsWritten, fairhearing_analysers

from .build_inputs import inputs, keys, only, session

MEANT = Chain(design_corner_hz=100.0, setting_kohm=20.0, amplifier_input_kohm=20.0)


def made(chain: Chain = MEANT, reference: Chain | None = None) -> Session:
    found = session(chain=chain)
    one, other = found.conditions
    return replace(found, conditions=(replace(one, chain=reference or Chain()), other))


def analysed(session: Session) -> Result:
    return ChainAsWritten().analyse(inputs(session))


def given(chain: Chain, reference: Chain | None = None, **said: object) -> Finding:
    return only(analysed(made(chain, reference)).findings, "predicted_corner_frequency", **{"channel": None, **said})


def test_it_is_an_analyser_and_its_findings_are_unique() -> None:
    (analyser,) = fairhearing_analysers()
    assert isinstance(analyser, Analyser)
    chain = replace(MEANT, setting_right_kohm=10.0, measuring_input_kohm=10.0)
    found = analysed(made(chain, MEANT)).findings
    assert len(set(keys(found))) == len(found)
    assert {f.quantity for f in found} <= ChainAsWritten.quantities


def test_the_bound_of_the_parts_stands_beside_the_corner_without_a_confidence() -> None:
    reference = load("tolerance-of-100-hz")
    found = given(MEANT)
    assert found.value == pytest.approx(reference.inputs["corner_hz"], rel=1e-9)
    assert found.low is not None
    assert found.high is not None
    check(found.low, reference.expected["low_hz"], reference)
    check(found.high, reference.expected["high_hz"], reference)
    assert (found.confidence, found.n) == (None, None)
    assert "the worst that capacitor +-5 % and inputs +-20 % allow, a bound" in found.method


def test_stated_tolerances_replace_the_usual_ones() -> None:
    found = given(replace(MEANT, capacitor_tolerance_percent=1.0, input_tolerance_percent=0.0))
    assert (found.low, found.high) == pytest.approx((100 / 1.01, 100 / 0.99), rel=1e-9)
    assert "capacitor +-1 % and inputs +-0 %" in found.method


@pytest.mark.parametrize("index", range(2))
def test_a_tap_is_in_the_corner(index: int) -> None:
    reference = load("tap-of-150-kohm")
    kohm = reference.inputs["load_ohm"][index] / 1e3
    chain = Chain(design_corner_hz=100.0, setting_kohm=kohm, amplifier_input_kohm=kohm, tap_kohm=(150.0,))
    found = given(chain)
    assert found.value is not None
    check(found.value / 100.0, reference.expected["corner_ratio"][index], reference)


def test_the_headline_is_without_the_measuring_input_and_a_variant_is_with_it() -> None:
    reference = load("measuring-input-of-10-kohm")
    chain = Chain(design_corner_hz=100.0, setting_kohm=100.0, amplifier_input_kohm=100.0, measuring_input_kohm=10.0)
    assert given(chain).value == pytest.approx(100.0, rel=1e-9)
    measured = given(chain, variant="as-measured")
    assert measured.value is not None
    check(measured.value / 100.0, reference.expected["corner_ratio"], reference)
    without = analysed(made()).findings
    assert not [f for f in without if f.variant == "as-measured"]


def test_channels_set_apart_have_a_corner_each_and_no_common_one() -> None:
    found = analysed(made(replace(MEANT, setting_left_kohm=19.0, setting_right_kohm=21.0))).findings
    corners = {f.channel: f.value for f in found if f.quantity == "predicted_corner_frequency"}
    assert corners == {None: None, "left": pytest.approx(95.0, rel=1e-9), "right": pytest.approx(105.0, rel=1e-9)}
    common = only(found, "predicted_corner_frequency", channel=None)
    assert common.caveats == (
        "left and right are set for different loads (left 95.0 Hz, right 105.0 Hz): there is no common corner",
    )
    assert only(found, "expected_corner_frequency").value == 100.0


def test_a_channel_whose_setting_is_not_said_is_null() -> None:
    chain = Chain(design_corner_hz=100.0, setting_left_kohm=20.0, amplifier_input_kohm=20.0)
    assert given(chain, channel="left").value == pytest.approx(100.0, rel=1e-9)
    right = given(chain, channel="right")
    assert (right.value, right.low, right.high) == (None, None, None)
    assert right.caveats == ("the chain does not state the capacitor and amplifier_input_kohm",)


def test_a_reference_with_a_coupling_capacitor_departs_from_first_order() -> None:
    """Two high-passes over one, worked out here with complex numbers; the best first-order fit by scipy."""
    reference = load("coupling-capacitor-of-the-reference")
    ohm, coupling_f, filter_f = (reference.inputs[name] for name in ("load_ohm", "coupling_f", "filter_f"))
    frequency = np.geomspace(20, 20_000, 1001)
    s = 2j * np.pi * frequency
    change_db = 20 * np.log10(abs((ohm + 1 / (s * coupling_f)) / (ohm + 1 / (s * coupling_f) + 1 / (s * filter_f))))

    def left_db(log_hz: float) -> float:
        return float(np.std(change_db + 10 * np.log10(1 + (np.exp(log_hz) / frequency) ** 2)))

    best = minimize_scalar(left_db, bounds=(math.log(20), math.log(500)), method="bounded", options={"xatol": 1e-9})
    assert round(best.fun, 1) == reference.expected["departure_tenth_db"]
    plain = Chain(amplifier_input_kohm=ohm / 1e3, coupling_capacitor_uf=coupling_f * 1e6)
    found = given(replace(plain, capacitance_nf=filter_f * 1e9), plain)
    assert found.value == pytest.approx(1 / (2 * math.pi * ohm) * (1 / filter_f + 1 / coupling_f), rel=1e-9)
    (caveat,) = found.caveats
    said = re.search(r"departs from first order by (\S+) dB", caveat)
    assert said is not None
    assert float(said[1]) == pytest.approx(best.fun, abs=0.006)
    assert float(caveat.split()[-2]) == pytest.approx(math.exp(best.x), abs=0.2)


def test_without_a_coupling_capacitor_there_is_nothing_to_say_of_the_order() -> None:
    assert given(MEANT, Chain(amplifier_input_kohm=20.0)).caveats == ()


def test_more_than_one_change_is_said_with_the_condition_s_findings() -> None:
    found = made()
    one, other = found.conditions
    changed = replace(other, equipment=Equipment(subwoofer_level_db=-3.0))
    said = analysed(replace(found, conditions=(one, changed))).findings
    caveat = "more than one thing changes (the filter, subwoofer_level_db): the result cannot tell them apart"
    assert {f.caveats for f in said} == {(caveat,)}


def test_the_chart_has_a_line_for_each_corner_and_is_3_db_down_there() -> None:
    (chart,) = analysed(made(replace(MEANT, setting_right_kohm=10.0))).charts
    lines = dict.fromkeys(chart.data["condition"])
    assert list(lines) == ["Filter in, left", "Filter in, right"]
    assert chart.alternative.endswith("Filter in, left 100.0 Hz; Filter in, right 50.0 Hz.")
    for name, corner_hz in zip(lines, (100.0, 50.0), strict=True):
        rows = [index for index, one in enumerate(chart.data["condition"]) if one == name]
        frequency, level = ([float(str(chart.data[key][i])) for i in rows] for key in ("frequency", "level"))
        at_corner = np.interp(math.log(corner_hz), np.log(frequency), level)
        assert at_corner == pytest.approx(10 * math.log10(0.5), abs=0.01)
    assert analysed(made(Chain(capacitance_nf=80.0))).charts == ()
