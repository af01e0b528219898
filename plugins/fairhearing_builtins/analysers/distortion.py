"""How strong the harmonics are in each condition: by order and third octave, with the noise beside them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fairhearing.acoustics.bands import Bands, third_octave_bands
from fairhearing.api import (
    Analyser,
    Finding,
    Harmonic,
    Inputs,
    Needs,
    Refusal,
    Result,
    Symmetry,
    Take,
    hookimpl,
)
from fairhearing_builtins.analysers.distortion_chart import distortion_charts

FloatArray = npt.NDArray[np.float64]

LOWEST_HZ, HIGHEST_HZ = 20.0, 16_000.0
# A level that stands no further above what is beside it is partly that.
CLEARANCE_DB = 10.0
METHOD = (
    "harmonics of exponential sweeps, told apart by their time (A. Farina, AES 108, 2000): third octave of the "
    "harmonic over that of the fundamental which excites it, both in one window; mean power over repeats"
)
NOISE_METHOD = "the same window just before the harmonic: noise, and what is left of higher orders; " + METHOD
DROWNED = (
    f"not {CLEARANCE_DB:.0f} dB above what stands beside it: noise, or what is left of higher orders "
    "(distortion_noise_level)"
)
NO_SWEEPS = Refusal(
    what="nothing is said of harmonics",
    why="the sweeps hold none: they were read by an importer that does not tell them apart, or are too short",
    try_="import the recorded sweeps themselves, of some seconds each",
)

Place = tuple[str, str, str | None, str | None, str | None]  # point, playing, seat, condition, programme


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """Level and noise of one order in one band, mean over repeats; NaN where no take tells it."""

    order: int
    nominal_hz: float
    band_hz: tuple[float, float]
    level_db: float
    noise_db: float
    n_repeats: int

    @property
    def drowned(self) -> bool:
        """Whether the level is not clear of what stands beside it."""
        return not self.level_db - self.noise_db >= CLEARANCE_DB


class Distortion:
    """Harmonics re the fundamental."""

    name = "distortion"
    version = "2"
    quantities = frozenset({"distortion_level", "distortion_noise_level"})
    needs = Needs(kinds=frozenset({"sweep"}), min_conditions=1)
    symmetries: tuple[Symmetry, ...] = (
        Symmetry(kind="swap-conditions-invariant", quantities=quantities),
        Symmetry(kind="common-gain-invariant", quantities=quantities),
        Symmetry(kind="condition-gain-invariant", quantities=quantities),
        Symmetry(kind="row-order-invariant", quantities=quantities),
        Symmetry(kind="relabel-seats-invariant", quantities=quantities),
    )

    def analyse(self, inputs: Inputs) -> Result:
        """Findings for each place, condition, channel, order and band that any take tells of."""
        takes = [take for take in inputs.takes if take.curve.harmonics]
        if not takes:
            return Result(refusals=(NO_SWEEPS,))
        places: dict[Place, list[Take]] = {}
        for take in takes:
            place = (take.point, take.playing, take.seat, take.condition, take.programme)
            places.setdefault(place, []).append(take)
        findings = [finding for place in sorted(places, key=repr) for finding in _findings(place, places[place])]
        return Result(findings=tuple(findings), charts=tuple(distortion_charts(inputs, findings)))


def _findings(place: Place, takes: Sequence[Take]) -> list[Finding]:
    """Per channel, and the mean over channels where files name channels."""
    by_channel: dict[str | None, list[Take]] = {}
    for take in takes:
        by_channel.setdefault(take.channel, []).append(take)
    rows = {channel: _rows(by_channel[channel]) for channel in sorted(by_channel, key=str)}
    findings = [finding for channel, of in rows.items() for row in of for finding in _stated(place, channel, row)]
    if None not in rows:
        findings += [finding for row in _mean(list(rows.values())) for finding in _stated(place, None, row)]
    return findings


def _rows(repeats: Sequence[Take]) -> list[Row]:
    """Each order and band that at least one of the repeats tells of."""
    bands = third_octave_bands(LOWEST_HZ, HIGHEST_HZ)
    rows = []
    for order in sorted({harmonic.order for take in repeats for harmonic in take.curve.harmonics}):
        found = [one for take in repeats for one in take.curve.harmonics if one.order == order]
        levels = _mean_db([_at_midbands(one, one.level_db, bands) for one in found])
        noises = _mean_db([_at_midbands(one, one.noise_level_db, bands) for one in found])
        rows += [
            Row(
                order=order,
                nominal_hz=float(bands.nominal_hz[place]),
                band_hz=(float(bands.lower_hz[place]), float(bands.upper_hz[place])),
                level_db=float(levels[place]),
                noise_db=float(noises[place]),
                n_repeats=len(found),
            )
            for place in np.flatnonzero(np.isfinite(noises))
        ]
    return rows


def _at_midbands(harmonic: Harmonic, level_db: FloatArray, bands: Bands) -> FloatArray:
    """The level at the exact midbands, linear in dB over ln f; NaN beyond the ends."""
    middle_hz = np.sqrt(bands.lower_hz * bands.upper_hz)
    x, at = np.log(harmonic.frequency_hz), np.log(middle_hz)
    at = np.where(np.abs(at - x[0]) < 1e-9, x[0], np.where(np.abs(at - x[-1]) < 1e-9, x[-1], at))
    return np.asarray(np.interp(at, x, level_db, left=np.nan, right=np.nan))


def _mean_db(levels_db: Sequence[FloatArray]) -> FloatArray:
    """Mean power; NaN where any of them is."""
    power = np.mean([10.0 ** (level / 10.0) for level in levels_db], axis=0)
    return np.asarray(10.0 * np.log10(np.maximum(power, np.finfo(float).tiny)))


def _mean(channels: Sequence[Sequence[Row]]) -> Iterable[Row]:
    """Mean over channels of the dB values, where every channel has the band; drowned where one of them is."""
    found: dict[tuple[int, float], list[Row]] = {}
    for rows in channels:
        for row in rows:
            found.setdefault((row.order, row.nominal_hz), []).append(row)
    for rows in found.values():
        if len(rows) == len(channels):
            level_db = np.nan if any(row.drowned for row in rows) else float(np.mean([row.level_db for row in rows]))
            yield Row(
                order=rows[0].order,
                nominal_hz=rows[0].nominal_hz,
                band_hz=rows[0].band_hz,
                level_db=level_db,
                noise_db=float(np.mean([row.noise_db for row in rows])),
                n_repeats=min(row.n_repeats for row in rows),
            )


def _stated(place: Place, channel: str | None, row: Row) -> list[Finding]:
    point, playing, seat, condition, programme = place
    return [
        Finding(
            quantity=quantity,
            variant=f"order-{row.order}",
            value=value,
            unit="dB",
            n=row.n_repeats,
            method=method,
            condition=condition,
            point=point,
            playing=playing,
            seat=seat,
            channel=channel,
            programme=programme,
            band_hz=row.band_hz,
            nominal_hz=row.nominal_hz,
            caveats=caveats,
        )
        for quantity, value, method, caveats in (
            ("distortion_level", None if row.drowned else row.level_db, METHOD, (DROWNED,) if row.drowned else ()),
            ("distortion_noise_level", row.noise_db, NOISE_METHOD, ()),
        )
    ]


@hookimpl
def fairhearing_analysers() -> list[Analyser]:
    """The analyser of this module."""
    return [Distortion()]
