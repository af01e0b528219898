"""Which plug-ins cannot stand beside each other, and which of them give way: one name, one quantity, needs in a circle.

A plug-in gives way to one of a distribution that its own builds on: what it states in its requirements, and the
distribution that holds this module, since no plug-in loads without it. Where neither builds on the other nobody can say
whose the name or the quantity is, and neither is used. So no stranger can put out of use what others build on.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from importlib.metadata import EntryPoint

from fairhearing.contracts import Analyser, Importer, Reporter
from fairhearing.hookspecs import PROJECT

Plugin = Importer | Analyser | Reporter
_FOR_AN_EXTRA = re.compile(r";.*\bextra *==")


@dataclass(frozen=True, slots=True, eq=False)
class Offer:
    """A plug-in with the entry point that offers it, and the name of the distribution that ships it."""

    kind: str
    plugin: Plugin
    entry_point: EntryPoint
    distribution: str = field(init=False)

    def __post_init__(self) -> None:
        """Read the name once: each look at it parses the whole metadata."""
        object.__setattr__(self, "distribution", distribution_of(self.entry_point)[0])

    def named(self) -> str:
        """Name and distribution, for a reason."""
        return f"{self.plugin.name} ({self.distribution})"


@dataclass(frozen=True, slots=True)
class Refused:
    """A plug-in that is not used, why, and what to try."""

    offer: Offer
    reason: str
    try_: str


@dataclass(frozen=True, slots=True)
class Standing:
    """Those that are used, analysers in the order in which they run, and those that are not."""

    used: tuple[Offer, ...] = ()
    refused: tuple[Refused, ...] = ()


def stand_together(offers: Sequence[Offer]) -> Standing:
    """Of all that is offered, what can be used together."""
    builds_on = _builds_on(offers)
    named, doubled = _one_for_each(offers, lambda o: {o.plugin.name}, _same_name, builds_on)
    analysers = [offer for offer in named if offer.kind == "analyser"]
    others = [offer for offer in named if offer.kind != "analyser"]
    single, claimed = _one_for_each(analysers, _quantities, _same_quantity, builds_on, _one_maker)
    straight, circular = _without_circles(single, builds_on)
    return Standing(used=(*others, *_in_order(straight)), refused=(*doubled, *claimed, *circular))


def distribution_of(entry_point: EntryPoint) -> tuple[str, str]:
    """Name and version of the distribution that an entry point is of."""
    dist = entry_point.dist
    return (dist.name, dist.version) if dist is not None else ("unknown distribution", "")


# --- who builds on whom -----------------------------------------------------------------------------------------------

BuildsOn = Callable[[Offer, Offer], bool]


def _builds_on(offers: Iterable[Offer]) -> BuildsOn:
    """Whether the distribution of one offer builds on that of another, directly or through others that are offered."""
    one_of_each = {_normal(offer.distribution): offer for offer in offers}
    direct = {name: _required(offer) for name, offer in one_of_each.items()}
    all_of = {name: _closure(name, direct) for name in direct}

    def builds_on(one: Offer, other: Offer) -> bool:
        below = _normal(other.distribution)
        return below != _normal(one.distribution) and below in all_of[_normal(one.distribution)]

    return builds_on


def _required(offer: Offer) -> frozenset[str]:
    """What a distribution requires, extras apart, and what holds this module."""
    stated = getattr(offer.entry_point.dist, "requires", None) or ()
    names = (re.match(r"[\w.-]+", line.strip()) for line in stated if not _FOR_AN_EXTRA.search(line))
    return frozenset({_normal(name[0]) for name in names if name} | {PROJECT}) - {_normal(offer.distribution)}


def _normal(name: str) -> str:
    return re.sub(r"[-_.]+", "-", name).lower()


def _closure(name: str, direct: Mapping[str, frozenset[str]]) -> frozenset[str]:
    reached: set[str] = set()
    waiting = [*direct[name]]
    while waiting:
        if (one := waiting.pop()) not in reached:
            reached.add(one)
            waiting += direct.get(one, ())
    return frozenset(reached)


# --- one name, one quantity -------------------------------------------------------------------------------------------


def _one_for_each(
    offers: Sequence[Offer],
    claims: Callable[[Offer], Iterable[str]],
    refusal: Callable[[Offer, str, Sequence[Offer], str | None], Refused],
    builds_on: BuildsOn,
    agreed: Callable[[Offer, Offer], bool] = lambda one, other: False,
) -> tuple[list[Offer], list[Refused]]:
    """Offers that alone have what they claim, or whose rivals all build on them; a refusal for each other one.

    `agreed`: whether two may claim the same.
    """
    claimants: dict[tuple[str, str], list[Offer]] = {}
    for offer in offers:
        for claim in claims(offer):
            claimants.setdefault((offer.kind, claim), []).append(offer)
    kept, refused = [], []
    for offer in offers:
        for claim in sorted(claims(offer)):
            others = [other for other in claimants[offer.kind, claim] if other is not offer]
            rivals = [other for other in others if not agreed(offer, other)]
            below = sorted({other.distribution for other in rivals if builds_on(offer, other)})
            if below or not all(builds_on(other, offer) for other in rivals):
                refused.append(refusal(offer, claim, rivals, " and ".join(below) or None))
                break
        else:
            kept.append(offer)
    return kept, refused


def _quantities(offer: Offer) -> frozenset[str]:
    return offer.plugin.quantities if isinstance(offer.plugin, Analyser) else frozenset()


def _one_maker(one: Offer, other: Offer) -> bool:
    """Two analysers of one distribution may state one quantity, each of something else."""
    return _normal(one.distribution) == _normal(other.distribution)


def _same_name(offer: Offer, name: str, rivals: Sequence[Offer], below: str | None) -> Refused:
    others = ", ".join(sorted({one.distribution for one in (offer, *rivals)}))
    count = "two" if len(rivals) == 1 else str(len(rivals) + 1)
    reason = f"{count} {offer.kind}s have the name {name!r} (from {others})"
    if below is None:
        return Refused(offer, reason, f"remove {_all_but_one(rivals)}, or rename it")
    return Refused(offer, reason, f"rename it in {offer.distribution}, which builds on {below} and gives way to it")


def _same_quantity(offer: Offer, quantity: str, rivals: Sequence[Offer], below: str | None) -> Refused:
    others = " and ".join(sorted(one.named() for one in rivals))
    reason = f"analyser {offer.plugin.name!r} declares the quantity {quantity!r}, which is also declared by {others}"
    if below is None:
        return Refused(offer, reason, f"remove {_all_but_one(rivals)}, or rename the quantity in it")
    where = f"{offer.distribution}, which builds on {below} and gives way to it"
    return Refused(offer, reason, f"rename the quantity in {where}")


def _all_but_one(rivals: Sequence[Offer]) -> str:
    return "one of them" if len(rivals) == 1 else "all but one of them"


# --- the order of analysers -------------------------------------------------------------------------------------------


def _without_circles(offers: Sequence[Offer], builds_on: BuildsOn) -> tuple[list[Offer], list[Refused]]:
    """First those go that build on another of their circle, then all that are in a circle still."""
    kept, refused = list(offers), []
    for giving_way in (True, False):
        awaited = _all_awaited(_waits(kept))
        circles = {
            offer: [offer, *(other for other in kept if other is not offer and _mutual(offer, other, awaited))]
            for offer in kept
        }
        for offer, circle in circles.items():
            if len(circle) > 1 and (not giving_way or any(builds_on(offer, other) for other in circle)):
                kept.remove(offer)
                names = ", ".join(sorted(other.plugin.name for other in circle))
                refused.append(Refused(offer, f"the needs of {names} form a circle", "let one of them need less"))
    return kept, refused


def _waits(offers: Sequence[Offer]) -> dict[Offer, list[Offer]]:
    """For each those whose findings it reads."""
    # Whether an object has what the protocol asks for takes long to see: asked once of each.
    analysers = [(offer, offer.plugin) for offer in offers if isinstance(offer.plugin, Analyser)]
    found: dict[Offer, list[Offer]] = {offer: [] for offer in offers}
    for one, reader in analysers:
        read = reader.needs.findings
        found[one] = [other for other, plugin in analysers if other is not one and read & plugin.quantities]
    return found


def _all_awaited(waits: Mapping[Offer, Sequence[Offer]]) -> dict[Offer, set[Offer]]:
    """For each all whose findings must be there before it runs, by however many steps."""
    found: dict[Offer, set[Offer]] = {}
    for offer in waits:
        reached: set[Offer] = set()
        waiting = [*waits[offer]]
        while waiting:
            if (one := waiting.pop()) not in reached:
                reached.add(one)
                waiting += waits[one]
        found[offer] = reached
    return found


def _mutual(one: Offer, other: Offer, awaited: Mapping[Offer, set[Offer]]) -> bool:
    return other in awaited[one] and one in awaited[other]


def _in_order(offers: Sequence[Offer]) -> list[Offer]:
    """Each after those whose findings it reads, else by name; there is no circle among them."""
    waits = _waits(offers)
    waiting = sorted(offers, key=lambda offer: offer.plugin.name)
    ordered: list[Offer] = []
    while waiting:
        ready = next(one for one in waiting if not any(other in waits[one] for other in waiting))
        ordered.append(ready)
        waiting.remove(ready)
    return ordered
