"""What the chain as written says: the corner that is meant, the corner that it gives, the load behind a corner."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fairhearing.acoustics.chain import implied_load_ohm
from fairhearing.acoustics.high_pass_fit import Change, Model, fit_high_pass
from fairhearing.acoustics.network import LineNetwork, line_response
from fairhearing.acoustics.wiring import (
    given_corner_hz,
    line_network,
    meant_corner_hz,
    series_capacitance_f,
)
from fairhearing.api import Chain, Comparison

# What a fit of a first-order high-pass is judged over: the range of hearing, even on a logarithmic scale.
_JUDGED_HZ = np.geomspace(20.0, 20_000.0, 961)
# Less than this is no departure that a measurement shows.
_LEAST_DEPARTURE_DB = 0.05


def capacitance_of(chain: Chain) -> float | None:
    """The series capacitor in farad: as stated, else from the meant corner and the setting; None if neither."""
    return series_capacitance_f(chain)


def source_of(chain: Chain) -> float:
    """Output resistance of the source in ohm; 0 where it is not stated."""
    return chain.source_output_ohm or 0.0


def expected_corner_hz(chain: Chain) -> float | None:
    """The corner that is meant; None if the chain does not say it."""
    return meant_corner_hz(chain)


def predicted_corner_hz(chain: Chain) -> float | None:
    """The corner that the chain as written gives as it plays; None if capacitor or load are not known."""
    return given_corner_hz(chain)


def load_behind(chain: Chain, corner_hz: float) -> float | None:
    """The load in ohm that gives this corner; None if the capacitor is not known or no load can."""
    capacitance = capacitance_of(chain)
    if capacitance is None:
        return None
    load = implied_load_ohm(corner_hz, capacitance, source_of(chain))
    return load if load > 0 else None


def meter_shift_octaves(chain: Chain, point: str) -> float:
    """Octaves by which the measuring input moves the corner that is measured; 0 where none is said, or elsewhere."""
    if point != "amplifier-input" or chain.measuring_input_kohm is None:
        return 0.0
    played, measured = given_corner_hz(chain), given_corner_hz(chain, measured=True)
    return 0.0 if played is None or measured is None else math.log2(measured / played)


def meter_caveat(chain: Chain, point: str) -> tuple[str, ...]:
    """What is to be said of a corner that was measured with a measuring input on the line."""
    if point != "amplifier-input" or chain.measuring_input_kohm is None:
        return ()
    shift = meter_shift_octaves(chain, point)
    by = f": by the chain as written it moves the corner by {shift:.2f} octaves" if shift else ""
    return (f"measured with a measuring input of {chain.measuring_input_kohm:g} kohm on the line{by}",)


def departure_caveat(comparison: Comparison) -> tuple[str, ...]:
    """What is to be said where a coupling capacitor keeps the change from being a first-order high-pass."""
    chains = (comparison.condition.chain, comparison.reference.chain)
    treated, reference = (line_network(chain) for chain in chains)
    if all(chain.coupling_capacitor_uf is None for chain in chains) or treated is None or reference is None:
        return ()
    found = _departure_from_first_order(treated, reference)
    if found is None or found.departure_db < _LEAST_DEPARTURE_DB:
        return ()
    return (
        f"with the amplifier's coupling capacitor the change against {comparison.reference.id} departs from first "
        f"order by {found.departure_db:.2f} dB (root mean square, 20 Hz to 20 kHz): a first-order fit reads "
        f"{found.corner_hz:.1f} Hz",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Departure:
    """Root mean square of what the best first-order high-pass leaves of a change, and the corner of that high-pass."""

    departure_db: float
    corner_hz: float


def _departure_from_first_order(treated: LineNetwork, reference: LineNetwork) -> _Departure | None:
    """Of one line over another; None where no high-pass fits."""
    ratio = line_response(_JUDGED_HZ, treated) / line_response(_JUDGED_HZ, reference)
    level_db = 20.0 * np.log10(np.abs(ratio))
    fit = fit_high_pass(Change(frequency_hz=_JUDGED_HZ, change_db=level_db[np.newaxis], starts=np.array([0])), Model())
    if bool(fit.at_bound[0]):
        return None
    corner_hz = float(fit.corner_hz[0])
    left_db = level_db + 10.0 * np.log10(1.0 + (corner_hz / _JUDGED_HZ) ** 2)
    return _Departure(departure_db=float(np.std(left_db)), corner_hz=corner_hz)
