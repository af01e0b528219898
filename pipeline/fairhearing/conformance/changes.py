"""Ways to change the world of an analyser: copies, gains, exchanged conditions, other names, fewer rows."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, TypeVar

from fairhearing.audio import Recording
from fairhearing.conformance import planned
from fairhearing.conformance.kit import NotApplicable
from fairhearing.conformance.sounds import Sound
from fairhearing.contracts import Harmonic, Inputs, ResponseCurve, Sheet, Take
from fairhearing.result import Finding

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]

M = TypeVar("M", Take, Recording)

# Exchanging the conditions turns the sign of these findings of others, and these words of theirs.
SIGNED_QUANTITIES = frozenset(
    {"level_change", "level_difference", "bass_level_difference", "guard_band_change", "target_deviation_change",
     "seat_spread_change", "subsonic_level_change", "rating_difference", "delay_difference"}
)  # fmt: skip
OPPOSITES = {"improved": "worse", "preferred": "not-preferred", "better": "worse", "worse": "improved",
             "not-preferred": "preferred"}  # fmt: skip


# --- copies -----------------------------------------------------------------------------------------------------------


def copied(inputs: Inputs, *, writable: bool = True) -> Inputs:
    """The same inputs with arrays and frames of their own."""
    target = inputs.target
    if target is not None:
        target = replace(
            target,
            frequency_hz=_copy(target.frequency_hz, writable),
            level_db=_copy(target.level_db, writable),
        )
    return replace(
        inputs,
        takes=tuple(replace(take, curve=_copied_curve(take.curve, writable)) for take in inputs.takes),
        recordings=tuple(replace(r, summaries=_copied_summaries(r, writable)) for r in inputs.recordings),
        sheets=tuple(replace(sheet, trials=sheet.trials.copy()) for sheet in inputs.sheets),
        target=target,
    )


def _copied_curve(curve: ResponseCurve, writable: bool) -> ResponseCurve:
    phase = None if curve.phase_deg is None else _copy(curve.phase_deg, writable)
    return ResponseCurve(
        frequency_hz=_copy(curve.frequency_hz, writable),
        level_db=_copy(curve.level_db, writable),
        phase_deg=phase,
        harmonics=tuple(_copied_harmonic(harmonic, writable) for harmonic in curve.harmonics),
    )


def _copied_harmonic(harmonic: Harmonic, writable: bool) -> Harmonic:
    return replace(
        harmonic,
        frequency_hz=_copy(harmonic.frequency_hz, writable),
        level_db=_copy(harmonic.level_db, writable),
        noise_level_db=_copy(harmonic.noise_level_db, writable),
    )


def _copied_summaries(recording: Recording, writable: bool) -> dict[str, dict[str, FloatArray]]:
    found = recording.summaries
    return {key: {name: _copy(array, writable) for name, array in arrays.items()} for key, arrays in found.items()}


def _copy(array: FloatArray, writable: bool) -> FloatArray:
    made = array.copy()
    made.setflags(write=writable)
    return made


def contents(inputs: Inputs) -> list[tuple[str, object]]:
    """Everything in the inputs as values that compare exactly, each with the name of what it is."""
    told: list[tuple[str, object]] = [("the session", repr(inputs.session)), ("the findings", repr(inputs.findings))]
    if inputs.target is not None:
        told.append(("the target", inputs.target.frequency_hz.tobytes() + inputs.target.level_db.tobytes()))
    for take in inputs.takes:
        arrays = [take.curve.frequency_hz, take.curve.level_db, take.curve.phase_deg]
        for harmonic in take.curve.harmonics:
            arrays += [harmonic.frequency_hz, harmonic.level_db, harmonic.noise_level_db]
        told.append((f"the take {take.path}", tuple(None if array is None else array.tobytes() for array in arrays)))
    for recording in inputs.recordings:
        summaries = recording.summaries.items()
        found = tuple((key, name, array.tobytes()) for key, arrays in summaries for name, array in arrays.items())
        told.append((f"the summaries of {recording.path}", found))
    for sheet in inputs.sheets:
        frame = sheet.trials
        columns = {str(name): tuple(map(repr, frame[name].tolist())) for name in frame.columns}
        told.append((f"the {sheet.method} sheet", (tuple(columns.items()), tuple(map(repr, frame.index.tolist())))))
    return told


# --- order ------------------------------------------------------------------------------------------------------------


def shuffled(inputs: Inputs, seed: int) -> Inputs:
    """Takes, sheets, rows of sheets and findings in another order."""
    import numpy as np

    generator = np.random.default_rng(seed)

    def order(length: int) -> list[int]:
        return [int(index) for index in generator.permutation(length)]

    sheets = [inputs.sheets[i] for i in order(len(inputs.sheets))]
    return replace(
        inputs,
        takes=tuple(inputs.takes[i] for i in order(len(inputs.takes))),
        recordings=tuple(inputs.recordings[i] for i in order(len(inputs.recordings))),
        sheets=tuple(with_rows(sheet, order(len(sheet.trials))) for sheet in sheets),
        findings=tuple(inputs.findings[i] for i in order(len(inputs.findings))),
    )


def renumbered(inputs: Inputs) -> Inputs:
    """Repeats get each other's numbers and paths, trials of a listener each other's numbers: the last comes first."""
    return replace(
        inputs,
        takes=_renumbered(inputs.takes),
        recordings=_renumbered(inputs.recordings),
        sheets=tuple(map(_renumbered_sheet, inputs.sheets)),
    )


def cell_of(one: Take | Recording) -> tuple[object, ...]:
    """What repeats have in common."""
    closing = isinstance(one, Take) and one.closing
    return (one.kind, one.point, one.playing, one.seat, one.condition, one.channel, one.programme, closing)


def _renumbered(measured: Sequence[M]) -> tuple[M, ...]:
    groups: dict[tuple[object, ...], list[int]] = {}
    for index, one in enumerate(measured):
        groups.setdefault(cell_of(one), []).append(index)
    made = list(measured)
    for indices in groups.values():
        for index, other in zip(indices, reversed(indices), strict=True):
            made[index] = replace(measured[index], repeat=measured[other].repeat, path=measured[other].path)
    return tuple(made)


def _renumbered_sheet(sheet: Sheet) -> Sheet:
    trials = sheet.trials.copy()
    if {"listener", "trial"} <= set(trials.columns):
        numbers = trials["trial"].tolist()
        groups: dict[object, list[int]] = {}
        for index, listener in enumerate(trials["listener"].tolist()):
            groups.setdefault(listener, []).append(index)
        for indices in groups.values():
            told = [numbers[index] for index in indices]
            for index, number in zip(indices, reversed(told), strict=True):
                numbers[index] = number
        trials["trial"] = object_column(numbers)
    return replace(sheet, trials=trials)


def with_rows(sheet: Sheet, rows: Iterable[int]) -> Sheet:
    """The sheet with these rows alone, in this order."""
    return replace(sheet, trials=sheet.trials.iloc[list(rows)].reset_index(drop=True))


# --- levels -----------------------------------------------------------------------------------------------------------


def with_gain(inputs: Inputs, gain_db: float, condition: str | None = None) -> Inputs:
    """A gain on every take and recording, noise too; on those of one condition alone if it is named.

    Raises
    ------
    NotApplicable
        A recording came with its summaries ready made.
    """
    return replace(
        inputs,
        takes=tuple(
            replace(take, curve=replace(take.curve, level_db=take.curve.level_db + gain_db))
            if condition is None or take.condition == condition
            else take
            for take in inputs.takes
        ),
        recordings=tuple(
            _louder(recording, gain_db) if condition is None or recording.condition == condition else recording
            for recording in inputs.recordings
        ),
    )


def _louder(recording: Recording, gain_db: float) -> Recording:
    if not recording.summaries:
        return recording
    if not isinstance(recording.summaries, Sound):
        raise NotApplicable(f"{recording.path} came with its summaries ready made: it cannot be made louder")
    return replace(recording, summaries=recording.summaries.louder(gain_db))


# --- names ------------------------------------------------------------------------------------------------------------


def swapped(inputs: Inputs) -> Inputs:
    """The first condition is the reference, and the reference a condition; names, chains and trims stay theirs."""
    session = inputs.session
    old, new = session.reference.id, session.treatments[0].id
    conditions = tuple(replace(c, reference=c.id == new) for c in session.conditions)
    exchange = {old: new, new: old}

    def exchanged(name: str | None) -> str | None:
        return None if name is None else exchange.get(name, name)

    return replace(
        inputs,
        session=planned.exchanged(replace(session, conditions=conditions), old, new),
        sheets=tuple(
            replace(sheet, reference=exchanged(sheet.reference), treatment=exchanged(sheet.treatment))
            for sheet in inputs.sheets
        ),
        findings=tuple(_swapped_finding(f) if {f.condition, f.reference} == {old, new} else f for f in inputs.findings),
    )


def _swapped_finding(finding: Finding) -> Finding:
    turned = replace(finding, condition=finding.reference, reference=finding.condition)
    if finding.quantity not in SIGNED_QUANTITIES:
        return turned
    verdict = None if finding.verdict is None else OPPOSITES.get(finding.verdict, finding.verdict)
    return replace(negated(turned), verdict=verdict)


def negated(finding: Finding) -> Finding:
    """The finding with the sign turned and the ends of its interval exchanged."""
    return mapped(finding, lambda x: -x, falling=True)


def mapped(finding: Finding, function: Callable[[float], float], *, falling: bool = False) -> Finding:
    """The finding with a function put on value and interval; a falling one exchanges the ends."""
    value, low, high = (None if x is None else function(x) for x in (finding.value, finding.low, finding.high))
    return replace(finding, value=value, low=high if falling else low, high=low if falling else high)


def relabelled(inputs: Inputs, word: str, names: Mapping[str, str]) -> Inputs:
    """Other names for seats, listeners or programmes (`word`: seat, listener, programme) everywhere."""

    def named(entry: object) -> object:
        return names.get(entry, entry) if isinstance(entry, str) else entry

    sheets = []
    for sheet in inputs.sheets:
        trials = sheet.trials.copy()
        if word in trials.columns:
            trials[word] = object_column([named(entry) for entry in trials[word].tolist()])
        sheets.append(replace(sheet, trials=trials))
    session = planned.renamed(inputs.session, word, names)
    if word == "seat":
        seats = tuple(replace(s, id=names.get(s.id, s.id), near=names.get(s.near or "", s.near)) for s in session.seats)
        session = replace(session, seats=seats)
    return replace(
        inputs,
        session=session,
        takes=tuple(_relabelled(take, word, names) for take in inputs.takes),
        recordings=tuple(_relabelled(recording, word, names) for recording in inputs.recordings),
        sheets=tuple(sheets),
        findings=tuple(relabelled_finding(f, word, names) for f in inputs.findings),
    )


def _relabelled(measured: M, word: str, names: Mapping[str, str]) -> M:
    if word == "seat" and measured.seat is not None:
        return replace(measured, seat=names.get(measured.seat, measured.seat))
    if word == "programme" and measured.programme is not None:
        return replace(measured, programme=names.get(measured.programme, measured.programme))
    return measured


def relabelled_finding(finding: Finding, word: str, names: Mapping[str, str]) -> Finding:
    """The finding with the name of its seat, listener or programme changed."""
    label = getattr(finding, word)
    if label is None:
        return finding
    if word == "seat":
        return replace(finding, seat=names.get(label, label))
    if word == "listener":
        return replace(finding, listener=names.get(label, label))
    return replace(finding, programme=names.get(label, label))


def other_names(inputs: Inputs, word: str) -> dict[str, str]:
    """New names that sort the other way round."""
    found: set[str] = set()
    if word == "seat":
        found |= {seat.id for seat in inputs.session.seats}
    if word == "programme":
        found |= {take.programme for take in inputs.takes if take.programme is not None}
        found |= {recording.programme for recording in inputs.recordings if recording.programme is not None}
    for sheet in inputs.sheets:
        if word in sheet.trials.columns:
            found |= {entry for entry in sheet.trials[word].tolist() if isinstance(entry, str)}
    ordered = sorted(found)
    return {name: f"{word}{len(ordered) - index:03d}" for index, name in enumerate(ordered)}


# --- trials -----------------------------------------------------------------------------------------------------------


def first_and_second_exchanged(inputs: Inputs) -> Inputs:
    """What was presented first comes second; the answers stay about the same thing."""
    sheets = []
    for sheet in inputs.sheets:
        trials = sheet.trials.copy()
        if {"first", "second"} <= set(trials.columns):
            first, second = trials["first"].tolist(), trials["second"].tolist()
            trials["first"], trials["second"] = object_column(second), object_column(first)
            if sheet.method == "duo-trio":
                trials["answer"] = object_column(
                    [{"1": "2", "2": "1"}.get(str(a), a) for a in trials["answer"].tolist()]
                )
            if sheet.method == "grading":
                trials["rating"] = object_column([_turned_sign(rating) for rating in trials["rating"].tolist()])
        sheets.append(replace(sheet, trials=trials))
    return replace(inputs, sheets=tuple(sheets))


def _turned_sign(rating: object) -> object:
    return f"{-float(rating):g}" if isinstance(rating, str) else rating


def one_listener_doubled(inputs: Inputs) -> Inputs:
    """The trials of each sheet's first listener once more, with numbers of their own."""
    import pandas as pd

    sheets = []
    for sheet in inputs.sheets:
        trials = sheet.trials
        if len(trials) and {"listener", "trial"} <= set(trials.columns):
            again = trials[trials["listener"] == trials["listener"].iloc[0]].copy()
            again["trial"] = object_column([f"{number}-again" for number in again["trial"].tolist()])
            trials = pd.concat([trials, again], ignore_index=True)
        sheets.append(replace(sheet, trials=trials))
    return replace(inputs, sheets=tuple(sheets))


def object_column(entries: list[object]) -> npt.NDArray[np.object_]:
    """A column that keeps its entries as they are: pandas would make NaN of None."""
    import numpy as np

    column = np.empty(len(entries), dtype=object)
    column[:] = entries
    return column
