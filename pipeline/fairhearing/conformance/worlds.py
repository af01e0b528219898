"""Small made-up sessions, always the same, that together hold something of everything an analyser may declare."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, get_args

from fairhearing.audio import Summary
from fairhearing.conformance.planned import with_plan
from fairhearing.conformance.sounds import programme_files, recordings, with_summaries
from fairhearing.conformance.trials import PROGRAMMES, sheets_of
from fairhearing.contracts import Harmonic, Inputs, ResponseCurve, Take, TargetCurve
from fairhearing.result import Finding
from fairhearing.session import Chain, Condition, Criteria, Kind, Playing, Point, Role, Room, Seat, Session

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]

LOWEST_HZ, HIGHEST_HZ, POINTS_PER_OCTAVE = 9.0, 23_000.0, 12
N_REPEATS = 3
NOISE_DB = -45.0
CORNERS_HZ = {"old": 60.0, "new": 90.0, "wide": 120.0}
# What others may find: unit, value, half the width of its interval, and a verdict for each world in turn.
OTHERS: Mapping[str, tuple[str, float, float, tuple[str | None, ...]]] = {
    "level_change": ("dB", -1.5, 0.2, (None,)),
    "level_difference": ("dB", 0.03, 0.04, ("matched", "unmatched", "undecided")),
    "bass_level_difference": ("dB", -0.4, 0.2, (None,)),
    "guard_band_change": ("dB", 0.1, 0.2, ("untouched", "touched", "undecided")),
    "target_deviation_change": ("dB", -0.8, 0.2, ("improved", "worse", "unchanged")),
    "seat_audit": ("dB", -0.8, 0.3, ("improved", "worse", "undecided")),
    "drift": ("dB", 0.4, 0.2, ("undecided", "drifted", "steady")),
    "seat_spread_change": ("dB", -0.2, 0.1, ("unchanged", "worse", "improved")),
    "corner_frequency": ("Hz", 92.0, 3.0, (None,)),
    "corner_ratio": ("1", 1.02, 0.03, ("as-set", "mis-set", "undecided")),
    "filter_order": ("1", 1.0, 0.1, ("first-order", "other", "undecided")),
    "proportion_correct": ("1", 0.7, 0.1, ("heard", "not-shown", "not-attributable")),
    "control_correct": ("1", 0.9, 0.05, ("passed", "not-passed", None)),
    "preference_share": ("1", 0.6, 0.1, ("preferred", "not-preferred", "not-shown")),
    "rating_difference": ("comparison", 0.5, 0.3, ("better", "worse", "not-shown")),
    "subsonic_level_change": ("dB", -2.0, 0.5, ("relief", "no-relief", "undecided")),
    "energy_share_below_corner": ("1", 0.06, 0.01, (None,)),
}
# Of no contract: whoever reads it reads whatever there is.
DECOY = "decoy"


def worlds(
    quantities: Iterable[str] = (), summaries_of: Callable[[Session], Sequence[Summary]] | None = None
) -> tuple[Inputs, ...]:
    """All worlds; each holds findings of the quantities that others may find and of `quantities`.

    `summaries_of`: those of each recording of a session.

    Responses at the seats (main, both; two channels; three repeats) and at the amplifier, noise, recordings,
    sheets of every method with eight listeners; three conditions with a filter in the reference; no filter at all.
    """
    bare = _bare_worlds()
    return tuple(
        replace(
            one,
            recordings=with_summaries(one.recordings, () if summaries_of is None else summaries_of(one.session)),
            findings=_findings(one.session, {*OTHERS, *quantities}, index),
        )
        for index, one in enumerate(bare)
    )


@cache
def _bare_worlds() -> tuple[Inputs, ...]:
    return (_with_subwoofer(), _three_conditions(), _without_filter())


def _with_subwoofer() -> Inputs:
    session = _session(
        "with-subwoofer",
        {"out": Chain(), "in": _filter(90.0)},
        {"b": 1.0, "a": 2.0, "c": 0.0},
        Criteria(),
    )
    seats = [seat.id for seat in session.seats]
    channels = ("left", "right")
    takes = [
        *_takes(session, "response", "seat", "main", seats, channels, phase=True),
        *_takes(session, "response", "seat", "both", seats, channels, phase=True),
        *_takes(session, "response", "amplifier-output", "main", (None,), channels[:1], phase=True),
        *_takes(session, "sweep", "amplifier-output", "main", (None,), channels[1:], phase=True),
        *_takes(session, "response", "amplifier-input", "main", (None,), channels, phase=True),
        *_noise(session, "seat", seats),
        *_noise(session, "amplifier-output", (None,)),
    ]
    takes += _closing(session, "b", "both", channels)
    sheets = sheets_of(session, positions=True, order="independent")
    return Inputs(session=with_plan(session), takes=tuple(takes), sheets=sheets)


def _three_conditions() -> Inputs:
    """Three settings of the filter; at the amplifier only two of them were measured."""
    criteria = Criteria(level_measure="loudness", require=("matched", "untouched"), benefit=("heard", "preferred"))
    chains = {name: replace(_filter(hz), bass_given_back=False) for name, hz in CORNERS_HZ.items()}
    session = _session("three-conditions", chains, {"b": 1.0, "a": 1.5}, criteria, trims_db=(0.0, 0.3, -0.2))
    seats = [seat.id for seat in session.seats]
    sweeps = _takes(session, "sweep", "amplifier-input", "main", (None,), (None,))
    takes = [
        *_takes(session, "impulse", "seat", "main", seats, (None,), in_place=True),
        *(take for take in sweeps if take.condition != "wide"),
        *_noise(session, "amplifier-input", (None,)),
        *_closing(session, "a", "main", (None,), "impulse"),
    ]
    return Inputs(
        session=with_plan(session, "paired-preference"),
        takes=tuple(takes),
        sheets=sheets_of(session, positions=False, order="balanced"),
        recordings=(
            *recordings(session, "recording", "amplifier-input", (None,), PROGRAMMES),
            *programme_files(PROGRAMMES),
        ),
        target=_target(),
    )


def _without_filter() -> Inputs:
    criteria = Criteria(require=("matched",), benefit=("heard", "improved", "better"))
    session = _session("without-filter", {"before": Chain(), "after": Chain()}, {"b": 1.0, "a": 1.0}, criteria)
    seats = [seat.id for seat in session.seats]
    takes = [
        *_takes(session, "response", "seat", "main", seats[:1], (None,), phase=True),
        *_takes(session, "sweep", "seat", "main", seats[1:], (None,), phase=True),
        *_takes(session, "response", "seat", "sub", seats, (None,), n_repeats=1),
        *_noise(session, "seat", seats),
        *_closing(session, "b", "main", (None,)),
    ]
    sounds = [
        *recordings(session, "recording", "amplifier-output", (None,), PROGRAMMES, n_repeats=N_REPEATS),
        *recordings(session, "recording", "seat", seats, PROGRAMMES),
        *recordings(session, "calibration", "seat", seats[:1], (None,)),
    ]
    return Inputs(
        session=with_plan(session, "grading"),
        takes=tuple(takes),
        sheets=sheets_of(session, positions=True, order="independent"),
        recordings=tuple(sounds),
    )


# --- the session ------------------------------------------------------------------------------------------------------


def _session(
    name: str,
    chains: Mapping[str, Chain],
    weights: Mapping[str, float],
    criteria: Criteria,
    trims_db: tuple[float, ...] = (0.0, 0.0, 0.0),
) -> Session:
    """A session whose first condition is the reference."""
    return Session(
        id=name,
        date="2026-05-09",
        question="Is it a gain?",
        room=Room(id="made-up", size_m=(7.4, 5.1, 2.9), temperature_c=21.0),
        conditions=tuple(
            Condition(id=id_, label=f"State {id_}", reference=index == 0, trim_db=trims_db[index], chain=chain)
            for index, (id_, chain) in enumerate(chains.items())
        ),
        seats=tuple(
            Seat(id=id_, position_m=(3.0, 1.0 + index, 1.2), weight=weight, near="a" if weight == 0 else None)
            for index, (id_, weight) in enumerate(weights.items())
        ),
        measurements=(),
        scores=(),
        criteria=criteria,
        folder=Path("made-up"),
    )


def _filter(corner_hz: float) -> Chain:
    return Chain(
        design_corner_hz=corner_hz,
        setting_kohm=47.0,
        capacitance_nf=1e9 / (2 * math.pi * corner_hz * 47_000.0),
        amplifier_input_kohm=47.0,
        source_output_ohm=150.0,
        cable_capacitance_pf=300.0,
    )


# --- what was measured ------------------------------------------------------------------------------------------------


def _takes(
    session: Session,
    kind: Kind,
    point: Point,
    playing: Playing,
    seats: Iterable[str | None],
    channels: Iterable[str | None],
    *,
    n_repeats: int = N_REPEATS,
    in_place: bool = False,
    phase: bool = False,
) -> list[Take]:
    """Every repeat of every condition, in the order in which one would measure."""
    takes = []
    for condition in session.conditions:
        for seat, channel in [(s, c) for s in seats for c in channels]:
            for repeat in range(1, n_repeats + 1):
                names = (kind, point, playing, seat, channel)
                path = "_".join(str(word) for word in (*names, condition.id, repeat) if word is not None)
                curve = _curve(condition, names, path, point=point, playing=playing, phase=phase)
                if kind == "sweep":
                    curve = replace(curve, harmonics=_harmonics(condition, names, path))
                takes.append(
                    Take(
                        kind=kind,
                        point=point,
                        playing=playing,
                        in_place=in_place,
                        seat=seat,
                        condition=condition.id,
                        repeat=str(repeat),
                        channel=channel,
                        programme=None,
                        curve=curve,
                        path=f"{path}.csv",
                    )
                )
    return takes


def _closing(
    session: Session, seat: str, playing: Playing, channels: Iterable[str | None], kind: Kind = "response"
) -> list[Take]:
    """The reference once more at the end."""
    takes = _takes(session, kind, "seat", playing, (seat,), channels, n_repeats=N_REPEATS + 1, phase=True)
    last = [t for t in takes if t.condition == session.reference.id and t.repeat == str(N_REPEATS + 1)]
    return [replace(take, repeat="1", path=f"closing_{take.path}", closing=True) for take in last]


def _curve(
    condition: Condition, place: object, take: str, *, point: Point, playing: Playing, phase: bool
) -> ResponseCurve:
    """The room's own wriggles, the same for every condition; the filter; a small smooth error of each take."""
    import numpy as np

    frequency = _grid()
    octaves = np.log2(frequency / 1000.0)
    here, now, state = (_generator(words) for words in (place, take, condition.id))
    level = np.zeros(len(frequency))
    if point == "seat":
        for cycles in (0.37, 0.83, 1.71):
            level += here.uniform(0.5, 2.0) * np.sin(2 * np.pi * (cycles * octaves + here.uniform()))
    level += here.uniform(-1.0, 1.0) + state.uniform(-0.05, 0.05)
    level += 0.15 * np.sin(2 * np.pi * (0.5 * octaves + state.uniform()))
    for cycles in (0.21, 0.93):
        level += 0.08 * np.sin(2 * np.pi * (cycles * octaves + now.uniform()))
    corner = condition.chain.design_corner_hz
    filtered = corner is not None and playing != "sub" and point != "amplifier-input"
    turn = np.zeros(len(frequency))
    if corner is not None and (filtered or point == "amplifier-input"):
        ratio = frequency / corner
        turn = np.degrees(np.arctan(1 / ratio))
        if playing == "main":
            level += 10 * np.log10(ratio**2 / (1 + ratio**2))
    late = 360.0 * frequency * (1e-3 + state.uniform(-2e-5, 2e-5) + now.uniform(-2e-6, 2e-6))
    angle = (turn - late + 180.0) % 360.0 - 180.0
    return ResponseCurve(frequency_hz=frequency, level_db=level, phase_deg=angle if phase else None)


def _harmonics(condition: Condition, place: object, take: str) -> tuple[Harmonic, ...]:
    """Orders 2 and 3 that fall with frequency, each down into its noise at the top."""
    import numpy as np

    found = []
    for order in (2, 3):
        frequency = 10.0 ** (np.arange(43, 130 - 10 * order) / 30.0)
        here, now, state = (_generator((words, order)) for words in (place, take, condition.id))
        level = -20.0 * order - 8.0 * np.log10(frequency / 20.0) + here.uniform(-2.0, 2.0) + state.uniform(-1.0, 1.0)
        noise = np.linspace(-30.0, -3.0, len(frequency)) + level
        found.append(
            Harmonic(
                order=order,
                frequency_hz=frequency,
                level_db=level + now.uniform(-0.2, 0.2),
                noise_level_db=noise + now.uniform(-0.5, 0.5),
            )
        )
    return tuple(found)


def _noise(session: Session, point: Point, seats: Iterable[str | None]) -> list[Take]:
    takes = []
    for seat in seats:
        for condition in session.conditions:
            path = "_".join(word for word in ("noise", point, seat, condition.id) if word is not None)
            frequency = _grid()
            level = NOISE_DB + _generator(path).uniform(-2.0, 2.0, len(frequency))
            takes.append(
                Take(
                    kind="noise",
                    point=point,
                    playing="main",
                    in_place=False,
                    seat=seat,
                    condition=condition.id,
                    repeat="1",
                    channel=None,
                    programme=None,
                    curve=ResponseCurve(frequency_hz=frequency, level_db=level),
                    path=f"{path}.csv",
                )
            )
    return takes


def _grid() -> FloatArray:
    import numpy as np

    n_points = round(math.log2(HIGHEST_HZ / LOWEST_HZ) * POINTS_PER_OCTAVE) + 1
    return np.geomspace(LOWEST_HZ, HIGHEST_HZ, n_points)


def _generator(words: object) -> np.random.Generator:
    import numpy as np

    return np.random.default_rng(list(repr(words).encode()))


def _target() -> TargetCurve:
    import numpy as np

    return TargetCurve(frequency_hz=np.array([20.0, 200.0, 20_000.0]), level_db=np.array([3.0, 0.0, -2.0]))


# --- what others found ------------------------------------------------------------------------------------------------


def _findings(session: Session, quantities: Iterable[str], index: int) -> tuple[Finding, ...]:
    """Each quantity for every condition against the reference, over seats and per seat."""
    found = []
    for quantity in sorted(quantities):
        unit, value, half, verdicts = OTHERS.get(quantity, ("1", 0.5, 0.1, (None,)))
        for condition in session.treatments:
            for seat in (None, *(seat.id for seat in session.seats)):
                found.append(
                    Finding(
                        quantity=quantity,
                        value=value,
                        unit=unit,
                        low=value - half,
                        high=value + half,
                        confidence=session.criteria.confidence,
                        n=N_REPEATS,
                        method="made up",
                        condition=condition.id,
                        reference=session.reference.id,
                        point="seat",
                        playing="both",
                        seat=seat,
                        verdict=verdicts[index % len(verdicts)],
                    )
                )
    return tuple(found)


KINDS: tuple[Kind, ...] = get_args(Kind)
POINTS: tuple[Point, ...] = get_args(Point)
ROLES: tuple[Role, ...] = get_args(Role)
