"""Checks of drift on shelves chosen by hand: a closing take is no repeat, and is compared with the repeats."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from end_to_end.session_writer import Folder, grid
from scipy import stats

from fairhearing.analysing import needed
from fairhearing.api import Analyser, Inputs
from fairhearing_builtins.analysers.change import Change
from fairhearing_builtins.analysers.drift import NO_CLOSING, Drift, fairhearing_analysers

from .build_inputs import keys, only
from .build_measured import inputs_of

FREQUENCY = grid(per_octave=12)
HEIGHTS = {"A": (6.0, 6.2, 5.8), "B": (4.0, 4.1, 3.9)}


def closed(
    height_db: float, *, gain_db: float = 0.0, seat: str = "A", n_closing: int = 1, in_place: bool = False, **said
) -> Inputs:
    """Two seats with shelves below 230 Hz in both conditions, and closing takes of the reference at one of them."""
    folder = Folder(
        id="made-up", seats={"A": 1.0, "B": 1.0}, criteria={"bass_band_hz": [20.0, 160.0]},
        chain={"bass_given_back": False}, **said,
    )  # fmt: skip
    folder.add_silence()
    for name in ("out", "in"):
        for place, heights in HEIGHTS.items():
            for k, height in enumerate(heights):
                folder.add(name, place, k + 1, FREQUENCY, shelf(height), in_place=in_place)
    inputs = inputs_of(folder)
    first = next(t for t in inputs.takes if (t.condition, t.seat) == ("out", seat))
    last = tuple(
        replace(
            first, repeat=str(k + 1), path=f"closing{k}.csv", closing=True,
            curve=replace(first.curve, level_db=shelf(height_db) + gain_db),
        )
        for k in range(n_closing)
    )  # fmt: skip
    return replace(inputs, takes=(*inputs.takes, *last))


def shelf(height_db: float) -> np.ndarray:
    return np.where(FREQUENCY < 230.0, 70.0 + height_db, 70.0)


def drift_of(inputs: Inputs):
    return Drift().analyse(inputs).findings


def test_it_is_an_analyser_and_its_findings_are_unique():
    (analyser,) = fairhearing_analysers()
    assert isinstance(analyser, Analyser)
    found = drift_of(closed(6.0))
    assert len(set(keys(found))) == len(found) == 3
    assert {(f.seat, f.condition, f.reference, f.n) for f in found} == {("A", "out", None, 1)}


def test_without_a_closing_take_it_refuses():
    inputs = closed(6.0, n_closing=0)
    assert Drift().analyse(inputs).refusals == (NO_CLOSING,)
    assert drift_of(inputs) == ()


@pytest.mark.parametrize(
    ("height", "verdict"), [(6.0, "steady"), (6.2, "undecided"), (7.5, "drifted"), (4.0, "drifted")]
)
def test_the_bass_is_steady_only_with_the_whole_interval_within_the_smallest_change(height, verdict):
    found = drift_of(closed(height))
    stated = only(found, "drift")
    assert stated.value == pytest.approx(height - 6.0, abs=0.01)
    assert stated.verdict == verdict
    assert only(found, "drift", variant="level").value == pytest.approx(0.0, abs=1e-9)
    assert only(found, "drift", variant="largest-band").value == pytest.approx(height - 6.0, abs=0.02)


def test_a_change_of_gain_is_one_of_level_alone():
    found = drift_of(closed(6.0, gain_db=1.4))
    assert only(found, "drift").value == pytest.approx(0.0, abs=0.01)
    level = only(found, "drift", variant="level")
    assert (level.value, level.verdict) == (pytest.approx(1.4, abs=1e-6), "drifted")


def test_the_interval_is_that_of_one_take_against_three_pooled_over_the_session():
    cells = [HEIGHTS["A"], HEIGHTS["B"]] * 2
    spread = np.sqrt(np.mean([np.var(cell, ddof=1) for cell in cells]))
    stated = only(drift_of(closed(6.0)), "drift")
    half = stats.t.ppf(0.975, 8) * spread * np.sqrt(1 + 1 / 3)
    assert stated.high - stated.value == pytest.approx(half, rel=0.02)
    two = only(drift_of(closed(6.0, n_closing=2)), "drift")
    assert two.high - two.value == pytest.approx(half * np.sqrt((1 / 2 + 1 / 3) / (4 / 3)), rel=0.02)
    assert two.n == 2


def test_repeats_in_place_widen_it_by_two_placements():
    placed, left = (only(drift_of(closed(6.0, in_place=how)), "drift") for how in (False, True))
    quantile = stats.t.ppf(0.975, 8)
    widened = np.sqrt(((placed.high - placed.value) / quantile) ** 2 + 2 * 0.3**2) * quantile
    assert left.high - left.value == pytest.approx(widened, rel=1e-6)
    assert any("in place" in caveat for caveat in left.caveats)


def test_the_target_with_its_slope_is_what_it_drifts_from():
    """At -3 dB per octave the flat part stands far above the bass; the deviation is another, the level is not."""
    inputs = closed(7.0)
    sloped = replace(inputs.session.criteria, target_slope_db_per_octave=-3.0)
    found = drift_of(replace(inputs, session=replace(inputs.session, criteria=sloped)))
    assert only(found, "drift").value == pytest.approx(-1.0, abs=0.15)


def test_a_closing_take_without_repeats_says_what_is_missing():
    inputs = closed(6.0)
    takes = tuple(t for t in inputs.takes if t.closing or (t.condition, t.seat) != ("out", "A"))
    found = drift_of(replace(inputs, takes=takes))
    assert {f.value for f in found} == {None}
    assert {f.caveats for f in found} == {("there are no repeats of out at seat A to compare it with",)}
    assert {f.verdict for f in found} == {"undecided"}


def test_no_other_analyser_is_handed_a_closing_take():
    inputs = closed(12.0)
    assert {t.closing for t in needed(inputs, Drift(), ()).takes} == {True, False}
    handed = needed(inputs, Change(), ())
    assert len(handed.takes) == len(inputs.takes) - 1
    assert not any(t.closing for t in handed.takes)
