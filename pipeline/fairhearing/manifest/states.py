"""What is to be warned of in the states that are compared: more than one change, a boost behind a misplaced corner."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from fairhearing.acoustics.boost import BOOST_FREQUENCIES_HZ, BOOST_WARNING_DB, boost_remainder_db
from fairhearing.acoustics.network import line_corner_hz
from fairhearing.acoustics.wiring import channels_of, line_network, meant_corner_hz
from fairhearing.session import Condition


@dataclass(frozen=True, slots=True, kw_only=True)
class _Remainder:
    """What a boost leaves too much at `BOOST_FREQUENCIES_HZ`, dB, and the corner that it stands behind, if any."""

    too_much_db: tuple[float, ...]
    corner_hz: float | None
    channel: str | None = None


def state_warnings(conditions: Sequence[Condition]) -> tuple[str, ...]:
    """A line for each condition in which more than one thing changes, and for each in which a boost is a hazard."""
    reference = [condition for condition in conditions if condition.reference]
    found = [more_than_one_change(one, reference[0]) for one in conditions if reference and not one.reference]
    found += [boost_hazard(condition, conditions) for condition in conditions]
    return tuple(line for line in found if line is not None)


def more_than_one_change(condition: Condition, reference: Condition) -> str | None:
    """The warning that more than one thing changes; None where it is one or none."""
    changed = condition.changes_from(reference)
    if len(changed) < 2:
        return None
    named = ", ".join(changed)
    between = f"between {condition.id} and {reference.id}"
    return f"{len(changed)} things change {between}: {named}: the result cannot tell them apart"


def boost_hazard(condition: Condition, conditions: Iterable[Condition]) -> str | None:
    """The warning that a boost leaves far too much in a condition, from the chain as written; None where it does not.

    A boost that is said to be on is judged with the filter in or out. Where the bass is given back and nothing is
    said of a boost, one for the meant corner is taken, behind the filter.
    """
    said = condition.equipment.boost_is_on
    if condition.equipment.boost == "off" or not (said or _may_be_boosted(condition)):
        return None
    boost_hz = condition.equipment.boost_corner_hz or _meant_hz([condition, *conditions])
    if boost_hz is None:
        return None
    worst = max(_remainders(condition, boost_hz), key=lambda one: max(one.too_much_db), default=None)
    if worst is None or max(worst.too_much_db) <= BOOST_WARNING_DB:
        return None
    levels = ", ".join(
        f"{level_db:.1f} dB at {frequency_hz:g} Hz"
        for frequency_hz, level_db in zip(BOOST_FREQUENCIES_HZ, worst.too_much_db, strict=True)
    )
    boost = f"the boost made for {boost_hz:.4g} Hz" if said else f"a boost made for {boost_hz:.4g} Hz, if one is on,"
    where = "plays with the filter out"
    if worst.corner_hz is not None:
        channel = f" {worst.channel}" if worst.channel else ""
        where = f"stands behind a corner{channel} of {worst.corner_hz:.1f} Hz ({worst.corner_hz / boost_hz:.3f} times)"
    return (
        f"condition {condition.id}: {boost} {where} and leaves too much by {levels}, a danger to the driver: "
        "turn the boost down before this state is played"
    )


def _may_be_boosted(condition: Condition) -> bool:
    return condition.chain.names_filter and condition.chain.gives_bass_back


def _meant_hz(conditions: Iterable[Condition]) -> float | None:
    """The first corner that is meant, this condition's own before that of the others."""
    meant = (meant_corner_hz(condition.chain) for condition in conditions)
    return next((corner_hz for corner_hz in meant if corner_hz is not None), None)


def _remainders(condition: Condition, boost_hz: float) -> list[_Remainder]:
    """For each channel that is set apart; none where a filter is in whose corner cannot be told."""
    found = []
    most_db = condition.equipment.boost_db
    for channel in channels_of(condition.chain):
        network = line_network(condition.chain, channel) if condition.chain.names_filter else None
        if network is None and condition.chain.names_filter:
            continue
        too_much_db = tuple(boost_remainder_db(f, boost_hz, network, most_db) for f in BOOST_FREQUENCIES_HZ)
        corner_hz = None if network is None else line_corner_hz(network)
        found.append(_Remainder(too_much_db=too_much_db, corner_hz=corner_hz, channel=channel))
    return found
