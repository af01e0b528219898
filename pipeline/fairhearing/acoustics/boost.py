"""What a boost in the bass leaves too much, behind a filter that sits elsewhere or with the filter out."""

from __future__ import annotations

import math

from fairhearing.acoustics.first_order import require_not_negative, require_positive
from fairhearing.acoustics.network import LineNetwork, line_level_db, line_passband_db

BOOST_FREQUENCIES_HZ = (50.0, 20.0, 10.0)
# More than this left too much by a boost is twice the power and more at the driver.
BOOST_WARNING_DB = 3.0


def shelved_boost_level_db(frequency_hz: float, corner_hz: float, most_db: float | None = None) -> float:
    r"""Level of a first-order boost that gives `most_db` at the most.

    :math:`(s + \omega_c)/(s + \omega_s)`, the shelf at :math:`f_s = f_c \cdot 10^{-G/20}`; without a shelf
    :math:`1 + \omega_c/s`, which answers a first-order high-pass of the same corner at every frequency.

    Parameters
    ----------
    frequency_hz, corner_hz : float, hertz, > 0
    most_db : float, dB, >= 0, or None
        The gain far below the shelf; None: no shelf.

    Returns
    -------
    float, dB, >= 0

    Raises
    ------
    ValueError
        A value is out of its range or not finite.

    Examples
    --------
    >>> round(shelved_boost_level_db(10.0, 100.0), 1), round(shelved_boost_level_db(10.0, 100.0, 12.0), 1)
    (20.0, 11.4)
    """
    require_positive("frequency_hz", frequency_hz)
    require_positive("corner_hz", corner_hz)
    shelf_hz = 0.0
    if most_db is not None:
        require_not_negative("most_db", most_db)
        shelf_hz = corner_hz * 10.0 ** (-most_db / 20.0)
    return 20.0 * math.log10(math.hypot(frequency_hz, corner_hz) / math.hypot(frequency_hz, shelf_hz))


def boost_remainder_db(
    frequency_hz: float, corner_hz: float, network: LineNetwork | None = None, most_db: float | None = None
) -> float:
    """What boost and filter in series leave too much; negative is too little.

    The level of the boost plus that of the network over its passband: the passband's loss is matched by the gain.

    Parameters
    ----------
    frequency_hz : float, hertz, > 0
    corner_hz : float, hertz, > 0
        The corner that the boost is made for.
    network : LineNetwork or None
        The filter as it is wired; None: the filter is out.
    most_db : float, dB, >= 0, or None
        The most that the boost gives.

    Returns
    -------
    float, dB

    Raises
    ------
    ValueError
        A value is out of its range or not finite.

    Examples
    --------
    >>> fifth = LineNetwork(input_ohm=100e3, capacitance_f=79.577e-9)
    >>> [round(boost_remainder_db(frequency, 100.0, fifth)) for frequency in (50.0, 20.0, 10.0)]
    [6, 11, 13]
    """
    boost_db = shelved_boost_level_db(frequency_hz, corner_hz, most_db)
    if network is None:
        return boost_db
    return boost_db + line_level_db(frequency_hz, network) - line_passband_db(network)
