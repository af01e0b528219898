"""The impulse response in what a deconvolution gives, if one stands out; and the harmonics that come before it."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from fairhearing.acoustics.distortion import harmonic_levels
from fairhearing.acoustics.impulse import arrival_frame
from fairhearing.api import Harmonic, ImportProblem, MeasurementFile
from fairhearing_builtins.importers.impulse_curves import (
    HIGHEST_SHARE,
    LONGEST_S,
    ImpulseResponse,
    place_and_cell,
)
from fairhearing_builtins.importers.sweep_excitation import Excitation

FloatArray = npt.NDArray[np.float64]
SingleArray = npt.NDArray[np.float32]

# A response is thousands of times shorter than its circle: its highest sample stands far above the root mean square of
# all. Noise reaches 15 dB, a sweep that is another one some 20 dB (common practice, no source).
_LEAST_CREST_DB = 30.0
# The band's lower edge rings before the direct sound too; the harmonic of order 2 comes before that.
_BEFORE_S = 0.5
_BEFORE_SHARE = 0.6
# A recording may begin this much behind the sweep: a latency that was taken out too well.
_MOST_EARLY_S = 0.005
# Room behind the longest window, to see where the decay sinks into noise.
_BEHIND_S = 3.0


def response_of(
    circle: SingleArray,
    n_recorded: int,
    excitation: Excitation,
    item: MeasurementFile,
    channel: str | None,
    gain_db: float,
) -> ImpulseResponse:
    """The impulse response, cut out of the circle with its time zero at the first sample of the excitation's file.

    Raises
    ------
    ImportProblem
        No peak stands out, or the recording does not hold the whole sweep.
    """
    rate_hz, sweep = float(excitation.rate_hz), excitation.sweep
    peak = int(np.argmax(np.abs(circle)))
    crest_db = 20.0 * np.log10(abs(float(circle[peak])) / float(np.sqrt(np.mean(np.square(circle, dtype=float)))))
    if crest_db < _LEAST_CREST_DB:
        raise ImportProblem(
            f"the recording does not match its sweep {excitation.path}: no direct sound stands out of what comes from "
            f"them ({crest_db:.0f} dB above its root mean square; {_LEAST_CREST_DB:.0f} dB is the least)",
            where=f"{item.path} (session.toml, line {item.line})",
            try_="name the sweep that was played, and check that the recording holds it",
        )
    # Later than this the recording would have ended before the sweep did.
    latest = n_recorded - round((sweep.begins_s + sweep.duration_s) * rate_hz)
    first = peak if peak <= max(latest, 0) else peak - len(circle)
    if first < -_MOST_EARLY_S * rate_hz:
        raise ImportProblem(
            f"the recording does not hold the whole sweep: the direct sound comes {1e3 * abs(first) / rate_hz:.0f} ms "
            "before the recording begins, or too late for its end",
            where=item.path,
            try_="start recording before the sweep, and stop when it has died away",
        )
    n_before = round(_before_s(excitation) * rate_hz)
    n_after = min(round((LONGEST_S + _BEHIND_S) * rate_hz), len(circle) // 2)
    samples = _around(circle, peak, n_before, n_after)
    # Before the peak lies what the band rings, not the direct sound of another place.
    arrival = max(n_before - round(0.02 * rate_hz), 0)
    arrival += arrival_frame(samples[arrival:])
    place, cell = place_and_cell(item, item.seat, channel)
    return ImpulseResponse(
        place=place,
        cell=cell,
        samples=samples,
        rate_hz=rate_hz,
        arrival=arrival,
        arrival_s=(first + arrival - n_before) / rate_hz,
        zero=f"the beginning of {excitation.path}",
        before_s=n_before / rate_hz,
        lowest_hz=sweep.first_hz,
        highest_hz=sweep.last_hz,
        gain_db=gain_db,
    )


def _before_s(excitation: Excitation) -> float:
    return min(_BEFORE_S, _BEFORE_SHARE * excitation.sweep.lead_s(2))


def _around(circle: SingleArray, frame: int, n_before: int, n_after: int) -> FloatArray:
    """The samples around a frame of a circle."""
    places = np.arange(frame - n_before, frame + n_after) % len(circle)
    return circle[places].astype(np.float64)


def harmonics_of(circle: SingleArray, response: ImpulseResponse, excitation: Excitation) -> tuple[Harmonic, ...]:
    """The orders that come before the direct sound, as far as half of the circle reaches."""
    rate_hz = response.rate_hz
    frame = round(response.arrival_s * rate_hz)
    half = len(circle) // 2
    levels = harmonic_levels(
        _around(circle, frame, half, half),
        half,
        excitation.sweep,
        rate_hz,
        highest_hz=min(excitation.sweep.last_hz, HIGHEST_SHARE * rate_hz),
    )
    return tuple(
        Harmonic(
            order=one.order,
            frequency_hz=_read_only(one.frequency_hz),
            level_db=_read_only(one.level_db),
            noise_level_db=_read_only(one.noise_level_db),
        )
        for one in levels
    )


def _read_only(values: FloatArray) -> FloatArray:
    values.setflags(write=False)
    return values
