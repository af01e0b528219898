"""The amplifier's relief, forecast: programme files sent through the chain of each condition as it is described."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from fairhearing.acoustics.filtered_levels import FilteredLevels
from fairhearing.acoustics.line_factors import LineFactors, line_factors
from fairhearing.acoustics.summaries import BlockLevels
from fairhearing.acoustics.wiring import channels_of, line_network, meant_corner_hz
from fairhearing.api import (
    Analyser,
    Chain,
    Condition,
    Inputs,
    Needs,
    Recording,
    Result,
    Session,
    Summary,
    Symmetry,
    hookimpl,
)
from fairhearing_builtins.analysers.relief_charts import charts_of
from fairhearing_builtins.analysers.relief_findings import CHANGES, QUANTITIES, Heard, Place, findings_of
from fairhearing_builtins.analysers.relief_waves import (
    LOW,
    PLAIN,
    Stage,
    Wave,
    averaged,
    fault_of,
    frequencies,
    wave_of,
)

ComplexArray = npt.NDArray[np.complex128]

ORIGIN = "; forecast: the programme file through the chain as written"
MEANT_ONLY = "the chain of {condition} does not state the capacitor and amplifier_input_kohm: its meant corner is taken"
UNKNOWN = "the chain of {condition} does not say enough of its filter"
LOW_PASS = "the cable takes {loss:.1f} dB at 20 kHz in {condition}: the forecast leaves that out"
_TREBLE_HZ, _LEAST_LOSS_DB = 20_000.0, 0.1
CHANNEL_UNKNOWN = "left and right are set for different loads, and which channels these are is not known"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Path:
    """High-passes and gain of one channel of a condition, over the same line with its series capacitor bridged."""

    corners_hz: tuple[float, ...] = ()
    gain: float = 1.0

    @property
    def stage(self) -> Stage:
        return Stage(levels=_levels(self.corners_hz), gain=self.gain)

    def response(self, frequency_hz: npt.NDArray[np.float64]) -> ComplexArray:
        found = np.full(len(frequency_hz), self.gain, dtype=np.complex128)
        for corner in self.corners_hz:
            found *= 1j * frequency_hz / corner / (1 + 1j * frequency_hz / corner)
        return found


def _levels(corners_hz: tuple[float, ...]) -> BlockLevels | FilteredLevels:
    return FilteredLevels(corners_hz) if corners_hz else PLAIN


def _path(chain: Chain, channel: str | None, reference: Chain) -> _Path | None:
    """None where the chain names a filter and does not say where it lies."""
    network = line_network(chain, channel)
    if network is None:
        if not chain.names_filter:
            return _Path()
        corner = meant_corner_hz(chain)
        return None if corner is None else _Path(corners_hz=(corner,))
    factors, against = line_factors(network), _bridged(reference, channel)
    return _Path(corners_hz=factors.corners_hz, gain=factors.gain / (1.0 if against is None else against.gain))


def _bridged(reference: Chain, channel: str | None) -> LineFactors | None:
    """What the source's file is scaled for: the reference's line with a wire in place of its series capacitor."""
    network = line_network(replace(reference, design_corner_hz=None, capacitance_nf=None), channel)
    return None if network is None else line_factors(network)


class ReliefForecast:
    """What the amplifier would put out in each condition, and what a change of it would gain."""

    name = "relief-forecast"
    version = "2"
    quantities = QUANTITIES
    needs = Needs(kinds=frozenset({"recording"}), points=frozenset({"programme"}), summaries=(PLAIN, LOW))
    symmetries: tuple[Symmetry, ...] = (
        Symmetry(kind="swap-conditions-negates", quantities=CHANGES - {"headroom_against_doubling"}),
        Symmetry(kind="row-order-invariant", quantities=QUANTITIES),
        Symmetry(kind="relabel-programmes-invariant", quantities=QUANTITIES),
    )

    def summaries_for(self, session: Session) -> tuple[Summary, ...]:
        """The levels behind the corners of each condition's chain."""
        paths = [
            _path(condition.chain, channel, session.reference.chain)
            for condition in session.conditions
            for channel in channels_of(condition.chain)
        ]
        corners = {path.corners_hz for path in paths if path is not None and path.corners_hz}
        return tuple(FilteredLevels(one) for one in sorted(corners))

    def analyse(self, inputs: Inputs) -> Result:
        """Findings for each programme file."""
        groups: dict[str | None, list[Recording]] = {}
        for one in sorted(inputs.recordings, key=lambda r: r.path):
            groups.setdefault(one.programme, []).append(one)
        heard = [
            _heard(inputs.session, name, group)
            for name, group in sorted(groups.items(), key=lambda item: item[0] or "")
        ]
        findings = findings_of(inputs, heard)
        return Result(findings=tuple(findings), charts=tuple(charts_of(inputs.session, findings, "forecast")))


def _heard(session: Session, programme: str | None, recordings: Sequence[Recording]) -> Heard:
    """The waves of one programme in each condition."""
    place = Place(point="programme", playing="main", programme=programme, origin=ORIGIN)
    waves: dict[str, Wave] = {}
    faults: dict[str, str] = {}
    caveats: list[str] = []
    fault = fault_of(recordings)
    for condition in session.conditions:
        made = fault or _wave(session, condition, recordings)
        if isinstance(made, str):
            faults[condition.id] = made
            continue
        waves[condition.id] = made
        caveats += _path_caveats(condition)
    return Heard(place=place, waves=waves, together=waves, caveats=tuple(caveats), faults=faults)


def _path_caveats(condition: Condition) -> list[str]:
    """What the high-passes leave out of a condition's line."""
    network = line_network(condition.chain, channels_of(condition.chain)[0])
    if network is None:
        return [MEANT_ONLY.format(condition=condition.id)] if condition.chain.names_filter else []
    low_pass_hz = line_factors(network).low_pass_hz
    loss_db = 0.0 if low_pass_hz is None else 10 * math.log10(1 + (_TREBLE_HZ / low_pass_hz) ** 2)
    return [LOW_PASS.format(loss=loss_db, condition=condition.id)] if loss_db > _LEAST_LOSS_DB else []


def _wave(session: Session, condition: Condition, recordings: Sequence[Recording]) -> Wave | str:
    """The wave behind a condition's chain, or why there is none."""
    made = []
    for recording in recordings:
        names = _names(condition.chain, recording)
        if names is None:
            return CHANNEL_UNKNOWN
        paths = [_path(condition.chain, name, session.reference.chain) for name in names]
        known = [path for path in paths if path is not None]
        if len(known) < len(paths):
            return UNKNOWN.format(condition=condition.id)
        at = frequencies(recording)
        gains = {index: path.response(at) for index, path in enumerate(known)}
        made.append(wave_of(recording, [path.stage for path in known], gains))
    return averaged(made, [recording.channel for recording in recordings])


def _names(chain: Chain, recording: Recording) -> list[str | None] | None:
    """What each channel of a file is called where left and right are set apart."""
    n = recording.format.n_channels
    if channels_of(chain) == (None,):
        return [None] * n
    if recording.channel in ("left", "right"):
        return [recording.channel] * n
    return ["left", "right"] if n == 2 else None


@hookimpl
def fairhearing_analysers() -> list[Analyser]:
    """The analyser of this module."""
    return [ReliefForecast()]
