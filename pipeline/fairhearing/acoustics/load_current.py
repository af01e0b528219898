"""Current and power that a voltage drives through a loudspeaker: from its spectrum and an impedance over frequency."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Impedance:
    """Impedance at some frequencies; between them linear over ln f, beyond them as at the last of them.

    Parameters
    ----------
    frequency_hz : (n,) hertz, rising, > 0
    magnitude_ohm : (n,) ohm, > 0
    phase_deg : (n,) degree, -90 to 90, or None

    Raises
    ------
    ValueError
        The arrays differ in length, frequencies do not rise, or a value is out of its range.
    """

    frequency_hz: FloatArray
    magnitude_ohm: FloatArray
    phase_deg: FloatArray | None = None

    def __post_init__(self) -> None:
        frequency, magnitude = self.frequency_hz, self.magnitude_ohm
        if frequency.ndim != 1 or not len(frequency) or magnitude.shape != frequency.shape:
            raise ValueError(f"frequencies of shape {frequency.shape} and impedances of shape {magnitude.shape}")
        if not (frequency[0] > 0 and (np.diff(frequency) > 0).all()):
            raise ValueError("the frequencies do not rise from above 0 Hz")
        if not (np.isfinite(magnitude).all() and (magnitude > 0).all()):
            raise ValueError("an impedance is not above 0 ohm")
        phase = self.phase_deg
        if phase is not None and (phase.shape != frequency.shape or not (np.abs(phase) <= 90).all()):
            raise ValueError("a phase is not from -90 to 90 degrees, or lacks")


@dataclass(frozen=True, slots=True, kw_only=True)
class Load:
    """What a volt of this spectrum does in the loudspeaker.

    Parameters
    ----------
    squared_s2 : float, siemens squared
        Mean square of the current over that of the voltage.
    conductance_s : float, siemens
        Mean power over the mean square of the voltage; NaN where the phase is not known.
    beyond : float, 0 to 1
        Share of the voltage's energy outside the frequencies of the impedance.
    """

    squared_s2: float
    conductance_s: float
    beyond: float


def load_of(frequency_hz: FloatArray, power: FloatArray, impedance: Impedance) -> Load:
    r"""Mean square of current and mean power, each for a mean square of one volt squared.

    :math:`\overline{i^2} / \overline{u^2} = \sum P_k / |Z_k|^2 / \sum P_k`,
    :math:`\overline{p} / \overline{u^2} = \sum P_k \cos \varphi_k / |Z_k| / \sum P_k` (Parseval).

    Parameters
    ----------
    frequency_hz : (n,) hertz, > 0
    power : (n,) mean square of the voltage at each frequency, in any unit, >= 0
    impedance : Impedance

    Returns
    -------
    Load

    Raises
    ------
    ValueError
        There is no power.

    Examples
    --------
    >>> resistor = Impedance(frequency_hz=np.array([20.0]), magnitude_ohm=np.array([8.0]), phase_deg=np.array([0.0]))
    >>> found = load_of(np.array([20.0, 50.0]), np.array([1.0, 3.0]), resistor)
    >>> found.squared_s2 * 64, found.conductance_s * 8
    (1.0, 1.0)
    """
    total = float(power.sum())
    if not total > 0:
        raise ValueError("the spectrum holds no power")
    at = np.log(frequency_hz)
    known = np.log(impedance.frequency_hz)
    magnitude = np.interp(at, known, impedance.magnitude_ohm)
    outside = (frequency_hz < impedance.frequency_hz[0]) | (frequency_hz > impedance.frequency_hz[-1])
    conductance = np.nan
    if impedance.phase_deg is not None:
        real = np.cos(np.radians(np.interp(at, known, impedance.phase_deg))) / magnitude
        conductance = float(power @ real) / total
    return Load(
        squared_s2=float(power @ magnitude**-2.0) / total,
        conductance_s=conductance,
        beyond=float(power[outside].sum()) / total,
    )
