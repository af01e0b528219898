"""Builds Inputs with measured takes, and changes the world of such Inputs in the ways that symmetries name."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from end_to_end.made_rooms import Change, add_takes, unchanged
from end_to_end.session_writer import FloatArray, Folder, grid, high_pass
from hypothesis import strategies as st

from fairhearing.api import (
    Analyser,
    Chain,
    Finding,
    Inputs,
    ResponseCurve,
    Seat,
    Symmetry,
    Take,
    TargetCurve,
)

from .build_inputs import session

FINE = grid(per_octave=12)


def inputs_of(folder: Folder) -> Inputs:
    """What an analyser gets of a folder in the making, without any file."""
    chain = Chain(**folder.chain)
    made = session(conditions=list(folder.conditions), seats=folder.seats, **folder.criteria)
    conditions = tuple(
        replace(
            condition,
            trim_db=folder.conditions[condition.id].get("trim_db", 0.0),
            chain=replace(
                chain if not condition.reference else replace(chain, design_corner_hz=None, capacitance_nf=None),
                **folder.conditions[condition.id].get("chain", {}),
            ),
        )
        for condition in made.conditions
    )
    takes = tuple(
        Take(
            kind=curve.kind,  # type: ignore[arg-type]
            point=curve.point,  # type: ignore[arg-type]
            playing=curve.playing,  # type: ignore[arg-type]
            in_place=curve.in_place,
            seat=curve.seat,
            condition=curve.condition,
            repeat=curve.repeat,
            channel=curve.channel,
            programme=None,
            curve=ResponseCurve(frequency_hz=curve.frequency_hz, level_db=curve.level_db, phase_deg=curve.phase_deg),
            path=f"{index:04}.csv",
        )
        for index, curve in enumerate(folder.curves)
    )
    target = None if folder.target is None else TargetCurve(frequency_hz=folder.target[0], level_db=folder.target[1])
    return Inputs(session=replace(made, conditions=conditions), takes=takes, target=target)


def flat(
    levels: Mapping[str, Mapping[str | None, list[float]]], *, frequency_hz: FloatArray = FINE, **said: Any
) -> Folder:
    """Levels that are the same at every frequency: condition, seat, one entry per repeat; no noise."""
    point, playing = said.pop("point", "seat"), said.pop("playing", "main")
    seats = [seat for seat in next(iter(levels.values())) if seat is not None] or ["A"]
    said = {"seats": dict.fromkeys(seats, 1.0), "conditions": {name: {} for name in levels}, **said}
    folder = Folder(id="made-up", **said)
    folder.add_silence()
    for condition, by_seat in levels.items():
        for seat, repeats in by_seat.items():
            for index, level in enumerate(repeats):
                folder.add(condition, seat, index + 1, frequency_hz, level, point=point, playing=playing)
    return folder


@st.composite
def worlds(draw: Callable[..., Any]) -> Inputs:
    """Sessions of one to three seats, one or two channels, one to four repeats; with a filter, in a room with noise."""
    seats = {f"S{k}": float(draw(st.sampled_from([0.0, 1.0, 2.5]))) for k in range(draw(st.integers(1, 3)))}
    seats["S0"] = 1.0
    folder = Folder(id="made-up", seats=seats, chain={"design_corner_hz": 80.0, "bass_given_back": draw(st.booleans())})
    corner_hz = draw(st.floats(40.0, 120.0))
    changes: dict[str, Change] = {"out": unchanged, "in": lambda f: 0.95 * high_pass(f, corner_hz)}
    said: dict[str, Any] = {
        "seed": draw(st.integers(0, 1000)),
        "channels": draw(st.sampled_from([(None,), ("left", "right")])),
        "repeats": {name: draw(st.integers(1, 4)) for name in changes},
        "phase": draw(st.booleans()),
        "in_place": draw(st.booleans()),
        "frequency_hz": FINE,
    }
    if draw(st.booleans()):
        folder.add_silence()
    add_takes(folder, changes, **said)
    if draw(st.booleans()):
        add_takes(folder, {"out": unchanged, "in": lambda f: 1.02 * unchanged(f)}, **{**said, "playing": "both"})
    return inputs_of(folder)


def _swapped(inputs: Inputs) -> Inputs:
    turned = tuple(replace(c, reference=not c.reference) for c in inputs.session.conditions)
    return replace(inputs, session=replace(inputs.session, conditions=turned))


def _louder(inputs: Inputs) -> Inputs:
    takes = tuple(replace(t, curve=replace(t.curve, level_db=t.curve.level_db + 7.3)) for t in inputs.takes)
    return replace(inputs, takes=takes)


def _reordered(inputs: Inputs) -> Inputs:
    order = np.random.default_rng(0).permutation(len(inputs.takes))
    return replace(inputs, takes=tuple(inputs.takes[k] for k in order))


def _relabelled(inputs: Inputs) -> Inputs:
    """Seats get names in the opposite order, in a word that no other word holds."""
    name = {seat.id: _other(seat.id) for seat in inputs.session.seats}
    seats = tuple(Seat(id=name[s.id], position_m=s.position_m, weight=s.weight) for s in inputs.session.seats)
    takes = tuple(replace(t, seat=None if t.seat is None else name[t.seat]) for t in inputs.takes)
    return replace(inputs, session=replace(inputs.session, seats=seats), takes=takes)


def _other(seat: str) -> str:
    return f"S{9 - int(seat[1:])}"


WAYS = {
    "swap-conditions-negates": _swapped,
    "common-gain-invariant": _louder,
    "row-order-invariant": _reordered,
    "relabel-seats-invariant": _relabelled,
}


def known_symmetries(analyser: type[Analyser]) -> list[Symmetry]:
    """Those that are tried here on worlds drawn at random; the kit tries all of them on worlds of its own."""
    return [symmetry for symmetry in analyser.symmetries if symmetry.kind in WAYS]


OPPOSITE = {"improved": "worse", "worse": "improved"}


def _key(finding: Finding, seat: str | None, *, swapped: bool) -> tuple[object, ...]:
    pair = (finding.condition, finding.reference)
    return (
        finding.quantity, finding.variant, finding.of, finding.point, finding.playing, seat,
        pair[::-1] if swapped else pair, finding.channel, finding.band_hz,
    )  # fmt: skip


def assert_symmetry(analyser: Analyser, symmetry: Symmetry, inputs: Inputs) -> None:
    """Changing the world does to the findings what the symmetry says, and nothing else."""
    swaps = symmetry.kind == "swap-conditions-negates"
    relabels = symmetry.kind == "relabel-seats-invariant"
    before = [f for f in analyser.analyse(inputs).findings if f.quantity in symmetry.quantities]
    after = [f for f in analyser.analyse(WAYS[symmetry.kind](inputs)).findings if f.quantity in symmetry.quantities]
    found = {_key(f, f.seat, swapped=swaps): f for f in after}
    assert len(found) == len(after) == len(before)
    for one in before:
        other = found[_key(one, _other(one.seat) if relabels and one.seat else one.seat, swapped=False)]
        expected = (one.value, one.low, one.high)
        if swaps:
            expected = tuple(None if x is None else -x for x in (one.value, one.high, one.low))  # type: ignore[assignment]
        _assert_close((other.value, other.low, other.high), expected)
        assert (other.n, other.unit, len(other.caveats)) == (one.n, one.unit, len(one.caveats))
        # Over seats "improved" asks for more than "worse" does: no seat may lose.
        if not (swaps and one.quantity == "target_deviation_change" and one.seat is None):
            assert other.verdict == (OPPOSITE.get(str(one.verdict), one.verdict) if swaps else one.verdict)


def _assert_close(actual: tuple[float | None, ...], expected: tuple[float | None, ...]) -> None:
    for one, other in zip(actual, expected, strict=True):
        assert (one is None) == (other is None)
        if one is not None:
            assert one == pytest.approx(other, rel=2e-5, abs=1e-7)
