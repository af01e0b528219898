"""Simulated measurements of a first-order high-pass in a room: numpy only, no formula shared with fairhearing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]

PLACEMENT_SD_DB = 0.3  # of each take, smooth over a third of an octave
TAKE_NOISE_SD_DB = 0.1  # of each point of each take


@dataclass(frozen=True, kw_only=True)
class Variant:
    """What is simulated; the defaults are the case that intervals must hold for, the rest shows that they hold beyond.

    room: modal, gentle or peaky; ambient_slope: white, falling (6 dB per octave above 200 Hz) or pink;
    ambient_below_bass_db: under the unfiltered bass (mean power of 20 to 200 Hz); placement: gaussian, boxcar or knots.
    """

    grid: str = "24"  # points per octave, or "linear": every 0.5 Hz to 2 kHz
    room: str = "modal"
    ambient_below_bass_db: float = 20.0
    ambient_slope: str = "falling"
    placement: str = "gaussian"
    in_place: bool = False
    phase: bool = False
    repeats: tuple[int, int] = (2, 5)
    seats: tuple[int, int] = (1, 4)
    channels: tuple[int, int] = (1, 2)
    corner_hz: tuple[float, float] = (20.0, 160.0)


@dataclass(frozen=True, kw_only=True)
class SimulatedTake:
    seat: str
    channel: str
    condition: str
    repeat: int
    level_db: FloatArray
    phase_deg: FloatArray | None


@dataclass(frozen=True, kw_only=True)
class SimulatedSession:
    corner_hz: float
    frequency_hz: FloatArray
    seats: tuple[str, ...]
    channels: tuple[str, ...]
    most_repeats: int
    takes: tuple[SimulatedTake, ...]


def simulate(generator: np.random.Generator, variant: Variant | None = None) -> SimulatedSession:
    """One session; each cell (seat, channel, condition) has its own number of repeats, each seat its own room."""
    variant = variant or Variant()
    frequency = _grid(variant.grid)
    corner = float(np.exp(generator.uniform(*np.log(variant.corner_hz))))
    seats = tuple(f"S{k}" for k in range(generator.integers(variant.seats[0], variant.seats[1] + 1)))
    channels = ("left", "right")[: generator.integers(variant.channels[0], variant.channels[1] + 1)]
    most = int(generator.integers(variant.repeats[0], variant.repeats[1] + 1))
    # An RC divider by complex impedances: the resistor's share of the voltage.
    passed = 1.0 / (1.0 + 1.0 / (1j * frequency / corner))
    placement = _Smooth(frequency, variant.placement)
    takes = []
    for seat in seats:
        for channel in channels:
            room = _room(generator, frequency, variant.room) * 10 ** (generator.normal(0, 3.0) / 20)
            ambient = _ambient(frequency, room, variant)
            filtered = room * passed * 10 ** (generator.normal(-0.2, 0.2) / 20)
            for condition, clean in (("out", room), ("in", filtered)):
                held = placement.draw(generator)
                for repeat in range(int(generator.integers(variant.repeats[0], most + 1))):
                    error_db = PLACEMENT_SD_DB * (held if variant.in_place else placement.draw(generator))
                    pressure = clean * 10 ** (error_db / 20) + ambient * _complex_normal(generator, len(frequency))
                    pressure = pressure * 10 ** (generator.normal(0, TAKE_NOISE_SD_DB, len(frequency)) / 20)
                    takes.append(_take(generator, variant, (seat, channel, condition, repeat), frequency, pressure))
    return SimulatedSession(
        corner_hz=corner,
        frequency_hz=frequency,
        seats=seats,
        channels=channels,
        most_repeats=most,
        takes=tuple(takes),
    )


def _take(
    generator: np.random.Generator,
    variant: Variant,
    key: tuple[str, str, str, int],
    frequency: FloatArray,
    pressure: ComplexArray,
) -> SimulatedTake:
    phase = None
    if variant.phase:
        # Takes are started by hand: each has a delay of its own.
        late = np.exp(-2j * np.pi * frequency * (0.004 + generator.normal(0, 0.0003)))
        phase = np.rad2deg(np.angle(pressure * late))
    seat, channel, condition, repeat = key
    return SimulatedTake(
        seat=seat,
        channel=channel,
        condition=condition,
        repeat=repeat,
        level_db=20 * np.log10(np.abs(pressure)),
        phase_deg=phase,
    )


def _grid(name: str) -> FloatArray:
    if name == "linear":
        return np.arange(20, 4001) * 0.5
    per_octave = int(name)
    return 10.0 * 2.0 ** (np.arange(11 * per_octave) / per_octave)


def _complex_normal(generator: np.random.Generator, n: int) -> ComplexArray:
    return (generator.normal(size=n) + 1j * generator.normal(size=n)) / np.sqrt(2)


def _ambient(frequency: FloatArray, room: ComplexArray, variant: Variant) -> FloatArray:
    """Root mean square of the ambient noise at each point."""
    bass = (frequency >= 20) & (frequency <= 200)
    # The bass per log frequency, so that a linear grid does not weigh its upper end more.
    level = np.sqrt(np.average(np.abs(room[bass]) ** 2, weights=np.gradient(np.log(frequency))[bass]))
    shape = {
        "white": np.ones(len(frequency)),
        "falling": 1 / np.maximum(1.0, frequency / 200.0),
        "pink": np.sqrt(63.0 / frequency),
    }[variant.ambient_slope]
    return level * 10 ** (-variant.ambient_below_bass_db / 20) * shape


class _Smooth:
    """Random curves of standard deviation 1, smooth over a third of an octave."""

    def __init__(self, frequency_hz: FloatArray, kind: str) -> None:
        octave = np.log2(frequency_hz)
        if kind == "knots":  # a value every third octave, straight lines between
            knots = np.arange(octave[0] - 1, octave[-1] + 1, 1 / 3)
            distance = np.abs(octave[:, None] - knots) * 3
            weights = np.maximum(1 - distance, 0)
        else:
            knots = np.arange(octave[0] - 1, octave[-1] + 1, 1 / 24)
            distance = np.abs(octave[:, None] - knots) * 3
            weights = np.exp(-0.5 * (distance * 2) ** 2) if kind == "gaussian" else (distance <= 0.5) * 1.0
        self._weights = weights / np.sqrt(np.sum(weights**2, axis=1, keepdims=True))

    def draw(self, generator: np.random.Generator) -> FloatArray:
        return self._weights @ generator.normal(size=self._weights.shape[1])


def _room(generator: np.random.Generator, frequency: FloatArray, kind: str) -> ComplexArray:
    """A few dozen modes over a direct sound with a bass roll-off of its own."""
    strengths = {"modal": 1.0, "gentle": 0.3, "peaky": 1.6}[kind]
    sharpness = {"modal": (6.0, 18.0), "gentle": (3.0, 8.0), "peaky": (15.0, 40.0)}[kind]
    modes = 22.0 * np.cumprod(1 + generator.uniform(0.04, 0.3, 24))[:, None]
    quality = generator.uniform(*sharpness, (24, 1))
    strength = generator.normal(0, strengths, (24, 1))
    band_pass = 1 / (1 - 1j * quality * (modes / frequency - frequency / modes))
    return (0.7 + np.sum(strength * band_pass, axis=0)) / (1.0 + (30.0 / frequency) ** 2)
