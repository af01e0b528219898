"""The four made-up sessions in figures: rooms, loudspeakers, lines, seats, listeners, noise."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from electrical import Line, line_transfer, subwoofer_input
from listeners import Panel
from rooms import (
    Complex,
    Loudspeaker,
    Position,
    Real,
    Room,
    Scatter,
    air_and_furniture,
    generator,
    ringing,
    second_order_high_pass,
    second_order_low_pass,
)

MIDS_DB = 74.0  # sound pressure level of the mids at the seats
AMPLIFIER_GAIN_DB = 26.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Seat:
    """A listening place and how much it counts."""

    position_m: Position
    weight: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Subwoofer:
    """A loudspeaker for the bass with its own amplifier, low-pass (resistor and capacitor) and level."""

    box: Loudspeaker
    low_pass_ohm: float
    low_pass_farad: float
    upper_hz: float
    gain_db: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Boom:
    """A broad hump in the bass of one seat: what walls and corner lend to the loudspeaker there."""

    centre_hz: float
    width_octaves: float  # standard deviation of the bell
    gain_db: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """How a session's response files are written."""

    suffix: str
    delimiter: str
    decimal: str
    columns: tuple[str, ...]  # frequency, level and, if there are three, phase in degrees
    comments: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Scenario:
    """One session. `lines` and `loudspeakers` are keyed by condition, the loudspeakers then by channel ("" for one)."""

    id: str
    folder: str
    reference: str
    treatment: str
    room: Room
    seats: dict[str, Seat]
    loudspeakers: dict[str, dict[str, Loudspeaker]]
    lines: dict[str, Line]
    table: Table
    scatter: Scatter
    subwoofer: Subwoofer | None = None
    subwoofer_measured: bool = False
    design_corner_hz: float | None = None  # the corner that is meant
    setting_ohm: float | None = None  # the load that the filter is set for
    trim_db: float = 0.0
    n_repeats: int = 4
    n_amplifier_repeats: int = 0
    amplifier_channels: tuple[str, ...] = ()
    identification: Panel | None = None
    preference: Panel | None = None
    claims_target: bool = True  # false: nothing can be said of the bass at the seats from what was measured
    balance: str = "undecided"  # the right answer
    booms: dict[tuple[str, str], Boom] = field(default_factory=dict)  # by condition and seat

    @property
    def conditions(self) -> tuple[str, str]:
        """Reference first."""
        return self.reference, self.treatment

    @property
    def channels(self) -> tuple[str, ...]:
        """Channels, the same in both conditions."""
        return tuple(self.loudspeakers[self.reference])

    @property
    def heard(self) -> str:
        """What plays when people listen, as far as it was measured."""
        return "both" if self.subwoofer_measured else "main"


def seat_response(
    scenario: Scenario, condition: str, seat: str, channel: str, playing: str, frequency_hz: Real
) -> Complex:
    """True complex sound pressure at a seat, 20 lg of its size being the level in dB."""
    seat_m = scenario.seats[seat].position_m
    box = scenario.loudspeakers[condition][channel]
    sound = line_transfer(scenario.lines[condition], frequency_hz)
    sound = sound * second_order_high_pass(frequency_hz, box.low_hz, box.low_sharpness)
    sound = sound * ringing(scenario.room, box.position_m, seat_m, frequency_hz)
    if playing == "both" and scenario.subwoofer is not None:
        sub = scenario.subwoofer
        bass = subwoofer_input(frequency_hz, sub.low_pass_ohm, sub.low_pass_farad) * 10 ** (sub.gain_db / 20)
        bass = bass * second_order_high_pass(frequency_hz, sub.box.low_hz, sub.box.low_sharpness)
        bass = bass * second_order_low_pass(frequency_hz, sub.upper_hz, 0.6)
        sound = sound + bass * ringing(scenario.room, sub.box.position_m, seat_m, frequency_hz)
    boom = scenario.booms.get((condition, seat))
    if boom is not None:
        away_octaves = np.log2(frequency_hz / boom.centre_hz) / boom.width_octaves
        sound = sound * 10 ** (boom.gain_db * np.exp(-0.5 * away_octaves**2) / 20)
    own_db = MIDS_DB + air_and_furniture(frequency_hz, generator(scenario.id, "air", seat, channel))
    return np.asarray(sound * 10 ** (own_db / 20))


def amplifier_response(scenario: Scenario, condition: str, frequency_hz: Real) -> Complex:
    """True complex voltage at the amplifier's output over the source's, with the amplifier's own roll-off."""
    amplifier = 10 ** (AMPLIFIER_GAIN_DB / 20) / (1 + 1j * frequency_hz / 120e3)
    return np.asarray(line_transfer(scenario.lines[condition], frequency_hz) * amplifier)


def filter_as_set() -> Scenario:
    """A first-order high-pass that sits where it should; the subwoofer takes over and people prefer it."""
    stands = {
        "left": Loudspeaker(position_m=(0.9, 1.3, 1.0), low_hz=20.0),
        "right": Loudspeaker(position_m=(0.9, 3.7, 1.0), low_hz=20.0),
    }
    line = {"source_output_ohm": 610.0, "amplifier_input_ohm": 34.2e3, "cable_farad": 1000e-12}
    return Scenario(
        id="alder-loft-2026-03-14",
        folder="filter-as-set",
        reference="direct",
        treatment="highpass",
        room=Room(id="alder-loft", size_m=(6.6, 5.2, 2.7), temperature_c=21.5, strength=0.7, sharpness=6.0),
        seats={
            "sofa": Seat(position_m=(4.4, 2.4, 1.1), weight=2.0),
            "armchair": Seat(position_m=(3.7, 3.9, 1.1)),
            "bench": Seat(position_m=(5.3, 1.2, 1.2)),
        },
        loudspeakers={"direct": stands, "highpass": stands},
        lines={
            "direct": Line(**line),
            "highpass": Line(**line, capacitor_farad=68e-9),
        },
        table=Table(suffix="csv", delimiter=",", decimal=".", columns=("Hz", "dB")),
        scatter=Scatter(placement_db=0.2, take_db=0.06, ambient_db=MIDS_DB - 42.0),
        subwoofer=Subwoofer(
            box=Loudspeaker(position_m=(0.6, 2.3, 0.4), low_hz=17.0),
            low_pass_ohm=10e3,
            low_pass_farad=0.234e-6,
            upper_hz=480.0,
            gain_db=3.0,
        ),
        subwoofer_measured=True,
        design_corner_hz=68.0,
        setting_ohm=33e3,
        trim_db=0.11,
        n_amplifier_repeats=3,
        amplifier_channels=("left", "right"),
        identification=Panel(
            n_listeners=12, n_trials=10, programmes=("slow-organ", "plucked-bass"), seats=("sofa",), detection=0.72
        ),
        preference=Panel(
            n_listeners=12,
            n_trials=8,
            programmes=("slow-organ", "plucked-bass"),
            seats=("sofa", "armchair"),
            preference=0.75,
            none=0.06,
        ),
        balance="gain",
    )


def set_for_a_fifth() -> Scenario:
    """The same kind of filter, set for a fifth of the load that it really meets."""
    desk = {"": Loudspeaker(position_m=(0.5, 1.7, 1.1), low_hz=28.0)}
    line = {"source_output_ohm": 100.0, "amplifier_input_ohm": 60e3, "cable_farad": 150e-12}
    return Scenario(
        id="quince-cellar-2026-02-03",
        folder="set-for-a-fifth",
        reference="straight",
        treatment="boxed",
        room=Room(id="quince-cellar", size_m=(4.9, 3.6, 2.3), temperature_c=18.0, strength=0.5, sharpness=6.0),
        seats={
            "desk": Seat(position_m=(1.7, 1.7, 1.2)),
            "couch": Seat(position_m=(3.9, 2.3, 0.9)),
        },
        loudspeakers={"straight": desk, "boxed": desk},
        lines={"straight": Line(**line), "boxed": Line(**line, capacitor_farad=120e-9)},
        table=Table(suffix="txt", delimiter=";", decimal=",", columns=("Frequency (Hz)", "Level (dB)")),
        scatter=Scatter(placement_db=0.2, take_db=0.06, ambient_db=MIDS_DB - 48.0),
        subwoofer=None,
        design_corner_hz=110.0,
        setting_ohm=12e3,
        claims_target=False,
        balance="no-gain",
    )


def cable_turned_round() -> Scenario:
    """A change that changes nothing, and listeners who guess."""
    pair = {
        "left": Loudspeaker(position_m=(0.8, 1.1, 0.9), low_hz=26.0),
        "right": Loudspeaker(position_m=(0.8, 3.3, 0.9), low_hz=26.0),
    }
    line = Line(source_output_ohm=330.0, amplifier_input_ohm=22e3, cable_farad=470e-12)
    return Scenario(
        id="saltworks-office-2026-04-22",
        folder="cable-turned-round",
        reference="as-found",
        treatment="turned",
        room=Room(id="saltworks-office", size_m=(5.6, 4.4, 3.0), temperature_c=20.0, strength=0.6, sharpness=7.0),
        seats={
            "front": Seat(position_m=(2.9, 2.0, 1.2)),
            "back": Seat(position_m=(4.2, 2.7, 1.2)),
        },
        loudspeakers={"as-found": pair, "turned": pair},
        lines={"as-found": line, "turned": line},
        table=Table(
            suffix="csv",
            delimiter=",",
            decimal=".",
            columns=("freq [kHz]", "magnitude [dB]"),
            comments=("# both loudspeakers one after the other, microphone upright", "# re 20 uPa"),
        ),
        scatter=Scatter(placement_db=0.2, take_db=0.06, ambient_db=MIDS_DB - 46.0),
        n_amplifier_repeats=3,
        amplifier_channels=("left",),
        identification=Panel(
            n_listeners=8, n_trials=12, programmes=("brush-drums", "low-choir"), seats=("front",), detection=0.5
        ),
        preference=Panel(
            n_listeners=8,
            n_trials=8,
            programmes=("brush-drums", "low-choir"),
            seats=("front", "back"),
            preference=0.5,
            none=0.25,
        ),
        balance="no-gain",
    )


def loudspeaker_moved() -> Scenario:
    """Five seats and one loudspeaker: three seats gain, one stays as it was, one loses."""
    line = Line(source_output_ohm=150.0, amplifier_input_ohm=15e3, cable_farad=330e-12)
    return Scenario(
        id="tithe-room-2026-05-30",
        folder="loudspeaker-moved",
        reference="before",
        treatment="moved",
        room=Room(id="tithe-room", size_m=(7.2, 4.6, 2.9), temperature_c=19.0, strength=0.8, sharpness=7.0),
        seats={
            "stove": Seat(position_m=(3.0, 1.2, 1.2)),
            "window": Seat(position_m=(3.0, 3.4, 1.2)),
            "table": Seat(position_m=(4.4, 2.3, 1.2), weight=2.0),
            "shelf": Seat(position_m=(5.6, 1.2, 1.2)),
            "door": Seat(position_m=(6.4, 3.8, 1.2), weight=0.5),
        },
        loudspeakers={
            "before": {"": Loudspeaker(position_m=(0.4, 0.5, 0.9), low_hz=20.0)},
            "moved": {"": Loudspeaker(position_m=(0.4, 0.9, 0.9), low_hz=20.0)},
        },
        booms={
            ("before", "stove"): Boom(centre_hz=44.0, width_octaves=0.6, gain_db=8.0),
            ("moved", "stove"): Boom(centre_hz=44.0, width_octaves=0.6, gain_db=2.5),
            ("before", "window"): Boom(centre_hz=56.0, width_octaves=0.7, gain_db=7.5),
            ("moved", "window"): Boom(centre_hz=56.0, width_octaves=0.7, gain_db=2.0),
            ("before", "table"): Boom(centre_hz=50.0, width_octaves=0.65, gain_db=8.5),
            ("moved", "table"): Boom(centre_hz=50.0, width_octaves=0.65, gain_db=3.0),
            ("before", "door"): Boom(centre_hz=60.0, width_octaves=0.7, gain_db=1.0),
            ("moved", "door"): Boom(centre_hz=60.0, width_octaves=0.7, gain_db=6.5),
        },
        lines={"before": line, "moved": line},
        table=Table(
            suffix="txt",
            delimiter="\t",
            decimal=".",
            columns=("f (Hz)", "gain (dB)", "phase (deg)"),
            comments=("* the sound's way to the seat is taken out of the phase",),
        ),
        scatter=Scatter(placement_db=0.2, take_db=0.06, ambient_db=MIDS_DB - 48.0, travel_s=25e-6),
        balance="no-gain",
    )


def scenarios() -> list[Scenario]:
    """All four sessions."""
    return [filter_as_set(), set_for_a_fifth(), cable_turned_round(), loudspeaker_moved()]
