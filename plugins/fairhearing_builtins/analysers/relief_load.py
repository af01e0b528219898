"""Current and power in the loudspeaker of a chain: from its resistance, or from a table of its impedance."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fairhearing.acoustics.load_current import Impedance, load_of
from fairhearing.api import Chain, Session
from fairhearing_builtins.analysers.relief_waves import Wave, middle_hz

NO_LOAD = "the chain states neither loudspeaker_ohm nor loudspeaker_impedance"
NO_PHASE = "the impedance table has no phase: what part of the current does work cannot be told"
NO_WAVE = "from a table of impedance the wave of the current is not made: its peak cannot be told"
PEAK_BY_RESISTANCE = "from loudspeaker_ohm, not from the table of impedance"
BEYOND = "{percent:.1f} % of the energy lies outside the table of impedance: its nearest value is taken there"
LEAST_BEYOND = 0.001
BY_RESISTANCE = "into {ohm:g} ohm"
BY_TABLE = "into the impedance of {path}, by the spectrum"


@dataclass(frozen=True, slots=True, kw_only=True)
class Electric:
    """Root mean square and peak of the current (A), mean power (W); None with the caveat that says why."""

    current: float | None = None
    current_caveats: tuple[str, ...] = ()
    peak_current: float | None = None
    peak_caveats: tuple[str, ...] = ()
    power: float | None = None
    power_caveats: tuple[str, ...] = ()
    by_table: bool = False
    told: str = ""


def electric_of(wave: Wave, chain: Chain, session: Session) -> Electric:
    """What the loudspeaker of a chain takes of a wave in volt."""
    table = session.impedance_of(chain)
    if table is not None:
        phase = None if table.phase_deg is None else np.array(table.phase_deg)
        impedance = Impedance(
            frequency_hz=np.array(table.frequency_hz), magnitude_ohm=np.array(table.magnitude_ohm), phase_deg=phase
        )
        return _by_table(wave, impedance, table.path, chain.loudspeaker_ohm)
    ohm = chain.loudspeaker_ohm
    if ohm is None:
        lacking = (NO_LOAD,)
        return Electric(current_caveats=lacking, peak_caveats=lacking, power_caveats=lacking)
    return Electric(
        current=math.sqrt(wave.mean_square) / ohm,
        peak_current=wave.highest / ohm,
        power=wave.mean_square / ohm,
        told=BY_RESISTANCE.format(ohm=ohm),
    )


def _by_table(wave: Wave, impedance: Impedance, path: str, ohm: float | None) -> Electric:
    load = load_of(middle_hz(wave.edge_hz), wave.power, impedance)
    beyond = (BEYOND.format(percent=100 * load.beyond),) if load.beyond > LEAST_BEYOND else ()
    has_phase = not math.isnan(load.conductance_s)
    return Electric(
        current=math.sqrt(wave.mean_square * load.squared_s2),
        current_caveats=beyond,
        peak_current=None if ohm is None else wave.highest / ohm,
        peak_caveats=(NO_WAVE,) if ohm is None else (PEAK_BY_RESISTANCE,),
        power=wave.mean_square * load.conductance_s if has_phase else None,
        power_caveats=beyond if has_phase else (NO_PHASE,),
        by_table=True,
        told=BY_TABLE.format(path=path),
    )
