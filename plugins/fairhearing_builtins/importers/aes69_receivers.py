"""Which seat each receiver of an AES69 file stands at, and which channel each emitter is."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from fairhearing.api import ImportProblem, MeasurementFile, Session, nearest
from fairhearing_builtins.importers.aes69_container import Container, FloatArray

# A microphone put back at a seat is a hand's breadth off; seats are further apart than twice this.
NEAREST_M = 0.25
_METRE = frozenset({"metre", "meter", "m", "metres", "meters"})
_ID = re.compile(r"[A-Za-z0-9_-]+")
_DESCRIPTIONS = "ReceiverDescriptions"


@dataclass(frozen=True, slots=True, kw_only=True)
class Places:
    """The seat of each receiver (None away from the seats) and how that is known; caveats where it is assumed."""

    seats: tuple[str | None, ...]
    told: str
    caveats: tuple[str, ...] = ()


def places_of(container: Container, n_receivers: int, item: MeasurementFile, session: Session) -> Places:
    """The seats of the receivers: as session.toml says, by description, by position, or in order.

    Raises
    ------
    ImportProblem
        They cannot be told, or what the file says contradicts session.toml or itself.
    """
    described = _described(container, n_receivers, session)
    if item.seat is not None or item.point != "seat":
        return _place_said(container, n_receivers, described, item)
    if described is not None:
        return Places(seats=described, told="by its description")
    positions_m, lacking = _positions(container, n_receivers)
    known = [seat for seat in session.seats if seat.position_m is not None]
    if positions_m is not None and known:
        return _nearest(container, positions_m, session)
    if n_receivers != len(session.seats):
        raise container.problem(
            f"{n_receivers} receivers and {len(session.seats)} seats, and nothing says which is which "
            f"({lacking or 'no seat has a position_m'})",
            "ReceiverPosition",
            f"name the receivers by seat in {_DESCRIPTIONS}, or write position_m for each seat in session.toml",
        )
    order = ", ".join(seat.id for seat in session.seats)
    return Places(
        seats=tuple(seat.id for seat in session.seats),
        told="in the order of session.toml",
        caveats=(
            f"the receivers were taken as the seats in the order of session.toml ({order}): "
            f"{lacking or 'no seat has a position_m'}, and no description names them",
        ),
    )


def channels_of(container: Container, n_emitters: int, item: MeasurementFile) -> tuple[str | None, ...]:
    """The channel of each emitter: as session.toml says of the only one, else its description, else its number.

    Raises
    ------
    ImportProblem
        There are several and session.toml names one channel, or their descriptions are no different ids.
    """
    if n_emitters == 1:
        return (item.channel,)
    if item.channel is not None:
        raise container.problem(
            f"there are {n_emitters} emitters, and session.toml says that it is channel {item.channel!r}",
            "dimension E",
            f"leave the channel out (session.toml, line {item.line}): each emitter is then a channel of its own",
        )
    names = container.texts("EmitterDescriptions")
    if not names:
        return tuple(str(number) for number in range(1, n_emitters + 1))
    if len(set(names)) != n_emitters or not all(_ID.fullmatch(name) for name in names):
        raise container.problem(
            f"{n_emitters} emitters are described as {', '.join(map(repr, names))}",
            "EmitterDescriptions",
            "describe each by a word of its own, of letters, digits, - and _",
        )
    return names


def _place_said(
    container: Container, n_receivers: int, described: tuple[str, ...] | None, item: MeasurementFile
) -> Places:
    place = f"seat {item.seat!r}" if item.seat is not None else f"point {item.point!r}"
    if n_receivers != 1:
        raise container.problem(
            f"there are {n_receivers} receivers, and session.toml says that the file is of {place}",
            "dimension R",
            f"leave the seat out (session.toml, line {item.line}) so that each receiver is a seat, "
            "or write each receiver into a file of its own",
        )
    if described is not None and item.seat is not None and described != (item.seat,):
        raise container.problem(
            f"the receiver is described as seat {described[0]!r}, and session.toml says seat {item.seat!r}",
            _DESCRIPTIONS,
            f"correct one of them (session.toml, line {item.line})",
        )
    return Places(seats=(item.seat,), told="as session.toml says")


def _described(container: Container, n_receivers: int, session: Session) -> tuple[str, ...] | None:
    """The seats that the descriptions name; None if there are none or none of them names a seat."""
    names = container.texts(_DESCRIPTIONS)
    ids = [seat.id for seat in session.seats]
    if not any(name in ids for name in names):
        return None
    unknown = [name for name in names if name not in ids]
    if len(names) != n_receivers or unknown or len(set(names)) != len(names):
        shown = ", ".join(map(repr, names))
        raise container.problem(
            f"{n_receivers} receivers are described as {shown}, which is not a seat for each",
            _DESCRIPTIONS,
            nearest(unknown[0], ids) if unknown else "describe each receiver by the id of its own seat",
        )
    return names


def _positions(container: Container, n_receivers: int) -> tuple[FloatArray | None, str]:
    """Receivers in room coordinates (metre), or None and why there are none."""
    if not container.has("ReceiverPosition"):
        return None, "the file has no ReceiverPosition"
    if not _is_cartesian(container, "ReceiverPosition"):
        return None, "ReceiverPosition is not cartesian in metres"
    positions = _triples(container, "ReceiverPosition")
    if len(positions) != n_receivers:
        return None, f"ReceiverPosition has {len(positions)} positions"
    if len(np.unique(positions, axis=0)) < n_receivers:
        return None, "receivers share one position"
    if not container.has("ListenerPosition"):
        return positions, ""
    if not _is_cartesian(container, "ListenerPosition"):
        return None, "ListenerPosition is not cartesian in metres"
    rotation = _rotation(container)
    if rotation is None:
        return None, "ListenerView and ListenerUp give no direction in cartesian coordinates"
    return _triples(container, "ListenerPosition")[0] + positions @ rotation, ""


def _is_cartesian(container: Container, name: str) -> bool:
    units = {unit.strip().lower() for unit in container.attribute("Units", of=name).split(",")}
    return container.attribute("Type", of=name).lower() == "cartesian" and units <= _METRE


def _triples(container: Container, name: str) -> FloatArray:
    """Coordinates, shape (n, 3); those of the first measurement where there is a dimension M."""
    values = container.numbers(name)
    values = values.reshape(1, -1) if values.ndim == 1 else values
    values = values[..., 0] if values.ndim == 3 else values
    if values.ndim != 2 or values.shape[1] != 3 or not len(values):
        raise container.problem(f"the shape is {values.shape}; a position has three coordinates", name)
    return values


def _rotation(container: Container) -> FloatArray | None:
    """Rows: the listener's x (view), y and z (up) axes in room coordinates; None if they are not to be had."""
    axes = []
    for name, default in (("ListenerView", (1.0, 0.0, 0.0)), ("ListenerUp", (0.0, 0.0, 1.0))):
        if not container.has(name):
            axes.append(np.array(default))
            continue
        kind = container.attribute("Type", of=name) or container.attribute("Type", of="ListenerView")
        if kind.lower() != "cartesian":
            return None
        axes.append(_triples(container, name)[0])
    view, up = axes
    across = np.cross(up, view)
    if not np.linalg.norm(view) > 0 or not np.linalg.norm(across) > 0:
        return None
    view, across = view / np.linalg.norm(view), across / np.linalg.norm(across)
    return np.stack([view, across, np.cross(view, across)])


def _nearest(container: Container, positions_m: FloatArray, session: Session) -> Places:
    known = [seat for seat in session.seats if seat.position_m is not None]
    seats_m = np.array([seat.position_m for seat in known])
    distance_m = np.linalg.norm(positions_m[:, np.newaxis, :] - seats_m[np.newaxis, :, :], axis=2)
    chosen: list[str] = []
    for receiver, (distances, position) in enumerate(zip(distance_m, positions_m, strict=True), start=1):
        place = int(np.argmin(distances))
        shown = ", ".join(f"{value:.2f}" for value in position)
        if distances[place] > NEAREST_M:
            raise _unplaced(
                container,
                f"receiver {receiver} at ({shown}) m is {distances[place]:.2f} m from the nearest seat, "
                f"{known[place].id!r}; {NEAREST_M} m is the most",
            )
        if known[place].id in chosen:
            other = chosen.index(known[place].id) + 1
            raise _unplaced(container, f"receivers {other} and {receiver} are both nearest to seat {known[place].id!r}")
        chosen.append(known[place].id)
    return Places(seats=tuple(chosen), told="by its position")


def _unplaced(container: Container, what: str) -> ImportProblem:
    return container.problem(
        what,
        "ReceiverPosition",
        f"correct position_m of the seats in session.toml, or name the receivers by seat in {_DESCRIPTIONS}",
    )
