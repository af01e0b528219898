"""What analysers of recordings share: groups of repeats, scales worked by hand, and a chart with steady colours."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fairhearing.api import Inputs
from fairhearing_builtins.analysers.recording_groups import (
    LEVEL_NAMES,
    PEAK_NAMES,
    chart_of,
    finding_of,
    full_scale,
    grouped,
    place_of,
    scale_of,
    unit_of,
    zero_level_power,
)

from .build_inputs import session
from .build_recordings import recording

SILENCE = np.zeros(10)


def one(**said):
    return recording(SILENCE, (), **said)


def test_repeats_stand_together_in_the_order_of_their_names_whatever_the_order_of_files():
    made = [one(condition=c, repeat=r, programme=p) for p in ("organ", "choir") for c in ("out", "in") for r in "21"]
    groups = [[(r.programme, r.condition, r.repeat) for r in group] for group in grouped(made)]
    assert groups == [
        [(p, c, "1"), (p, c, "2")] for c in ("in", "out") for p in ("choir", "organ")
    ]  # fmt: skip
    assert grouped(made[::-1]) == grouped(made)


@pytest.mark.parametrize(
    ("said", "unit", "sample", "scale", "zero"),
    [
        ({"full_scale_pa": 20.0}, "dB", 20.0, 1e6, 1.0),  # ISO 1683: re 20 uPa (by hand)
        ({"full_scale_v": 40.0}, "dBV", 40.0, 40.0, 1.0),
        ({}, "dBFS", 1.0, 1.0, 0.5),  # AES17: a full-scale sine is 0 dBFS, its mean square a half
    ],
)
def test_the_scale_of_a_recording_and_what_0_db_is(said, unit, sample, scale, zero):
    made = replace(one(), **said)
    assert unit_of(made) == unit
    assert full_scale(made) == sample
    assert scale_of(made) == pytest.approx(scale, rel=1e-12)
    assert zero_level_power(unit) == zero
    assert unit in LEVEL_NAMES
    assert unit in PEAK_NAMES


def test_a_finding_names_what_its_group_is_of():
    made = [one(condition="in", repeat=r, point="seat", seat="A", channel="left", playing="both") for r in "12"]
    found = finding_of(made, "recording_level", 1.0, "dB", "by hand", ("odd",))
    assert (found.condition, found.point, found.playing) == ("in", "seat", "both")
    assert (found.seat, found.channel) == ("A", "left")
    assert (found.programme, found.n, found.caveats) == ("organ", 2, ("odd", "one pass, no interval"))
    assert place_of(found) == "A, left, organ, playing both"


def test_each_condition_has_the_colour_that_it_has_in_other_charts():
    """Colours follow the order in which conditions come: session.toml's, and not that of their ids."""
    inputs = Inputs(session=session(conditions=["out", "in"]))
    pairs = (("in", "choir"), ("in", "organ"), ("out", "organ"))
    made = [[one(condition=condition, programme=programme)] for condition, programme in pairs]
    shown = [finding_of(group, "recording_level", float(n), "dBFS", "", ()) for n, group in enumerate(made)]
    chart = chart_of(inputs, shown, "dBFS", name="n", title="t", column="level", label="Level", said="Level")
    labels = {c.id: c.label for c in inputs.session.conditions}
    assert chart.data["place"] == [f"amplifier output, {name}" for name in ("organ", "choir", "organ")]
    assert chart.data["condition"] == [labels["out"], labels["in"], labels["in"]]
    assert chart.data["level"] == [2.0, 0.0, 1.0]
    assert chart.alternative.startswith("Level of 3 recordings in dBFS, by place and programme, for ")
