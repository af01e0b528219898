"""Level, peak and steady offset of each recording: by condition, programme and seat."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fairhearing.acoustics.summaries import BlockLevels
from fairhearing.api import (
    Analyser,
    Axis,
    ChartRequest,
    Finding,
    Inputs,
    Needs,
    Recording,
    Result,
    Symmetry,
    hookimpl,
)

LEVELS = BlockLevels()
REFERENCE_PRESSURE_PA = 20e-6  # ISO 1683
FULL_SCALE_SINE = 0.5  # mean square of the sine that AES17 calls 0 dBFS
LARGEST_SAMPLE = 1 - 2.0**-15  # the largest positive one of 16 bits
NO_INTERVAL = "one pass, no interval"
MAY_CLIP = "the peak reaches full scale: whether it was clipped cannot be told"
SILENT = "every sample is zero: silence has no level"
TWO_SCALES = "the repeats are scaled in different units"
_QUANTITIES = {
    "recording_level": "level: 10 lg of the mean square over all frames and channels, re {level}",
    "recording_peak": "peak: 20 lg of the largest magnitude of a sample in any channel, re {peak}",
    "recording_dc_share": "share of the steady offset: square of the mean over the mean square, of all channels",
}
_LEVEL_NAMES = {"dB": "20 µPa", "dBV": "1 V", "dBFS": "a full-scale sine (AES17)"}
_PEAK_NAMES = {"dB": "20 µPa", "dBV": "1 V", "dBFS": "full scale"}

Group = tuple[str, str, str | None, str | None, str | None, str | None]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Levels:
    """Of one recording, full scale = 1: mean square and square of the mean over channels, and the largest magnitude."""

    mean_square: float
    offset_square: float
    peak: float


class RecordingLevels:
    """Level, peak and offset of recordings, from summaries that are made in one pass."""

    name = "recording-levels"
    version = "2"
    quantities = frozenset(_QUANTITIES)
    needs = Needs(kinds=frozenset({"recording"}), summaries=(LEVELS,), min_conditions=1)
    symmetries: tuple[Symmetry, ...] = (
        Symmetry(kind="row-order-invariant", quantities=quantities),
        Symmetry(kind="relabel-seats-invariant", quantities=quantities),
        Symmetry(kind="relabel-programmes-invariant", quantities=quantities),
    )

    def analyse(self, inputs: Inputs) -> Result:
        """Three findings for each place, condition, channel and programme; repeats are averaged in energy."""
        groups: dict[Group, list[Recording]] = {}
        for recording in sorted(inputs.recordings, key=lambda r: (r.repeat, r.path)):
            groups.setdefault(_group(recording), []).append(recording)
        findings = [
            finding
            for group in sorted(groups, key=lambda group: [part or "" for part in group])
            for finding in _findings(groups[group])
        ]
        return Result(findings=tuple(findings), charts=tuple(_charts(inputs, findings)))


def _group(r: Recording) -> Group:
    return (r.point, r.playing, r.seat, r.condition, r.channel, r.programme)


def _levels(recording: Recording) -> _Levels:
    blocks = recording.summary(LEVELS)
    return _Levels(
        mean_square=float(np.average(blocks["mean_square"].mean(axis=1), weights=blocks["n_frames"])),
        offset_square=float(np.mean(np.average(blocks["mean"], axis=0, weights=blocks["n_frames"]) ** 2)),
        peak=float(blocks["peak"].max()),
    )


def _unit(recording: Recording) -> str:
    if recording.full_scale_pa is not None:
        return "dB"
    return "dBV" if recording.full_scale_v is not None else "dBFS"


def _full_scale(recording: Recording) -> float:
    """What a sample of 1.0 is, in what 0 dB of a peak is."""
    if recording.full_scale_pa is not None:
        return recording.full_scale_pa / REFERENCE_PRESSURE_PA
    return 1.0 if recording.full_scale_v is None else recording.full_scale_v


def _findings(recordings: Sequence[Recording]) -> list[Finding]:
    levels = [_levels(recording) for recording in recordings]
    scales = [_full_scale(recording) for recording in recordings]
    units = {_unit(recording) for recording in recordings}
    unit = min(units)
    square = float(np.mean([one.mean_square * scale**2 for one, scale in zip(levels, scales, strict=True)]))
    offset = float(np.mean([one.offset_square * scale**2 for one, scale in zip(levels, scales, strict=True)]))
    peak = max(one.peak * scale for one, scale in zip(levels, scales, strict=True))
    clipped = (MAY_CLIP,) if max(one.peak for one in levels) >= LARGEST_SAMPLE else ()
    lacking = (TWO_SCALES,) if len(units) > 1 else (SILENT,) if square == 0.0 else ()
    values: dict[str, tuple[float, str, tuple[str, ...]]] = {}
    if not lacking:
        reference = FULL_SCALE_SINE if unit == "dBFS" else 1.0
        values = {
            "recording_level": (10 * math.log10(square / reference), unit, ()),
            "recording_peak": (20 * math.log10(peak), unit, clipped),
            "recording_dc_share": (offset / square, "1", ()),
        }
    first = recordings[0]
    return [
        Finding(
            quantity=quantity,
            value=values[quantity][0] if values else None,
            unit="1" if quantity == "recording_dc_share" else unit,
            method=method.format(level=_LEVEL_NAMES[unit], peak=_PEAK_NAMES[unit]),
            n=len(recordings),
            condition=first.condition,
            point=first.point,
            playing=first.playing,
            seat=first.seat,
            channel=first.channel,
            programme=first.programme,
            caveats=(*(values[quantity][2] if values else lacking), NO_INTERVAL),
        )
        for quantity, method in _QUANTITIES.items()
    ]


def _charts(inputs: Inputs, findings: Sequence[Finding]) -> list[ChartRequest]:
    """Levels by place and programme, coloured by condition; a chart for each unit."""
    labels = {condition.id: condition.label for condition in inputs.session.conditions}
    charts = []
    for unit in sorted({finding.unit for finding in findings if finding.unit != "1"}):
        shown = [f for f in findings if f.quantity == "recording_level" and f.unit == unit and f.value is not None]
        if not shown:
            continue
        conditions = [labels.get(finding.condition or "", "") for finding in shown]
        places = [_place(finding) for finding in shown]
        charts.append(
            ChartRequest(
                name=f"recording-levels-{unit.lower()}",
                title=f"Level of the recordings, re {_LEVEL_NAMES[unit]}",
                alternative=(
                    f"Level of {len(shown)} recordings in {unit}, by place and programme, for "
                    f"{' and '.join(dict.fromkeys(conditions))}."
                ),
                form="interval",
                data={
                    "place": places,
                    "level": [finding.value for finding in shown],
                    "condition": conditions,
                },
                x=Axis(column="level", label="Level", unit=unit),
                y=Axis(column="place", label="", scale="category"),
                series="condition",
            )
        )
    return charts


def _place(finding: Finding) -> str:
    parts = (
        finding.seat if finding.point == "seat" else finding.point,
        finding.channel,
        finding.programme,
        None if finding.playing == "main" else f"playing {finding.playing}",
    )
    return ", ".join(part for part in parts if part is not None)


@hookimpl
def fairhearing_analysers() -> list[Analyser]:
    """The analyser of this module."""
    return [RecordingLevels()]
