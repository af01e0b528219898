"""What a session is: room, chain, conditions, seats, measurements, score sheets, criteria.

Values only, as read from session.toml; `manifest` reads them, everything above uses them.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

Kind = Literal["response", "impulse", "sweep", "recording", "noise", "calibration"]
Point = Literal["seat", "amplifier-input", "amplifier-output"]
Playing = Literal["main", "sub", "both"]
RepeatMode = Literal["replaced", "in-place"]
Method = Literal["abx", "same-different", "triangle", "duo-trio", "paired-preference", "grading"]
OrderRule = Literal["independent", "balanced"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """The room: id, size as (length, width, height) in metre, temperature in degree Celsius."""

    id: str
    size_m: tuple[float, float, float] | None = None
    temperature_c: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Chain:
    """The electrical chain of one condition; None is "not said"."""

    design_corner_hz: float | None = None
    setting_kohm: float | None = None
    capacitance_nf: float | None = None
    amplifier_input_kohm: float | None = None
    source_output_ohm: float | None = None
    cable_capacitance_pf: float | None = None
    loudspeaker_ohm: float | None = None
    bass_given_back: bool | None = None

    @property
    def names_filter(self) -> bool:
        """Whether this chain names a filter: a corner or a capacitance."""
        return self.design_corner_hz is not None or self.capacitance_nf is not None

    @property
    def gives_bass_back(self) -> bool:
        """`bass_given_back` as said; where it is not said, true if the chain names a filter."""
        return self.names_filter if self.bass_given_back is None else self.bass_given_back


@dataclass(frozen=True, slots=True, kw_only=True)
class Condition:
    """A state of the chain. `chain` is already merged: what holds in this condition."""

    id: str
    label: str
    reference: bool = False
    trim_db: float = 0.0
    chain: Chain = field(default_factory=Chain)


@dataclass(frozen=True, slots=True, kw_only=True)
class Seat:
    """A listening place. Weight 0 leaves it out of "over seats"."""

    id: str
    position_m: tuple[float, float, float] | None = None
    weight: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Criteria:
    """What was fixed before the data was seen. `target` is "flat" or a file relative to the session folder."""

    bass_band_hz: tuple[float, float] = (20.0, 200.0)
    target: str = "flat"
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


@dataclass(frozen=True, slots=True, kw_only=True)
class ScoreFile:
    """One file that a `[[scores]]` entry claims. reference and treatment None: taken from the sheet."""

    path: str
    line: int
    entry: int
    method: Method
    reference: str | None = None
    treatment: str | None = None
    order: OrderRule = "independent"
    scale: str | None = None
    listener: str | None = None
    seat: str | None = None
    programme: str | None = None
    options: ReadOptions = field(default_factory=ReadOptions)


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

    @property
    def reference(self) -> Condition:
        """The one condition that the others are compared with."""
        return next(condition for condition in self.conditions if condition.reference)

    @property
    def treatments(self) -> tuple[Condition, ...]:
        """Every condition but the reference, in the order of session.toml."""
        return tuple(condition for condition in self.conditions if not condition.reference)

    @property
    def names_filter(self) -> bool:
        """Whether any condition's chain names a filter."""
        return any(condition.chain.names_filter for condition in self.conditions)
