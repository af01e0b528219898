"""What fairhearing finds in the session of gradings, held to what is true of it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

FOLDER = Path(__file__).parents[2] / "sample_sessions"
((ID, TRUE),) = json.loads((FOLDER / "truth.json").read_text(encoding="utf-8"))["graded"].items()
RUN_OVER = FOLDER / TRUE["folder"]
SETTINGS = tuple(TRUE["conditions"])
WIDENED = 1.5  # how far an interval may miss: one in twenty does not hold the truth


def one(findings: list[dict[str, Any]], quantity: str, **said: object) -> dict[str, Any]:
    """The one finding with these fields, null in variant, seat, programme and listener unless said."""
    wanted = {"variant": None, "seat": None, "programme": None, "listener": None, "channel": None, **said}
    found = [f for f in findings if f["quantity"] == quantity and all(f[n] == v for n, v in wanted.items())]
    assert len(found) == 1, (quantity, wanted, len(found))
    return found[0]


def assert_holds(stated: dict[str, Any], truth: float) -> None:
    middle, half = (stated["low"] + stated["high"]) / 2, (stated["high"] - stated["low"]) / 2
    assert 0 < half < 0.8
    assert abs(truth - middle) <= WIDENED * half, (stated, truth)


@pytest.mark.parametrize("setting", SETTINGS)
def test_the_balances_are_as_the_truth_says(findings, setting):
    assert one(findings, "balance", condition=setting)["verdict"] == TRUE["conditions"][setting]["balance"]


@pytest.mark.parametrize(("setting", "verdict"), [("gentle", "better"), ("full", "worse")])
def test_the_mean_rating_is_found_over_all_and_with_each_programme(findings, setting, verdict):
    true = TRUE["conditions"][setting]
    over_all = one(findings, "rating_difference", condition=setting)
    assert_holds(over_all, true["rating_difference"])
    assert (over_all["verdict"], over_all["n"], over_all["unit"]) == (verdict, TRUE["n_listeners"], "comparison")
    for programme, expected in true["rating_difference_by_programme"].items():
        assert_holds(one(findings, "rating_difference", condition=setting, programme=programme), expected)


@pytest.mark.parametrize("setting", SETTINGS)
def test_level_and_bass_are_found(findings, setting):
    true = TRUE["conditions"][setting]
    level = one(findings, "level_difference", condition=setting, point="amplifier-output")
    assert level["value"] == pytest.approx(true["level_difference_db"], abs=0.01)
    assert level["verdict"] == "matched"
    for seat, change in true["target_deviation_change_db"].items():
        stated = one(findings, "target_deviation_change", condition=setting, seat=seat)
        assert stated["value"] == pytest.approx(change, abs=0.2)
        assert stated["verdict"] == ("improved" if change < 0 else "worse")
