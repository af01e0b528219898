"""The bass of a comparison held to the target: which places have it, and estimates of whatever is measured of it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy.typing as npt
from numpy import float64

from fairhearing.api import Comparison, Inputs
from fairhearing_builtins.analysers.band_levels import MIDBAND_HZ, FieldBands
from fairhearing_builtins.analysers.cells import Place, bass_is_hidden, seats_that_count
from fairhearing_builtins.analysers.estimates import Estimate, Estimates, Part, estimates, parts_of
from fairhearing_builtins.analysers.target_levels import RelativeLevels, pseudo_repeats, relative_levels

FloatArray = npt.NDArray[float64]
# Of a cell: with all repeats, then without each one, in dB; the last argument: the level from the bass band itself.
Measure = Callable[[RelativeLevels, Place, str, bool], FloatArray]

DATA_STOP = "the data stop below 4 kHz: the level is taken from the bass band itself (shape)"


@dataclass(frozen=True, slots=True, kw_only=True)
class BassField:
    """One comparison's bass; `relative` is None where nothing was measured or a subwoofer hides it."""

    inputs: Inputs
    comparison: Comparison
    bands: FieldBands | None
    hidden: bool
    relative: RelativeLevels | None

    @property
    def names(self) -> tuple[str, str]:
        """The condition and the reference."""
        return self.comparison.condition.id, self.comparison.reference.id

    def data_stop(self) -> bool:
        """Whether there are data, and at no place do they reach 4 kHz."""
        if self.relative is None or self.bands is None:
            return False
        grids = [self.bands.field.grids[place] for place in self.bands.field.places(self.comparison)]
        return bool(grids) and max(float(grid[-1]) for grid in grids) < MIDBAND_HZ[1] * (1 - 1e-6)

    def places(self, *, shape: bool) -> list[Place]:
        """Places that have what is asked; a seat of which a channel lacks it is left out whole."""
        if self.relative is None or self.bands is None:
            return []
        have = self.relative.bass if shape else self.relative.middle
        places = self.bands.field.places(self.comparison)
        lacking = {place.seat for place in places if place not in have or place not in self.relative.bass}
        return [place for place in places if place.seat not in lacking]

    def parts(self, names: Sequence[str], measure: Measure, *, shape: bool) -> list[Part] | None:
        """Each place's value: of the one condition, or of the first less the second."""
        relative = self.relative
        if relative is None or self.bands is None:
            return None
        signs = (1.0, -1.0)
        values, repeats = {}, {}
        for place in self.places(shape=shape):
            found = {name: measure(relative, place, name, shape) for name in names}
            values[place] = float(sum(sign * found[name][0] for sign, name in zip(signs, names, strict=False)))
            for name in names:
                repeats[place, name] = pseudo_repeats(found[name])
        return parts_of(self.bands.field, names, values, repeats)

    def estimates(self, names: Sequence[str], measure: Measure, *, shape: bool) -> Estimates | None:
        """The parts with their intervals, per seat and over the seats that count."""
        parts = self.parts(names, measure, shape=shape)
        if parts is None:
            return None
        return estimates(parts, seats_that_count(self.inputs), self.inputs.session.criteria)

    def rows(self, found: Estimates | None) -> list[tuple[str | None, Estimate | None]]:
        """Over seats (None), then each seat in the order of session.toml; None where there is no estimate."""
        seats = [seat.id for seat in self.inputs.session.seats]
        if found is None:
            return [(None, None), *((seat, None) for seat in seats)]
        return [(None, found.over_seats), *((seat, found.by_seat.get(seat)) for seat in seats)]


def bass_field(inputs: Inputs, comparison: Comparison, bands: FieldBands | None) -> BassField:
    """The bass of a comparison in what was heard."""
    hidden = bass_is_hidden(None if bands is None else bands.field, comparison)
    relative = None
    if bands is not None and not hidden:
        relative = relative_levels(bands, comparison, inputs.session.criteria, inputs.target)
    return BassField(inputs=inputs, comparison=comparison, bands=bands, hidden=hidden, relative=relative)
