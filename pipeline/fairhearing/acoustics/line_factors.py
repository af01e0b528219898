"""The line to the amplifier as high-passes one after the other: their corners and gain, for a filter in time."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fairhearing.acoustics.network import LineNetwork

# Relative to the largest: what stays of a root that is 0 in exact arithmetic.
_ZERO = 1e-12


@dataclass(frozen=True, slots=True, kw_only=True)
class LineFactors:
    r"""The network as :math:`g \prod_i \frac{jf/f_i}{1 + jf/f_i} / (1 + jf/f_l)`.

    Parameters
    ----------
    corners_hz : tuple of float, hertz, rising
        None, one or two: as many as there are capacitors in series that work by themselves.
    gain : float, 1
        :math:`g`, between the corners and the low-pass.
    low_pass_hz : float, hertz, or None
        Where the cable takes the treble away; None where nothing does.
    """

    corners_hz: tuple[float, ...]
    gain: float
    low_pass_hz: float | None


def line_factors(network: LineNetwork) -> LineFactors:
    r"""Corners, gain and low-pass of a network, exactly.

    Capacitors with resistors have real poles only, and the voltage at the amplifier is zero nowhere but at 0 Hz. With
    the source's :math:`k` and :math:`R_k`, the hung conductance G, cable :math:`C_k`, series C and the amplifier's own
    R behind :math:`C_c`, :math:`V = k / (1 + Y (R_k + 1/(s C)))` with
    :math:`Y = G + s C_k + s C_c / (1 + s R C_c)`; the factors are the roots of its denominator.

    Parameters
    ----------
    network : LineNetwork

    Returns
    -------
    LineFactors

    Examples
    --------
    >>> found = line_factors(LineNetwork(input_ohm=20e3, capacitance_f=79.577e-9, source_ohm=1e3))
    >>> [round(corner, 2) for corner in found.corners_hz], round(found.gain, 4), found.low_pass_hz
    ([95.24], 0.9524, None)
    """
    over, under = _polynomials(network)
    over, under = np.trim_zeros(over, "f"), np.trim_zeros(under, "f")
    n_zeros = len(over) - 1
    roots = np.sort(np.abs(np.roots(under)))
    at_zero = [root for root in roots if root <= _ZERO * roots[-1]]
    n_corners = n_zeros - len(at_zero)
    rates = [float(root) for root in roots[len(at_zero) :]]
    corners, above = rates[:n_corners], rates[n_corners:]
    gain = float(over[0] / under[0]) / math.prod(above)
    return LineFactors(
        corners_hz=tuple(rate / (2 * math.pi) for rate in corners),
        gain=gain,
        low_pass_hz=min(above) / (2 * math.pi) if above else None,
    )


def _polynomials(network: LineNetwork) -> tuple[np.ndarray, np.ndarray]:
    """Numerator and denominator in powers of s, the highest first; the numerator is one power alone."""
    series_f, coupling_f, source_ohm = network.capacitance_f, network.coupling_f, network.drive_ohm
    over = np.array([network.drive])
    hung = np.array([network.cable_f, network.hung_s])
    if coupling_f is None:
        branch, under_branch = np.array([1.0 / network.input_ohm]), np.array([1.0])
    else:
        constant_s = network.input_ohm * coupling_f
        branch, under_branch = np.array([coupling_f, 0.0]), np.array([constant_s, 1.0])
        over = np.polymul(over, [constant_s, 0.0])
    admittance = np.polyadd(np.polymul(hung, under_branch), branch)
    if series_f is None:
        return over, np.polyadd(under_branch, source_ohm * admittance)
    over = np.polymul(over, [series_f, 0.0])
    through = np.polymul(under_branch, [series_f, 0.0])
    return over, np.polyadd(through, np.polymul(admittance, [series_f * source_ohm, 1.0]))
