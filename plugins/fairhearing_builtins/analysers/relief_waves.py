"""What an amplifier put out, or would put out, of one programme in one condition: levels, peaks and spectrum."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from fairhearing.acoustics.filtered_levels import FilteredLevels
from fairhearing.acoustics.loudness import KWeightedEnergy, weighted_energy
from fairhearing.acoustics.low_spectrum import LowSpectrum
from fairhearing.acoustics.paired_loudness import common_section, matched_section
from fairhearing.acoustics.summaries import PowerSpectrum
from fairhearing.api import Recording
from fairhearing_builtins.analysers.recording_pairs import LARGEST_SAMPLE

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]

PLAIN, ENERGY, LOW, SPECTRUM = FilteredLevels(), KWeightedEnergy(), LowSpectrum(), PowerSpectrum()
BLOCK_S = PLAIN.block_s
LOWEST_HZ = 0.5
AUDIBLE_TOP_HZ, AUDIBLE_SHARE_OF_RATE = 20_000.0, 0.45
# A steady offset reaches into the first two bins of a spectrum of 1 s.
_LOWEST_BIN_HZ = 2.0
# What a steady offset leaves when it is taken out: less than any sample of 24 bits.
_ROUNDING = 1e-13
# Common practice, no source: the same section under a filter correlates above 0.95, other sections below 0.5.
_LEAST_CORRELATION = 0.8

OTHER_SECTION = "the recordings do not hold the same section: their levels along the time correlate only {r:.2f}"
TOO_EVEN = "whether the recordings hold the same section cannot be told: the programme is too even"
TWO_SCALES = "some of the recordings have a full scale in volt and some have not"
TWO_LAYOUTS = "the recordings do not have the same channels"
SHIFTED = "the recordings begin up to {shift:.1f} s apart: laid against each other by their levels"


@dataclass(frozen=True, slots=True, kw_only=True)
class Stage:
    """What one channel of a recording is taken through: high-passes, then a gain."""

    levels: FilteredLevels = PLAIN
    gain: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Wave:
    """Voltage without its steady offset: V, or full scale where `volts` is false.

    `energy` (mean square, mean over channels) and `peak` (highest of any channel): (n_blocks,), blocks of 0.1 s;
    `frequency_hz`, `power`: mean square at each frequency from 0.5 Hz on (from 2 Hz where `has_low` is false).
    """

    mean_square: float
    highest: float
    energy: FloatArray
    peak: FloatArray
    frequency_hz: FloatArray
    power: FloatArray
    has_low: bool
    volts: bool
    clipped: bool
    n: int = 1


def wave_of(recording: Recording, stages: Sequence[Stage], gain_at: Mapping[int, ComplexArray] | None = None) -> Wave:
    """One recording, its channels through their stages; `gain_at`: response of each channel at `frequencies`."""
    scale = recording.full_scale_v or 1.0
    columns = [_column(recording, index, stage, scale) for index, stage in enumerate(stages)]
    frequency, powers, has_low = _spectrum(recording)
    powers = powers * scale**2
    if gain_at is not None:
        powers = np.stack([powers[:, i] * np.abs(gain_at[i]) ** 2 for i in range(len(stages))], axis=1)
    plain = recording.summary(PLAIN)
    return Wave(
        mean_square=float(np.mean([column.mean_square for column in columns])),
        highest=max(column.highest for column in columns),
        energy=np.mean([column.energy for column in columns], axis=0),
        peak=np.max([column.peak for column in columns], axis=0),
        frequency_hz=frequency,
        power=powers.mean(axis=1),
        has_low=has_low,
        volts=recording.full_scale_v is not None,
        clipped=max(float(plain["highest"].max()), -float(plain["lowest"].min())) >= LARGEST_SAMPLE,
    )


def frequencies(recording: Recording) -> FloatArray:
    """The frequencies of the spectrum of a recording, hertz."""
    return _spectrum(recording)[0]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Column:
    mean_square: float
    highest: float
    energy: FloatArray
    peak: FloatArray


def _column(recording: Recording, index: int, stage: Stage, scale: float) -> _Column:
    blocks = recording.summary(stage.levels)
    scale = scale * stage.gain
    mean, mean_square, highest, lowest = (
        blocks[name][:, index] for name in ("mean", "mean_square", "highest", "lowest")
    )
    offset = float(np.average(mean, weights=blocks["n_frames"]))
    energy = np.maximum(mean_square - 2 * offset * mean + offset**2, 0.0)
    if not float(energy.mean()) > _ROUNDING * offset**2:
        energy = np.zeros(len(energy))
    energy *= scale**2
    peak = np.maximum(highest - offset, offset - lowest) * scale
    return _Column(
        mean_square=float(np.average(energy, weights=blocks["n_frames"])),
        highest=float(peak.max()),
        energy=energy,
        peak=peak,
    )


def _spectrum(recording: Recording) -> tuple[FloatArray, FloatArray, bool]:
    """Frequencies, mean square at each (n, n_channels), and whether they begin at 0.5 Hz: fine cells, then bins."""
    low, wide = recording.summary(LOW), recording.summary(SPECTRUM)
    frequency, density = wide["frequency_hz"], np.nan_to_num(wide["power_density"])
    top = min(AUDIBLE_TOP_HZ, AUDIBLE_SHARE_OF_RATE * recording.format.rate_hz)
    edges = low["cell_edge_hz"]
    half_bin = 0.5 * float(frequency[1])
    has_low = bool(np.isfinite(low["cell_power"]).all())
    from_hz = float(edges[-1]) if has_low else _LOWEST_BIN_HZ - half_bin
    # Of the bin that lies across the limit, the part above it.
    width = np.clip(frequency + half_bin - from_hz, 0.0, 2 * half_bin)
    used = (width > 0) & (frequency <= top)
    at, powers = frequency[used], density[used] * width[used, None]
    if has_low:
        cells = edges[:-1] >= LOWEST_HZ
        at = np.concatenate([0.5 * (edges[:-1] + edges[1:])[cells], at])
        powers = np.concatenate([low["cell_power"][cells], powers])
    return at, powers, has_low


# --- several recordings -----------------------------------------------------------------------------------------------


def fault_of(recordings: Sequence[Recording]) -> str | None:
    """Why recordings that should be of one programme cannot stand side by side."""
    if len({one.full_scale_v is None for one in recordings}) > 1:
        return TWO_SCALES
    layouts = {frozenset((r.channel, r.format.n_channels) for r in recordings if r.condition == c)
               for c in {r.condition for r in recordings}}  # fmt: skip
    return TWO_LAYOUTS if len(layouts) > 1 else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """How recordings lie to each other, in blocks; the fault if they hold no one section."""

    lags: tuple[int, ...] = ()
    caveats: tuple[str, ...] = ()
    fault: str | None = None


def section_of(recordings: Sequence[Recording]) -> Section:
    """The lags of all recordings against the one of most energy, by their K-weighted levels along the time."""
    energies = [weighted_energy(one.summary(ENERGY)["mean_square"]) for one in recordings]
    if not all(np.isfinite(energy).all() for energy in energies):
        return Section(lags=(0,) * len(energies), caveats=(TOO_EVEN,))
    against = max(energies, key=lambda energy: (float(energy.sum()), len(energy)))
    found = [matched_section(energy, against) for energy in energies]
    correlations = [one.correlation for one in found]
    lowest = min((r for r in correlations if not math.isnan(r)), default=math.nan)
    if lowest < _LEAST_CORRELATION:
        return Section(fault=OTHER_SECTION.format(r=lowest))
    lags = tuple(one.lag_blocks for one in found)
    caveats = [TOO_EVEN] if any(math.isnan(r) for r in correlations) else []
    if any(lags):
        caveats.append(SHIFTED.format(shift=(max(lags) - min(lags)) * BLOCK_S))
    return Section(lags=lags, caveats=tuple(caveats))


def laid_together(waves: Sequence[Wave], lags: Sequence[int]) -> list[Wave]:
    """The waves with the blocks that all of them hold."""
    energies = common_section([wave.energy for wave in waves], lags)
    peaks = common_section([wave.peak for wave in waves], lags)
    return [replace(w, energy=e, peak=p) for w, e, p in zip(waves, energies, peaks, strict=True)]


def averaged(waves: Sequence[Wave], channels: Sequence[str | None]) -> Wave:
    """One condition: repeats averaged in energy, then channels; the highest peak of any.

    Blocks are averaged too where all waves have equally many; else there are none.
    """
    names = sorted(set(channels), key=lambda name: name or "")
    sides = [[w for w, channel in zip(waves, channels, strict=True) if channel == name] for name in names]
    alike = len({len(wave.energy) for wave in waves}) == 1
    none: FloatArray = np.empty(0)
    same_grid = len({len(wave.frequency_hz) for wave in waves}) == 1
    return Wave(
        mean_square=float(np.mean([np.mean([w.mean_square for w in side]) for side in sides])),
        highest=max(wave.highest for wave in waves),
        energy=np.mean([np.mean([w.energy for w in side], axis=0) for side in sides], axis=0) if alike else none,
        peak=np.max([np.sqrt(np.mean([w.peak**2 for w in side], axis=0)) for side in sides], axis=0) if alike else none,
        frequency_hz=waves[0].frequency_hz,
        power=np.mean([np.mean([w.power for w in side], axis=0) for side in sides], axis=0)
        if same_grid
        else waves[0].power,
        has_low=all(wave.has_low for wave in waves),
        volts=all(wave.volts for wave in waves),
        clipped=any(wave.clipped for wave in waves),
        n=min(len(side) for side in sides),
    )


def share_below(wave: Wave, corner_hz: float) -> float | None:
    """Share of the energy from 0.5 Hz that lies below a frequency; None where the recording is too short or silent."""
    total = float(wave.power.sum())
    if not wave.has_low or not total > 0:
        return None
    # Bins of 1 Hz above 25 Hz: one that lies across the corner counts by its part.
    width = np.clip(corner_hz - wave.frequency_hz + 0.5, 0.0, 1.0)
    inside = np.where(wave.frequency_hz < 25.0, wave.frequency_hz < corner_hz, width)
    return min(1.0, float(wave.power @ inside) / total)
