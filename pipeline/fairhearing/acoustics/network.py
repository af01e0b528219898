"""The line from source to amplifier with all that hangs on it: voltages, passband and corner of the exact network.

    source R_s --+---- series C ----+--------+---------+--------+---------+---- coupling C_c ----+
                 |                  |        |         |        |         |                      |
               taps               cable    taps     second   measuring  (terminals)         amplifier's
               ahead               C_k    behind    input     input                            own R
                 |                  |        |         |        |                                |
                 +------------------+--------+---------+--------+--------------------------------+

Everything but source, series capacitor and amplifier may be missing; so may the series capacitor. A single frequency
needs nothing but complex numbers, so that a command that only calculates a corner starts at once.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from fairhearing.acoustics.chain import Network, network_corner_hz, network_passband_db
from fairhearing.acoustics.first_order import require_not_negative, require_positive

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

Place = Literal["amplifier", "terminals"]

HALF_POWER_DB = 10.0 * math.log10(0.5)
# The numerical search: points per decade, decades beyond the outermost time constants, and halvings of an interval.
_PER_DECADE = 40
_DECADES_BEYOND = 3
_N_HALVINGS = 200
_GOLDEN = (math.sqrt(5.0) - 1.0) / 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LineNetwork:
    """The parts of the drawing above.

    Parameters
    ----------
    input_ohm : float, ohm, > 0
        What the amplifier presents by itself.
    capacitance_f : float, farad, > 0, or None
        The series capacitor; None is a plain wire. On a balanced line: half of the one in each leg.
    source_ohm : float, ohm, >= 0
    cable_f : float, farad, >= 0
        Behind the series capacitor.
    taps_before_ohm, taps_ohm : tuple of float, ohm, > 0
        Loads hung on the line ahead of the series capacitor, and behind it.
    second_input_ohm : float, ohm, > 0, or None
        A second amplifier's input behind the series capacitor.
    measuring_ohm : float, ohm, > 0, or None
        The measuring input at the amplifier's terminals.
    coupling_f : float, farad, > 0, or None
        A capacitor of the amplifier's own, behind its terminals.

    Raises
    ------
    ValueError
        A value is out of its range or not finite.

    Notes
    -----
    On a balanced line every resistance is from leg to leg.
    """

    input_ohm: float
    capacitance_f: float | None = None
    source_ohm: float = 0.0
    cable_f: float = 0.0
    taps_before_ohm: tuple[float, ...] = ()
    taps_ohm: tuple[float, ...] = ()
    second_input_ohm: float | None = None
    measuring_ohm: float | None = None
    coupling_f: float | None = None

    def __post_init__(self) -> None:
        require_positive("input_ohm", self.input_ohm)
        require_not_negative("source_ohm", self.source_ohm)
        require_not_negative("cable_f", self.cable_f)
        for name in ("capacitance_f", "second_input_ohm", "measuring_ohm", "coupling_f"):
            value = getattr(self, name)
            if value is not None:
                require_positive(name, value)
        for name in ("taps_before_ohm", "taps_ohm"):
            for value in getattr(self, name):
                require_positive(name, value)

    @property
    def drive(self) -> float:
        """What is left of the source's voltage ahead of the series capacitor with nothing behind it, 0 to 1."""
        return 1.0 / (1.0 + self.source_ohm * sum(1.0 / ohm for ohm in self.taps_before_ohm))

    @property
    def drive_ohm(self) -> float:
        """Source and taps ahead of the series capacitor side by side: what drives the line, ohm, >= 0."""
        return self.source_ohm * self.drive

    @property
    def hung_s(self) -> float:
        """Conductance of all that hangs behind the series capacitor besides the amplifier, siemens, >= 0."""
        inputs = [ohm for ohm in (self.second_input_ohm, self.measuring_ohm) if ohm is not None]
        return sum(1.0 / ohm for ohm in (*self.taps_ohm, *inputs))


def line_voltage(frequency_hz: float, network: LineNetwork, at: Place = "amplifier") -> complex:
    r"""Voltage over the open voltage of the source, as a complex number.

    Kirchhoff's current law, solved from the amplifier backwards: with the admittance :math:`Y` of all behind the
    series capacitor, :math:`V = k / (1 + Y (R_k + 1/(j \omega C)))`, k and R_k the source with the taps ahead.

    Parameters
    ----------
    frequency_hz : float, hertz, > 0
    network : LineNetwork
    at : {"amplifier", "terminals"}
        Behind the amplifier's coupling capacitor, or at its terminals; the same where it has none.

    Returns
    -------
    complex

    Raises
    ------
    ValueError
        The frequency is zero, negative or not finite.

    Examples
    --------
    >>> network = LineNetwork(input_ohm=20e3, capacitance_f=79.577e-9)
    >>> round(abs(line_voltage(100.0, network)), 4)
    0.7071
    """
    require_positive("frequency_hz", frequency_hz)
    s = 2j * math.pi * frequency_hz
    own_ohm: complex = network.input_ohm
    if network.coupling_f is not None:
        own_ohm += 1.0 / (s * network.coupling_f)
    behind_s = network.hung_s + s * network.cable_f + 1.0 / own_ohm
    series_ohm: complex = network.drive_ohm
    if network.capacitance_f is not None:
        series_ohm += 1.0 / (s * network.capacitance_f)
    voltage = network.drive / (1.0 + behind_s * series_ohm)
    return voltage if at == "terminals" else voltage * network.input_ohm / own_ohm


def line_response(
    frequency_hz: npt.NDArray[np.float64], network: LineNetwork, at: Place = "amplifier"
) -> npt.NDArray[np.complex128]:
    """`line_voltage` at each frequency of a grid.

    Parameters
    ----------
    frequency_hz : array, hertz, > 0
    network : LineNetwork
    at : {"amplifier", "terminals"}

    Returns
    -------
    array of complex, the shape of `frequency_hz`

    Raises
    ------
    ValueError
        A frequency is zero, negative or not finite.

    Examples
    --------
    >>> import numpy as np
    >>> found = line_response(np.array([100.0, 1e4]), LineNetwork(input_ohm=20e3, capacitance_f=79.577e-9))
    >>> [round(float(abs(one)), 3) for one in found]
    [0.707, 1.0]
    """
    import numpy as np

    grid = np.asarray(frequency_hz, dtype=np.float64)
    found = [line_voltage(frequency, network, at) for frequency in grid.ravel().tolist()]
    return np.array(found, dtype=np.complex128).reshape(grid.shape)


def line_level_db(frequency_hz: float, network: LineNetwork, at: Place = "amplifier") -> float:
    """Level over the open voltage of the source.

    Parameters
    ----------
    frequency_hz : float, hertz, > 0
    network : LineNetwork
    at : {"amplifier", "terminals"}

    Returns
    -------
    float, dB, <= 0

    Raises
    ------
    ValueError
        The frequency is zero, negative or not finite.

    Examples
    --------
    >>> round(line_level_db(1e4, LineNetwork(input_ohm=20e3, capacitance_f=79.577e-9, source_ohm=1e3)), 2)
    -0.42
    """
    return 20.0 * math.log10(abs(line_voltage(frequency_hz, network, at)))


def line_passband_db(network: LineNetwork, at: Place = "amplifier") -> float:
    """Highest level that the network reaches over frequency.

    Closed (`network_passband_db`) where there is one series capacitor; else searched on the exact network.

    Parameters
    ----------
    network : LineNetwork
    at : {"amplifier", "terminals"}

    Returns
    -------
    float, dB, <= 0

    Examples
    --------
    >>> round(line_passband_db(LineNetwork(input_ohm=20e3, capacitance_f=79.577e-9, source_ohm=1e3)), 2)
    -0.42
    """
    simple = _simple(network)
    if simple is not None:
        return network_passband_db(simple) + 20.0 * math.log10(network.drive)
    return _highest(network, at).level_db


def line_corner_hz(network: LineNetwork, at: Place = "amplifier") -> float:
    """Frequency below the passband at which the network is 3.01 dB (10 lg 2) under its passband's highest level.

    Closed (`network_corner_hz`) where there is one series capacitor; else found by halving on the exact network.

    Parameters
    ----------
    network : LineNetwork
    at : {"amplifier", "terminals"}

    Returns
    -------
    float, hertz

    Raises
    ------
    ValueError
        The level never falls so far: there is no series capacitor, or none that matters there.

    Notes
    -----
    With a coupling capacitor this is no longer the corner of a first-order high-pass.

    Examples
    --------
    >>> network = LineNetwork(input_ohm=100e3, capacitance_f=15.915e-9, taps_ohm=(150e3,))
    >>> round(line_corner_hz(network), 1)
    166.7
    """
    simple = _simple(network)
    if simple is not None:
        return network_corner_hz(simple)
    highest = _highest(network, at)
    wanted_db = highest.level_db + HALF_POWER_DB
    above = highest.frequency_hz
    for below in reversed([frequency for frequency in _grid(network) if frequency < highest.frequency_hz]):
        if line_level_db(below, network, at) < wanted_db:
            break
        above = below
    else:
        raise ValueError("the network has no corner: no series capacitor takes the bass away")
    for _ in range(_N_HALVINGS):
        middle = math.sqrt(below * above)
        if not below < middle < above:
            break
        if line_level_db(middle, network, at) < wanted_db:
            below = middle
        else:
            above = middle
    return above


@dataclass(frozen=True, slots=True, kw_only=True)
class _Highest:
    frequency_hz: float
    level_db: float


def _simple(network: LineNetwork) -> Network | None:
    """The same line as source, one capacitor, cable and one load; None with a coupling capacitor or none at all."""
    if network.coupling_f is not None or network.capacitance_f is None:
        return None
    return Network(
        capacitance_f=network.capacitance_f,
        load_ohm=1.0 / (network.hung_s + 1.0 / network.input_ohm),
        source_ohm=network.drive_ohm,
        cable_f=network.cable_f,
    )


def _grid(network: LineNetwork) -> list[float]:
    """Frequencies even on a logarithmic scale, beyond every time constant on both sides."""
    capacitors = [c for c in (network.capacitance_f, network.coupling_f, network.cable_f) if c]
    if not capacitors:
        return []
    loads = [network.input_ohm, 1.0 / (network.hung_s + 1.0 / network.input_ohm)]
    loads += [1.0 / network.hung_s] if network.hung_s > 0.0 else []
    resistances = [*loads, *(load + network.drive_ohm for load in loads)]
    resistances += [network.drive_ohm] if network.drive_ohm > 0.0 else []
    constants_s = [ohm * (sum(capacitors)) for ohm in resistances]
    # Capacitors in series make less than the smallest of them, by the number of them at most.
    constants_s += [ohm * min(capacitors) / len(capacitors) for ohm in resistances]
    first = math.floor(-math.log10(2.0 * math.pi * max(constants_s))) - _DECADES_BEYOND
    last = math.ceil(-math.log10(2.0 * math.pi * min(constants_s))) + _DECADES_BEYOND
    return [10.0 ** (first + step / _PER_DECADE) for step in range((last - first) * _PER_DECADE + 1)]


def _highest(network: LineNetwork, at: Place) -> _Highest:
    """Where the level is highest; the end of the grid where it rises for ever towards its limit."""
    grid = _grid(network)
    if not grid:
        return _Highest(frequency_hz=1.0, level_db=line_level_db(1.0, network, at))
    levels_db = [line_level_db(frequency, network, at) for frequency in grid]
    index = max(range(len(grid)), key=levels_db.__getitem__)
    low, high = math.log(grid[max(index - 1, 0)]), math.log(grid[min(index + 1, len(grid) - 1)])

    def level_db(position: float) -> float:
        return line_level_db(math.exp(position), network, at)

    while high - low > 1e-9:
        left, right = high - _GOLDEN * (high - low), low + _GOLDEN * (high - low)
        if level_db(left) < level_db(right):
            low = left
        else:
            high = right
    found = _Highest(frequency_hz=math.exp((low + high) / 2.0), level_db=level_db((low + high) / 2.0))
    limit_db = _limit_db(network)
    if limit_db is not None and limit_db >= found.level_db:
        return _Highest(frequency_hz=grid[-1], level_db=limit_db)
    return found


def _limit_db(network: LineNetwork) -> float | None:
    """Level that is approached towards ever higher frequencies; None if the cable takes it all."""
    if network.cable_f == 0.0:
        behind_s = network.hung_s + 1.0 / network.input_ohm
        return 20.0 * math.log10(network.drive / (1.0 + behind_s * network.drive_ohm))
    if network.drive_ohm > 0.0:
        return None
    share = 1.0 if network.capacitance_f is None else network.capacitance_f / (network.capacitance_f + network.cable_f)
    return 20.0 * math.log10(share)
