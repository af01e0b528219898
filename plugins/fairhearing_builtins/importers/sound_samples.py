"""All samples of a short file of sound, and what is doubtful about them: clipped, offset, silent, stored twice."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from fairhearing.api import ImportProblem, MeasurementFile, Session, SourceFile, unreadable
from fairhearing_builtins.importers.sound_format import no_sound, opened, sound_format

FloatArray = npt.NDArray[np.float64]

# Three neighbours at full scale are a flat top; one may be a peak that was set to it.
_FULL_SCALE, _FLAT_TOP = 0.9999, 3
# This much of the power in a steady offset is more than a converter's own.
_LARGEST_OFFSET_SHARE = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Channel:
    """One channel: its number in the file, from 1; what it is called (None: as session.toml says); its samples."""

    number: int
    name: str | None
    samples: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Sound:
    """The channels of a file that hold something of their own, and what is doubtful about them."""

    rate_hz: int
    n_frames: int
    channels: tuple[Channel, ...]
    caveats: tuple[str, ...] = ()

    @property
    def duration_s(self) -> float:
        """Second."""
        return self.n_frames / self.rate_hz


def read_sound(file: SourceFile, longest_s: float, what: str) -> Sound:
    """The samples of a file of at most `longest_s`; `what` says in words what it should be.

    Silent channels, and those that another one holds too, are left out with a caveat. Channels are called by their
    number where more than one is left.

    Raises
    ------
    ImportProblem
        The file is cut, empty, damaged, too long, silent, or holds what is no finite number; or session.toml names one
        channel and there are several.
    """
    found = sound_format(file)
    form = found.format
    duration_s = form.n_frames / form.rate_hz
    if duration_s > longest_s:
        raise ImportProblem(
            f"the file lasts {duration_s:.0f} s; {what} lasts {longest_s:.0f} s at most",
            where=file.path,
            try_="check its kind in session.toml, or cut the file to what belongs to it",
        )
    samples = _samples(file)
    if len(samples) < form.n_frames:
        raise ImportProblem(
            f"the file ends after frame {len(samples)} of {form.n_frames}",
            where=file.path,
            try_="copy the file again from where it was recorded",
        )
    _check_finite(samples, form.rate_hz, file.path)
    caveats = list(found.caveats)
    kept = list(_own_channels(samples, caveats))
    if not kept:
        raise ImportProblem(
            "all samples are the same: there is no sound in it", where=file.path, try_="record or export it again"
        )
    channels = _named(file, [number for number, _ in kept])
    for number, values in kept:
        caveats += _doubts(values, f"channel {number}" if samples.shape[1] > 1 else "the sound")
    return Sound(
        rate_hz=form.rate_hz,
        n_frames=form.n_frames,
        channels=tuple(
            Channel(number=number, name=name, samples=values)
            for (number, values), name in zip(kept, channels, strict=True)
        ),
        caveats=tuple(caveats),
    )


def beside(session: Session, item: MeasurementFile, name: str) -> SourceFile:
    """A file that session.toml names for another one, as an importer would get it; without its hash.

    Raises
    ------
    ImportProblem
        It cannot be read.
    """
    path = str(Path(name)).replace("\\", "/")
    location = session.folder / name
    try:
        with location.open("rb") as stream:
            head = stream.read(1 << 12)
        size = location.stat().st_size
    except OSError as error:
        raise unreadable(error, path) from error
    return SourceFile(item=item, path=path, data=head, location=location, size=size)


def _samples(file: SourceFile) -> FloatArray:
    """(n_frames, n_channels), full scale 1.0."""
    import soundfile

    with ExitStack() as stack:
        try:
            with soundfile.SoundFile(opened(file, stack)) as sound:
                values: FloatArray = sound.read(dtype="float64", always_2d=True)
                return values
        except soundfile.SoundFileError as error:
            raise no_sound(file, error) from error
        except OSError as error:
            raise unreadable(error, file.path) from error


def _check_finite(samples: FloatArray, rate_hz: int, path: str) -> None:
    unusable = np.argwhere(~np.isfinite(samples))
    if len(unusable):
        frame, channel = (int(place) for place in unusable[0])
        raise ImportProblem(
            f"the sample of channel {channel + 1} in frame {frame} ({frame / rate_hz:.3f} s) is "
            f"{samples[frame, channel]}, not a finite number",
            where=path,
            try_="export the file anew, in whole-number samples if it can be had",
        )


def _own_channels(samples: FloatArray, caveats: list[str]) -> Iterator[tuple[int, FloatArray]]:
    """Number and samples of each channel that is not silent, and not the same as one before it."""
    kept: list[tuple[int, FloatArray]] = []
    n_channels = samples.shape[1]
    for number in range(1, n_channels + 1):
        values = np.ascontiguousarray(samples[:, number - 1])
        twin = next((other for other, theirs in kept if np.array_equal(values, theirs)), None)
        if np.ptp(values) == 0.0:
            if n_channels > 1:
                caveats.append(f"channel {number} is silent: left out")
        elif twin is not None:
            caveats.append(f"channel {number} is the same as channel {twin}: one channel stored twice, taken once")
        else:
            kept.append((number, values))
            yield number, values


def _named(file: SourceFile, numbers: list[int]) -> list[str | None]:
    item = file.item
    assert isinstance(item, MeasurementFile)
    if len(numbers) == 1:
        return [item.channel]
    if item.channel is not None:
        raise ImportProblem(
            f"the file has {len(numbers)} channels, and session.toml says that it is channel {item.channel!r}",
            where=f"{file.path} (session.toml, line {item.line})",
            try_="leave the channel out: each is then called by its number; or save each into a file of its own",
        )
    return [str(number) for number in numbers]


def _doubts(values: FloatArray, of: str) -> Iterator[str]:
    """Caveats on one channel."""
    full = np.abs(values) >= _FULL_SCALE
    if np.any(np.convolve(full, np.ones(_FLAT_TOP, dtype=int)) >= _FLAT_TOP):
        yield f"{of} is clipped: {np.count_nonzero(full)} samples stand at full scale, some of them side by side"
    share = float(values.mean() ** 2 / np.mean(values**2))
    if share > _LARGEST_OFFSET_SHARE:
        yield f"{of} has a steady offset of {values.mean():.3g} of full scale, {100 * share:.0f} % of its power"
