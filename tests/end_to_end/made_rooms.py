"""Sessions drawn from a seed: rooms, channels, a change, placement errors; the truth is what the functions say."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np

from .session_writer import ComplexArray, FloatArray, Folder, Room, grid, smooth_error_db

Change = Callable[[FloatArray], ComplexArray]


def unchanged(frequency_hz: FloatArray) -> ComplexArray:
    """A change that changes nothing."""
    return np.ones(len(frequency_hz), dtype=complex)


def add_takes(
    folder: Folder,
    changes: Mapping[str, Change],
    *,
    seed: int,
    repeats: Mapping[str, int] | int = 3,
    channels: Sequence[str | None] = (None,),
    placement_sd_db: float = 0.3,
    playing: str = "main",
    point: str = "seat",
    in_place: bool = False,
    phase: bool = False,
    frequency_hz: FloatArray | None = None,
    seats: Sequence[str | None] | None = None,
) -> Folder:
    """Takes of each condition at each seat and channel: the place's room, the condition's change, a placement error.

    The errors hang on the seed and on the place of the take in the session, never on the condition's name. At an
    amplifier there is no room.
    """
    frequency = grid() if frequency_hz is None else frequency_hz
    for place, seat in enumerate(seats or (list(folder.seats) if point == "seat" else [None])):
        for side, channel in enumerate(channels):
            room = Room(seed=1000 * seed + 10 * place + side) if point == "seat" else unchanged
            for name, change in changes.items():
                draw = np.random.default_rng([seed, place, side, len(name), *name.encode()])
                clean = room(frequency) * change(frequency)
                for repeat in range(repeats if isinstance(repeats, int) else repeats[name]):
                    error_db = smooth_error_db(draw, frequency, placement_sd_db)
                    folder.add(
                        name,
                        seat,
                        repeat + 1,
                        frequency,
                        20 * np.log10(np.abs(clean)) + error_db,
                        np.rad2deg(np.angle(clean)) if phase else None,
                        channel=channel,
                        playing=playing,
                        point=point,
                        in_place=in_place,
                    )
    return folder
