"""What the chain as written says: the corner that is meant, the corner that it gives, the load behind a corner."""

from __future__ import annotations

from fairhearing.acoustics.chain import (
    Network,
    capacitance_f,
    corner_frequency_hz,
    implied_load_ohm,
    network_corner_hz,
)
from fairhearing.api import Chain


def capacitance_of(chain: Chain) -> float | None:
    """The series capacitor in farad: as stated, else from the meant corner and the setting; None if neither."""
    if chain.capacitance_nf is not None:
        return chain.capacitance_nf * 1e-9
    if chain.design_corner_hz is not None and chain.setting_kohm is not None:
        return capacitance_f(chain.design_corner_hz, chain.setting_kohm * 1e3)
    return None


def source_of(chain: Chain) -> float:
    """Output resistance of the source in ohm; 0 where it is not stated."""
    return chain.source_output_ohm or 0.0


def expected_corner_hz(chain: Chain) -> float | None:
    """The corner that is meant; None if the chain does not say it."""
    if chain.design_corner_hz is not None:
        return chain.design_corner_hz
    load_kohm = chain.setting_kohm if chain.setting_kohm is not None else chain.amplifier_input_kohm
    if chain.capacitance_nf is None or load_kohm is None:
        return None
    return corner_frequency_hz(chain.capacitance_nf * 1e-9, source_of(chain) + load_kohm * 1e3)


def predicted_corner_hz(chain: Chain) -> float | None:
    """The corner that the chain as written gives; None if capacitor or load are not known."""
    capacitance = capacitance_of(chain)
    if capacitance is None or chain.amplifier_input_kohm is None:
        return None
    network = Network(
        capacitance_f=capacitance,
        load_ohm=chain.amplifier_input_kohm * 1e3,
        source_ohm=source_of(chain),
        cable_f=(chain.cable_capacitance_pf or 0.0) * 1e-12,
    )
    return network_corner_hz(network)


def load_behind(chain: Chain, corner_hz: float) -> float | None:
    """The load in ohm that gives this corner; None if the capacitor is not known or no load can."""
    capacitance = capacitance_of(chain)
    if capacitance is None:
        return None
    load = implied_load_ohm(corner_hz, capacitance, source_of(chain))
    return load if load > 0 else None
