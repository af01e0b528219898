"""The amplifier's relief, from recordings at its terminals: voltage, current, power, headroom won, with and without."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from fairhearing.api import Analyser, Inputs, Needs, Recording, Result, Symmetry, hookimpl
from fairhearing_builtins.analysers.relief_charts import charts_of
from fairhearing_builtins.analysers.relief_findings import ABSOLUTE, CHANGES, QUANTITIES, Heard, Place, findings_of
from fairhearing_builtins.analysers.relief_waves import (
    ENERGY,
    LOW,
    PLAIN,
    Stage,
    Wave,
    averaged,
    fault_of,
    laid_together,
    section_of_recordings,
    wave_of,
)

POINTS = ("amplifier-output", "amplifier-input")
_Key = tuple[str, str]


class Relief:
    """What the amplifier puts out in each condition, and what a change of it gains."""

    name = "relief"
    version = "2"
    quantities = QUANTITIES
    needs = Needs(
        kinds=frozenset({"recording"}),
        points=frozenset({"amplifier-output", "amplifier-input"}),
        summaries=(PLAIN, ENERGY, LOW),
    )
    symmetries: tuple[Symmetry, ...] = (
        Symmetry(kind="swap-conditions-negates", quantities=CHANGES - {"headroom_against_doubling"}),
        Symmetry(kind="common-gain-invariant", quantities=(QUANTITIES - ABSOLUTE) | {"crest_factor"}),
        Symmetry(kind="row-order-invariant", quantities=QUANTITIES),
        Symmetry(kind="relabel-seats-invariant", quantities=QUANTITIES),
        Symmetry(kind="relabel-programmes-invariant", quantities=QUANTITIES),
    )

    def analyse(self, inputs: Inputs) -> Result:
        """Findings for each place where the amplifier was recorded, its output first."""
        places: dict[_Key, dict[str | None, list[Recording]]] = {}
        for one in sorted(inputs.recordings, key=lambda r: (r.repeat, r.path)):
            if one.condition is not None:
                places.setdefault((one.point, one.playing), {}).setdefault(one.programme, []).append(one)
        findings, charts = [], []
        for point, playing in sorted(places, key=lambda key: (POINTS.index(key[0]) if key[0] in POINTS else 2, key[1])):
            programmes = places[point, playing]
            heard = [
                _heard(Place(point=point, playing=playing, programme=name, electric=point != "amplifier-input"), group)
                for name, group in sorted(programmes.items(), key=lambda item: item[0] or "")
            ]
            found = findings_of(inputs, heard)
            findings += found
            charts += charts_of(inputs.session, found, "recorded")
        return Result(findings=tuple(findings), charts=tuple(charts))


def _heard(place: Place, recordings: Sequence[Recording]) -> Heard:
    """The waves of one programme at one place."""
    waves = [wave_of(one, [Stage()] * one.format.n_channels) for one in recordings]
    whole = _by_condition(recordings, waves)
    fault = fault_of(recordings)
    if fault is not None:
        return Heard(place=place, waves=whole, together={}, fault=fault)
    section = section_of_recordings(recordings)
    if section.fault is not None:
        return Heard(place=place, waves=whole, together={}, fault=section.fault)
    together = _by_condition(recordings, laid_together(waves, section.lags))
    return Heard(place=place, waves=whole, together=together, caveats=section.caveats)


def _by_condition(recordings: Sequence[Recording], waves: Sequence[Wave]) -> Mapping[str, Wave]:
    found = {}
    for name in dict.fromkeys(one.condition for one in recordings if one.condition is not None):
        own = [(w, r.channel) for w, r in zip(waves, recordings, strict=True) if r.condition == name]
        found[name] = averaged([wave for wave, _ in own], [channel for _, channel in own])
    return found


@hookimpl
def fairhearing_analysers() -> list[Analyser]:
    """The analyser of this module."""
    return [Relief()]
