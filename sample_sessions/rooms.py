"""How loudspeakers sound at seats: damped room resonances, the loudspeaker's roll-off, a tilt; and what a take adds."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from functools import cache
from itertools import product

import numpy as np
from numpy.typing import NDArray

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]
Position = tuple[float, float, float]

HIGHEST_MODE_HZ = 220.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """A box: length, width, height in metre, temperature in degree Celsius, how strongly and sharply it rings."""

    id: str
    size_m: Position
    temperature_c: float
    strength: float  # of a resonance over the direct sound, where loudspeaker and seat stand in its full pressure
    sharpness: float  # resonance frequency over its half-power width


@dataclass(frozen=True, slots=True, kw_only=True)
class Loudspeaker:
    """Where it stands, and where its own roll-off at low frequencies (second order) begins."""

    position_m: Position
    low_hz: float
    low_sharpness: float = 0.65


def generator(*words: str) -> np.random.Generator:
    """Generator seeded by the words alone, the session id first: what else is drawn, and when, changes nothing."""
    digest = hashlib.sha256("/".join(words).encode()).digest()
    return np.random.default_rng(int.from_bytes(digest[:8], "big"))


def second_order_high_pass(frequency_hz: Real, corner_hz: float, sharpness: float) -> Complex:
    """Complex response of a driver in its box, falling 12 dB per octave below the corner."""
    ratio = 1j * frequency_hz / corner_hz
    return np.asarray(ratio**2 / (ratio**2 + ratio / sharpness + 1))


def second_order_low_pass(frequency_hz: Real, corner_hz: float, sharpness: float) -> Complex:
    """Complex response of a driver that gives up above the corner, falling 12 dB per octave."""
    ratio = 1j * frequency_hz / corner_hz
    return np.asarray(1 / (ratio**2 + ratio / sharpness + 1))


@cache
def modes(room: Room) -> tuple[NDArray[np.int64], Real]:
    """Index triples, shape (modes, 3), and resonance frequencies in hertz, shape (modes,), up to 220 Hz."""
    speed_m_per_s = 331.3 + 0.606 * room.temperature_c
    size = np.array(room.size_m)
    reach = [int(2 * HIGHEST_MODE_HZ * side / speed_m_per_s) + 1 for side in room.size_m]
    triples = np.array(list(product(*(range(n + 1) for n in reach))))[1:]
    frequency_hz = speed_m_per_s / 2 * np.sqrt(np.sum((triples / size) ** 2, axis=1))
    kept = frequency_hz < HIGHEST_MODE_HZ
    return triples[kept], frequency_hz[kept]


def ringing(room: Room, source_m: Position, seat_m: Position, frequency_hz: Real) -> Complex:
    """Sound at the seat over the direct sound: 1 plus the sum of the room's damped resonances."""
    triples, resonance_hz = modes(room)
    size = np.array(room.size_m)
    pressure = np.ones(len(triples))
    for place in (source_m, seat_m):
        pressure = pressure * np.prod(np.cos(np.pi * triples * np.array(place) / size), axis=1)
    # a furnished room swallows the upper resonances; what is left of them fades out smoothly
    weight = room.strength * pressure * np.exp(-((resonance_hz / 140.0) ** 2))
    ratio = frequency_hz[:, None] / resonance_hz[None, :]
    width = 1j * ratio / room.sharpness
    return np.asarray(1 + (width / (1 - ratio**2 + width)) @ weight)


def air_and_furniture(frequency_hz: Real, rng: np.random.Generator) -> Real:
    """Level in dB of what a seat has of its own above the bass: a falling tilt and gentle ripples."""
    octave = np.log2(frequency_hz)
    first, second = rng.uniform(0, 2 * np.pi, 2)
    ripple_db = 0.7 * np.sin(2 * np.pi * octave / 0.61 + first) + 0.5 * np.sin(2 * np.pi * octave / 0.34 + second)
    tilt_db = -1.1 * np.log2(1 + (frequency_hz / 2500.0) ** 2) / 2
    return np.asarray(tilt_db + ripple_db * frequency_hz**2 / (frequency_hz**2 + 450.0**2))


@dataclass(frozen=True, slots=True, kw_only=True)
class Scatter:
    """What makes one take differ from the next."""

    placement_db: float = 0.2  # standard deviation, smooth over a third of an octave: the microphone put back
    take_db: float = 0.06  # standard deviation, point by point
    ambient_db: float | None = None  # level of the room's noise at 50 Hz; it falls by 4 dB per octave
    travel_s: float = 0.0  # standard deviation of the sound's arrival: the microphone a little nearer or farther


def smooth_noise(n: int, points_per_octave: float, rng: np.random.Generator) -> Real:
    """Noise of standard deviation 1 along a logarithmic grid, smooth over a third of an octave."""
    half = int(np.ceil(points_per_octave))
    width = points_per_octave / 3 / np.sqrt(8 * np.log(2))  # a third of an octave at half height
    kernel = np.exp(-0.5 * (np.arange(-half, half + 1) / width) ** 2)
    white = rng.standard_normal(n + 2 * half)
    return np.asarray(np.convolve(white, kernel / np.sqrt(np.sum(kernel**2)), mode="valid"))


def take(truth: Complex, frequency_hz: Real, scatter: Scatter, rng: np.random.Generator) -> Complex:
    """One measured take of a true complex response."""
    points_per_octave = (len(frequency_hz) - 1) / np.log2(frequency_hz[-1] / frequency_hz[0])
    error_db = scatter.placement_db * smooth_noise(len(frequency_hz), points_per_octave, rng)
    error_db = error_db + scatter.take_db * rng.standard_normal(len(frequency_hz))
    late = np.exp(-2j * np.pi * frequency_hz * scatter.travel_s * rng.standard_normal())
    measured = truth * 10 ** (error_db / 20) * late
    if scatter.ambient_db is not None:
        ambient_db = scatter.ambient_db - 4.0 * np.log2(frequency_hz / 50.0)
        noise = rng.standard_normal((2, len(frequency_hz)))
        measured = measured + 10 ** (ambient_db / 20) * (noise[0] + 1j * noise[1]) / np.sqrt(2)
    return np.asarray(measured)
