"""The parts that a balance weighs: each requirement, benefit and harm with its state and the finding behind it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from fairhearing.api import Comparison, Finding, Inputs
from fairhearing_builtins.analysers.listening import LOOKS_CAVEAT

State = Literal["shown", "refuted", "not-shown", "undecided"]
Role = Literal["requirement", "benefit", "harm"]

PLAYING_ORDER = ("both", "main", None)
ELECTRICAL_FIRST = ("amplifier-output", "amplifier-input", "seat", None)
SEATS_FIRST = ("seat", None, "amplifier-output", "amplifier-input")


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """Which verdicts of a quantity show a word of the criteria, and which refute it."""

    quantity: str
    shown: frozenset[str]
    refuted: frozenset[str]
    points: tuple[str | None, ...] = SEATS_FIRST


def _decision(quantity: str, shown: str, refuted: str, points: tuple[str | None, ...] = SEATS_FIRST) -> Decision:
    showing, refuting = frozenset(shown.split()), frozenset(refuted.split())
    return Decision(quantity=quantity, shown=showing, refuted=refuting, points=points)


NO_SEAT_WORSE = "no-seat-worse"
WORDS: dict[str, Decision] = {
    "as-set": _decision("corner_ratio", "as-set", "mis-set", ELECTRICAL_FIRST),
    "untouched": _decision("guard_band_change", "untouched", "touched"),
    "matched": _decision("level_difference", "matched", "unmatched", ELECTRICAL_FIRST),
    # "Not shown" is not "no difference": nothing refutes it.
    "heard": _decision("proportion_correct", "heard", ""),
    "improved": _decision("target_deviation_change", "improved", "unchanged worse"),
    "preferred": _decision("preference_share", "preferred", "not-preferred"),
    "better": _decision("rating_difference", "better", "worse"),
    "relief": _decision("subsonic_level_change", "relief", "no-relief", ELECTRICAL_FIRST),
}
HARMS: dict[str, Decision] = {
    "target-worse": _decision("target_deviation_change", "worse", "improved unchanged"),
    "spread-worse": _decision("seat_spread_change", "worse", "improved unchanged"),
    "rated-worse": _decision("rating_difference", "worse", "better"),
    "not-preferred": _decision("preference_share", "not-preferred", "preferred"),
}
# Where looks were planned this variant has the verdict: the headline's p does not allow for them.
BY_LOOKS = ("proportion_correct", "sequential")
CAUTIONING = frozenset({"seat_audit", "drift"})  # they decide nothing, but may cast doubt on what does
QUANTITIES_READ = frozenset(decision.quantity for decision in (*WORDS.values(), *HARMS.values())) | CAUTIONING


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One thing weighed: its word, its role, its state and the finding that decides it (None: there is none)."""

    word: str
    role: Role
    state: State
    quantity: str
    finding: Finding | None = None
    seat: str | None = None
    note: str = ""

    @property
    def words(self) -> str:
        """The part as it stands in `method`."""
        where = f" at seat {self.seat}" if self.seat is not None else ""
        return f"{self.word}{where} {self.state} ({self.note or in_words(self.quantity, self.finding)})"


def in_words(quantity: str, finding: Finding | None) -> str:
    """A finding as a short text: quantity, value with interval, verdict."""
    if finding is None:
        return f"{quantity}: no finding"
    unit = "" if finding.unit in ("1", "") else f" {finding.unit}"
    value = "no value" if finding.value is None else f"{finding.value:.3g}{unit}"
    if finding.low is not None and finding.high is not None:
        value += f", {finding.low:.3g} to {finding.high:.3g}"
    looks = " by the planned looks" if (quantity, finding.variant) == BY_LOOKS else ""
    return f"{quantity} {value}, {finding.verdict or 'no verdict'}{looks}"


def parts_of(inputs: Inputs, comparison: Comparison) -> tuple[Part, ...]:
    """Every requirement, benefit and harm of one condition against the reference, in that order."""
    criteria = inputs.session.criteria
    parts = [_part(inputs, comparison, word, "requirement") for word in criteria.require]
    parts += [_part(inputs, comparison, word, "benefit") for word in criteria.benefit]
    return (*parts, *_harms(inputs, comparison))


def _part(inputs: Inputs, comparison: Comparison, word: str, role: Role) -> Part:
    if word == NO_SEAT_WORSE:
        return _no_seat_worse(inputs, comparison, role)
    decision = WORDS[word]
    finding = over_all(inputs.findings, comparison, decision)
    state = _state(finding, decision, role)
    return Part(word=word, role=role, state=state, quantity=decision.quantity, finding=finding)


def _state(finding: Finding | None, decision: Decision, role: Role) -> State:
    """What a finding says of a word; a benefit without a value is undecided whatever its verdict."""
    if finding is None or finding.verdict in (None, "undecided"):
        return "undecided"
    if role == "benefit" and finding.value is None:
        return "undecided"
    if finding.verdict in decision.shown:
        return "shown"
    return "refuted" if finding.verdict in decision.refuted else "not-shown"


def _harms(inputs: Inputs, comparison: Comparison) -> list[Part]:
    harms = []
    for word, decision in HARMS.items():
        finding = over_all(inputs.findings, comparison, decision)
        state = _state(finding, decision, "harm")
        harms.append(Part(word=word, role="harm", state=state, quantity=decision.quantity, finding=finding))
        if word == "target-worse":
            for seat, own in _at_seats(inputs, comparison).items():
                if own is not None:
                    state = _state(own, decision, "harm")
                    harms.append(
                        Part(word=word, role="harm", state=state, quantity=decision.quantity, finding=own, seat=seat)
                    )
    return harms


def _no_seat_worse(inputs: Inputs, comparison: Comparison, role: Role) -> Part:
    """Shown if every seat's high is below the smallest change, refuted if a seat is worse."""
    limit_db = inputs.session.criteria.smallest_change_db
    seats = _at_seats(inputs, comparison)
    worse = [seat for seat, own in seats.items() if own is not None and own.verdict == "worse"]
    open_seats = [seat for seat, own in seats.items() if own is None or own.high is None or own.high >= limit_db]
    measured = [(own.high, seat, own) for seat, own in seats.items() if own is not None and own.high is not None]
    highest = max(measured, key=lambda entry: (entry[0], entry[1]))[2] if measured else None
    state: State
    if worse:
        state, note, finding = "refuted", f"worse at {', '.join(worse)}", seats[worse[0]]
    elif not seats:
        state, note, finding = "undecided", "no seat counts", None
    elif open_seats:
        state, note = "undecided", f"open at {', '.join(open_seats)}"
        finding = seats[open_seats[0]] if seats[open_seats[0]] is not None else highest
    else:
        state, note, finding = "shown", f"at all seats below {limit_db:g} dB", highest
    return Part(
        word=NO_SEAT_WORSE,
        role=role,
        state=state,
        quantity="target_deviation_change",
        finding=finding,
        note=f"target_deviation_change {note}",
    )


def seat_caveats(inputs: Inputs, comparison: Comparison) -> list[str]:
    """What casts doubt on the seats' verdicts: chance where many were looked at, drift during the session."""
    caveats = []
    seats = _at_seats(inputs, comparison)
    worse = [seat for seat, own in seats.items() if own is not None and own.verdict == "worse"]
    audits = _at_seats(inputs, comparison, "seat_audit")
    together = [own.verdict for seat in worse if (own := audits[seat]) is not None]
    if worse and len(together) == len(worse) and "worse" not in together:
        caveats.append(
            f"worse at {', '.join(worse)} may be chance: {len(seats)} seats were looked at, and taken together none is "
            "shown to be worse (seat_audit)"
        )
    compared = {comparison.condition.id, comparison.reference.id}
    drifted = [
        f"{one.condition} at {one.seat}"
        for one in inputs.findings
        if one.quantity == "drift" and one.verdict == "drifted" and one.condition in compared and one.seat is not None
    ]
    if drifted:
        caveats.append(f"something drifted before the end of the session: {', '.join(sorted(set(drifted)))} (drift)")
    return caveats


# --- which finding counts ---------------------------------------------------------------------------------------------


def over_all(findings: Sequence[Finding], comparison: Comparison, decision: Decision) -> Finding | None:
    """The headline over all seats, channels, programmes and listeners, or its variant by planned looks; else None.

    A headline that does not allow for looks that were planned decides nothing.
    """
    over_seats = [finding for finding in findings if finding.seat is None]
    quantity, by_looks = BY_LOOKS
    if decision.quantity == quantity:
        looked = [finding for finding in over_seats if _is_headline(finding, comparison, quantity, by_looks)]
        if looked:
            return _first(looked, decision.points)
    candidates = [finding for finding in over_seats if _is_headline(finding, comparison, decision.quantity)]
    return _first([finding for finding in candidates if LOOKS_CAVEAT not in finding.caveats], decision.points)


def _at_seats(
    inputs: Inputs, comparison: Comparison, quantity: str = "target_deviation_change"
) -> dict[str, Finding | None]:
    """The finding of each seat that counts, in the order of session.toml."""
    found = {}
    for seat in inputs.session.seats:
        if seat.weight > 0:
            own = [f for f in inputs.findings if _is_headline(f, comparison, quantity) and f.seat == seat.id]
            found[seat.id] = _first(own, SEATS_FIRST)
    return found


def _is_headline(finding: Finding, comparison: Comparison, quantity: str, variant: str | None = None) -> bool:
    split = (finding.of, finding.channel, finding.programme, finding.listener)
    # A corner belongs to a condition; every other quantity to a condition against the reference.
    references = {comparison.reference.id, None} if quantity == "corner_ratio" else {comparison.reference.id}
    return (
        finding.quantity == quantity
        and finding.variant == variant
        and split == (None,) * 4
        and finding.condition == comparison.condition.id
        and finding.reference in references
    )


def _first(candidates: Sequence[Finding], points: tuple[str | None, ...]) -> Finding | None:
    """The finding at the point that counts most, and there with everything playing before the main loudspeakers."""

    def rank(finding: Finding) -> tuple[int, int]:
        point = points.index(finding.point) if finding.point in points else len(points)
        playing = PLAYING_ORDER.index(finding.playing) if finding.playing in PLAYING_ORDER else len(PLAYING_ORDER)
        return point, playing

    return min(candidates, key=rank, default=None)
