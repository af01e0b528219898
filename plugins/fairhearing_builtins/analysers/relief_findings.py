"""Findings of what an amplifier is spared: of each condition and programme, of each comparison, over programmes."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fairhearing.acoustics.wiring import given_corner_hz, meant_corner_hz
from fairhearing.api import Comparison, Condition, Finding, Inputs, Session
from fairhearing_builtins.analysers.recording_groups import NO_INTERVAL
from fairhearing_builtins.analysers.recording_pairs import MAY_CLIP
from fairhearing_builtins.analysers.relief_changes import (
    NOT_VOLT,
    Change,
    changes_of,
    null_changes,
    over_programmes,
    verdict_of,
)
from fairhearing_builtins.analysers.relief_load import Electric, electric_of
from fairhearing_builtins.analysers.relief_waves import BLOCK_S, LOWEST_HZ, Wave, share_below

LEAST_SHARE = 0.1
WEAK = "this programme has only {percent:.1f} % of its energy below the corner: it cannot show the filter"
ALL_WEAK = "no programme has {percent:g} % of its energy below the corner: none of them can show the filter"
SILENT = "every sample is the same: silence has no level"
NO_VOLT = "no full_scale_v is given: what a sample is in volt is not known"
NOT_BOTH = "not both conditions were recorded"
NO_CORNER = "the chains state no corner"
TOO_SHORT = "the recording is too short for energy from 0.5 Hz: less than two periods of it"
# In simulation with beats of a drum: within 3 % of itself in 32 s, within 1 % in 120 s.
_SHORT_S = 120.0
SHORT = "a short programme: spectra of 0.9 s tell the share to about 3 % of itself"
ABSOLUTE = frozenset(
    {"amplifier_voltage", "amplifier_peak_voltage", "crest_factor", "amplifier_current", "amplifier_peak_current",
     "amplifier_power"}
)  # fmt: skip
CHANGES = frozenset(
    {"amplifier_voltage_change", "amplifier_peak_voltage_change", "crest_factor_change", "amplifier_current_change",
     "amplifier_power_change", "headroom_won", "headroom_against_doubling"}
)  # fmt: skip
SHARE = "energy_share_below_corner"
QUANTITIES = ABSOLUTE | CHANGES | {SHARE}


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where, what plays, and how it came about; `electric`: at the loudspeaker's terminals."""

    point: str
    playing: str
    programme: str | None
    electric: bool = True
    origin: str = ""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Heard:
    """One programme at one place: the wave of each condition as it is, and laid together with all others."""

    place: Place
    waves: Mapping[str, Wave]
    together: Mapping[str, Wave]
    caveats: tuple[str, ...] = ()
    faults: Mapping[str, str] | None = None  # by condition: why it has no wave
    fault: str | None = None  # why nothing can be compared


def findings_of(inputs: Inputs, heard: Sequence[Heard]) -> list[Finding]:
    """All findings of programmes at one point and state of playing, and over the programmes."""
    session = inputs.session
    found = [finding for one in heard for finding in _absolute(session, one)]
    for comparison in inputs.comparisons:
        rows = [_compared(session, one, comparison) for one in heard]
        for one, row in zip(heard, rows, strict=True):
            found.append(_share_finding(one, comparison, row.share))
            found += [_finding(session, one.place, comparison, change, row.n, row.caveats) for change in row.changes]
        if len(heard) > 1 and all(one.place.programme is not None for one in heard):
            found += _over(session, heard[0].place, comparison, rows)
    return found


# --- of one condition -------------------------------------------------------------------------------------------------


def _absolute(session: Session, one: Heard) -> list[Finding]:
    found = []
    for condition in session.conditions:
        wave, fault = one.waves.get(condition.id), (one.faults or {}).get(condition.id)
        if wave is None and fault is None:
            continue
        for quantity, (value, unit, method, caveats) in _values(session, condition, one, wave, fault).items():
            found.append(
                Finding(
                    quantity=quantity,
                    value=value,
                    unit=unit,
                    n=None if wave is None else wave.n,
                    method=method + one.place.origin,
                    condition=condition.id,
                    point=one.place.point,
                    playing=one.place.playing,
                    programme=one.place.programme,
                    caveats=tuple(dict.fromkeys((*caveats, *one.caveats, NO_INTERVAL))),
                )
            )
    return found


Value = tuple[float | None, str, str, tuple[str, ...]]


def _values(
    session: Session, condition: Condition, one: Heard, wave: Wave | None, fault: str | None
) -> dict[str, Value]:
    """Value, unit, method and caveats of each quantity."""
    silent = wave is not None and not wave.mean_square > 0
    lacking = (fault,) if fault is not None else (SILENT,) if silent else ()
    no_volt = lacking or (() if wave is None or wave.volts else (NO_VOLT,))
    clipped = (MAY_CLIP,) if wave is not None and wave.clipped else ()
    whole = "over all frames and channels, steady offset removed"
    rms = None if wave is None or no_volt else math.sqrt(wave.mean_square)
    peak = None if wave is None or no_volt else wave.highest
    crest = None
    if wave is not None and not lacking:
        crest = 20 * math.log10(wave.highest) - 10 * math.log10(wave.mean_square)
    found: dict[str, Value] = {
        "amplifier_voltage": (rms, "V", f"root mean square {whole}", (*no_volt, *clipped)),
        "amplifier_peak_voltage": (peak, "V", f"largest magnitude {whole}", (*no_volt, *clipped)),
        "crest_factor": (crest, "dB", f"20 lg of largest magnitude over root mean square, {whole}",
                         (*lacking, *clipped)),
    }  # fmt: skip
    if not one.place.electric:
        return found
    electric = Electric() if wave is None or no_volt else electric_of(wave, condition.chain, session)
    told = f" {electric.told}" if electric.told else ""
    return found | {
        "amplifier_current": (electric.current, "A", f"root mean square current of one channel{told}",
                              (*no_volt, *electric.current_caveats, *clipped)),
        "amplifier_peak_current": (electric.peak_current, "A", "largest magnitude of the current of one channel",
                                   (*no_volt, *electric.peak_caveats, *clipped)),
        "amplifier_power": (electric.power, "W", f"mean power of one channel{told}",
                            (*no_volt, *electric.power_caveats, *clipped)),
    }  # fmt: skip


# --- against the reference --------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class _Row:
    """What a comparison gives for one programme; `share` of the reference's energy below the corner."""

    changes: tuple[Change, ...]
    share: float | None
    share_caveats: tuple[str, ...] = ()
    n: int | None = None
    caveats: tuple[str, ...] = ()

    @property
    def is_weak(self) -> bool:
        return self.share is not None and self.share < LEAST_SHARE


def corner_of(comparison: Comparison) -> float | None:
    """The corner that the condition's chain gives, else the one that is meant; of either state if only one has one."""
    for condition in (comparison.condition, comparison.reference):
        corner = given_corner_hz(condition.chain) if condition.chain.names_filter else None
        corner = meant_corner_hz(condition.chain) if corner is None else corner
        if corner is not None:
            return corner
    return None


def weak_caveat(share: float) -> str:
    """What is to be said of a programme with so little energy below the corner."""
    return WEAK.format(percent=100 * share)


def _compared(session: Session, one: Heard, comparison: Comparison) -> _Row:
    ids = (comparison.condition.id, comparison.reference.id)
    share, share_caveats = _share(one, comparison)
    weak = (weak_caveat(share),) if share is not None and share < LEAST_SHARE else ()
    whole = [one.waves.get(name) for name in ids]
    together = [one.together.get(name) for name in ids]
    if one.fault is not None or None in whole or None in together:
        faults = [(one.faults or {}).get(name) for name in ids]
        why = one.fault or next((fault for fault in faults if fault is not None), NOT_BOTH)
        changes = null_changes(why, electric=one.place.electric)
        return _Row(changes=tuple(changes), share=share, share_caveats=share_caveats, caveats=weak)
    waves = [wave for wave in (*whole, *together) if wave is not None]
    if not all(wave.mean_square > 0 for wave in waves):
        changes = null_changes(SILENT, electric=one.place.electric)
        return _Row(changes=tuple(changes), share=share, share_caveats=share_caveats, caveats=weak)
    electric = None
    if one.place.electric:
        electric = (electric_of(waves[0], comparison.condition.chain, session),
                    electric_of(waves[1], comparison.reference.chain, session))  # fmt: skip
    caveats = [*weak, *one.caveats]
    if any(wave.clipped for wave in waves):
        caveats.append(MAY_CLIP)
    if not all(wave.volts for wave in waves):
        caveats.append(NOT_VOLT)
    return _Row(
        changes=tuple(changes_of(waves[2], waves[3], electric)),
        share=share,
        share_caveats=share_caveats,
        n=min(wave.n for wave in waves),
        caveats=tuple(caveats),
    )


def _share(one: Heard, comparison: Comparison) -> tuple[float | None, tuple[str, ...]]:
    reference, corner = one.waves.get(comparison.reference.id), corner_of(comparison)
    if one.waves.get(comparison.condition.id) is None:
        return None, ((one.faults or {}).get(comparison.condition.id) or NOT_BOTH,)
    if reference is None:
        return None, ((one.faults or {}).get(comparison.reference.id) or NOT_BOTH,)
    if not reference.mean_square > 0:
        return None, (SILENT,)
    if corner is None:
        return None, (NO_CORNER,)
    share = share_below(reference, corner)
    if share is None:
        return None, (TOO_SHORT,)
    return share, (SHORT,) if len(reference.energy) * BLOCK_S < _SHORT_S else ()


def _share_finding(one: Heard, comparison: Comparison, share: float | None) -> Finding:
    corner = corner_of(comparison)
    caveats = _share(one, comparison)[1]
    weak = (weak_caveat(share),) if share is not None and share < LEAST_SHARE else ()
    return Finding(
        quantity=SHARE,
        value=share,
        unit="1",
        method=_share_method(corner) + one.place.origin,
        condition=comparison.condition.id,
        reference=comparison.reference.id,
        point=one.place.point,
        playing=one.place.playing,
        programme=one.place.programme,
        caveats=(*caveats, *weak, *(() if share is None else (NO_INTERVAL,))),
    )


def _share_method(corner: float | None) -> str:
    named = "the corner" if corner is None else f"{corner:.1f} Hz, the corner of the chain as written"
    return f"share of the reference's energy from {LOWEST_HZ:g} Hz below {named}; above 25 Hz: spectra of 0.9 s"


def _finding(
    session: Session, place: Place, comparison: Comparison, change: Change, n: int | None, caveats: tuple[str, ...]
) -> Finding:
    confidence = session.criteria.confidence
    half = change.half_db(confidence)
    value = change.value_db
    known = value is not None and half is not None
    return Finding(
        quantity=change.quantity,
        variant=change.variant,
        value=value,
        unit="dB",
        low=value - half if value is not None and half is not None else None,
        high=value + half if value is not None and half is not None else None,
        confidence=confidence if known else None,
        n=n,
        method=change.method + place.origin,
        condition=comparison.condition.id,
        reference=comparison.reference.id,
        point=place.point,
        playing=place.playing,
        programme=place.programme,
        verdict=verdict_of(change, confidence),
        caveats=tuple(dict.fromkeys((*change.caveats, *caveats))),
    )


# --- over programmes --------------------------------------------------------------------------------------------------


def _over(session: Session, place: Place, comparison: Comparison, rows: Sequence[_Row]) -> list[Finding]:
    everywhere = replace(place, programme=None)
    shares = [row.share for row in rows if row.share is not None]
    weak: tuple[str, ...] = ()
    if shares and len(shares) == len(rows) and all(row.is_weak for row in rows):
        weak = (ALL_WEAK.format(percent=100 * LEAST_SHARE),)
    found = [
        Finding(
            quantity=SHARE,
            value=float(np.mean(shares)) if shares else None,
            unit="1",
            method=f"{_share_method(corner_of(comparison))}, mean over programmes{place.origin}",
            condition=comparison.condition.id,
            reference=comparison.reference.id,
            point=place.point,
            playing=place.playing,
            caveats=(*weak, NO_INTERVAL) if shares else ("no programme has a value",),
        )
    ]
    names = dict.fromkeys((change.quantity, change.variant) for row in rows for change in row.changes)
    ns = [row.n for row in rows if row.n is not None]
    for quantity, variant in names:
        if quantity in ("crest_factor_change", "amplifier_peak_voltage_change"):
            continue
        changes = [c for row in rows for c in row.changes if (c.quantity, c.variant) == (quantity, variant)]
        mean = over_programmes(changes)
        if mean is not None:
            found.append(_finding(session, everywhere, comparison, mean, min(ns, default=None), weak))
    return found
