"""A session of sound files: programmes recorded at the amplifier's terminals, sweeps at the terminals and at two seats.

Every voltage is made in the frequency domain from the circuit's own node voltages (electrical.py), so that what is
true of it can be summed from the same numbers before noise, offset and rounding to sixteen bits are put on top.
"""

from __future__ import annotations

import io
import wave
from typing import Any

import numpy as np
from electrical import Line, corner_hz, line_transfer
from numpy.typing import NDArray
from rooms import Loudspeaker, Room, generator, ringing, second_order_high_pass

Real = NDArray[np.float64]

ID = "mill-attic-2026-07-11"
FOLDER = "subsonic-spared"
REFERENCE, TREATMENT = "bridged", "boxed"
CONDITIONS = (REFERENCE, TREATMENT)
PROGRAMMES = ("organ", "drums", "choir")
SEATS = {"bench": (4.1, 1.6, 1.1), "window": (3.3, 3.4, 1.1)}
ROOM = Room(id="mill-attic", size_m=(6.3, 4.4, 2.6), temperature_c=23.0, strength=0.9, sharpness=11.0)
LOUDSPEAKER = Loudspeaker(position_m=(0.7, 1.5, 1.0), low_hz=31.0)
LINES = {
    REFERENCE: Line(source_output_ohm=120.0, amplifier_input_ohm=33e3, cable_farad=0.0),
    TREATMENT: Line(source_output_ohm=120.0, amplifier_input_ohm=33e3, cable_farad=0.0, capacitor_farad=60e-9),
}
DESIGN_CORNER_HZ = 80.0
LOUDSPEAKER_OHM = 6.0

RATE_HZ = 6_000
SECONDS = 32
FULL_SCALE_V = 40.0
OFFSET_V = {REFERENCE: 0.35, TREATMENT: 0.02}
TERMINAL_NOISE_V = 0.004

SWEEP_RATE_HZ = 12_000
SWEEP_SECONDS, TAIL_SECONDS = 2.0, 0.6
SWEEP_HZ = (8.0, 5_600.0)
SWEEP_PEAK = 0.5
N_REPEATS = 3
SQUARE = 0.004  # of the loudspeaker's output: y = x + 0.004 x^2 with x = 1 at the sweep's peak
SUBSONIC_HZ = (0.5, 20.0)
N_HARMONICS_OF_WARP = 9


def spectrum_shaped(n: int, rate_hz: int, gain: Real, rng: np.random.Generator) -> Real:
    """Noise whose spectrum has the size `gain` at the n // 2 + 1 frequencies, of mean square 1."""
    shaped = np.fft.irfft(np.fft.rfft(rng.standard_normal(n)) * gain, n)
    return np.asarray(shaped / np.sqrt(np.mean(shaped**2)))


def band(frequency_hz: Real, low_hz: float, high_hz: float, tilt: float) -> Real:
    """A gain that rises and falls steeply at two frequencies, with a power of frequency between."""
    above = 1 / (1 + (low_hz / np.maximum(frequency_hz, 1e-9)) ** 8)
    below = 1 / (1 + (frequency_hz / high_hz) ** 8)
    return np.asarray(above * below * np.maximum(frequency_hz, 1e-9) ** tilt)


def swells(seconds: Real, rng: np.random.Generator) -> Real:
    """A slow coming and going of the loudness along the programme."""
    parts = [0.35 * np.sin(2 * np.pi * seconds / period + rng.uniform(0, 2 * np.pi)) for period in (23.0, 9.1, 3.7)]
    return np.asarray(np.exp(np.sum(parts, axis=0)))


def programme(name: str) -> Real:
    """One programme as the amplifier would put it out with nothing in the line, in volt."""
    rng = generator(ID, name)
    n = RATE_HZ * SECONDS
    t = np.arange(n) / RATE_HZ
    f = np.fft.rfftfreq(n, 1 / RATE_HZ)
    low, middle, subsonic = {"organ": (2.6, 1.4, 0.8), "drums": (2.2, 1.8, 0.45), "choir": (0.22, 2.4, 0.12)}[name]
    music = middle * spectrum_shaped(n, RATE_HZ, band(f, 150.0, 2300.0, -0.5), rng)
    if name == "drums":
        beat = np.exp(-8.0 * np.mod(t, 0.625))
        bass = low * 2.0 * beat * spectrum_shaped(n, RATE_HZ, band(f, 38.0, 95.0, 0.0), rng)
    else:
        notes = rng.integers(0, 12, SECONDS // 2 + 1)
        pitch = 41.2 * 2 ** (notes[(t / 2).astype(int)] / 12)
        bass = low * np.sqrt(2) * np.sin(2 * np.pi * np.cumsum(pitch) / RATE_HZ)
    # a record turns 33 1/3 times a minute; its arm rings about 10 Hz, more at some times than at others
    turning = sum(
        np.sin(2 * np.pi * k * t / 1.8 + rng.uniform(0, 2 * np.pi)) / k for k in range(1, N_HARMONICS_OF_WARP + 1)
    )
    arm = spectrum_shaped(n, RATE_HZ, band(f, 8.0, 12.5, 0.0), rng)
    fade = np.clip(np.minimum(t, SECONDS - t) / 0.5, 0.0, 1.0)
    return np.asarray(fade * ((music + bass) * swells(t, rng) + subsonic * (turning + 1.4 * arm) * swells(t, rng)))


def through(line: Line, volts: Real, rate_hz: int) -> Real:
    """The voltage behind the line, over the same line without a capacitor at high frequencies left as it is."""
    n = 2 * len(volts)  # what rings on beyond the end must not come back at the beginning
    f = np.fft.rfftfreq(n, 1 / rate_hz)
    response = np.zeros(len(f), dtype=complex)
    response[1:] = line_transfer(line, f[1:])
    response[0] = 0.0 if line.capacitor_farad is not None else line_transfer(line, np.array([1e-6]))[0]
    return np.asarray(np.fft.irfft(np.fft.rfft(volts, n) * response, n)[: len(volts)])


def energy(volts: Real, low_hz: float, high_hz: float, rate_hz: int) -> float:
    """Mean square of what lies from one frequency to the other, from one transform of the whole; no offset."""
    f = np.fft.rfftfreq(len(volts), 1 / rate_hz)
    power = np.abs(np.fft.rfft(volts - np.mean(volts))) ** 2
    power[1:-1] *= 2
    return float(np.sum(power[(f >= low_hz) & (f <= high_hz)]) / len(volts) ** 2)


def programme_truth(name: str) -> dict[str, Any]:
    """What is true of a programme at the terminals, without noise and offset."""
    volts = {condition: through(line, programme(name), RATE_HZ) for condition, line in LINES.items()}
    subsonic = {c: energy(v, *SUBSONIC_HZ, RATE_HZ) for c, v in volts.items()}
    whole = {c: energy(v, SUBSONIC_HZ[0], 0.45 * RATE_HZ, RATE_HZ) for c, v in volts.items()}
    corner = corner_hz(LINES[TREATMENT], LINES[REFERENCE])
    peak = {c: float(np.max(np.abs(v))) for c, v in volts.items()}
    rms = {c: float(np.sqrt(np.mean((v - np.mean(v)) ** 2))) for c, v in volts.items()}
    return {
        "subsonic_level_change_db": 10 * np.log10(subsonic[TREATMENT] / subsonic[REFERENCE]),
        "subsonic_share": {c: subsonic[c] / whole[c] for c in CONDITIONS},
        "rms_v": rms,
        "peak_v": peak,
        "peak_change_db": 20 * np.log10(peak[TREATMENT] / peak[REFERENCE]),
        "level_change_db": 20 * np.log10(rms[TREATMENT] / rms[REFERENCE]),
        "share_below_corner": energy(volts[REFERENCE], SUBSONIC_HZ[0], corner, RATE_HZ) / whole[REFERENCE],
    }


def excitation() -> Real:
    """An exponential sweep, faded in and out, of peak 1."""
    n = round(SWEEP_RATE_HZ * SWEEP_SECONDS)
    t = np.arange(n) / SWEEP_RATE_HZ
    rate = np.log(SWEEP_HZ[1] / SWEEP_HZ[0]) / SWEEP_SECONDS
    phase = 2 * np.pi * SWEEP_HZ[0] / rate * np.expm1(rate * t)
    fade = np.clip(np.minimum(t / 0.05, (SWEEP_SECONDS - t) / 0.01), 0.0, 1.0)
    return np.asarray(np.sin(0.5 * np.pi * fade) ** 2 * np.sin(phase))


def swept(condition: str, seat: str | None, repeat: int) -> Real:
    """A recorded sweep, full scale 1: at the amplifier's terminals, or at a seat."""
    rng = generator(ID, "sweep", condition, seat or "amplifier", str(repeat))
    quiet = np.concatenate([excitation(), np.zeros(round(SWEEP_RATE_HZ * TAIL_SECONDS))])
    volts = through(LINES[condition], quiet, SWEEP_RATE_HZ)
    if seat is None:
        return np.asarray(SWEEP_PEAK * volts + 2e-5 * rng.standard_normal(len(volts)))
    bent = volts + SQUARE * volts**2
    n = 4 * len(bent)
    f = np.fft.rfftfreq(n, 1 / SWEEP_RATE_HZ)
    place = np.array(SEATS[seat]) + 0.02 * rng.standard_normal(3)
    room = np.zeros(len(f), dtype=complex)
    room[1:] = ringing(ROOM, LOUDSPEAKER.position_m, tuple(place), f[1:])
    room[1:] *= second_order_high_pass(f[1:], LOUDSPEAKER.low_hz, LOUDSPEAKER.low_sharpness)
    away_s = float(np.linalg.norm(place - np.array(LOUDSPEAKER.position_m))) / (331.3 + 0.606 * ROOM.temperature_c)
    sound = np.fft.irfft(np.fft.rfft(bent, n) * room * np.exp(-2j * np.pi * f * away_s), n)[: len(bent)]
    return np.asarray(0.25 * sound + 1e-4 * rng.standard_normal(len(bent)))


def sound_file(samples: Real, rate_hz: int) -> bytes:
    """A WAV file of one channel and sixteen bits; full scale is 1."""
    if np.max(np.abs(samples)) >= 1.0:
        raise ValueError(f"a sample of {np.max(np.abs(samples)):.3f} does not fit")
    stream = io.BytesIO()
    with wave.open(stream, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(rate_hz)
        file.writeframes(np.round(samples * 32767.0).astype("<i2").tobytes())
    return stream.getvalue()


def recorded_files() -> dict[str, bytes]:
    """Every file of the session: name relative to its folder, bytes."""
    files = {"session.toml": MANIFEST.encode()}
    for name in PROGRAMMES:
        volts = programme(name)
        for condition, line in LINES.items():
            noise = TERMINAL_NOISE_V * generator(ID, name, condition).standard_normal(len(volts))
            taken = through(line, volts, RATE_HZ) + noise + OFFSET_V[condition]
            files[f"terminals/{name}_{condition}.wav"] = sound_file(taken / FULL_SCALE_V, RATE_HZ)
    files["sweep.wav"] = sound_file(SWEEP_PEAK * excitation(), SWEEP_RATE_HZ)
    for condition in CONDITIONS:
        for repeat in range(1, N_REPEATS + 1):
            files[f"sweeps/amplifier_{condition}_{repeat}.wav"] = sound_file(
                swept(condition, None, repeat), SWEEP_RATE_HZ
            )
            for seat in SEATS:
                files[f"sweeps/{seat}_{condition}_{repeat}.wav"] = sound_file(
                    swept(condition, seat, repeat), SWEEP_RATE_HZ
                )
    return files


def recorded_truth() -> dict[str, Any]:
    """What is true of the session."""
    corner = corner_hz(LINES[TREATMENT], LINES[REFERENCE])
    return {
        "folder": FOLDER,
        "reference": REFERENCE,
        "treatment": TREATMENT,
        "corner_hz": corner,
        "expected_corner_hz": DESIGN_CORNER_HZ,
        "corner_ratio": corner / DESIGN_CORNER_HZ,
        "loudspeaker_ohm": LOUDSPEAKER_OHM,
        "offset_v": OFFSET_V,
        "programmes": {name: programme_truth(name) for name in PROGRAMMES},
        # of x + b x^2 with x = cos: the second harmonic over the first is b / 2
        "second_harmonic_db": 20 * np.log10(SQUARE / 2),
    }


MANIFEST = f"""\
# What the amplifier is spared, recorded at its terminals.
#
# In the mill attic records are played. Their warps and the arm's own ringing move the cones and load the supply, and
# nobody hears them. The one change: a capacitor in series with the amplifier's input. Three programmes were recorded
# at the amplifier's output with and without it, through a divider, at one setting of everything; then sweeps, there
# and at two places.
#
# Made up by sample_sessions/make.py; what is true of it stands in sample_sessions/truth.json.
#
# Care: a recorder at loudspeaker terminals needs a divider made for it; amplifiers with bridged outputs must not be
# joined to ground. Switch off and let the supplies discharge before a cable is moved. Keep sweeps moderate: low tones
# at high level harm loudspeakers and hearing.

format = 1

[session]
id = "{ID}"
date = 2026-07-11
question = "How much of what nobody hears does the capacitor keep from the amplifier?"

[room]
id = "{ROOM.id}"
size_m = {list(ROOM.size_m)}
temperature_c = {ROOM.temperature_c}

[chain]                                  # with the capacitor in
design_corner_hz = {DESIGN_CORNER_HZ}
setting_kohm = 33.0
capacitance_nf = 60.0
amplifier_input_kohm = 33.0
source_output_ohm = 120.0
loudspeaker_ohm = {LOUDSPEAKER_OHM}
bass_given_back = false                  # there is no subwoofer

[conditions.{REFERENCE}]
reference = true
label = "Capacitor bridged"

[conditions.{TREATMENT}]
label = "Capacitor in"

[seats.bench]
position_m = {list(SEATS["bench"])}

[seats.window]
position_m = {list(SEATS["window"])}

[[measurements]]
files = "terminals/{{programme}}_{{condition}}.wav"
kind = "recording"
point = "amplifier-output"
full_scale_v = {FULL_SCALE_V}                     # the divider, the recorder's gain: a sample of 1.0 is this voltage

[[measurements]]
files = "sweeps/amplifier_{{condition}}_{{repeat}}.wav"
kind = "sweep"
point = "amplifier-output"
excitation = "sweep.wav"

[[measurements]]
files = "sweeps/{{seat}}_{{condition}}_{{repeat}}.wav"
kind = "sweep"
excitation = "sweep.wav"
"""
