"""Band levels of every cell of a field: of the energy mean and of each take, null where noise covers them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fairhearing.acoustics.bands import Bands, band_level_db, third_octave_bands
from fairhearing.acoustics.noise import clear_of_noise
from fairhearing.api import Comparison, Inputs
from fairhearing_builtins.analysers.cells import Cell, Field, Place, gather

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

MIDBAND_HZ = (1000.0, 4000.0)
BASS_LEVEL_HZ = (31.5, 80.0)
# Null if fewer than two thirds of a range's bands are left.
SHARE_OF_BANDS = 2 / 3


@dataclass(frozen=True, slots=True, kw_only=True)
class CellBands:
    """One cell: level_db (n_bands,) of the energy mean less noise, NaN if unusable; take_db (n_repeats, n_bands);
    covered, clear (n_bands,): whether the data reach both edges, and stand clear of the noise."""

    level_db: FloatArray
    take_db: FloatArray
    covered: BoolArray
    clear: BoolArray


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldBands:
    """Band levels of all cells of a field."""

    field: Field
    bands: Bands
    cells: Mapping[tuple[Place, str], CellBands]

    def usable(self, place: Place, comparison: Comparison, chosen: BoolArray) -> BoolArray:
        """Which of the chosen bands both conditions have at this place, in all channels of its seat."""
        # With other bands in each channel, the mean over channels would compare what is not alike.
        cells = [
            self.cells[one, c.id]
            for one in self.field.places(comparison, [place.seat])
            for c in (comparison.condition, comparison.reference)
        ]
        usable: BoolArray = chosen & ~np.any([np.isnan(cell.level_db) for cell in cells], axis=0)
        return usable

    def chosen(self, range_hz: tuple[float, float]) -> BoolArray:
        """The bands whose nominal frequency lies in a range."""
        low, high = range_hz
        nominal = self.bands.nominal_hz
        mask: BoolArray = (nominal >= low * (1 - 1e-9)) & (nominal <= high * (1 + 1e-9))
        return mask


@dataclass(frozen=True, slots=True, kw_only=True)
class HeardBands:
    """Band levels at the seats with everything playing, and with the main loudspeakers; None where not measured."""

    both: FieldBands | None
    main: FieldBands | None

    def of(self, comparison: Comparison) -> FieldBands | None:
        """What is heard: everything playing if both conditions were measured so, else the main loudspeakers."""
        measured = [bands for bands in (self.both, self.main) if bands is not None]
        fitting = [bands for bands in measured if bands.field.places(comparison)]
        return next(iter(fitting + measured), None)


def heard_bands(inputs: Inputs) -> HeardBands:
    """Band levels of all that may have been heard at the seats."""
    fields = (gather(inputs, point="seat", playing="both"), gather(inputs, point="seat", playing="main"))
    snr = inputs.session.criteria.min_snr_db
    both, main = (band_levels(field, snr) if field is not None and field.grids else None for field in fields)
    return HeardBands(both=both, main=main)


def band_levels(field: Field, min_snr_db: float, always_hz: tuple[float, float] = (20.0, 20_000.0)) -> FieldBands:
    """Band levels over all bands that any cell covers, and those of `always_hz`."""
    lowest = min(float(grid[0]) for grid in field.grids.values())
    highest = max(float(grid[-1]) for grid in field.grids.values())
    bands = third_octave_bands(min(lowest, always_hz[0]), max(highest, always_hz[1]))
    cells = {key: _cell_bands(cell, field.grids[key[0]], bands, min_snr_db) for key, cell in field.cells.items()}
    reached = np.any([cell.covered for cell in cells.values()], axis=0)
    nominal = bands.nominal_hz
    keep = reached | ((nominal >= always_hz[0] * (1 - 1e-9)) & (nominal <= always_hz[1] * (1 + 1e-9)))
    kept = Bands(nominal_hz=nominal[keep], lower_hz=bands.lower_hz[keep], upper_hz=bands.upper_hz[keep])
    return FieldBands(
        field=field,
        bands=kept,
        cells={
            key: CellBands(
                level_db=c.level_db[keep], take_db=c.take_db[:, keep], covered=c.covered[keep], clear=c.clear[keep]
            )
            for key, c in cells.items()
        },
    )


def _cell_bands(cell: Cell, grid: FloatArray, bands: Bands, min_snr_db: float) -> CellBands:
    measured = band_level_db(grid, cell.power.mean(axis=0), bands)
    noise_power = np.nan_to_num(10 ** (band_level_db(grid, cell.noise_power, bands) / 10))
    clear = clear_of_noise(10 ** (measured / 10), noise_power, min_snr_db)
    takes = 10 ** (band_level_db(grid, cell.power, bands) / 10)
    level = 10 * np.log10(np.maximum(10 ** (measured / 10) - noise_power, 0.01 * 10 ** (measured / 10)))
    return CellBands(
        level_db=np.where(clear, level, np.nan),
        take_db=10 * np.log10(np.maximum(takes - noise_power, 0.01 * takes)),
        covered=~np.isnan(measured),
        clear=clear,
    )


def left_out_caveat(bands: FieldBands, comparison: Comparison, chosen: BoolArray, seat: str | None) -> tuple[str, ...]:
    """A caveat that names the chosen bands that some place of the seat (of any seat if None) lacks."""
    noisy: set[float] = set()
    short: set[float] = set()
    for place in bands.field.places(comparison, None if seat is None else [seat]):
        for name in (comparison.condition.id, comparison.reference.id):
            cell = bands.cells[place, name]
            noisy |= set(bands.bands.nominal_hz[chosen & cell.covered & ~cell.clear].tolist())
            short |= set(bands.bands.nominal_hz[chosen & ~cell.covered].tolist())
    caveats = []
    if noisy:
        caveats.append(f"left out, too near the noise: {_names(noisy)} Hz")
    if short:
        caveats.append(f"left out, the data do not reach both edges: {_names(short)} Hz")
    return tuple(caveats)


def enough(usable: BoolArray, chosen: BoolArray) -> bool:
    """Whether at least two thirds of the chosen bands are usable (and there is any)."""
    n_chosen, n_usable = int(np.count_nonzero(chosen)), int(np.count_nonzero(usable))
    return n_chosen > 0 and n_usable >= SHARE_OF_BANDS * n_chosen - 1e-9


def _names(nominal_hz: set[float]) -> str:
    return ", ".join(f"{value:g}" for value in sorted(nominal_hz))
