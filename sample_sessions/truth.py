"""What is true of a made-up session: bands, deviations, levels and corners from exact, noise-free curves."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import partial
from typing import Any

import numpy as np
from electrical import corner_hz, passband_gain_db
from rooms import Complex, Real
from scenarios import Scenario, amplifier_response, seat_response

# fmt: off
NOMINAL_HZ = (
    "20", "25", "31.5", "40", "50", "63", "80", "100", "125", "160", "200", "250", "315", "400",
    "500", "630", "800", "1000", "1250", "1600", "2000", "2500", "3150", "4000", "5000", "6300", "8000", "10000",
)
# fmt: on
FIRST_BAND = 13  # 10^(13/10) Hz is the exact midband frequency of the nominal 20 Hz (IEC 61260-1, base ten)
POINTS_PER_BAND = 150
SMALLEST_CHANGE_DB = 0.5
MIDBAND_HZ = (1000.0, 4000.0)
BASS_HZ = (20.0, 200.0)
GUARD_HZ = (500.0, 10_000.0)

Curve = Callable[[Real], Complex]
Levels = dict[tuple[str, str, str], Real]  # band levels by condition, seat and channel


def bands_of(range_hz: tuple[float, float]) -> list[int]:
    """Places in `NOMINAL_HZ` of the bands whose nominal frequency lies in the range."""
    return [place for place, nominal in enumerate(NOMINAL_HZ) if range_hz[0] <= float(nominal) <= range_hz[1]]


def band_edges_hz(place: int) -> tuple[float, float]:
    """Exact edges of a third-octave band."""
    exponent = (FIRST_BAND + place) / 10
    return 10 ** (exponent - 0.05), 10 ** (exponent + 0.05)


def band_levels_db(curve: Curve) -> Real:
    """Level of every band in dB: the mean of the power over ln f between the exact edges, summed by brute force."""
    middles = []
    for place in range(len(NOMINAL_HZ)):
        low, high = (math.log(edge) for edge in band_edges_hz(place))
        middles.append(low + (high - low) * (np.arange(POINTS_PER_BAND) + 0.5) / POINTS_PER_BAND)
    power = np.abs(curve(np.exp(np.concatenate(middles)))) ** 2
    return np.asarray(10 * np.log10(np.mean(power.reshape(len(NOMINAL_HZ), POINTS_PER_BAND), axis=1)))


def levels_at_seats(scenario: Scenario, playing: str) -> Levels:
    """Band levels at every seat."""
    return {
        (condition, seat, channel): band_levels_db(partial(seat_response, scenario, condition, seat, channel, playing))
        for condition in scenario.conditions
        for seat in scenario.seats
        for channel in scenario.channels
    }


def mean_over(values: Sequence[float], weights: Sequence[float] | None = None) -> float:
    """Weighted mean."""
    return float(np.average(np.array(values), weights=weights))


def over_seats(scenario: Scenario, by_seat: dict[str, float]) -> float:
    """Mean over seats by their weights."""
    return mean_over(list(by_seat.values()), [scenario.seats[seat].weight for seat in by_seat])


def deviation_db(levels_db: Real, anchor_hz: tuple[float, float]) -> float:
    """Root mean square over the bass bands of the level over the mean of the anchor's bands: the target is flat."""
    anchor_db = float(np.mean(levels_db[bands_of(anchor_hz)]))
    return float(np.sqrt(np.mean((levels_db[bands_of(BASS_HZ)] - anchor_db) ** 2)))


def verdict_of(change_db: float) -> str:
    """Better, unchanged or worse, by the smallest change that counts."""
    if abs(change_db) < SMALLEST_CHANGE_DB:
        return "unchanged"
    return "better" if change_db < 0 else "worse"


def target_truth(scenario: Scenario, levels: Levels, anchor_hz: tuple[float, float]) -> dict[str, Any]:
    """Deviation of each condition and its change, by seat and channel, by seat (mean over channels) and over seats."""
    seats: dict[str, dict[str, Any]] = {}
    change: dict[str, float] = {}
    for seat in scenario.seats:
        by_channel = {
            condition: {
                channel: deviation_db(levels[condition, seat, channel], anchor_hz) for channel in scenario.channels
            }
            for condition in scenario.conditions
        }
        mean = {condition: mean_over(list(values.values())) for condition, values in by_channel.items()}
        change[seat] = mean[scenario.treatment] - mean[scenario.reference]
        seats[seat] = {**mean, "change": change[seat], "verdict": verdict_of(change[seat])}
        if len(scenario.channels) > 1:
            seats[seat]["by_channel"] = by_channel
    return {"seats": seats, "over_seats_change": over_seats(scenario, change)}


def spread_db(scenario: Scenario, levels: Levels, condition: str) -> float:
    """How much the seats differ in the bass, each channel by itself, then the mean over channels."""
    spreads = []
    for channel in scenario.channels:
        bass = []
        for seat in scenario.seats:
            of_seat = levels[condition, seat, channel]
            bass.append(of_seat[bands_of(BASS_HZ)] - np.mean(of_seat[bands_of(MIDBAND_HZ)]))
        spreads.append(float(np.sqrt(np.mean(np.std(np.array(bass), axis=0, ddof=1) ** 2))))
    return mean_over(spreads)


def changes_by_seat(scenario: Scenario, levels: Levels) -> dict[str, Real]:
    """Change of every band in dB, treatment minus reference, mean over channels."""
    return {
        seat: np.mean(
            [levels[scenario.treatment, seat, c] - levels[scenario.reference, seat, c] for c in scenario.channels],
            axis=0,
        )
        for seat in scenario.seats
    }


def level_truth(scenario: Scenario, changes: dict[str, Real]) -> dict[str, Any]:
    """Mid-band level difference, trim included: from the line alone where it was measured, and at the seats."""
    by_seat = {
        seat: float(np.mean(change[bands_of(MIDBAND_HZ)])) + scenario.trim_db for seat, change in changes.items()
    }
    at_amplifier = None
    if scenario.n_amplifier_repeats:
        before, after = (band_levels_db(partial(amplifier_response, scenario, c)) for c in scenario.conditions)
        at_amplifier = float(np.mean((after - before)[bands_of(MIDBAND_HZ)])) + scenario.trim_db
    return {"amplifier-output": at_amplifier, "seats": by_seat, "over_seats": over_seats(scenario, by_seat)}


def guard_truth(scenario: Scenario, changes: dict[str, Real]) -> dict[str, Any]:
    """The guard band that changed most once the mid-band change is taken out, over seats."""
    weights = [seat.weight for seat in scenario.seats.values()]
    change = np.average(np.array(list(changes.values())), axis=0, weights=weights)
    change = change - np.mean(change[bands_of(MIDBAND_HZ)])
    worst = max(bands_of(GUARD_HZ), key=lambda place: abs(change[place]))
    return {"largest_change_db": float(change[worst]), "nominal_hz": float(NOMINAL_HZ[worst])}


def filter_truth(scenario: Scenario) -> dict[str, Any] | None:
    """Where the corner is, where it was meant to be; None where nothing filters."""
    treatment, reference = scenario.lines[scenario.treatment], scenario.lines[scenario.reference]
    if treatment.capacitor_farad is None or scenario.design_corner_hz is None:
        return None
    corner = corner_hz(treatment, reference)
    return {
        "corner_hz": corner,
        "line_corner_hz": corner_hz(treatment),
        "expected_corner_hz": scenario.design_corner_hz,
        "corner_ratio": corner / scenario.design_corner_hz,
        "error_octaves": math.log2(corner / scenario.design_corner_hz),
        "passband_gain_db": passband_gain_db(treatment, reference),
        "load_ohm": treatment.amplifier_input_ohm,
        "setting_ohm": scenario.setting_ohm,
    }


def bass_truth(scenario: Scenario, levels: Levels) -> dict[str, Any]:
    """What became of the bass at the seats."""
    midband = target_truth(scenario, levels, MIDBAND_HZ)
    before, after = (spread_db(scenario, levels, condition) for condition in scenario.conditions)
    by_verdict: dict[str, list[str]] = {"better": [], "unchanged": [], "worse": []}
    for seat, of_seat in midband["seats"].items():
        by_verdict[of_seat["verdict"]].append(seat)
    return {
        "playing": scenario.heard,
        "seats": by_verdict,
        "target_deviation_db": midband,
        "shape_deviation_db": target_truth(scenario, levels, BASS_HZ),
        "seat_spread_db": {scenario.reference: before, scenario.treatment: after, "change": after - before},
    }
