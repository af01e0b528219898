"""What a session is: room, chain, conditions, seats, measurements, score sheets, criteria.

Values only, as read from session.toml; `manifest` reads them, everything above uses them.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import Literal

Kind = Literal["response", "impulse", "sweep", "recording", "noise", "calibration"]
Point = Literal["seat", "amplifier-input", "amplifier-output", "programme"]  # programme: the source's own file
Playing = Literal["main", "sub", "both"]
RepeatMode = Literal["replaced", "in-place"]
Method = Literal["abx", "same-different", "triangle", "duo-trio", "tetrad", "paired-preference", "grading"]
OrderRule = Literal["independent", "balanced"]
Role = Literal["scored", "control", "sham"]  # of trials: what counts, what all should hear, the same against the same
Question = Literal["heard", "preferred", "better", "equivalent"]
Switching = Literal["relay", "cable", "files"]
# What `fairhearing plan` writes into a session folder, and `fairhearing unseal` beside it.
PLAN_FORMAT = 1  # of plan.json
PLAN_FOLDER = "listening"
PLAN_NAME, SEAL_NAME, OPENED_NAME = "plan.json", "seal.json", "opened.json"
Value = float | bool | str | tuple[float, ...] | None  # of a key of a chain or of the equipment


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """The room: id, size as (length, width, height) in metre, temperature in degree Celsius."""

    id: str
    size_m: tuple[float, float, float] | None = None
    temperature_c: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Chain:
    """The electrical chain of one condition; None is "not said".

    On a balanced line there is a capacitor in each leg, of `capacitance_nf` each, and resistances are leg to leg.
    """

    design_corner_hz: float | None = None
    setting_kohm: float | None = None
    capacitance_nf: float | None = None
    amplifier_input_kohm: float | None = None
    source_output_ohm: float | None = None
    cable_capacitance_pf: float | None = None
    loudspeaker_ohm: float | None = None
    bass_given_back: bool | None = None
    setting_left_kohm: float | None = None  # where left and right are set apart; else setting_kohm
    setting_right_kohm: float | None = None
    balanced: bool | None = None
    tap_kohm: tuple[float, ...] | None = None  # loads hung on the line behind the series capacitor
    tap_before_kohm: tuple[float, ...] | None = None  # and ahead of it
    second_input_kohm: float | None = None  # of a second amplifier behind the series capacitor
    measuring_input_kohm: float | None = None  # loads the amplifier's terminals while they are measured
    coupling_capacitor_uf: float | None = None  # of the amplifier, behind its terminals
    capacitor_tolerance_percent: float | None = None
    input_tolerance_percent: float | None = None
    loudspeaker_impedance: str | None = None  # a file of the session: its table stands in Session.impedances

    @property
    def names_filter(self) -> bool:
        """Whether this chain names a filter: a corner or a capacitance."""
        return self.design_corner_hz is not None or self.capacitance_nf is not None

    @property
    def gives_bass_back(self) -> bool:
        """`bass_given_back` as said; where it is not said, true if the chain names a filter."""
        return self.names_filter if self.bass_given_back is None else self.bass_given_back


@dataclass(frozen=True, slots=True, kw_only=True)
class Equipment:
    """How the equipment is set in one condition; None is "not said"."""

    filter: Literal["in", "out"] | None = None
    boost: Literal["on", "off"] | None = None
    boost_corner_hz: float | None = None  # the corner that the boost is made for
    boost_db: float | None = None  # the most that it gives
    subwoofer_level_db: float | None = None
    subwoofer_polarity: Literal["normal", "inverted"] | None = None

    @property
    def boost_is_on(self) -> bool:
        """Whether a boost is said to be on: by itself, or by what it gives."""
        return self.boost == "on" or (self.boost is None and (self.boost_corner_hz, self.boost_db) != (None, None))


# Keys that come and go together are one change; a trim and a tolerance are none.
_THINGS = {
    **dict.fromkeys(
        ("filter", "design_corner_hz", "setting_kohm", "setting_left_kohm", "setting_right_kohm", "capacitance_nf"),
        "the filter",
    ),
    "bass_given_back": "the filter",
    **dict.fromkeys(("boost", "boost_corner_hz", "boost_db"), "the boost"),
}
_NO_CHANGES = frozenset({"capacitor_tolerance_percent", "input_tolerance_percent"})
# Every chain has these: where one condition does not say them, nothing shows that they differ.
_ALWAYS_THERE = frozenset(
    {"amplifier_input_kohm", "source_output_ohm", "cable_capacitance_pf", "loudspeaker_ohm", "loudspeaker_impedance"}
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Condition:
    """A state of the chain. `chain` is already merged: what holds in this condition."""

    id: str
    label: str
    reference: bool = False
    trim_db: float = 0.0
    chain: Chain = field(default_factory=Chain)
    equipment: Equipment = field(default_factory=Equipment)

    @property
    def states(self) -> dict[str, Value]:
        """Every key of the chain and of the equipment with its value, in one order for all conditions."""
        parts = (self.chain, self.equipment)
        return {one.name: getattr(part, one.name) for part in parts for one in fields(part)}

    def changes_from(self, other: Condition) -> tuple[str, ...]:
        """Things in which this condition differs from another; what makes up the filter is one, and so is the boost."""
        theirs = other.states
        keys = [key for key, value in self.states.items() if _differ(key, value, theirs[key])]
        return tuple(dict.fromkeys(_THINGS.get(key, key) for key in keys))


def _differ(key: str, one: Value, other: Value) -> bool:
    if key in _NO_CHANGES or (key in _ALWAYS_THERE and None in (one, other)):
        return False
    if key in ("balanced", "tap_kohm", "tap_before_kohm"):
        return bool(one or other) and one != other  # not said, no and none are the same
    return one != other


@dataclass(frozen=True, slots=True, kw_only=True)
class Seat:
    """A listening place. Weight 0 leaves it out of "over seats"; `near`: the seat that it is a position beside."""

    id: str
    position_m: tuple[float, float, float] | None = None
    weight: float = 1.0
    near: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Criteria:
    """What was fixed before the data was seen. `target` is "flat" or a file relative to the session folder.

    `target_slope_db_per_octave`: a flat target rises by so much per octave (below 0: falls).
    """

    bass_band_hz: tuple[float, float] = (20.0, 200.0)
    target: str = "flat"
    target_slope_db_per_octave: float | None = None
    guard_band_hz: tuple[float, float] = (500.0, 10_000.0)
    guard_db: float = 0.5
    level_tolerance_db: float = 0.1
    level_measure: Literal["midband", "loudness"] = "midband"
    corner_tolerance_octaves: float = 0.4
    smallest_change_db: float = 0.5
    placement_sd_db: float = 0.3
    min_snr_db: float = 15.0
    alpha: float = 0.05
    confidence: float = 0.95
    require: tuple[str, ...] = ("as-set", "untouched", "no-seat-worse")
    benefit: tuple[str, ...] = ("improved", "preferred", "better", "relief")
    relief_db: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadOptions:
    """What session.toml says about how a file is written; None is "detect it".

    `columns` maps our name of a column (frequency, level, phase, real, imaginary; or a score sheet's) to the file's.
    """

    delimiter: str | None = None
    decimal: str | None = None
    columns: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasurementFile:
    """One file that a `[[measurements]]` entry claims, with all that is known of it before it is opened."""

    path: str  # relative to the session folder, with /
    line: int  # of the entry in session.toml
    entry: int  # which [[measurements]] entry, from 0
    kind: Kind = "response"
    point: Point = "seat"
    playing: Playing = "main"
    repeats: RepeatMode = "replaced"
    seat: str | None = None
    condition: str | None = None
    repeat: str = "1"
    channel: str | None = None
    programme: str | None = None
    options: ReadOptions = field(default_factory=ReadOptions)
    microphone: str | None = None
    full_scale_pa: float | None = None
    full_scale_v: float | None = None
    excitation: str | None = None
    calibrator: str | None = None
    calibrator_db: float | None = None
    closing: bool = False  # measured once more at the end, to see whether anything drifted: no repeat


@dataclass(frozen=True, slots=True, kw_only=True)
class ScoreFile:
    """One file that a `[[scores]]` entry claims, or a sheet that an opened plan brings.

    reference and treatment None: taken from the sheet.
    """

    path: str
    line: int
    entry: int
    method: Method
    reference: str | None = None
    treatment: str | None = None
    order: OrderRule = "independent"
    scale: str | None = None
    role: Role = "scored"
    listener: str | None = None
    seat: str | None = None
    programme: str | None = None
    options: ReadOptions = field(default_factory=ReadOptions)


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """A planned look at the scores: after how many trials of all listeners together, how many right end it there.

    `n_right_needed` None: no number does. `alpha_spent`: the exact chance, by guessing, of having ended by then.
    """

    n_trials: int
    n_right_needed: int | None
    alpha_spent: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ListeningPlan:
    """What `fairhearing plan` fixed and sealed. Trials are counted per listener.

    `effect`: the smallest one worth finding, as the question measures it: a proportion right, a share, scale units.
    `control`: what the positive control changes, which all should hear. `commitment`: 64 hexadecimal digits.
    `opened_early`: the reason that was given for opening before all answers were in.
    """

    question: Question
    method: Method
    scale: str | None
    conditions: tuple[str, ...]
    condition: str
    reference: str
    alpha: float
    power: float
    effect: float
    margin: float | None
    listeners: tuple[str, ...]
    n_trials: int
    n_practice: int
    n_sham: int
    n_control: int
    control: str | None
    looks: tuple[Look, ...]
    spending: str | None
    programmes: tuple[str, ...]
    seats: tuple[str, ...]
    commitment: str
    sealed: bool
    opened_early: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Listening:
    """How the listening was run, as [listening] says it; None is "not said".

    `operator_blind`: whoever switches does not know what plays. `switch_check`: what was done to see that the switch
    itself does not speak. `guesses`: a CSV of the session with the columns listener and guess, a condition's id or
    `none`: what each believed at the end.
    """

    switching: Switching | None = None
    gap_s: float | None = None
    gap_equal: bool | None = None
    operator_blind: bool | None = None
    operator_screened: bool | None = None
    switch_check: str | None = None
    switch_check_passed: bool | None = None
    guesses: str | None = None
    plan_folder: str | None = None  # relative to the session folder
    plan: ListeningPlan | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Guess:
    """What one listener believed at the end: the id of a condition, or `none`."""

    listener: str
    guess: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ImpedanceTable:
    """Impedance of a loudspeaker: hertz (rising), ohm, degree (-90 to 90) or None; `path` as [chain] names it."""

    path: str
    frequency_hz: tuple[float, ...]
    magnitude_ohm: tuple[float, ...]
    phase_deg: tuple[float, ...] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Session:
    """One visit with one question. `folder` is where its files lie now; it is no part of what the session is."""

    id: str
    date: str | None
    question: str
    room: Room
    conditions: tuple[Condition, ...]
    seats: tuple[Seat, ...]
    measurements: tuple[MeasurementFile, ...]
    scores: tuple[ScoreFile, ...]
    criteria: Criteria
    folder: Path
    warnings: tuple[str, ...] = ()
    impedances: tuple[ImpedanceTable, ...] = ()
    listening: Listening = field(default_factory=Listening)
    guesses: tuple[Guess, ...] = ()  # as the file that listening.guesses names has them

    @property
    def reference(self) -> Condition:
        """The one condition that the others are compared with."""
        return next(condition for condition in self.conditions if condition.reference)

    @property
    def treatments(self) -> tuple[Condition, ...]:
        """Every condition but the reference, in the order of session.toml."""
        return tuple(condition for condition in self.conditions if not condition.reference)

    def impedance_of(self, chain: Chain) -> ImpedanceTable | None:
        """The table that a chain names; None where it names none."""
        return next((one for one in self.impedances if one.path == chain.loudspeaker_impedance), None)

    @property
    def names_filter(self) -> bool:
        """Whether any condition's chain names a filter."""
        return any(condition.chain.names_filter for condition in self.conditions)
