"""Recordings of one programme in several conditions: gathered by place, put in time with each other, looked over."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fairhearing.acoustics.low_bands import band_power, wide_power, window_band_power
from fairhearing.acoustics.low_spectrum import LowSpectrum
from fairhearing.acoustics.summaries import BlockLevels
from fairhearing.api import Recording
from fairhearing_builtins.analysers.recording_groups import LARGEST_SAMPLE, full_scale

FloatArray = npt.NDArray[np.float64]

LOW = LowSpectrum()
LEVELS = BlockLevels()
MIDBAND_HZ = (1000.0, 4000.0)
BASS_HZ = (20.0, 80.0)
LARGEST_DC_SHARE = 1 / 3
ASLEEP_DB, ALIKE_DB = 6.0, 1.0
SAME_CORRELATION = 0.5
# A steady sound has nothing to be put in time by; its level in a second moves less than this.
STEADY_DB = 1.5
LARGEST_LAG_S = 0.5  # shorter ones are no more than an eighth of the step of the windows
LENGTH_TOLERANCE_S = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """Where and what was recorded, whatever the condition."""

    point: str
    playing: str
    seat: str | None
    channel: str | None
    programme: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Shift:
    """How one recording lies against another: seconds that it begins later in the programme; whether it is the same.

    `same`: None where neither has enough ups and downs to tell.
    """

    lag_s: float
    same: bool | None


@dataclass(frozen=True, slots=True)
class Take:
    """One recording; powers are means over its channels, in pascal or volt squared if it is calibrated."""

    recording: Recording

    @property
    def low(self) -> Mapping[str, FloatArray]:
        """Arrays of the low spectrum."""
        return self.recording.summary(LOW)

    @property
    def scale(self) -> float:
        """What a sample of 1.0 is, in pascal or volt; 1 if that is not known."""
        return full_scale(self.recording)

    @property
    def duration_s(self) -> float:
        """Of what the low spectrum holds."""
        return float(self.low["duration_s"][0])

    @property
    def long_enough(self) -> bool:
        """Whether it holds two periods of the lowest frequency."""
        return bool(np.isfinite(self.low["cell_power"]).all())

    def power(self, lower_hz: float, upper_hz: float) -> float:
        """Mean square of a band; NaN if it is too short."""
        return float(band_power(self.low, lower_hz, upper_hz).mean()) * self.scale**2

    def windows(self, lower_hz: float, upper_hz: float) -> FloatArray:
        """Mean square of a band in each window."""
        found = window_band_power(self.low, lower_hz, upper_hz, LOW.lowest_hz)
        mean: FloatArray = found.mean(axis=1) * self.scale**2
        return mean

    @property
    def mean_square(self) -> FloatArray:
        """Of all frames, per channel, full scale squared."""
        blocks = self.recording.summary(LEVELS)
        found: FloatArray = np.average(blocks["mean_square"], axis=0, weights=blocks["n_frames"])
        return found

    @property
    def midband_power(self) -> float:
        """Mean square of 1000-4000 Hz."""
        return float(wide_power(self.low, *MIDBAND_HZ).mean()) * self.scale**2

    @property
    def envelope_db(self) -> FloatArray:
        """Level of 200-400 Hz along time."""
        power = self.low["envelope"].mean(axis=1)
        floor = max(float(power.max(initial=0.0)) * 1e-6, 1e-30)
        level: FloatArray = 10 * np.log10(np.maximum(power, floor))
        return level

    def caveats(self) -> list[str]:
        """What is odd about this recording by itself."""
        said, path = [], self.recording.path
        if float(self.recording.summary(LEVELS)["peak"].max(initial=0.0)) >= LARGEST_SAMPLE:
            said.append(f"{path} reaches full scale: it may be clipped")
        square = self.mean_square
        offset = self.low["mean"] ** 2
        share = float(offset.sum() / square.sum()) if square.sum() > 0 else 0.0
        if share > LARGEST_DC_SHARE:
            said.append(f"{path} holds a steady offset of {100 * share:.0f} % of its power; it was taken out")
        return said


Cells = Mapping[Spot, Mapping[str, Sequence[Take]]]


def gathered(recordings: Iterable[Recording]) -> dict[Spot, dict[str, list[Take]]]:
    """The repeats by spot and condition; in an order that no name of a file decides."""
    cells: dict[Spot, dict[str, list[Take]]] = {}
    for one in recordings:
        if one.condition is None:
            continue
        spot = Spot(point=one.point, playing=one.playing, seat=one.seat, channel=one.channel, programme=one.programme)
        cells.setdefault(spot, {}).setdefault(one.condition, []).append(Take(one))
    for conditions in cells.values():
        for takes in conditions.values():
            takes.sort(key=lambda take: (take.duration_s, *take.low["mean"].tolist(), take.recording.path))
    return dict(sorted(cells.items(), key=lambda item: [str(getattr(item[0], n) or "") for n in Spot.__slots__]))


def shift_between(one: Take, other: Take) -> Shift:
    """How much later in the programme `one` begins than `other`, from the ups and downs of their levels."""
    step_s = float(one.low["envelope_step_s"][0])
    a, b = one.envelope_db, other.envelope_db
    if min(len(a), len(b)) < 2:
        return Shift(lag_s=0.0, same=None)
    n = 1 << (len(a) + len(b)).bit_length()
    product = np.conj(np.fft.rfft(a - a.mean(), n)) * np.fft.rfft(b - b.mean(), n)
    correlation = np.fft.irfft(product, n)
    most = min(len(a), len(b)) // 2
    lags = np.arange(-most, most + 1)
    lag = int(lags[np.argmax(correlation[lags])])
    common_a, common_b = (a[: len(b) - lag], b[lag:]) if lag >= 0 else (a[-lag:], b[: len(a) + lag])
    n_common = min(len(common_a), len(common_b))
    common_a, common_b = common_a[:n_common], common_b[:n_common]
    spread = float(common_a.std() * common_b.std())
    alike = float(np.mean((common_a - common_a.mean()) * (common_b - common_b.mean()))) / spread if spread else 0.0
    if alike >= SAME_CORRELATION:
        return Shift(lag_s=lag * step_s, same=True)
    steady = max(_wander_db(a, step_s), _wander_db(b, step_s)) < STEADY_DB
    return Shift(lag_s=0.0, same=None if steady else False)


def _wander_db(envelope_db: FloatArray, step_s: float) -> float:
    """Standard deviation of the mean level of a second."""
    n = max(1, round(1.0 / step_s))
    n_whole = len(envelope_db) // n
    return float(envelope_db[: n_whole * n].reshape(n_whole, n).mean(axis=1).std()) if n_whole > 1 else 0.0


def in_time(series: Sequence[FloatArray], lags_s: Sequence[float], hop_s: float) -> list[FloatArray]:
    """The stretch that all have in common; `lags_s`: how much later in the programme each begins."""
    steps = [round(lag / hop_s) for lag in lags_s]
    first = max(steps)
    last = min(step + len(values) for step, values in zip(steps, series, strict=True))
    return [values[first - step : max(first, last) - step] for step, values in zip(steps, series, strict=True)]


def asleep(takes: Sequence[Take]) -> list[str]:
    """Repeats without the bass that the others have, with the same mids: as if a subwoofer had slept."""
    if len(takes) < 2 or not all(take.long_enough for take in takes):
        return []
    bass = np.array([take.power(*BASS_HZ) for take in takes])
    mids = np.array([take.midband_power for take in takes])
    if not (np.isfinite(bass).all() and (bass > 0).all() and (mids > 0).all()):
        return []
    bass_db, mids_db = 10 * np.log10(bass), 10 * np.log10(mids)
    said = []
    for index, take in enumerate(takes):
        others = [k for k in range(len(takes)) if k != index]
        less_bass = float(np.max(bass_db[others])) - float(bass_db[index])
        same_mids = abs(float(np.median(mids_db[others])) - float(mids_db[index]))
        if less_bass > ASLEEP_DB and same_mids < ALIKE_DB:
            said.append(
                f"{take.recording.path} has {less_bass:.0f} dB less at 20-80 Hz than its repeats and the same mids: "
                "a subwoofer that slept?"
            )
    return said
