"""The tone of a sound calibrator in a recording: its frequency, level and steadiness."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

# IEC 60942: 1 kHz is the usual frequency of a calibrator, 250 Hz that of a pistonphone (from memory).
NOMINAL_HZ = (1000.0, 250.0)
# The tone is looked for this near to its nominal frequency.
REACH = 10.0 ** (1 / 20)
BLOCK_S = 0.25
# In a steady block the tone has this much of the power, and its level is this near to the run's first.
LEAST_SHARE = 0.8
LARGEST_STEP_DB = 1.0
LEAST_S = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Tone:
    """frequency_hz; rms re full scale, of the tone alone; drift_db (highest block less lowest); begins_s, lasts_s."""

    frequency_hz: float
    rms: float
    drift_db: float
    begins_s: float
    lasts_s: float


def calibrator_tone(samples: FloatArray, rate_hz: float) -> Tone:
    """The longest steady tone near 1 kHz or 250 Hz.

    Its power is that of the spectrum within a twentieth of a decade of the nominal frequency (blocks of 0.25 s, Hann
    window), so that hum and noise beside it do not count.

    Parameters
    ----------
    samples : (n,) re full scale
    rate_hz : float, hertz, > 0

    Returns
    -------
    Tone

    Raises
    ------
    ValueError
        No tone that has four fifths of the power stands out for a second or longer.

    Examples
    --------
    >>> tone = calibrator_tone(0.5 * np.sin(2 * np.pi * 1000 * np.arange(96_000) / 48_000), 48_000)
    >>> round(tone.rms * 2**0.5, 6), round(tone.frequency_hz, 3), round(tone.drift_db, 6), tone.lasts_s
    (0.5, 1000.0, 0.0, 2.0)
    """
    n_block = round(BLOCK_S * rate_hz)
    n_blocks = len(samples) // n_block
    if n_blocks < LEAST_S / BLOCK_S:
        raise ValueError(f"it lasts {len(samples) / rate_hz:.2f} s; a second is needed at least")
    blocks = samples[: n_blocks * n_block].reshape(n_blocks, n_block)
    blocks = blocks - blocks.mean(axis=1, keepdims=True)
    weight = 0.5 - 0.5 * np.cos(2 * np.pi * (np.arange(n_block) + 0.5) / n_block)
    power = np.abs(np.fft.rfft(blocks * weight, axis=1)) ** 2 * (2.0 / (n_block * np.sum(weight**2)))
    frequency_hz = np.arange(n_block // 2 + 1, dtype=np.float64) * (rate_hz / n_block)
    found = [
        tone for nominal in NOMINAL_HZ if (tone := _steady(frequency_hz, power, nominal, n_block / rate_hz)) is not None
    ]
    if not found:
        raise ValueError("no steady tone near 1 kHz or 250 Hz stands out for a second or longer")
    return max(found, key=lambda tone: (tone.lasts_s, tone.rms))


def _steady(frequency_hz: FloatArray, power: FloatArray, nominal_hz: float, block_s: float) -> Tone | None:
    near = (frequency_hz >= nominal_hz / REACH) & (frequency_hz <= nominal_hz * REACH)
    tone = power[:, near].sum(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        steady = tone >= LEAST_SHARE * power.sum(axis=1)
        level_db = 10.0 * np.log10(tone)
    steady &= tone > 0.0
    best, run = (0, 0), (0, 0)  # first block, number of blocks
    for place in range(len(tone)):
        goes_on = run[1] > 0 and abs(level_db[place] - level_db[run[0]]) <= LARGEST_STEP_DB
        goes_on = bool(goes_on and steady[place])
        run = (run[0], run[1] + 1) if goes_on else (place, int(steady[place]))
        best = max(best, run, key=lambda one: one[1])
    first, n_blocks = best
    # A block at either end may hold the switching on or off.
    inner = (
        slice(first + 1, first + n_blocks - 1) if n_blocks > LEAST_S / BLOCK_S + 2 else slice(first, first + n_blocks)
    )
    if n_blocks * block_s < LEAST_S:
        return None
    spectrum = power[inner].mean(axis=0) * near
    return Tone(
        frequency_hz=float(np.sum(frequency_hz * spectrum) / np.sum(spectrum)),
        rms=float(np.sqrt(tone[inner].mean())),
        drift_db=float(np.ptp(level_db[inner])),
        begins_s=first * block_s,
        lasts_s=n_blocks * block_s,
    )
