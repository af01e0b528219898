"""Simulated measurements of a first-order high-pass in a room: numpy only, no formula shared with fairhearing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

PLACEMENT_SD_DB = 0.3  # of each take, smooth over a third of an octave
TAKE_NOISE_SD_DB = 0.1  # of each point of each take
AMBIENT_BELOW_BASS_DB = 20.0  # ambient noise under the unfiltered bass (mean of 20 to 200 Hz)


@dataclass(frozen=True, kw_only=True)
class SimulatedTake:
    seat: str
    channel: str
    condition: str
    repeat: int
    level_db: FloatArray
    noise_db: FloatArray  # the true level of the ambient noise


@dataclass(frozen=True, kw_only=True)
class SimulatedSession:
    corner_hz: float
    frequency_hz: FloatArray
    seats: tuple[str, ...]
    channels: tuple[str, ...]
    takes: tuple[SimulatedTake, ...]


def simulate(generator: np.random.Generator, *, in_place: bool = False, most_repeats: int | None = None) -> SimulatedSession:
    """One session: 2 to 4 seats, 1 or 2 channels, 2 to 5 repeats (each cell its own number), corner 20 to 160 Hz."""
    frequency = np.geomspace(10, 20_000, 24 * 11)
    corner = float(np.exp(generator.uniform(np.log(20), np.log(160))))
    seats = tuple(f"S{k}" for k in range(generator.integers(2, 5)))
    channels = ("left", "right")[: generator.integers(1, 3)]
    most = int(generator.integers(2, 6)) if most_repeats is None else most_repeats
    # An RC divider by complex impedances: the resistor's share of the voltage.
    impedance = 1.0 / (1j * frequency / corner)
    passed = 1.0 / (1.0 + impedance)
    takes = []
    for seat in seats:
        for channel in channels:
            room = _room(generator, frequency)
            gain_in_db = generator.normal(0, 0.2)
            bass = np.mean(np.abs(room[(frequency >= 20) & (frequency <= 200)]) ** 2)
            ambient = np.sqrt(bass) * 10 ** (-AMBIENT_BELOW_BASS_DB / 20)
            for condition in ("out", "in"):
                clean = room * (passed * 10 ** (gain_in_db / 20) if condition == "in" else 1.0)
                repeats = int(generator.integers(2, most + 1))
                held = smooth_error(generator, frequency) * PLACEMENT_SD_DB
                for repeat in range(repeats):
                    placement = held if in_place else smooth_error(generator, frequency) * PLACEMENT_SD_DB
                    noise = ambient * (generator.normal(size=264) + 1j * generator.normal(size=264)) / np.sqrt(2)
                    # Ambient noise falls towards high frequencies, as in rooms: 6 dB per octave above 200 Hz.
                    noise = noise / np.maximum(1.0, frequency / 200.0)
                    level = 20 * np.log10(np.abs(clean * 10 ** (placement / 20) + noise))
                    level = level + generator.normal(0, TAKE_NOISE_SD_DB, len(frequency))
                    takes.append(
                        SimulatedTake(
                            seat=seat,
                            channel=channel,
                            condition=condition,
                            repeat=repeat,
                            level_db=level,
                            noise_db=20 * np.log10(ambient / np.maximum(1.0, frequency / 200.0)),
                        )
                    )
    return SimulatedSession(
        corner_hz=corner, frequency_hz=frequency, seats=seats, channels=channels, takes=tuple(takes)
    )


def smooth_error(generator: np.random.Generator, frequency_hz: FloatArray) -> FloatArray:
    """A random curve of standard deviation 1, smooth over a third of an octave (a Gaussian-weighted mean)."""
    octave = np.log2(frequency_hz)
    knots = np.arange(octave[0] - 1, octave[-1] + 1, 1 / 24)
    values = generator.normal(size=len(knots))
    weights = np.exp(-0.5 * ((octave[:, None] - knots[None, :]) / (1 / 3 / 2)) ** 2)
    return (weights @ values) / np.sqrt(np.sum(weights**2, axis=1))


def _room(generator: np.random.Generator, frequency: FloatArray) -> npt.NDArray[np.complex128]:
    """A few dozen modes over a direct sound with a bass roll-off of its own."""
    total = np.ones(len(frequency), dtype=np.complex128) * 0.7
    for mode in 22.0 * np.cumprod(1 + generator.uniform(0.04, 0.3, 24)):
        strength = generator.normal(0, 1.0)
        quality = generator.uniform(6, 18)
        total = total + strength * (1j * frequency / mode / quality) / (
            1 - (frequency / mode) ** 2 + 1j * frequency / mode / quality
        )
    slope = 1.0 / (1.0 + (30.0 / frequency) ** 2)
    return total * slope
