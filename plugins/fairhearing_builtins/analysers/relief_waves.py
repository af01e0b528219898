"""What an amplifier put out, or would put out, of one programme in one condition: levels, peaks and spectrum."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from fairhearing.acoustics.filtered_levels import FilteredLevels
from fairhearing.acoustics.loudness import KWeightedEnergy, weighted_energy
from fairhearing.acoustics.low_bands import audible_top_hz, shares_of_cells, whole_spectrum
from fairhearing.acoustics.low_spectrum import LowSpectrum
from fairhearing.acoustics.paired_loudness import common_section
from fairhearing.acoustics.summaries import BlockLevels
from fairhearing.api import Recording
from fairhearing_builtins.analysers.recording_groups import LARGEST_SAMPLE
from fairhearing_builtins.analysers.recording_sections import TOO_EVEN, Section, section_of

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]

PLAIN, ENERGY, LOW = BlockLevels(), KWeightedEnergy(), LowSpectrum()
BLOCK_S = PLAIN.block_s
LOWEST_HZ = 0.5
# What a steady offset leaves when it is taken out: less than any sample of 24 bits.
_ROUNDING = 1e-13

TWO_SCALES = "some of the recordings have a full scale in volt and some have not"
TWO_LAYOUTS = "the recordings do not have the same channels"


@dataclass(frozen=True, slots=True, kw_only=True)
class Stage:
    """What one channel of a recording is taken through: high-passes, then a gain."""

    levels: BlockLevels | FilteredLevels = PLAIN
    gain: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Wave:
    """Voltage without its steady offset: V, or full scale where `volts` is false.

    `energy` (mean square, mean over channels) and `peak` (highest of any channel): (n_blocks,), blocks of 0.1 s;
    `edge_hz` (n + 1,), `power` (n,): mean square in cells of frequency from 0.5 Hz to the lower of 20 kHz and 0.45 of
    the rate; of a recording too short for that, where `has_low` is false, nothing below about 2 Hz.
    """

    mean_square: float
    highest: float
    energy: FloatArray
    peak: FloatArray
    edge_hz: FloatArray
    power: FloatArray
    has_low: bool
    volts: bool
    clipped: bool
    n: int = 1


def wave_of(recording: Recording, stages: Sequence[Stage], gain_at: Mapping[int, ComplexArray] | None = None) -> Wave:
    """One recording, its channels through their stages; `gain_at`: response of each channel at `frequencies`."""
    scale = recording.full_scale_v or 1.0
    columns = [_column(recording, index, stage, scale) for index, stage in enumerate(stages)]
    edges, powers, has_low = _spectrum(recording)
    powers = powers * scale**2
    if gain_at is not None:
        powers = np.stack([powers[:, i] * np.abs(gain_at[i]) ** 2 for i in range(len(stages))], axis=1)
    plain = recording.summary(PLAIN)
    return Wave(
        mean_square=float(np.mean([column.mean_square for column in columns])),
        highest=max(column.highest for column in columns),
        energy=np.mean([column.energy for column in columns], axis=0),
        peak=np.max([column.peak for column in columns], axis=0),
        edge_hz=edges,
        power=powers.mean(axis=1),
        has_low=has_low,
        volts=recording.full_scale_v is not None,
        clipped=max(float(plain["highest"].max()), -float(plain["lowest"].min())) >= LARGEST_SAMPLE,
    )


def frequencies(recording: Recording) -> FloatArray:
    """The middle of each cell of the spectrum of a recording, hertz."""
    return middle_hz(_spectrum(recording)[0])


def middle_hz(edge_hz: FloatArray) -> FloatArray:
    """The middle of each cell, hertz."""
    found: FloatArray = 0.5 * (edge_hz[:-1] + edge_hz[1:])
    return found


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
    """Edges of cells from 0.5 Hz on, mean square in each (n, n_channels), and whether the lowest are known."""
    low = recording.summary(LOW)
    found = whole_spectrum(low)
    top_hz = audible_top_hz(recording.format.rate_hz)
    shares = shares_of_cells(found.edge_hz, LOWEST_HZ, top_hz)
    used = shares > 0
    edges = np.append(found.edge_hz[:-1][used], top_hz)
    edges[0] = LOWEST_HZ
    powers = np.nan_to_num(found.power[used] * shares[used, None])
    return edges, powers, bool(np.isfinite(low["cell_power"]).all())


# --- several recordings -----------------------------------------------------------------------------------------------


def fault_of(recordings: Sequence[Recording]) -> str | None:
    """Why recordings that should be of one programme cannot stand side by side."""
    if len({one.full_scale_v is None for one in recordings}) > 1:
        return TWO_SCALES
    layouts = {frozenset((r.channel, r.format.n_channels) for r in recordings if r.condition == c)
               for c in {r.condition for r in recordings}}  # fmt: skip
    return TWO_LAYOUTS if len(layouts) > 1 else None


def section_of_recordings(recordings: Sequence[Recording]) -> Section:
    """How recordings lie to each other, by their K-weighted levels along the time."""
    energies = [weighted_energy(one.summary(ENERGY)["mean_square"]) for one in recordings]
    if not all(np.isfinite(energy).all() for energy in energies):
        return Section(lags=(0,) * len(energies), too_even=(TOO_EVEN,))
    return section_of(energies, BLOCK_S)


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
    same_grid = len({len(wave.edge_hz) for wave in waves}) == 1
    return Wave(
        mean_square=float(np.mean([np.mean([w.mean_square for w in side]) for side in sides])),
        highest=max(wave.highest for wave in waves),
        energy=np.mean([np.mean([w.energy for w in side], axis=0) for side in sides], axis=0) if alike else none,
        peak=np.max([np.sqrt(np.mean([w.peak**2 for w in side], axis=0)) for side in sides], axis=0) if alike else none,
        edge_hz=waves[0].edge_hz,
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
    lowest_hz, top_hz = float(wave.edge_hz[0]), float(wave.edge_hz[-1])
    if corner_hz <= lowest_hz:
        return 0.0
    inside = shares_of_cells(wave.edge_hz, lowest_hz, min(corner_hz, top_hz))
    return min(1.0, float(wave.power @ inside) / total)
