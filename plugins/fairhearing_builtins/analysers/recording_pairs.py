"""Recordings of both conditions of one programme at one place, and by how much they differ in loudness and level."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fairhearing.acoustics.loudness import KWeightedEnergy, layout_is_known, weighted_energy
from fairhearing.acoustics.paired_loudness import PairedDifference, common_section, matched_section, paired_difference
from fairhearing.acoustics.summaries import PowerSpectrum
from fairhearing.acoustics.true_peak import TruePeak
from fairhearing.acoustics.weighting import Weighting, weighted_mean_square
from fairhearing.api import Comparison, Inputs, Recording

FloatArray = npt.NDArray[np.float64]

ENERGY, SPECTRUM, PEAK = KWeightedEnergy(), PowerSpectrum(), TruePeak()
REFERENCE_PRESSURE_PA = 20e-6  # ISO 1683
LARGEST_SAMPLE = 1 - 2.0**-15  # the largest positive one of 16 bits
# Common practice, no source: the same section under a filter correlates above 0.95, other sections below 0.5.
LEAST_CORRELATION = 0.8
LENGTHS_DIFFER_S = 0.2

MAY_CLIP = "a sample reaches full scale: whether the recording was clipped cannot be told"
NO_FULL_SCALE = "no full scale is given: it holds if all were recorded with one gain"
TOO_EVEN = "whether the recordings hold the same section cannot be told: the programme is too even"
TWO_SCALES = "the recordings are scaled in different units"
TWO_GAINS = "the repeats of one condition have different full scales"
TWO_LAYOUTS = "the recordings have different numbers of channels"
LOW_RATE = "the sample rate is below 4 kHz: the K-weighting has no room"
GATED = "silent, or too short: no block of 0.4 s passes the gates of ITU-R BS.1770 in both conditions"
SHORT_SPECTRUM = "a recording is shorter than a window of the spectrum (1 s)"
TOO_SHORT = "the recordings are too short for an interval along the programme: under 20 s"
NO_ERROR = "over the whole recordings: no interval along the programme"
ALONG_CAVEATS = frozenset({TOO_SHORT, NO_ERROR})
ODD_LAYOUT = "{n} channels: the layout is not one of ITU-R BS.1770, each counts alike"
OTHER_SECTION = "the recordings do not hold the same section: their levels along the time correlate only {r:.2f}"
OTHER_LENGTHS = "the recordings are not of one length ({shortest:.1f} to {longest:.1f} s): what all hold is compared"
SHIFTED = "the recordings begin up to {shift:.1f} s apart: laid against each other by their levels"


@dataclass(frozen=True, slots=True, order=True)
class Spot:
    """Where, through which channel, of which programme; None where the files do not say."""

    seat: str
    channel: str
    programme: str

    @property
    def names(self) -> tuple[str | None, str | None, str | None]:
        """Seat, channel, programme as findings have them."""
        return self.seat or None, self.channel or None, self.programme or None


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """Condition minus reference, dB; None with the caveat that says why. `n`: the smaller number of recordings.

    `standard_error_db` along the programme with its degrees of freedom; None where nothing gives one.
    """

    value_db: float | None
    standard_error_db: float | None = None
    degrees_of_freedom: int = 0
    n: int = 0
    caveats: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Pairs:
    """The recordings of a comparison at one point and state of playing, by spot: of the condition, of the reference."""

    point: str
    playing: str
    spots: Mapping[Spot, tuple[tuple[Recording, ...], tuple[Recording, ...]]]


def pairs_of(inputs: Inputs, comparison: Comparison) -> Pairs | None:
    """The recordings at the amplifier's output if both conditions have one programme there, else at the seats."""
    for point, playing in (("amplifier-output", "main"), ("seat", "both"), ("seat", "main")):
        found: dict[Spot, tuple[list[Recording], list[Recording]]] = {}
        for one in sorted(inputs.recordings, key=lambda r: (r.repeat, r.path)):
            ids = (comparison.condition.id, comparison.reference.id)
            if one.kind != "recording" or (one.point, one.playing) != (point, playing) or one.condition not in ids:
                continue
            spot = Spot(one.seat or "", one.channel or "", one.programme or "")
            found.setdefault(spot, ([], []))[ids.index(one.condition)].append(one)
        both = {spot: (tuple(c), tuple(r)) for spot, (c, r) in sorted(found.items()) if c and r}
        if both:
            return Pairs(point=point, playing=playing, spots=both)
    return None


def full_scale(recording: Recording) -> tuple[float, str]:
    """What a sample of 1.0 is in what 0 dB is, and the unit of the level."""
    if recording.full_scale_pa is not None:
        return recording.full_scale_pa / REFERENCE_PRESSURE_PA, "dB"
    return (1.0, "dBFS") if recording.full_scale_v is None else (recording.full_scale_v, "dBV")


def may_clip(recordings: Sequence[Recording]) -> bool:
    """Whether a sample of any reaches full scale."""
    return any(float(one.summary(PEAK)["sample_peak"].max()) >= LARGEST_SAMPLE for one in recordings)


def _fault_of(condition: Sequence[Recording], reference: Sequence[Recording]) -> str | None:
    """Why the recordings cannot be compared at all."""
    everything = (*condition, *reference)
    if len({full_scale(one)[1] for one in everything}) > 1:
        return TWO_SCALES
    if any(len({full_scale(one)[0] for one in side}) > 1 for side in (condition, reference)):
        return TWO_GAINS
    if len({one.format.n_channels for one in everything}) > 1:
        return TWO_LAYOUTS
    return None


def _caveats_of(recordings: Sequence[Recording]) -> tuple[str, ...]:
    clipped = (MAY_CLIP,) if may_clip(recordings) else ()
    return (*clipped, NO_FULL_SCALE) if full_scale(recordings[0])[1] == "dBFS" else clipped


def _shift_db(condition: Sequence[Recording], reference: Sequence[Recording]) -> float:
    """What the full scales of the two sides add to a difference of what stands in the files."""
    return 20 * math.log10(full_scale(condition[0])[0] / full_scale(reference[0])[0])


def loudness_differences(
    condition: Sequence[Recording], reference: Sequence[Recording]
) -> tuple[Difference, Difference]:
    """Difference of integrated loudness, by each one's own gates and over the blocks that pass in all."""
    everything = (*condition, *reference)
    fault = _fault_of(condition, reference)
    energies = [weighted_energy(one.summary(ENERGY)["mean_square"]) for one in everything]
    if fault is None and not all(np.isfinite(energy).all() for energy in energies):
        fault = LOW_RATE
    if fault is not None:
        return _null(fault), _null(fault)
    section = _one_section(energies, float(everything[0].summary(ENERGY)["block_s"][0]))
    if section.fault is not None:
        return _null(section.fault), _null(section.fault)
    n_channels = everything[0].format.n_channels
    layout = () if layout_is_known(n_channels) else (ODD_LAYOUT.format(n=n_channels),)
    caveats = (*section.caveats, *layout, *_caveats_of(everything))
    found = paired_difference(section.parts[: len(condition)], section.parts[len(condition) :])
    shift, n = _shift_db(condition, reference), min(len(condition), len(reference))
    return _difference(found, found.value_db + shift, n, caveats), _difference(
        found, found.same_blocks_db + shift, n, caveats
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Section:
    """The blocks that all recordings hold, or the fault that there is no one section."""

    parts: tuple[FloatArray, ...] = ()
    caveats: tuple[str, ...] = ()
    fault: str | None = None


def _one_section(energies: Sequence[FloatArray], block_s: float) -> _Section:
    """What all recordings hold, laid against the one of most energy, whichever number it has."""
    against = max(energies, key=lambda energy: (float(energy.sum()), len(energy)))
    sections = [matched_section(energy, against) for energy in energies]
    correlations = [one.correlation for one in sections]
    lowest = min((r for r in correlations if not math.isnan(r)), default=math.nan)
    if lowest < LEAST_CORRELATION:
        return _Section(fault=OTHER_SECTION.format(r=lowest))
    lags, lengths_s = [one.lag_blocks for one in sections], [len(energy) * block_s for energy in energies]
    caveats = [TOO_EVEN] if any(math.isnan(r) for r in correlations) else []
    if max(lengths_s) - min(lengths_s) > LENGTHS_DIFFER_S:
        caveats.append(OTHER_LENGTHS.format(shortest=min(lengths_s), longest=max(lengths_s)))
    if any(lags):
        caveats.append(SHIFTED.format(shift=(max(lags) - min(lags)) * block_s))
    return _Section(parts=tuple(common_section(energies, lags)), caveats=tuple(caveats))


def _difference(found: PairedDifference, value_db: float, n: int, caveats: tuple[str, ...]) -> Difference:
    if math.isnan(value_db):
        return _null(GATED)
    error = None if math.isnan(found.standard_error_db) else found.standard_error_db
    few = () if error is not None else (TOO_SHORT,)
    return Difference(
        value_db=value_db,
        standard_error_db=error,
        degrees_of_freedom=max(0, found.n_segments - 1),
        n=n,
        caveats=(*few, *caveats),
    )


def _null(why: str) -> Difference:
    return Difference(value_db=None, caveats=(why,))


def weighted_difference(
    condition: Sequence[Recording], reference: Sequence[Recording], weighting: Weighting
) -> Difference:
    """Difference of the weighted level over the whole recordings, repeats averaged in energy; without an error."""
    fault = _fault_of(condition, reference)
    if fault is not None:
        return _null(fault)
    powers = [np.mean([weighted_power(one, weighting) for one in side]) for side in (condition, reference)]
    if not all(math.isfinite(power) and power > 0 for power in powers):
        return _null(SHORT_SPECTRUM)
    value = 10 * math.log10(powers[0] / powers[1]) + _shift_db(condition, reference)
    caveats = (NO_ERROR, *_caveats_of((*condition, *reference)))
    return Difference(value_db=value, n=min(len(condition), len(reference)), caveats=caveats)


def weighted_power(recording: Recording, weighting: Weighting) -> float:
    """Mean square of the weighted signal over all channels, full scale squared; NaN if it is shorter than a window."""
    spectrum = recording.summary(SPECTRUM)
    return float(weighted_mean_square(spectrum["frequency_hz"], spectrum["power_density"], weighting).mean())
