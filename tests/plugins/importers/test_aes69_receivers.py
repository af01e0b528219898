"""Which seat a receiver is: as session.toml says, by description, by position, in order; ambiguity is refused."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fairhearing.api import ImportProblem, MeasurementFile, Seat, Session
from fairhearing_builtins.importers.aes69_container import opened
from fairhearing_builtins.importers.aes69_receivers import Places, channels_of, places_of

from .aes69_files import aes69_bytes

POSITIONS = {"A": (3.2, 1.4, 1.15), "B": (4.0, 1.4, 1.15), "sofa": (3.2, 2.6, 1.0)}
AT_SEATS = np.array([POSITIONS["sofa"], POSITIONS["A"], POSITIONS["B"]])


def seats(**changes: tuple[float, float, float] | None) -> tuple[Seat, ...]:
    return tuple(Seat(id=name, position_m=position) for name, position in {**POSITIONS, **changes}.items())


def item(**said: object) -> MeasurementFile:
    return MeasurementFile(path="a.sofa", line=12, entry=0, kind="impulse", condition="in", **said)


def places(
    session: Session, n: int = 3, said: MeasurementFile | None = None, drop: tuple[str, ...] = (), **variables: object
) -> Places:
    with opened(aes69_bytes("GeneralFIR", drop=drop, **variables), "a.sofa") as container:
        return places_of(container, n, said or item(), session)


def with_seats(session: Session, *found: Seat) -> Session:
    return replace(session, seats=found)


@pytest.fixture
def room(session: Session) -> Session:
    return with_seats(session, *seats())


def characters(*names: str) -> np.ndarray:
    """Texts as netCDF keeps them: single characters, filled up with zeros."""
    width = max(map(len, names))
    return np.array([list(name.ljust(width, "\0")) for name in names]).astype("S1")


@pytest.mark.parametrize("kept_as", ["characters", "texts", "bytes", "attribute"])
def test_descriptions_name_the_seats_however_they_are_kept(kept_as: str, session: Session) -> None:
    names = ("sofa", "A", "B")
    kept = {
        "characters": characters(*names), "texts": np.array(names, dtype=object), "bytes": np.array(names, dtype="S4"),
        "attribute": "sofa, A, B",
    }[kept_as]  # fmt: skip
    assert places(session, ReceiverDescriptions=kept) == Places(seats=names, told="by its description")


@pytest.mark.parametrize("names", [("sofa", "A", "C"), ("sofa", "A", "A"), ("sofa", "A")])
def test_descriptions_that_name_no_seat_for_each_are_refused(names: tuple[str, ...], room: Session) -> None:
    with pytest.raises(ImportProblem, match="3 receivers are described as 'sofa', 'A'"):
        places(room, ReceiverDescriptions=characters(*names), ReceiverPosition=AT_SEATS)


def test_descriptions_that_name_no_seat_at_all_leave_it_to_the_positions(room: Session) -> None:
    found = places(room, ReceiverDescriptions=characters("mic 1", "mic 2", "mic 3"), ReceiverPosition=AT_SEATS)
    assert found == Places(seats=("sofa", "A", "B"), told="by its position")


@pytest.mark.parametrize("offset_m", [0.0, 0.24])
def test_positions_within_a_quarter_of_a_metre_are_the_nearest_seats(offset_m: float, room: Session) -> None:
    moved = AT_SEATS + np.array([0.0, 0.0, offset_m])
    for positions in (moved, moved[:, :, np.newaxis]):
        assert places(room, ReceiverPosition=positions).seats == ("sofa", "A", "B")


def test_a_position_further_off_is_refused_with_its_distance(room: Session) -> None:
    with pytest.raises(ImportProblem, match=r"receiver 2 at \(3.20, 1.40, 1.41\) m is 0.26 m from .* 'A'"):
        places(room, ReceiverPosition=AT_SEATS + np.array([[0, 0, 0], [0, 0, 0.26], [0, 0, 0]]))


def test_two_receivers_at_one_seat_are_refused(room: Session) -> None:
    with pytest.raises(ImportProblem, match="receivers 2 and 3 are both nearest to seat 'A'"):
        places(room, ReceiverPosition=np.array([POSITIONS["B"], (3.2, 1.4, 1.1), (3.2, 1.4, 1.2)]))


def test_positions_are_relative_to_the_listener_and_turn_with_its_view(room: Session) -> None:
    """View along +y: ahead of the listener lies +y, left of it -x (AES69, local coordinates; from memory)."""
    listener = np.array([3.0, 1.0, 1.0])
    relative = AT_SEATS - listener
    ahead_left_up = np.stack([relative[:, 1], -relative[:, 0], relative[:, 2]], axis=1)
    view = {"ListenerPosition": listener[np.newaxis], "ListenerView": np.array([[0.0, 2.0, 0.0]])}
    assert places(room, ReceiverPosition=ahead_left_up, **view).seats == ("sofa", "A", "B")
    with pytest.raises(ImportProblem, match="nearest seat"):
        places(room, ReceiverPosition=relative, **view)
    assert places(room, ReceiverPosition=relative, ListenerPosition=listener[np.newaxis]).seats == ("sofa", "A", "B")


@pytest.mark.parametrize(
    ("variables", "why"),
    [
        ({}, "the file has no ReceiverPosition"),
        ({"ReceiverPosition": np.zeros((3, 3))}, "receivers share one position"),
        ({"ReceiverPosition": AT_SEATS, "ReceiverPosition:Type": "spherical"}, "is not cartesian in metres"),
        ({"ReceiverPosition": AT_SEATS, "ReceiverPosition:Units": "feet"}, "is not cartesian in metres"),
        ({"ReceiverPosition": AT_SEATS[:1]}, "has 1 positions"),
    ],
)
def test_where_nothing_tells_them_the_order_counts_and_a_caveat_says_why(
    variables: dict, why: str, room: Session
) -> None:
    found = places(room, **variables)
    assert found.seats == ("A", "B", "sofa")
    assert why in found.caveats[0]
    if "ReceiverPosition" in variables:
        variables = {**variables, "ReceiverPosition": variables["ReceiverPosition"][:2]}
    with pytest.raises(ImportProblem, match="2 receivers and 3 seats") as caught:
        places(room, n=2, **variables)
    assert why in caught.value.what


def test_seats_without_positions_are_taken_in_order(session: Session) -> None:
    assert "no seat has a position_m" in places(session, ReceiverPosition=AT_SEATS).caveats[0]


def test_a_seat_that_session_toml_names_needs_one_receiver(room: Session) -> None:
    assert places(room, n=1, said=item(seat="B")) == Places(seats=("B",), told="as session.toml says")
    with pytest.raises(ImportProblem, match=r"3 receivers, and session.toml says that the file is of seat 'B'"):
        places(room, said=item(seat="B"))
    with pytest.raises(ImportProblem, match=r"described as seat 'A', and session.toml says seat 'B'"):
        places(room, n=1, said=item(seat="B"), ReceiverDescriptions=characters("A"))


def test_away_from_the_seats_there_is_one_receiver_and_no_seat(room: Session) -> None:
    assert places(room, n=1, said=item(point="amplifier-output")).seats == (None,)
    with pytest.raises(ImportProblem, match="of point 'amplifier-output'"):
        places(room, n=2, said=item(point="amplifier-output"))


def channels(n: int, said: MeasurementFile, **variables: object) -> tuple[str | None, ...]:
    with opened(aes69_bytes("GeneralFIR-E", **variables), "a.sofa") as container:
        return channels_of(container, n, said)


def test_emitters_are_channels_by_description_or_number() -> None:
    assert channels(1, item()) == (None,)
    assert channels(1, item(channel="left")) == ("left",)
    assert channels(2, item()) == ("1", "2")
    assert channels(2, item(), EmitterDescriptions=characters("left", "right")) == ("left", "right")
    with pytest.raises(ImportProblem, match=r"2 emitters, and session.toml says that it is channel 'left'"):
        channels(2, item(channel="left"))
    for names in (("left", "left"), ("front left", "right"), ("left",)):
        with pytest.raises(ImportProblem, match="2 emitters are described as"):
            channels(2, item(), EmitterDescriptions=characters(*names))
