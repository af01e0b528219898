"""Changes of programmes put together: over channels, seats and programmes, each with the interval that it can have."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from fairhearing_builtins.analysers.programme_blocks import ALONG_CAVEATS, Change
from fairhearing_builtins.analysers.programme_takes import Spot

FEWEST_PROGRAMMES = 3  # from which on programmes themselves tell the spread
MISSING = "without {names}, of which there is no value"
OVER_PROGRAMMES = "t over programmes"
ALONE = "about these programmes only: with three or more the spread between programmes would count"


def alike(changes: Sequence[Change], weights: Sequence[float]) -> Change:
    """Weighted mean of changes of one programme at several spots: they play the same, so their errors go together."""
    held = [(c, w) for c, w in zip(changes, weights, strict=True) if c.value is not None]
    n = min(change.n for change in changes)
    if not held:
        return Change(value=None, n=n, caveats=_caveats(changes))
    total = sum(weight for _, weight in held)
    return Change(
        value=sum(w * float(c.value or 0.0) for c, w in held) / total,
        standard_error=sum(w * c.standard_error for c, w in held) / total,
        degrees_of_freedom=min(c.degrees_of_freedom for c, _ in held),
        n=min(c.n for c, _ in held),
        caveats=_caveats([c for c, _ in held]),
    )


def over_programmes(changes: Mapping[str, Change]) -> Change:
    """Mean over programmes; t over them from three on, else what the blocks of each tell."""
    held = [change for change in changes.values() if change.value is not None]
    missing = [name for name, change in changes.items() if change.value is None]
    caveats = list(_caveats(held or list(changes.values())))
    n = min(change.n for change in held or changes.values())
    if not held:
        return Change(value=None, n=n, caveats=tuple(caveats))
    if missing:
        caveats.append(MISSING.format(names=", ".join(missing)))
    values = np.array([change.value for change in held], dtype=np.float64)
    k = len(held)
    if k >= FEWEST_PROGRAMMES:
        caveats = [caveat for caveat in caveats if caveat not in ALONG_CAVEATS]
        return Change(
            value=float(values.mean()),
            standard_error=float(values.std(ddof=1)) / math.sqrt(k),
            degrees_of_freedom=k - 1,
            n=n,
            caveats=tuple(caveats),
        )
    variances = np.array([change.standard_error**2 for change in held]) / k**2
    freedoms = np.array([change.degrees_of_freedom for change in held], dtype=np.float64)
    variance = float(variances.sum())
    # Welch and Satterthwaite.
    freedom = float(variance**2 / np.sum(variances**2 / freedoms)) if variance > 0 and freedoms.all() else 0.0
    if k > 1 or missing:
        caveats.append(ALONE)
    return Change(
        value=float(values.mean()),
        standard_error=math.sqrt(variance) if math.isfinite(variance) else math.nan,
        degrees_of_freedom=freedom if variance > 0 else float(freedoms.min()),
        n=n,
        caveats=tuple(dict.fromkeys(caveats)),
    )


def _caveats(changes: Sequence[Change]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(caveat for change in changes for caveat in change.caveats))


def combined(spots: Mapping[Spot, Change], weights: Mapping[str, float], *, everywhere: bool) -> dict[Spot, Change]:
    """All means over channels, seats (of weight above 0) and programmes of the changes at one point.

    Not `everywhere`: over channels and seats only, for each programme and over them.
    """
    found: dict[Spot, Change] = {}
    any_spot = next(iter(spots))
    seats = sorted({s.seat for s in spots if s.seat is not None})
    channels = sorted({s.channel for s in spots if s.channel is not None})
    programmes = sorted({s.programme for s in spots}, key=lambda p: p or "")

    def spot(seat: str | None, channel: str | None, programme: str | None) -> Spot:
        return Spot(point=any_spot.point, playing=any_spot.playing, seat=seat, channel=channel, programme=programme)

    def mean(seat: str | None, channel: str | None, programme: str | None) -> Change | None:
        """Over channels at each seat, then over seats."""
        of_seat: dict[str | None, list[Change]] = {}
        for one, change in spots.items():
            wanted = one.programme == programme and channel in (None, one.channel) and seat in (None, one.seat)
            if wanted and (seat is not None or one.seat is None or weights[one.seat] > 0):
                of_seat.setdefault(one.seat, []).append(change)
        if not of_seat:
            return None
        means = [alike(changes, [1.0] * len(changes)) for changes in of_seat.values()]
        return alike(means, [1.0 if s is None or s == seat else weights[s] for s in of_seat])

    for seat in [*(seats if everywhere else ()), None]:
        for channel in [*(channels if everywhere else ()), None]:
            by_programme: dict[str | None, Change] = {}
            for programme in programmes:
                change = mean(seat, channel, programme)
                if change is not None:
                    by_programme[programme] = found[spot(seat, channel, programme)] = change
            if by_programme and programmes != [None]:
                named = {programme or "no name": change for programme, change in by_programme.items()}
                found[spot(seat, channel, None)] = over_programmes(named)
    return found
