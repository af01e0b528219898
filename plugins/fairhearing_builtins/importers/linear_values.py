"""A response given as a number per frequency, real or complex, as a curve in dB and degrees."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fairhearing.api import ImportProblem, ResponseCurve

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]
MIN_VALUES = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class LinearCurve:
    """A curve, and whether a value at 0 Hz was dropped for it."""

    curve: ResponseCurve
    zero_dropped: bool


def curve_of(frequency_hz: FloatArray, value: ComplexArray | FloatArray, where: Callable[[int], str]) -> LinearCurve:
    r"""Level :math:`20 \lg |H|` and, of complex values, the angle of H.

    Parameters
    ----------
    frequency_hz : array of float, shape (n,), hertz, rising; a first one of 0 is dropped
    value : array of complex or float, shape (n,), linear, not 0; real ones are sizes without phase, > 0
    where : function of an index that says where that value stands

    Returns
    -------
    LinearCurve, read-only arrays; dB re 1 in the unit of `value`, degree

    Raises
    ------
    ImportProblem
        Fewer than four values above 0 Hz, frequencies that do not rise, a value that is 0 or no finite number.
    """
    zero_dropped = len(frequency_hz) > 0 and bool(frequency_hz[0] == 0.0)
    first = int(zero_dropped)
    if len(frequency_hz) - first < MIN_VALUES:
        raise ImportProblem(
            f"there are {len(frequency_hz) - first} values above 0 Hz; a response needs at least {MIN_VALUES}",
            where=where(max(len(frequency_hz) - 1, 0)),
            try_="export the response with more frequencies",
        )
    _check_frequencies(frequency_hz, first, where)
    _check_values(frequency_hz, value, first, where)
    kept = value[first:]
    curve = ResponseCurve(
        frequency_hz=_read_only(frequency_hz[first:]),
        level_db=_read_only(20.0 * np.log10(np.abs(kept))),
        phase_deg=_read_only(np.angle(kept, deg=True)) if np.iscomplexobj(kept) else None,
    )
    return LinearCurve(curve=curve, zero_dropped=zero_dropped)


def _check_frequencies(frequency_hz: FloatArray, first: int, where: Callable[[int], str]) -> None:
    unusable = np.flatnonzero(~np.isfinite(frequency_hz) | (frequency_hz < 0))
    if len(unusable):
        place = int(unusable[0])
        raise ImportProblem(
            f"the frequency {frequency_hz[place]:g} Hz is no frequency above 0 Hz",
            where=where(place),
            try_="export rising frequencies above 0 Hz",
        )
    falling = np.flatnonzero(np.diff(frequency_hz[first:]) <= 0)
    if len(falling):
        place = int(falling[0]) + first + 1
        raise ImportProblem(
            f"the frequency {frequency_hz[place]:g} Hz follows {frequency_hz[place - 1]:g} Hz: frequencies must rise",
            where=where(place),
            try_="sort the values by frequency, and leave out what stands twice",
        )


def _check_values(
    frequency_hz: FloatArray, value: ComplexArray | FloatArray, first: int, where: Callable[[int], str]
) -> None:
    is_size = np.abs(value) > 0 if np.iscomplexobj(value) else value > 0
    unusable = np.flatnonzero(~(np.isfinite(value) & is_size))
    unusable = unusable[unusable >= first]
    if len(unusable):
        place = int(unusable[0])
        told = f"{value[place]:g}" if np.isfinite(value[place]) else "no finite number"
        raise ImportProblem(
            f"the value at {frequency_hz[place]:g} Hz is {told}: it has no level in dB",
            where=where(place),
            try_="leave out the frequencies that were not measured; a size without phase is above 0",
        )


def _read_only(values: FloatArray) -> FloatArray:
    values = np.ascontiguousarray(values, dtype=np.float64)
    if values.base is not None:
        values = values.copy()
    values.setflags(write=False)
    return values
