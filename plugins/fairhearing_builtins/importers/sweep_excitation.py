"""The sweep that was played: the file that `excitation` names, read once and found to be an exponential sweep."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from fairhearing.acoustics.sweep import Sweep, find_sweep
from fairhearing.api import ImportProblem, MeasurementFile, Session
from fairhearing_builtins.importers.sound_samples import beside, read_sound

FloatArray = npt.NDArray[np.float64]
_LONGEST_S = 300.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Excitation:
    """The samples of a sweep, and what it is."""

    path: str
    samples: FloatArray
    rate_hz: int
    sweep: Sweep
    caveats: tuple[str, ...] = ()


@dataclass(slots=True)
class Excitations:
    """The sweeps of a session by the name that session.toml has for them."""

    session: Session
    known: dict[str, Excitation | ImportProblem] = field(default_factory=dict)

    def of(self, item: MeasurementFile) -> Excitation:
        """The sweep of a file.

        Raises
        ------
        ImportProblem
            session.toml names none, or it cannot be read, or is no exponential sweep.
        """
        if item.excitation is None:
            raise ImportProblem(
                "the entry of this sweep does not say what was played",
                where=f"{item.path} (session.toml, line {item.line})",
                try_='write excitation = "…" with the name of the sweep as it was played',
            )
        if item.excitation not in self.known:
            try:
                self.known[item.excitation] = _excitation(self.session, item, item.excitation)
            except ImportProblem as problem:
                self.known[item.excitation] = problem
        found = self.known[item.excitation]
        if isinstance(found, ImportProblem):
            raise found
        return found


def _excitation(session: Session, item: MeasurementFile, name: str) -> Excitation:
    # What the entry says of the channel is said of the recordings.
    file = beside(session, replace(item, channel=None), name)
    sound = read_sound(file, _LONGEST_S, "a sweep")
    where = f"{file.path} (session.toml, line {item.line})"
    if len(sound.channels) > 1:
        raise ImportProblem(
            f"the excitation has {len(sound.channels)} different channels",
            where=where,
            try_="save what was played on one channel, and name that file",
        )
    samples = sound.channels[0].samples
    try:
        sweep = find_sweep(samples, float(sound.rate_hz))
    except ValueError as error:
        raise ImportProblem(
            f"the excitation is no exponential sweep: {error}",
            where=where,
            try_="play an exponential (logarithmic) sweep, or export the impulse response and write kind = impulse",
        ) from error
    caveats = tuple(f"{file.path}: {caveat}" for caveat in sound.caveats)
    return Excitation(path=file.path, samples=samples, rate_hz=sound.rate_hz, sweep=sweep, caveats=caveats)
