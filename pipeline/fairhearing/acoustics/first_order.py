"""The ideal first-order high-pass and the boost that answers it: corner, capacitance, level, phase, group delay.

Needs nothing but `math`, so that a command that only calculates a corner starts at once.
"""

from __future__ import annotations

import math


def corner_frequency_hz(capacitance_f: float, resistance_ohm: float) -> float:
    r"""Frequency at which a series capacitor into a resistive load is 3.01 dB down.

    :math:`f_c = 1 / (2 \pi R C)`, R the sum of source and load resistance.

    Parameters
    ----------
    capacitance_f : float, farad, > 0
    resistance_ohm : float, ohm, > 0

    Returns
    -------
    float, hertz

    Raises
    ------
    ValueError
        A value is zero, negative or not finite.

    Examples
    --------
    >>> round(corner_frequency_hz(10e-9, 159_155.0), 2)
    100.0
    """
    require_positive("capacitance_f", capacitance_f)
    require_positive("resistance_ohm", resistance_ohm)
    return 1.0 / (2.0 * math.pi * resistance_ohm * capacitance_f)


def capacitance_f(corner_hz: float, resistance_ohm: float) -> float:
    r"""Series capacitance that puts the corner at `corner_hz` into `resistance_ohm`.

    :math:`C = 1 / (2 \pi f_c R)`, R the sum of source and load resistance.

    Parameters
    ----------
    corner_hz : float, hertz, > 0
    resistance_ohm : float, ohm, > 0

    Returns
    -------
    float, farad

    Raises
    ------
    ValueError
        A value is zero, negative or not finite.

    Examples
    --------
    >>> round(capacitance_f(100.0, 20e3) * 1e9, 2)
    79.58
    """
    require_positive("corner_hz", corner_hz)
    require_positive("resistance_ohm", resistance_ohm)
    return 1.0 / (2.0 * math.pi * corner_hz * resistance_ohm)


def first_order_level_db(frequency_hz: float, corner_hz: float) -> float:
    r"""Level of a first-order high-pass with a passband of 0 dB.

    :math:`-10 \lg(1 + (f_c/f)^2)`: -3.01 dB at the corner, 6.02 dB per octave far below it.

    Parameters
    ----------
    frequency_hz : float, hertz, > 0
    corner_hz : float, hertz, > 0

    Returns
    -------
    float, dB, < 0

    Raises
    ------
    ValueError
        A value is zero, negative or not finite.

    Examples
    --------
    >>> round(first_order_level_db(50.0, 100.0), 2)
    -6.99
    """
    return -boost_level_db(frequency_hz, corner_hz)


def first_order_phase_deg(frequency_hz: float, corner_hz: float) -> float:
    r"""Phase by which the output of a first-order high-pass leads its input.

    :math:`\arctan(f_c/f)`: 45 degrees at the corner, towards 90 below it.

    Parameters
    ----------
    frequency_hz : float, hertz, > 0
    corner_hz : float, hertz, > 0

    Returns
    -------
    float, degree, 0 to 90; positive is a lead

    Raises
    ------
    ValueError
        A value is zero, negative or not finite.

    Examples
    --------
    >>> round(first_order_phase_deg(100.0, 100.0), 9)
    45.0
    """
    require_positive("frequency_hz", frequency_hz)
    require_positive("corner_hz", corner_hz)
    return math.degrees(math.atan2(corner_hz, frequency_hz))


def first_order_group_delay_s(frequency_hz: float, corner_hz: float) -> float:
    r"""Group delay of a first-order high-pass.

    :math:`(1/\omega_c) / (1 + (f/f_c)^2)`, minus the slope of the phase over angular frequency.

    Parameters
    ----------
    frequency_hz : float, hertz, > 0
    corner_hz : float, hertz, > 0

    Returns
    -------
    float, second, > 0

    Raises
    ------
    ValueError
        A value is zero, negative or not finite.

    Examples
    --------
    >>> round(first_order_group_delay_s(100.0, 100.0) * 1e3, 3)
    0.796
    """
    require_positive("frequency_hz", frequency_hz)
    require_positive("corner_hz", corner_hz)
    magnitude = math.hypot(1.0, frequency_hz / corner_hz)
    return 1.0 / (2.0 * math.pi * corner_hz) / magnitude / magnitude


def boost_level_db(frequency_hz: float, corner_hz: float) -> float:
    r"""Level of the boost that gives back what a first-order high-pass takes.

    :math:`1 + \omega_c/s`, that is :math:`10 \lg(1 + (f_c/f)^2)`; with the high-pass of the same corner in series
    the level is 0 dB and the phase 0 degrees at every frequency.

    Parameters
    ----------
    frequency_hz : float, hertz, > 0
    corner_hz : float, hertz, > 0

    Returns
    -------
    float, dB, > 0

    Raises
    ------
    ValueError
        A value is zero, negative or not finite.

    Notes
    -----
    Without limit towards 0 Hz. A real boost is shelved and gives less below its shelf.

    Examples
    --------
    >>> round(boost_level_db(10.0, 100.0), 2)
    20.04
    """
    require_positive("frequency_hz", frequency_hz)
    require_positive("corner_hz", corner_hz)
    return 20.0 * math.log10(math.hypot(1.0, corner_hz / frequency_hz))


def parallel_ohm(first_ohm: float, second_ohm: float) -> float:
    r"""Resistance of two resistances side by side.

    :math:`R_1 R_2 / (R_1 + R_2)`.

    Parameters
    ----------
    first_ohm, second_ohm : float, ohm, > 0

    Returns
    -------
    float, ohm

    Raises
    ------
    ValueError
        A value is zero, negative or not finite.

    Examples
    --------
    >>> parallel_ohm(100e3, 25e3)
    20000.0
    """
    require_positive("first_ohm", first_ohm)
    require_positive("second_ohm", second_ohm)
    return first_ohm * second_ohm / (first_ohm + second_ohm)


def octaves(frequency_hz: float, reference_hz: float) -> float:
    r"""Octaves by which a frequency lies above a reference.

    :math:`\log_2(f / f_{ref})`.

    Parameters
    ----------
    frequency_hz, reference_hz : float, hertz, > 0

    Returns
    -------
    float, octave; negative is below the reference

    Raises
    ------
    ValueError
        A value is zero, negative or not finite.

    Examples
    --------
    >>> round(octaves(20.0, 100.0), 2)
    -2.32
    """
    require_positive("frequency_hz", frequency_hz)
    require_positive("reference_hz", reference_hz)
    return math.log2(frequency_hz / reference_hz)


def require_positive(name: str, value: float) -> None:
    """Raise ValueError unless `value` is finite and above 0."""
    if not (math.isfinite(value) and value > 0.0):
        raise ValueError(f"{name} is {value!r}; it must be finite and above 0")


def require_not_negative(name: str, value: float) -> None:
    """Raise ValueError unless `value` is finite and not below 0."""
    if not (math.isfinite(value) and value >= 0.0):
        raise ValueError(f"{name} is {value!r}; it must be finite and not below 0")
