"""Builds recordings at an amplifier and programme files with the summaries that relief needs: known voltages."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fairhearing.api import AudioFormat, Chain, ImpedanceTable, Inputs, Recording
from fairhearing.audio import summary_key
from fairhearing.contracts import declared_summaries
from fairhearing_builtins.analysers.relief import Relief
from fairhearing_builtins.analysers.relief_forecast import ReliefForecast

from .build_inputs import session

RATE_HZ = 8000
FULL_SCALE_V = 40.0
FILTER = Chain(capacitance_nf=1e9 / (2 * np.pi * 100.0 * 20e3), amplifier_input_kohm=20.0, loudspeaker_ohm=8.0)
PLAIN = Chain(amplifier_input_kohm=20.0, loudspeaker_ohm=8.0)


def with_chains(reference=PLAIN, condition=FILTER, impedances=(), **criteria):
    made = session(**criteria)
    chains = (reference, condition)
    conditions = tuple(replace(one, chain=chain) for one, chain in zip(made.conditions, chains, strict=True))
    return replace(made, conditions=conditions, impedances=tuple(impedances))


def recorded(samples, condition, *, point="amplifier-output", rate_hz=RATE_HZ, full_scale_v=FULL_SCALE_V, **said):
    """Samples (n_frames,) or (n_frames, n_channels) of full scale 1; the summaries come with `inputs_of`."""
    samples = np.asarray(samples, dtype=float).reshape(len(samples), -1)
    format = AudioFormat(rate_hz=rate_hz, n_channels=samples.shape[1], n_frames=len(samples), subtype="DOUBLE")
    of = {"playing": "main", "seat": None, "channel": None, "programme": None, "repeat": "1", **said}
    words = "_".join(str(word) for word in (point, condition, *of.values()))
    one = Recording(kind="recording", point=point, condition=condition, path=f"{words}.wav", format=format,
                    full_scale_v=full_scale_v, **of)  # fmt: skip
    return one, samples


def programme(samples, name=None, **said):
    return recorded(samples, None, point="programme", programme=name, **said)


def inputs_of(of, *pairs):
    """The recordings with all that either analyser declares."""
    made = []
    for recording, samples in pairs:
        analyser = ReliefForecast() if recording.point == "programme" else Relief()
        summaries = {}
        for summary in declared_summaries(analyser, of):
            accumulator = summary.start(recording.format)
            accumulator.update(samples)
            summaries[summary_key(summary)] = accumulator.result()
        made.append(replace(recording, summaries=summaries))
    return Inputs(session=of, recordings=tuple(made))


def found(result, quantity, **said):
    """The one finding of a quantity; programme None and variant None unless said."""
    wanted = {"programme": None, "variant": None, **said}
    (one,) = [
        f for f in result.findings
        if f.quantity == quantity and all(getattr(f, name) == value for name, value in wanted.items())
    ]  # fmt: skip
    return one


def times(seconds, rate_hz=RATE_HZ):
    return np.arange(round(seconds * rate_hz)) / rate_hz


def tone(frequency_hz, peak, seconds=8.0, rate_hz=RATE_HZ):
    return peak * np.sin(2 * np.pi * frequency_hz * times(seconds, rate_hz) + 0.3)


def impedance(path="z.csv", phase=True):
    """A closed box on a stiff suspension with a coil behind it: resonance at 60 Hz, 6 ohm at 0 Hz."""
    frequency = np.geomspace(5.0, 3900.0, 400)
    value = driver(frequency)
    return ImpedanceTable(
        path=path,
        frequency_hz=tuple(frequency.tolist()),
        magnitude_ohm=tuple(np.abs(value).tolist()),
        phase_deg=tuple(np.degrees(np.angle(value)).tolist()) if phase else None,
    )


def driver(frequency_hz):
    s = 1j * np.asarray(frequency_hz) / 60.0
    return 6.0 + 25.0 * (s / 4.0) / (s**2 + s / 4.0 + 1) + 0.0004 * 2j * np.pi * np.asarray(frequency_hz)
