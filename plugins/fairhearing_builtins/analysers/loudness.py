"""Loudness, loudness range, true peak and weighted levels of each recording: by condition, programme and seat."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from fairhearing.acoustics.loudness import integrated_loudness, layout_is_known, loudness_lkfs
from fairhearing.acoustics.loudness_range import loudness_range
from fairhearing.acoustics.weighting import Weighting
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
    LEVEL_NAMES,
    SILENT,
    chart_of,
    finding_of,
    grouped,
    scale_of,
    unit_of,
    zero_level_power,
)
from fairhearing_builtins.analysers.recording_pairs import (
    ENERGY,
    LOW,
    LOW_RATE,
    MAY_CLIP,
    ODD_LAYOUT,
    PEAK,
    SHORT_SPECTRUM,
    TWO_SCALES,
    may_clip,
    weighted_power,
)

GATED = "silent, or too short: no block of 0.4 s passes the gates"
SHORT = "shorter than {least:g} s"
SHORT_RANGE = "shorter than a minute: too few windows for a loudness range that says much (EBU Tech 3342)"
TO_FULL_SCALE = "relative to full scale: no calibration is given"
_MINUTE_S = 60.0
_BS_1770 = "ITU-R BS.1770-5, re full scale of the file, energy of all channels"
_METHODS = {
    "integrated_loudness": f"gated loudness of the whole recording ({_BS_1770})",
    "momentary_loudness_maximum": f"loudest 0.4 s, windows 20 ms apart, no gate ({_BS_1770})",
    "short_term_loudness_maximum": f"loudest 3 s, windows 20 ms apart, no gate ({_BS_1770})",
    "loudness_range": "10th to 95th percentile of the gated loudness of 3 s (EBU Tech 3342)",
    "true_peak_level": "20 lg of the largest magnitude of the oversampled wave in any channel (BS.1770-5, Annex 2)",
    "a_weighted_level": "10 lg of the A-weighted mean square over all channels (IEC 61672-1:2013), re {reference}",
    "c_weighted_level": "10 lg of the C-weighted mean square over all channels (IEC 61672-1:2013), re {reference}",
}
Value = tuple[float | None, str, tuple[str, ...]]  # value, unit, caveats


class Loudness:
    """Loudness and weighted levels of recordings, from summaries that are made in one pass."""

    name = "loudness"
    version = "2"
    quantities = frozenset(_METHODS)
    needs = Needs(kinds=frozenset({"recording"}), summaries=(ENERGY, PEAK, LOW), min_conditions=1)
    symmetries: tuple[Symmetry, ...] = (
        Symmetry(kind="row-order-invariant", quantities=quantities),
        Symmetry(kind="relabel-seats-invariant", quantities=quantities),
        Symmetry(kind="relabel-programmes-invariant", quantities=quantities),
    )

    def analyse(self, inputs: Inputs) -> Result:
        """A finding of each quantity for each place, condition, channel and programme."""
        findings = [finding for group in grouped(inputs.recordings) for finding in _findings(group)]
        return Result(findings=tuple(findings), charts=tuple(_charts(inputs, findings)))


def _findings(recordings: Sequence[Recording]) -> list[Finding]:
    reference = LEVEL_NAMES[unit_of(recordings[0])]
    values: dict[str, Value] = {
        **_loudness(recordings),
        "loudness_range": _range(recordings),
        "true_peak_level": _peak(recordings),
        "a_weighted_level": _weighted(recordings, "A"),
        "c_weighted_level": _weighted(recordings, "C"),
    }
    return [
        finding_of(
            recordings,
            quantity,
            values[quantity][0],
            values[quantity][1],
            method.format(reference=reference),
            values[quantity][2],
        )
        for quantity, method in _METHODS.items()
    ]


def _loudness(recordings: Sequence[Recording]) -> dict[str, Value]:
    """Integrated: the energy mean over repeats; momentary and short-term: the loudest of them."""
    unit, n_channels = "LKFS", recordings[0].format.n_channels
    layout = () if layout_is_known(n_channels) else (ODD_LAYOUT.format(n=n_channels),)
    caveats = (*((MAY_CLIP,) if may_clip(recordings) else ()), *layout)
    summaries = [one.summary(ENERGY) for one in recordings]
    if any(np.isnan(arrays["mean_square"]).any() for arrays in summaries):
        return {name: (None, unit, (LOW_RATE,)) for name in _METHODS if name.endswith(("_loudness", "_maximum"))}
    gated = [integrated_loudness(arrays["mean_square"]).value_lkfs for arrays in summaries]
    values: dict[str, Value] = {"integrated_loudness": (None, unit, (GATED,))}
    if not any(map(math.isnan, gated)):
        mean = 10 * math.log10(float(np.mean(10 ** (np.array(gated) / 10))))
        values["integrated_loudness"] = (mean, unit, caveats)
    names = {"momentary_loudness_maximum": 0.4, "short_term_loudness_maximum": 3.0}
    for index, (name, least_s) in enumerate(names.items()):
        loudest = max(
            (float(a["loudest"][index]) for a in summaries if not math.isnan(a["loudest"][index])), default=0.0
        )
        short = all(math.isnan(a["loudest"][index]) for a in summaries)
        lacking = SHORT.format(least=least_s) if short else SILENT
        values[name] = (float(loudness_lkfs(loudest)), unit, caveats) if loudest > 0 else (None, unit, (lacking,))
    return values


def _range(recordings: Sequence[Recording]) -> Value:
    """The mean over repeats."""
    found = [loudness_range(one.summary(ENERGY)["mean_square"]).value_lu for one in recordings]
    length_s = min(one.format.n_frames / one.format.rate_hz for one in recordings)
    if any(map(math.isnan, found)):
        low = any(np.isnan(one.summary(ENERGY)["mean_square"]).any() for one in recordings)
        return None, "LU", (LOW_RATE if low else SHORT.format(least=3) if length_s < 3 else GATED,)
    return float(np.mean(found)), "LU", (SHORT_RANGE,) if length_s < _MINUTE_S else ()


def _peak(recordings: Sequence[Recording]) -> Value:
    peak = max(float(one.summary(PEAK)["true_peak"].max()) for one in recordings)
    if peak == 0:
        return None, "dBTP", (SILENT,)
    return 20 * math.log10(peak), "dBTP", (MAY_CLIP,) if may_clip(recordings) else ()


def _weighted(recordings: Sequence[Recording], weighting: Weighting) -> Value:
    """The energy mean over repeats."""
    units = {unit_of(one) for one in recordings}
    unit = min(units)
    if len(units) > 1:
        return None, unit, (TWO_SCALES,)
    powers = [weighted_power(one, weighting) * scale_of(one) ** 2 for one in recordings]
    power = float(np.mean(powers))
    if not power > 0:
        return None, unit, (SHORT_SPECTRUM if math.isnan(power) else SILENT,)
    caveats = (*((MAY_CLIP,) if may_clip(recordings) else ()), *((TO_FULL_SCALE,) if unit == "dBFS" else ()))
    return 10 * math.log10(power / zero_level_power(unit)), unit, caveats


def _charts(inputs: Inputs, findings: Sequence[Finding]) -> list[ChartRequest]:
    """Integrated loudness by place and programme, coloured by condition."""
    shown = [f for f in findings if f.quantity == "integrated_loudness" and f.value is not None]
    if not shown:
        return []
    chart = chart_of(
        inputs,
        shown,
        "LKFS",
        name="loudness",
        title="Loudness of the recordings",
        column="loudness",
        label="Integrated loudness",
        said="Integrated loudness",
    )
    return [chart]


@hookimpl
def fairhearing_analysers() -> list[Analyser]:
    """The analyser of this module."""
    return [Loudness()]
