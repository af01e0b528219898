"""Band levels, means and intervals worked out afresh from the written numbers; nothing of fairhearing in it."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence

import numpy as np
import numpy.typing as npt
from scipy import stats

from .session_writer import Folder, Written

FloatArray = npt.NDArray[np.float64]

# IEC 61260-1:2014, Annex E, typed from the standard's list: nominal midbands from 20 Hz to 10 kHz, from memory.
NOMINAL_HZ = (
    20.0, 25.0, 31.5, 40.0, 50.0, 63.0, 80.0, 100.0, 125.0, 160.0, 200.0, 250.0, 315.0, 400.0, 500.0, 630.0, 800.0,
    1000.0, 1250.0, 1600.0, 2000.0, 2500.0, 3150.0, 4000.0, 5000.0, 6300.0, 8000.0, 10000.0,
)  # fmt: skip
FIRST_NUMBER = 13  # 10^(13/10) Hz is the exact midband of the nominal 20 Hz

Curve = Callable[[FloatArray], FloatArray]  # power over frequency


def nominal_between(low_hz: float, high_hz: float) -> list[float]:
    """Nominal midbands from low to high."""
    return [nominal for nominal in NOMINAL_HZ if low_hz <= nominal <= high_hz]


def edges_hz(nominal_hz: float) -> tuple[float, float]:
    """Exact edges of the third octave."""
    exponent = (FIRST_NUMBER + NOMINAL_HZ.index(nominal_hz)) / 10
    return 10 ** (exponent - 0.05), 10 ** (exponent + 0.05)


def band_power(power: Curve, nominal_hz: float, steps: int = 4000) -> float:
    """Mean of the power over ln f between the exact edges, by the midpoint rule."""
    low, high = (math.log(edge) for edge in edges_hz(nominal_hz))
    middles = np.exp(low + (high - low) * (np.arange(steps) + 0.5) / steps)
    return float(np.mean(power(middles)))


def through(frequency_hz: FloatArray, power: FloatArray) -> Curve:
    """The broken line through measured powers, straight over ln f."""
    return lambda f: np.interp(np.log(f), np.log(frequency_hz), power)


def band_db(curves: Sequence[Written], nominal_hz: float, noise_power: float = 0.0) -> float:
    """Band level of the energy mean of repeats on one grid, less a noise that is the same everywhere."""
    mean = np.mean([10 ** (curve.level_db / 10) for curve in curves], axis=0)
    return 10 * math.log10(band_power(through(curves[0].frequency_hz, mean), nominal_hz) - noise_power)


def take_bands_db(curves: Sequence[Written], nominal_hz: float, noise_power: float = 0.0) -> FloatArray:
    """Band level of each take."""
    return np.array([band_db([curve], nominal_hz, noise_power) for curve in curves])


def takes(folder: Folder, condition: str, seat: str | None, **said: object) -> list[Written]:
    """The written takes of a cell; `said`: channel, playing, point as written (main at seats unless said)."""
    wanted = {"channel": None, "playing": "main", "point": "seat", "kind": "response", **said}
    return [
        curve
        for curve in folder.curves
        if (curve.condition, curve.seat) == (condition, seat)
        and all(getattr(curve, name) == value for name, value in wanted.items())
    ]


def pooled_variance(cells: Iterable[FloatArray]) -> tuple[float, int]:
    """Variance within cells and its degrees of freedom."""
    squares, freedom = 0.0, 0
    for cell in cells:
        squares += float(np.sum((cell - np.mean(cell)) ** 2))
        freedom += len(cell) - 1
    return squares / freedom, freedom


def t_half(
    cells: Sequence[FloatArray],
    factor: float,
    *,
    extra_variance: float = 0.0,
    confidence: float = 0.95,
    comparisons: int = 1,
) -> float:
    """Half the width of the pooled t interval; `factor`: variance of the value over that of one repeat."""
    variance, freedom = pooled_variance(cells)
    quantile = stats.t.ppf(1 - (1 - confidence) / 2 / comparisons, freedom)
    return float(quantile * math.sqrt(factor * variance + extra_variance))
