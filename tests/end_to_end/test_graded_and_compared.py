"""Gradings on all three scales, and pairs of three conditions, through a whole run, against scipy and choix."""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import choix
import numpy as np
import pytest
from scipy import stats

from .conftest import Runner
from .finding_list import FindingList
from .session_writer import Folder, grid

LISTENERS = [f"p{n}" for n in range(1, 8)]
PROGRAMMES = ("organ", "choir")
# What each listener adds to the condition, in the steps of the scale.
TASTE = (0.4, 1.1, 0.7, 1.6, 0.2, 0.9, 0.5)
CHOICES = ("out", "in", "wide")
# Of ten trials of a pair, how often the first named wins, listener by listener.
WINS = {
    ("in", "out"): (8, 7, 9, 6, 5, 7, 8),
    ("wide", "out"): (6, 5, 7, 5, 4, 6, 6),
    ("in", "wide"): (7, 6, 6, 5, 7, 4, 6),
}


@dataclass(kw_only=True)
class Graded(Folder):
    """A folder whose gradings are on this scale."""

    scale: str = "comparison"

    def write(self, into: Path) -> Path:
        """The folder, with the scale beside each method."""
        folder = super().write(into)
        manifest = folder / "session.toml"
        said = manifest.read_text().replace('method = "grading"', f'method = "grading"\nscale = "{self.scale}"')
        manifest.write_text(said)
        return folder


def sheet(rows: Iterable[tuple[object, ...]], header: str) -> str:
    return header + "\n" + "\n".join(",".join(map(str, row)) for row in rows) + "\n"


def compared(sign: int = 1) -> str:
    """Grades of the second relative to the first, each pair both ways round, on both programmes."""
    rows = []
    for who, taste in zip(LISTENERS, TASTE, strict=True):
        for number, (programme, turned) in enumerate(itertools.product(PROGRAMMES, (False, True))):
            grade = sign * (taste + (0.3 if programme == "choir" else 0.0))
            first, second = ("in", "out") if turned else ("out", "in")
            rows.append((who, number + 1, programme, first, second, f"{-grade if turned else grade:.1f}"))
    return sheet(rows, "listener,trial,programme,first,second,rating")


def graded(reference: float, step: float, careless: int = 0) -> str:
    """Grades of hidden reference and object on 20 programmes; the first listener is careless with so many."""
    rows = []
    for index, (who, taste) in enumerate(zip(LISTENERS, TASTE, strict=True)):
        for item in range(20):
            hidden = 50.0 if index == 0 and item < careless else reference
            rows.append((who, f"r{item}", f"m{item}", "out", f"{hidden:.1f}"))
            rows.append((who, f"o{item}", f"m{item}", "in", f"{reference - step * (taste + item % 3 / 10):.1f}"))
    return sheet(rows, "listener,trial,programme,condition,rating")


def chosen() -> str:
    rows = []
    for index, who in enumerate(LISTENERS):
        number = 0
        for (one, other), wins in WINS.items():
            for trial in range(10):
                number += 1
                first, second = (one, other) if trial % 2 else (other, one)
                rows.append((who, number, first, second, one if trial < wins[index] else other))
    return sheet(rows, "listener,trial,first,second,preferred")


def folder(identifier: str, scale: str, text: str, louder_db: float = 0.0) -> Folder:
    conditions = {name: {} for name in CHOICES} if scale == "pairs" else {"out": {}, "in": {}}
    method = "paired-preference" if scale == "pairs" else "grading"
    made = Graded(id=identifier, scale=scale, sheets=[(method, text)], conditions=conditions)
    for condition in conditions:
        level_db = 70.0 + (louder_db if condition == "in" else 0.0)
        for repeat, error_db in enumerate((-0.005, 0.0, 0.005)):
            made.add(condition, None, repeat + 1, grid(), level_db + error_db, point="amplifier-output")
    return made


@pytest.fixture(scope="module")
def found(run_folders: Runner) -> FindingList:
    return run_folders(
        [
            folder("better", "comparison", compared()),
            folder("worse", "comparison", compared(-1)),
            folder("louder", "comparison", compared(), louder_db=0.6),
            folder("quality", "quality", graded(96.0, 8.0, careless=3)),
            folder("careless", "quality", graded(96.0, 8.0, careless=4)),
            folder("impaired", "impairment", graded(4.6, 0.5)),
            folder("lifted", "impairment", graded(4.0, -0.5)),
            folder("pairs", "pairs", chosen()),
        ]
    )


def test_a_comparison_is_better_with_the_t_interval_over_listeners(found: FindingList) -> None:
    one = found.one("better", "rating_difference")
    means = np.array(TASTE) + 0.15
    interval = stats.t.interval(0.95, 6, means.mean(), stats.sem(means))
    assert (one["value"], one["low"], one["high"]) == pytest.approx((means.mean(), *interval), rel=1e-9)
    assert (one["p_value"], one["n"], one["verdict"], one["unit"]) == (2 / 2**7, 7, "better", "comparison")
    assert found.one("worse", "rating_difference")["verdict"] == "worse"
    louder = found.one("louder", "rating_difference")
    assert (louder["verdict"], louder["value"]) == ("not-attributable", one["value"])


def test_each_programme_and_the_mixed_model_stand_beside_it(found: FindingList) -> None:
    for programme, more in (("organ", 0.0), ("choir", 0.3)):
        one = found.one("better", "rating_difference", programme=programme)
        assert (one["value"], one["verdict"]) == (pytest.approx(np.mean(TASTE) + more, rel=1e-9), "better")
    mixed = found.one("better", "rating_difference", variant="mixed-model")
    assert mixed["value"] == pytest.approx(np.mean(TASTE) + 0.15, rel=1e-9)
    assert mixed["low"] < found.one("better", "rating_difference")["low"]  # it speaks of other programmes too


def test_a_careless_listener_is_left_out_and_told(found: FindingList) -> None:
    assert found.one("quality", "rating_difference")["n"] == 7
    one = found.one("careless", "rating_difference")
    everyone = found.one("careless", "rating_difference", variant="all-listeners")
    assert (one["n"], everyone["n"], one["verdict"]) == (6, 7, "worse")
    assert any("listener p1 left out: hidden reference below 90 in 4 of 20" in caveat for caveat in one["caveats"])
    own = np.array([round(96 - 8 * (t + k % 3 / 10), 1) - 96 for t in TASTE[1:] for k in range(20)])
    assert one["value"] == pytest.approx(own.mean(), rel=1e-9)


def test_impairment_is_worse_or_not_shown(found: FindingList) -> None:
    assert found.one("impaired", "rating_difference")["verdict"] == "worse"
    lifted = found.one("lifted", "rating_difference", variant="all-listeners")
    assert (lifted["p_value"], lifted["verdict"]) == (2 / 2**7, "not-shown")
    assert lifted["value"] > 0.3
    assert found.one("lifted", "rating_difference")["value"] is None


def test_agreement_is_there_and_repeats_say_how_steady_listeners_are(found: FindingList) -> None:
    agreement = found.one("impaired", "listener_agreement", condition=None)
    assert -1.0 < agreement["low"] < agreement["value"] < agreement["high"] <= 1.0
    assert found.one("better", "rating_repeatability")["value"] == pytest.approx(0.0, abs=1e-12)
    assert found.one("impaired", "rating_repeatability")["value"] is None


def test_worths_of_three_conditions_are_those_of_choix(found: FindingList) -> None:
    place = {name: index for index, name in enumerate(CHOICES)}
    pairs = []
    for (one, other), wins in WINS.items():
        pairs += [(place[one], place[other])] * sum(wins) + [(place[other], place[one])] * (70 - sum(wins))
    second = choix.ilsr_pairwise(3, pairs, max_iter=1000, tol=1e-12)
    for name in ("in", "wide"):
        one = found.one("pairs", "worth", condition=name)
        assert one["value"] == pytest.approx(second[place[name]] - second[0], abs=1e-6)
        assert one["low"] < one["value"] < one["high"]
        assert (one["n"], one["p_value"], one["verdict"]) == (7, None, None)
        assert found.one("pairs", "preference_share", condition=name)["value"] == pytest.approx(
            np.mean(WINS[name, "out"]) / 10, rel=1e-12
        )
    assert found.one("pairs", "worth", condition="in", variant="position-adjusted")["value"] is not None
