"""What the tolerances of the parts make of a corner: the lowest and the highest that they allow."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import product

from fairhearing.acoustics.chain import CAPACITANCE_TOLERANCE, RESISTANCE_TOLERANCE, CornerRange
from fairhearing.acoustics.network import LineNetwork, Place, line_corner_hz


@dataclass(frozen=True, slots=True, kw_only=True)
class Tolerances:
    """How far capacitors and inputs may lie from what is stated, as shares.

    Parameters
    ----------
    capacitor : float, 1, >= 0 and < 1
        0.05 is +-5 %: common practice for a film capacitor, no source.
    inputs : float, 1, >= 0 and < 1
        0.20 is +-20 %: common practice for an input as data sheets state it, no source.

    Raises
    ------
    ValueError
        A tolerance is out of its range.
    """

    capacitor: float = CAPACITANCE_TOLERANCE
    inputs: float = RESISTANCE_TOLERANCE

    def __post_init__(self) -> None:
        for name in ("capacitor", "inputs"):
            if not 0.0 <= getattr(self, name) < 1.0:
                raise ValueError(f"tolerance {name} is {getattr(self, name)!r}; it must be from 0 to below 1")


USUAL = Tolerances()


def line_corner_range(network: LineNetwork, tolerances: Tolerances = USUAL, at: Place = "amplifier") -> CornerRange:
    """Lowest and highest corner when every part lies anywhere within its tolerance: a bound, no interval of chance.

    The worst of all combinations of ends: capacitors (series, coupling) and inputs (the amplifier's, a second one)
    each at either end, by itself. More of any part lowers the corner or leaves it, so the ends hold all between them.
    Source, cable, taps and the measuring input are taken as exact.

    Parameters
    ----------
    network : LineNetwork
    tolerances : Tolerances
    at : {"amplifier", "terminals"}

    Returns
    -------
    CornerRange

    Raises
    ------
    ValueError
        The network has no corner.

    Notes
    -----
    Two capacitors of a balanced line count as one: both may err to the same side.

    Examples
    --------
    >>> found = line_corner_range(LineNetwork(input_ohm=20e3, capacitance_f=79.577e-9))
    >>> round(found.low_hz), round(found.high_hz)
    (79, 132)
    """
    share_of = {
        "capacitance_f": tolerances.capacitor,
        "coupling_f": tolerances.capacitor,
        "input_ohm": tolerances.inputs,
        "second_input_ohm": tolerances.inputs,
    }
    parts = [name for name in share_of if getattr(network, name) is not None]
    corners_hz = []
    for ends in product((-1.0, 1.0), repeat=len(parts)):
        changed = {
            name: getattr(network, name) * (1.0 + end * share_of[name]) for name, end in zip(parts, ends, strict=True)
        }
        corners_hz.append(line_corner_hz(replace(network, **changed), at))
    return CornerRange(low_hz=min(corners_hz), high_hz=max(corners_hz))
