"""The passive first-order high-pass as it is wired: source, series capacitor, cable, load.

    source R_s ---- series C ----+-----------+
                                 |           |
                             cable C_c    load R
                                 |           |
                                 +-----------+

The ideal first order (`first_order`) is offered here too; both need nothing but `math`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from fairhearing.acoustics.first_order import (
    boost_level_db,
    capacitance_f,
    corner_frequency_hz,
    first_order_group_delay_s,
    first_order_level_db,
    first_order_phase_deg,
    octaves,
    parallel_ohm,
    require_not_negative,
    require_positive,
)

__all__ = [
    "CAPACITANCE_TOLERANCE", "RESISTANCE_TOLERANCE", "CornerRange", "Network", "boost_level_db", "capacitance_f",
    "corner_frequency_hz", "first_order_group_delay_s", "first_order_level_db", "first_order_phase_deg",
    "implied_load_ohm", "network_corner_hz", "network_corner_range", "network_level_db", "network_passband_db",
    "octaves", "parallel_ohm",
]  # fmt: skip

# Common practice, no source: a film capacitor, and an input resistance as data sheets state it.
CAPACITANCE_TOLERANCE = 0.05
RESISTANCE_TOLERANCE = 0.20


@dataclass(frozen=True, slots=True, kw_only=True)
class Network:
    """Source resistance, series capacitor, load resistance and the cable capacitance across the load.

    Parameters
    ----------
    capacitance_f : float, farad, > 0
    load_ohm : float, ohm, > 0
    source_ohm : float, ohm, >= 0
    cable_f : float, farad, >= 0
        Between the capacitor and the load; cable ahead of the capacitor hardly matters.

    Raises
    ------
    ValueError
        A value is out of its range or not finite.
    """

    capacitance_f: float
    load_ohm: float
    source_ohm: float = 0.0
    cable_f: float = 0.0

    def __post_init__(self) -> None:
        require_positive("capacitance_f", self.capacitance_f)
        require_positive("load_ohm", self.load_ohm)
        require_not_negative("source_ohm", self.source_ohm)
        require_not_negative("cable_f", self.cable_f)

    @property
    def first_order_s(self) -> float:
        """Factor of s in the denominator: R C_c + R_s C + R C, second, > 0."""
        return self.load_ohm * self.cable_f + (self.source_ohm + self.load_ohm) * self.capacitance_f

    @property
    def second_order_s2(self) -> float:
        """Factor of s squared in the denominator: R C_c R_s C, second squared, >= 0."""
        return self.load_ohm * self.cable_f * self.source_ohm * self.capacitance_f


@dataclass(frozen=True, slots=True, kw_only=True)
class CornerRange:
    """Lowest and highest corner, hertz, that the tolerances of the parts allow."""

    low_hz: float
    high_hz: float


def network_level_db(frequency_hz: float, network: Network) -> float:
    r"""Level at the load over the open source voltage, the passband loss included.

    :math:`H(s) = s C R / (1 + b s + c s^2)` with :math:`b = R C_c + R_s C + R C` and :math:`c = R C_c R_s C`.

    Parameters
    ----------
    frequency_hz : float, hertz, > 0
    network : Network

    Returns
    -------
    float, dB, < 0

    Raises
    ------
    ValueError
        The frequency is zero, negative or not finite.

    Examples
    --------
    >>> round(network_level_db(100.0, Network(capacitance_f=79.577e-9, load_ohm=20e3)), 2)
    -3.01
    """
    require_positive("frequency_hz", frequency_hz)
    angular = 2.0 * math.pi * frequency_hz
    numerator = angular * network.capacitance_f * network.load_ohm
    real = 1.0 - network.second_order_s2 * angular * angular
    imaginary = network.first_order_s * angular
    return 20.0 * (math.log10(numerator) - math.log10(math.hypot(real, imaginary)))


def network_passband_db(network: Network) -> float:
    r"""Highest level that the network reaches over frequency.

    :math:`20 \lg(R C / (R C_c + R_s C + R C))`, reached at :math:`\omega = 1/\sqrt{R C_c R_s C}`.

    Parameters
    ----------
    network : Network

    Returns
    -------
    float, dB, <= 0

    Examples
    --------
    >>> round(network_passband_db(Network(capacitance_f=79.6e-9, load_ohm=20e3, source_ohm=1e3)), 2)
    -0.42
    """
    return 20.0 * math.log10(network.load_ohm * network.capacitance_f / network.first_order_s)


def network_corner_hz(network: Network) -> float:
    r"""Frequency below the passband at which the network is 3.01 dB (10 lg 2) under its passband.

    :math:`\omega = 2 / (b + \sqrt{b^2 + 4 c})`, the positive root of :math:`c \omega^2 + b \omega = 1`, where half of
    the passband's power is left; b and c as in `network_level_db`.

    Parameters
    ----------
    network : Network

    Returns
    -------
    float, hertz

    Notes
    -----
    With no cable this is 1/(2 pi (R_s + R) C): a source resistance lowers the corner.

    Examples
    --------
    >>> round(network_corner_hz(Network(capacitance_f=79.577e-9, load_ohm=20e3, source_ohm=1e3)), 2)
    95.24
    """
    first, second = network.first_order_s, network.second_order_s2
    return 2.0 / (first + math.sqrt(first * first + 4.0 * second)) / (2.0 * math.pi)


def network_corner_range(
    network: Network,
    capacitance_tolerance: float = CAPACITANCE_TOLERANCE,
    resistance_tolerance: float = RESISTANCE_TOLERANCE,
) -> CornerRange:
    r"""Corners that the tolerances of the capacitor and of the load resistance allow.

    :math:`f_c / ((1 + t_C)(1 + t_R))` to :math:`f_c / ((1 - t_C)(1 - t_R))` without source and cable, which are taken
    as exact.

    Parameters
    ----------
    network : Network
    capacitance_tolerance : float, 1, >= 0 and < 1
    resistance_tolerance : float, 1, >= 0 and < 1

    Returns
    -------
    CornerRange

    Raises
    ------
    ValueError
        A tolerance is out of its range.

    Examples
    --------
    >>> found = network_corner_range(Network(capacitance_f=79.577e-9, load_ohm=20e3))
    >>> round(found.low_hz), round(found.high_hz)
    (79, 132)
    """
    for name, tolerance in (
        ("capacitance_tolerance", capacitance_tolerance),
        ("resistance_tolerance", resistance_tolerance),
    ):
        if not 0.0 <= tolerance < 1.0:
            raise ValueError(f"{name} is {tolerance!r}; it must be from 0 to below 1")

    def corner_hz(sign: float) -> float:
        return network_corner_hz(
            Network(
                capacitance_f=network.capacitance_f * (1.0 + sign * capacitance_tolerance),
                load_ohm=network.load_ohm * (1.0 + sign * resistance_tolerance),
                source_ohm=network.source_ohm,
                cable_f=network.cable_f,
            )
        )

    return CornerRange(low_hz=corner_hz(1.0), high_hz=corner_hz(-1.0))


def implied_load_ohm(corner_hz: float, capacitance_f: float, source_ohm: float = 0.0) -> float:
    r"""Load resistance that a measured corner tells of.

    :math:`1 / (2 \pi C f_c) - R_s`.

    Parameters
    ----------
    corner_hz : float, hertz, > 0
    capacitance_f : float, farad, > 0
    source_ohm : float, ohm, >= 0

    Returns
    -------
    float, ohm
        Zero or negative where no load can give this corner: the capacitance or the source is not what was said.

    Raises
    ------
    ValueError
        A value is out of its range or not finite.

    Notes
    -----
    Everything behind the capacitor is in it: a second input, a tap, the measuring input, the cable.

    Examples
    --------
    >>> round(implied_load_ohm(95.238, 79.577e-9, 1e3))
    20000
    """
    require_positive("corner_hz", corner_hz)
    require_positive("capacitance_f", capacitance_f)
    require_not_negative("source_ohm", source_ohm)
    return 1.0 / (2.0 * math.pi * capacitance_f * corner_hz) - source_ohm
