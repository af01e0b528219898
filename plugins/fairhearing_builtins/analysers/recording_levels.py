"""Level, peak and steady offset of each recording: by condition, programme and seat."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fairhearing.acoustics.summaries import BlockLevels
from fairhearing.api import (
    Analyser,
    ChartRequest,
    Finding,
    Inputs,
    Needs,
    Recording,
    Result,
    Symmetry,
    hookimpl,
)
from fairhearing_builtins.analysers.recording_groups import (
    LARGEST_SAMPLE,
    LEVEL_NAMES,
    PEAK_NAMES,
    SILENT,
    chart_of,
    finding_of,
    grouped,
    scale_of,
    unit_of,
    zero_level_power,
)

LEVELS = BlockLevels()
MAY_CLIP = "the peak reaches full scale: whether it was clipped cannot be told"
TWO_SCALES = "the repeats are scaled in different units"
_QUANTITIES = {
    "recording_level": "level: 10 lg of the mean square over all frames and channels, re {level}",
    "recording_peak": "peak: 20 lg of the largest magnitude of a sample in any channel, re {peak}",
    "recording_dc_share": "share of the steady offset: square of the mean over the mean square, of all channels",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Levels:
    """Of one recording, full scale = 1: mean square and square of the mean over channels, and the largest magnitude."""

    mean_square: float
    offset_square: float
    peak: float


class RecordingLevels:
    """Level, peak and offset of recordings, from summaries that are made in one pass."""

    name = "recording-levels"
    version = "3"
    quantities = frozenset(_QUANTITIES)
    needs = Needs(kinds=frozenset({"recording"}), summaries=(LEVELS,), min_conditions=1)
    symmetries: tuple[Symmetry, ...] = (
        Symmetry(kind="row-order-invariant", quantities=quantities),
        Symmetry(kind="relabel-seats-invariant", quantities=quantities),
        Symmetry(kind="relabel-programmes-invariant", quantities=quantities),
    )

    def analyse(self, inputs: Inputs) -> Result:
        """Three findings for each place, condition, channel and programme; repeats are averaged in energy."""
        findings = [finding for group in grouped(inputs.recordings) for finding in _findings(group)]
        return Result(findings=tuple(findings), charts=tuple(_charts(inputs, findings)))


def _levels(recording: Recording) -> _Levels:
    blocks = recording.summary(LEVELS)
    return _Levels(
        mean_square=float(np.average(blocks["mean_square"].mean(axis=1), weights=blocks["n_frames"])),
        offset_square=float(np.mean(np.average(blocks["mean"], axis=0, weights=blocks["n_frames"]) ** 2)),
        peak=float(blocks["peak"].max()),
    )


def _findings(recordings: Sequence[Recording]) -> list[Finding]:
    levels = [_levels(recording) for recording in recordings]
    scales = [scale_of(recording) for recording in recordings]
    units = {unit_of(recording) for recording in recordings}
    unit = min(units)
    square = float(np.mean([one.mean_square * scale**2 for one, scale in zip(levels, scales, strict=True)]))
    offset = float(np.mean([one.offset_square * scale**2 for one, scale in zip(levels, scales, strict=True)]))
    peak = max(one.peak * scale for one, scale in zip(levels, scales, strict=True))
    clipped = (MAY_CLIP,) if max(one.peak for one in levels) >= LARGEST_SAMPLE else ()
    lacking = (TWO_SCALES,) if len(units) > 1 else (SILENT,) if square == 0.0 else ()
    values: dict[str, tuple[float, str, tuple[str, ...]]] = {}
    if not lacking:
        values = {
            "recording_level": (10 * math.log10(square / zero_level_power(unit)), unit, ()),
            "recording_peak": (20 * math.log10(peak), unit, clipped),
            "recording_dc_share": (offset / square, "1", ()),
        }
    return [
        finding_of(
            recordings,
            quantity,
            values[quantity][0] if values else None,
            "1" if quantity == "recording_dc_share" else unit,
            method.format(level=LEVEL_NAMES[unit], peak=PEAK_NAMES[unit]),
            values[quantity][2] if values else lacking,
        )
        for quantity, method in _QUANTITIES.items()
    ]


def _charts(inputs: Inputs, findings: Sequence[Finding]) -> list[ChartRequest]:
    """Levels by place and programme, coloured by condition; a chart for each unit."""
    charts = []
    for unit in sorted({finding.unit for finding in findings if finding.unit != "1"}):
        shown = [f for f in findings if f.quantity == "recording_level" and f.unit == unit and f.value is not None]
        if not shown:
            continue
        charts.append(
            chart_of(
                inputs,
                shown,
                unit,
                name=f"recording-levels-{unit.lower()}",
                title=f"Level of the recordings, re {LEVEL_NAMES[unit]}",
                column="level",
                label="Level",
                said="Level",
            )
        )
    return charts


@hookimpl
def fairhearing_analysers() -> list[Analyser]:
    """The analyser of this module."""
    return [RecordingLevels()]
