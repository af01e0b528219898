"""Builds recordings with the summaries that analysers of loudness need: music of known levels, no file."""

from __future__ import annotations

import numpy as np

from fairhearing.acoustics.loudness import KWeightedEnergy
from fairhearing.acoustics.low_spectrum import LowSpectrum
from fairhearing.acoustics.true_peak import TruePeak
from fairhearing.api import AudioFormat, Recording
from fairhearing.audio import summary_key

RATE_HZ = 8000
SUMMARIES = (KWeightedEnergy(), LowSpectrum(), TruePeak())


def music(seconds=45.0, seed=1, rate_hz=RATE_HZ, n_channels=1):
    """Noise whose level takes a step every 1.5 s, between 0.003 and 0.1 of full scale."""
    drawn = np.random.default_rng(seed)
    n_steps = int(np.ceil(seconds / 1.5))
    level = np.repeat(10 ** drawn.uniform(-2.5, -1.0, n_steps), round(1.5 * rate_hz))[: round(seconds * rate_hz)]
    return level[:, None] * drawn.normal(0.0, 1.0, (len(level), n_channels))


def recording(samples, condition="in", *, repeat="1", rate_hz=RATE_HZ, **said):
    """A recording of these samples (n_frames, n_channels)."""
    samples = np.asarray(samples, dtype=float).reshape(len(samples), -1)
    format = AudioFormat(rate_hz=rate_hz, n_channels=samples.shape[1], n_frames=len(samples), subtype="DOUBLE")
    summaries = {}
    for summary in SUMMARIES:
        accumulator = summary.start(format)
        accumulator.update(samples)
        summaries[summary_key(summary)] = accumulator.result()
    of = {"point": "amplifier-output", "playing": "main", "seat": None, "channel": None, "programme": None, **said}
    words = "_".join(str(of[name]) for name in ("point", "playing", "seat", "channel", "programme"))
    return Recording(
        kind="recording",
        condition=condition,
        repeat=repeat,
        path=f"{condition}_{words}_{repeat}.wav",
        format=format,
        summaries=summaries,
        **of,
    )
