"""What a condition has below 20 Hz by itself: level, third octaves, G-weighted level, peak, and share of all sound."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence

import numpy as np
import numpy.typing as npt

from fairhearing.acoustics.bands import Bands
from fairhearing.acoustics.low_bands import audible_top_hz, weighted_power, whole_power, wide_power
from fairhearing.acoustics.weighting import weighting_power
from fairhearing.api import Finding, Inputs
from fairhearing_builtins.analysers.programme_blocks import TOO_SHORT, Change
from fairhearing_builtins.analysers.programme_means import combined
from fairhearing_builtins.analysers.programme_takes import LOW, Cells, Spot, Take
from fairhearing_builtins.analysers.recording_groups import (
    LEVEL_NAMES,
    PEAK_NAMES,
    REFERENCE_PRESSURE_PA,
    SILENT,
    unit_of,
    zero_level_power,
)
from fairhearing_builtins.analysers.recording_levels import TWO_SCALES

FloatArray = npt.NDArray[np.float64]

LEVEL_QUANTITIES = frozenset(
    {"subsonic_level", "subsonic_share", "subsonic_band_level", "g_weighted_level", "subsonic_peak_level"}
)
NO_INTERVAL = "of this section as it was recorded, no interval"
ULTRASONIC_SHARE = 0.1
# ISO 7196 gives G from 0.25 to 315 Hz; below 0.5 Hz there is no sound here. Steps are fine where G is steep.
G_EDGES_HZ = np.concatenate([np.arange(LOW.lowest_hz, 25.0, 1 / 64), 25.0 * 12.6 ** np.linspace(0.0, 1.0, 90)])
_G_WEIGHT = weighting_power((G_EDGES_HZ[1:] + G_EDGES_HZ[:-1]) / 2, "G")


def g_power(take: Take) -> float:
    """Mean square weighted with G."""
    return float(weighted_power(take.low, G_EDGES_HZ, _G_WEIGHT).mean()) * take.scale**2


def g_blocks(take: Take) -> FloatArray:
    """Mean square of each window weighted with G."""
    edges = take.low["window_edge_hz"]
    weight = weighting_power((edges[1:] + edges[:-1]) / 2, "G")
    found: FloatArray = np.einsum("wkc,k->w", take.low["window_power"], weight)
    return found * take.scale**2


def peak_of(take: Take) -> float:
    """Largest magnitude of the subsonic wave in any channel."""
    return float(take.low["subsonic_peak"].max()) * take.scale


def share_of(take: Take) -> float:
    """Energy from 0.5 to 20 Hz over that from 0.5 Hz to the lower of 20 kHz and 0.45 of the rate."""
    rate_hz = take.recording.format.rate_hz
    whole = float(whole_power(take.low, take.mean_square, LOW.lowest_hz, rate_hz).mean()) * take.scale**2
    return min(1.0, take.power(LOW.lowest_hz, LOW.subsonic_hz) / whole) if whole > 0 else math.nan


def ultrasonic(takes: Sequence[Take]) -> list[str]:
    """A caveat where much lies above what the share counts."""
    said = []
    for take in takes:
        rate_hz = take.recording.format.rate_hz
        above = float(wide_power(take.low, audible_top_hz(rate_hz), rate_hz).mean())
        share = above / float(take.mean_square.mean())
        if share > ULTRASONIC_SHARE:
            said.append(
                f"{take.recording.path} has {100 * share:.0f} % of its power above {audible_top_hz(rate_hz):g} Hz, "
                "known from every fourth stretch of time only"
            )
    return said


def condition_findings(inputs: Inputs, cells: Cells, bands: Bands) -> Iterator[Finding]:
    """All levels, of each condition and programme: over channels and seats."""
    names = [condition.id for condition in inputs.session.conditions]
    weights = {seat.id: seat.weight for seat in inputs.session.seats}
    points = sorted({(spot.point, spot.playing) for spot in cells})
    for point in points:
        for name in names:
            found = {s: c[name] for s, c in cells.items() if (s.point, s.playing) == point and name in c}
            units = {spot: unit_of(takes[0].recording) for spot, takes in found.items()}
            for unit in sorted(set(units.values()))[:1]:
                same = {spot: takes for spot, takes in found.items() if units[spot] == unit}
                yield from _of_condition(name, same, unit, weights, bands)


def _of_condition(
    name: str, cells: dict[Spot, Sequence[Take]], unit: str, weights: dict[str, float], bands: Bands
) -> Iterator[Finding]:
    peak_reference = REFERENCE_PRESSURE_PA if unit == "dB" else 1.0
    reference = zero_level_power(unit) * peak_reference**2

    def level(power: Callable[[Take], float]) -> Callable[[Sequence[Take]], float]:
        return lambda takes: _decibel(float(np.mean([power(take) for take in takes])) / reference)

    subsonic = level(lambda take: take.power(LOW.lowest_hz, LOW.subsonic_hz))
    said = f"energy from {LOW.lowest_hz:g} to {LOW.subsonic_hz:g} Hz, mean removed"
    yield from _told("subsonic_level", unit, f"{said}, re {LEVEL_NAMES[unit]}", name, cells, weights, subsonic)
    yield from _told(
        "subsonic_share", "1", f"{said}, over that from 0.5 Hz to the lower of 20 kHz and 0.45 of the sample rate",
        name, cells, weights, lambda takes: float(np.mean([share_of(take) for take in takes])),
    )  # fmt: skip
    yield from _told(
        "g_weighted_level",
        unit,
        f"weighted with G (ISO 7196), re {LEVEL_NAMES[unit]}",
        name,
        cells,
        weights,
        level(g_power),
    )
    yield from _told(
        "subsonic_peak_level", unit, f"peak of the wave from 0.5 to 20 Hz in any channel, re {PEAK_NAMES[unit]}",
        name, cells, weights,
        lambda takes: 2 * _decibel(max(peak_of(take) for take in takes) / peak_reference),
    )  # fmt: skip
    for lower, upper, nominal in zip(bands.lower_hz, bands.upper_hz, bands.nominal_hz, strict=True):
        yield from _told(
            "subsonic_band_level", unit, f"energy in a third octave, exact edges (IEC 61260-1), re {LEVEL_NAMES[unit]}",
            name, cells, weights,
            level(lambda take, lower=lower, upper=upper: take.power(float(lower), float(upper))),  # type: ignore[misc]
            band=(float(lower), float(upper), float(nominal)),
        )  # fmt: skip


def _decibel(ratio: float) -> float:
    return 10 * math.log10(ratio) if ratio > 0 else math.nan


def _told(
    quantity: str,
    unit: str,
    method: str,
    name: str,
    cells: dict[Spot, Sequence[Take]],
    weights: dict[str, float],
    value: Callable[[Sequence[Take]], float],
    band: tuple[float, float, float] | None = None,
) -> Iterator[Finding]:
    values = {spot: _value(takes, value, quantity) for spot, takes in cells.items()}
    means = combined(values, weights, everywhere=False)
    unnamed = {spot.programme for spot in cells} == {None}
    for spot, found in means.items():
        if spot.programme is None and not unnamed:
            continue  # of each programme only: how loud programmes are on the mean says nothing
        yield Finding(
            quantity=quantity,
            value=found.value,
            unit=unit,
            method=f"{method}; repeats averaged in energy",
            n=found.n,
            condition=name,
            point=spot.point,
            playing=spot.playing,
            programme=spot.programme,
            band_hz=None if band is None else band[:2],
            nominal_hz=None if band is None else band[2],
            caveats=(*found.caveats, NO_INTERVAL),
        )


def _value(takes: Sequence[Take], value: Callable[[Sequence[Take]], float], quantity: str) -> Change:
    caveats = [said for take in takes for said in take.caveats()]
    lacking = None
    if len({unit_of(take.recording) for take in takes}) > 1:
        lacking = TWO_SCALES
    elif any(not take.mean_square.any() for take in takes):
        lacking = SILENT
    elif not all(take.long_enough for take in takes):
        lacking = TOO_SHORT
    if lacking is None and quantity == "subsonic_share":
        caveats += ultrasonic(takes)
    found = math.nan if lacking is not None else value(takes)
    if not math.isfinite(found):
        return Change(value=None, n=len(takes), caveats=(lacking or SILENT, *caveats))
    return Change(value=found, n=len(takes), caveats=tuple(caveats))
