"""What a sample value of 1.0 stands for: as session.toml says, or from the recorded tone of a calibrator."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from fairhearing.acoustics.calibrator import Tone, calibrator_tone
from fairhearing.api import ImportProblem, MeasurementFile, Session
from fairhearing_builtins.importers.sound_samples import Channel, beside, read_sound

# IEC 61672-1:2013, 3.1: the reference of the sound pressure level, pascal.
REFERENCE_PA = 20e-6
_LONGEST_S = 600.0
# A calibrator that sits well holds its level to less than this (common practice).
_LARGEST_DRIFT_DB = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class FullScale:
    """Pressure (Pa) or voltage (V) of a sample value of 1.0, None if neither is known; how that is known."""

    pa: float | None = None
    v: float | None = None
    applied: tuple[str, ...] = ()
    caveats: tuple[str, ...] = ()

    @property
    def level_db(self) -> float:
        """What is added to levels re full scale: re 20 uPa or 1 V; 0 where neither is known."""
        if self.pa is not None:
            return float(20.0 * np.log10(self.pa / REFERENCE_PA))
        return 0.0 if self.v is None else float(20.0 * np.log10(self.v))


@dataclass(slots=True)
class Calibrators:
    """The full scale of each file of a session; a calibrator's recording is looked at once."""

    session: Session
    known: dict[tuple[str, float], FullScale | ImportProblem] = field(default_factory=dict)

    def full_scale(self, item: MeasurementFile) -> FullScale:
        """As session.toml says, else by the calibrator's tone, else unknown.

        Raises
        ------
        ImportProblem
            The calibrator's recording cannot be read, or no steady tone stands out in it.
        """
        if item.full_scale_pa is not None:
            said = f"sample value 1.0 is {item.full_scale_pa:g} Pa, as session.toml says"
            return FullScale(pa=item.full_scale_pa, applied=(said,))
        if item.full_scale_v is not None:
            said = f"sample value 1.0 is {item.full_scale_v:g} V, as session.toml says"
            return FullScale(v=item.full_scale_v, applied=(said,))
        if item.calibrator is None or item.calibrator_db is None:
            return FullScale()
        key = (item.calibrator, item.calibrator_db)
        if key not in self.known:
            try:
                self.known[key] = _by_calibrator(self.session, item, item.calibrator, item.calibrator_db)
            except ImportProblem as problem:
                self.known[key] = problem
        found = self.known[key]
        if isinstance(found, ImportProblem):
            raise found
        return found


def _by_calibrator(session: Session, item: MeasurementFile, name: str, level_db: float) -> FullScale:
    file = beside(session, replace(item, channel=None), name)
    sound = read_sound(file, _LONGEST_S, "the recording of a calibrator")
    tone, channel = _loudest(sound.channels, sound.rate_hz, file.path, item)
    pa = REFERENCE_PA * 10.0 ** (level_db / 20.0) / tone.rms
    where = f" of channel {channel.number}" if len(sound.channels) > 1 else ""
    told = (
        f"sample value 1.0 is {pa:.5g} Pa: the tone of {tone.frequency_hz:.1f} Hz{where} in {file.path}, "
        f"{20.0 * np.log10(tone.rms):.2f} dB re full scale (root mean square) over {tone.lasts_s:.1f} s, "
        f"is {level_db:g} dB"
    )
    caveats = [f"{file.path}: {caveat}" for caveat in sound.caveats]
    if tone.drift_db > _LARGEST_DRIFT_DB:
        caveats.append(
            f"{file.path}: the calibrator's level moves by {tone.drift_db:.2f} dB while it sounds: "
            "levels in Pa are as uncertain"
        )
    return FullScale(pa=pa, applied=(told,), caveats=tuple(caveats))


def _loudest(channels: Sequence[Channel], rate_hz: int, path: str, item: MeasurementFile) -> tuple[Tone, Channel]:
    """The tone of the channel that has it loudest."""
    found: list[tuple[Tone, Channel]] = []
    reasons = []
    for channel in channels:
        try:
            found.append((calibrator_tone(channel.samples, rate_hz), channel))
        except ValueError as error:
            reasons.append(str(error))
    if not found:
        raise ImportProblem(
            f"this is no recording of a calibrator: {reasons[0]}",
            where=f"{path} (session.toml, line {item.line})",
            try_="record the calibrator's tone on the microphone for some seconds, or write full_scale_pa instead",
        )
    return max(found, key=lambda pair: pair[0].rms)
