"""The correction of a microphone, taken from every curve measured with it: the one place where that is done."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from fairhearing.contracts import Harmonic, Reading, ResponseCurve
from fairhearing.session import MeasurementFile

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]


def plain_path(text: str) -> str:
    """The path of a file that session.toml names, without the dots that mean "here".

    >>> plain_path("./mic.csv")
    'mic.csv'
    """
    return "/".join(part for part in text.split("/") if part != ".")


def corrected(item: MeasurementFile, readings: Sequence[Reading], curves: Mapping[str, ResponseCurve]) -> list[Reading]:
    """The readings of a file with the correction of its microphone subtracted, in dB; linear over ln f in between.

    Beyond the ends of the correction its first and last values are held, with a caveat. A recording is passed as it is,
    with a caveat: its levels are over ranges of frequency. `curves`: the corrections that could be read, by path.
    """
    if item.microphone is None:
        return list(readings)
    path = plain_path(item.microphone)
    if path not in curves:
        return list(readings)
    return [_corrected(reading, path, curves[path]) for reading in readings]


def _corrected(reading: Reading, path: str, correction: ResponseCurve) -> Reading:
    if reading.problem is not None or reading.content is None:
        return reading
    if not isinstance(reading.content, ResponseCurve):
        caveat = f"the microphone correction {path} was not applied: the levels of a recording are taken as they are"
        return replace(reading, caveats=(*reading.caveats, caveat))
    curve = reading.content
    content = replace(
        curve,
        level_db=_read_only(curve.level_db - _at(correction, curve.frequency_hz)),
        harmonics=tuple(_corrected_harmonic(harmonic, correction) for harmonic in curve.harmonics),
    )
    caveats = (*reading.caveats, *_beyond(curve, path, correction))
    return replace(
        reading, content=content, caveats=caveats, applied=(*reading.applied, f"microphone correction {path}")
    )


def _corrected_harmonic(harmonic: Harmonic, correction: ResponseCurve) -> Harmonic:
    """A harmonic stands at a multiple of the frequency of its fundamental: it takes the difference of both."""
    frequency_hz = harmonic.frequency_hz
    change_db = _at(correction, frequency_hz) - _at(correction, harmonic.order * frequency_hz)
    return replace(
        harmonic,
        level_db=_read_only(harmonic.level_db + change_db),
        noise_level_db=_read_only(harmonic.noise_level_db + change_db),
    )


def _at(correction: ResponseCurve, frequency_hz: FloatArray) -> FloatArray:
    import numpy as np

    return np.interp(np.log(frequency_hz), np.log(correction.frequency_hz), correction.level_db)


def _beyond(curve: ResponseCurve, path: str, correction: ResponseCurve) -> list[str]:
    first, last = float(correction.frequency_hz[0]), float(correction.frequency_hz[-1])
    sides = []
    if curve.frequency_hz[0] < first:
        sides.append(f"below {first:g} Hz ({float(correction.level_db[0]):g} dB)")
    if curve.frequency_hz[-1] > last:
        sides.append(f"above {last:g} Hz ({float(correction.level_db[-1]):g} dB)")
    if not sides:
        return []
    return [f"the microphone correction {path} does not reach so far: its value is held {' and '.join(sides)}"]


def _read_only(values: FloatArray) -> FloatArray:
    values.setflags(write=False)
    return values
