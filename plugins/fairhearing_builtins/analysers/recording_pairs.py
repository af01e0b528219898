"""Recordings of both conditions of one programme at one place, and by how much they differ in loudness and level."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fairhearing.acoustics.loudness import KWeightedEnergy, layout_is_known, weighted_energy
from fairhearing.acoustics.low_bands import weighted_whole_power
from fairhearing.acoustics.low_spectrum import LowSpectrum
from fairhearing.acoustics.paired_loudness import PairedDifference, common_section, paired_difference
from fairhearing.acoustics.true_peak import TruePeak
from fairhearing.acoustics.weighting import Weighting
from fairhearing.api import Comparison, Inputs, Recording
from fairhearing_builtins.analysers.recording_groups import LARGEST_SAMPLE, scale_of, unit_of
from fairhearing_builtins.analysers.recording_sections import section_of

FloatArray = npt.NDArray[np.float64]

ENERGY, LOW, PEAK = KWeightedEnergy(), LowSpectrum(), TruePeak()
LENGTHS_DIFFER_S = 0.2

MAY_CLIP = "a sample reaches full scale: whether the recording was clipped cannot be told"
NO_FULL_SCALE = "no full scale is given: it holds if all were recorded with one gain"
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
OTHER_LENGTHS = "the recordings are not of one length ({shortest:.1f} to {longest:.1f} s): what all hold is compared"


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


def may_clip(recordings: Sequence[Recording]) -> bool:
    """Whether a sample of any reaches full scale."""
    return any(float(one.summary(PEAK)["sample_peak"].max()) >= LARGEST_SAMPLE for one in recordings)


def _fault_of(condition: Sequence[Recording], reference: Sequence[Recording]) -> str | None:
    """Why the recordings cannot be compared at all."""
    everything = (*condition, *reference)
    if len({unit_of(one) for one in everything}) > 1:
        return TWO_SCALES
    if any(len({scale_of(one) for one in side}) > 1 for side in (condition, reference)):
        return TWO_GAINS
    if len({one.format.n_channels for one in everything}) > 1:
        return TWO_LAYOUTS
    return None


def _caveats_of(recordings: Sequence[Recording]) -> tuple[str, ...]:
    clipped = (MAY_CLIP,) if may_clip(recordings) else ()
    return (*clipped, NO_FULL_SCALE) if unit_of(recordings[0]) == "dBFS" else clipped


def _shift_db(condition: Sequence[Recording], reference: Sequence[Recording]) -> float:
    """What the full scales of the two sides add to a difference of what stands in the files."""
    return 20 * math.log10(scale_of(condition[0]) / scale_of(reference[0]))


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
    block_s = float(everything[0].summary(ENERGY)["block_s"][0])
    section = section_of(energies, block_s)
    if section.fault is not None:
        return _null(section.fault), _null(section.fault)
    n_channels = everything[0].format.n_channels
    layout = () if layout_is_known(n_channels) else (ODD_LAYOUT.format(n=n_channels),)
    doubts = (*section.too_even, *_other_lengths(energies, block_s), *section.shifted)
    caveats = (*doubts, *layout, *_caveats_of(everything))
    parts = common_section(energies, section.lags)
    found = paired_difference(parts[: len(condition)], parts[len(condition) :])
    shift, n = _shift_db(condition, reference), min(len(condition), len(reference))
    return _difference(found, found.value_db + shift, n, caveats), _difference(
        found, found.same_blocks_db + shift, n, caveats
    )


def _other_lengths(energies: Sequence[FloatArray], block_s: float) -> tuple[str, ...]:
    """A caveat where the recordings are not of one length."""
    lengths_s = [len(energy) * block_s for energy in energies]
    if max(lengths_s) - min(lengths_s) <= LENGTHS_DIFFER_S:
        return ()
    return (OTHER_LENGTHS.format(shortest=min(lengths_s), longest=max(lengths_s)),)


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
    return float(weighted_whole_power(recording.summary(LOW), weighting, LOW.lowest_hz).mean())
