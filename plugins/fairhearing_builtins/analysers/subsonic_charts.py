"""Charts of subsonic energy: the spectrum of each condition, and the change band by band."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np
import numpy.typing as npt

from fairhearing.acoustics.low_bands import spectrum
from fairhearing.api import Axis, ChartRequest, Finding, Inputs
from fairhearing_builtins.analysers.programme_takes import LOW, Cells, Take

FloatArray = npt.NDArray[np.float64]

TOP_HZ, STEPS_PER_OCTAVE = 200.0, 12
POINTS = {"amplifier-output": "amplifier output", "amplifier-input": "amplifier input", "seat": "seats"}
NO_NAME = "programme"


def charts(inputs: Inputs, cells: Cells, findings: Sequence[Finding]) -> Iterator[ChartRequest]:
    """For each point: spectra by programme, and changes of third octaves."""
    for point, words in POINTS.items():
        some = {spot: takes for spot, takes in cells.items() if spot.point == point}
        if some:
            yield from _spectra(inputs, some, point, words)
        changed = [
            f for f in findings
            if f.quantity == "subsonic_band_level_change" and f.point == point and f.programme is None
            and f.value is not None
        ]  # fmt: skip
        if changed:
            yield _band_changes(inputs, changed, point, words)


def _edges() -> FloatArray:
    n = math.floor(math.log2(TOP_HZ / LOW.lowest_hz) * STEPS_PER_OCTAVE)
    edges: FloatArray = LOW.lowest_hz * 2.0 ** (np.arange(n + 1) / STEPS_PER_OCTAVE)
    return edges


def _spectra(inputs: Inputs, cells: Cells, point: str, words: str) -> Iterator[ChartRequest]:
    edges = _edges()
    middle = np.sqrt(edges[1:] * edges[:-1])
    data: dict[str, list[str | float | int | bool | None]] = {
        "frequency_hz": [], "level_db": [], "condition": [], "programme": []
    }  # fmt: skip
    labels = {condition.id: condition.label for condition in inputs.session.conditions}
    for programme in sorted({spot.programme for spot in cells}, key=lambda p: p or ""):
        for name, label in labels.items():
            takes = [
                take
                for spot, conditions in cells.items()
                if spot.programme == programme
                for take in conditions.get(name, ())
                if take.long_enough
            ]
            if not takes:
                continue
            level = _density_db(takes, edges)
            data["frequency_hz"] += middle.tolist()
            data["level_db"] += [float(x) if math.isfinite(x) else None for x in level]
            data["condition"] += [label] * len(middle)
            data["programme"] += [programme or NO_NAME] * len(middle)
    if data["level_db"]:
        yield ChartRequest(
            name=f"subsonic-spectrum-{point}",
            title=f"Spectrum from {LOW.lowest_hz:g} Hz, {words}",
            alternative=(
                f"Power density from {LOW.lowest_hz:g} to {TOP_HZ:g} Hz at the {words}, by programme, for "
                f"{' and '.join(dict.fromkeys(map(str, data['condition'])))}."
            ),
            form="line",
            data=data,
            x=Axis(column="frequency_hz", label="Frequency", unit="Hz", scale="log"),
            y=Axis(column="level_db", label="Power density, any reference", unit="dB"),
            series="condition",
            panel="programme",
        )


def _density_db(takes: Sequence[Take], edges: FloatArray) -> FloatArray:
    """Mean over recordings in energy."""
    power = np.mean([spectrum(take.low, edges).mean(axis=1) * take.scale**2 for take in takes], axis=0)
    with np.errstate(divide="ignore", invalid="ignore"):
        found: FloatArray = 10 * np.log10(power)
    return found


def _band_changes(inputs: Inputs, changed: Sequence[Finding], point: str, words: str) -> ChartRequest:
    labels = {condition.id: condition.label for condition in inputs.session.conditions}
    return ChartRequest(
        name=f"subsonic-band-change-{point}",
        title=f"Change below 20 Hz by third octave, {words}",
        alternative=(
            f"Change of the energy in {len({f.band_hz for f in changed})} third octaves from 1 to 20 Hz, {words}, "
            "with its interval."
        ),
        form="line",
        data={
            "nominal_hz": [f.nominal_hz for f in changed],
            "change_db": [f.value for f in changed],
            "low_db": [f.low for f in changed],
            "high_db": [f.high for f in changed],
            "condition": [labels.get(f.condition or "", "") for f in changed],
        },
        x=Axis(column="nominal_hz", label="Frequency", unit="Hz", scale="log"),
        y=Axis(column="change_db", label="Change", unit="dB"),
        series="condition",
        low="low_db",
        high="high_db",
    )
