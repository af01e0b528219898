"""The importer keeps the rules of the kit, and reads what the samples were made of."""

from __future__ import annotations

import json

import numpy as np
import pytest
from fairhearing_point_log import Log, PointLog

from fairhearing.api import ImportProblem
from fairhearing.conformance import Case, check_importer

CORNER_HZ = 90.0


@check_importer(PointLog(), samples=PointLog.samples)
def test_it_keeps(rule: Case) -> None:
    rule()


def test_a_sample_holds_the_high_pass_that_it_was_made_of() -> None:
    curve = Log(PointLog.samples[1].read_bytes(), "a.json").curve()
    ratio = CORNER_HZ / curve.frequency_hz
    assert curve.level_db == pytest.approx(80 - 10 * np.log10(1 + ratio**2), abs=0.0006)
    assert curve.phase_deg == pytest.approx(np.degrees(np.arctan(ratio)), abs=0.006)


@pytest.mark.parametrize(
    ("points", "what"),
    [
        ([], "no list of points"),
        ([{"hertz": 20, "decibel": 1}, {"hertz": 20, "decibel": 1}], "20 Hz follows 20 Hz"),
        ([{"hertz": 0, "decibel": 1}], "0 Hz is not above 0"),
        ([{"hertz": 20}], "decibel of point 1 is None"),
        ([{"hertz": 20, "decibel": True}], "decibel of point 1 is True"),
        ([{"hertz": 20, "decibel": 1, "turn": 3}, {"hertz": 25, "decibel": 1}], "turn of point 2 is None"),
    ],
)
def test_what_is_no_curve_is_refused(points: list[dict[str, object]], what: str) -> None:
    log = {"log": "point-log 1", "n_points": len(points), "points": points}
    with pytest.raises(ImportProblem, match=what):
        Log(json.dumps(log).encode(), "a.json").curve()
