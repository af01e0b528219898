"""Inputs that note what is read of them: the curves of takes, the rows of sheets, what findings say."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, replace
from typing import TYPE_CHECKING, TypeVar, cast

from fairhearing.audio import Recording, summary_key
from fairhearing.conformance.worlds import DECOY, KINDS, POINTS, ROLES
from fairhearing.contracts import Analyser, Inputs, Sheet, Take
from fairhearing.result import Finding
from fairhearing.session import Kind, Method, Point, Role

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]

T = TypeVar("T")
Seen = set[tuple[str, str]]  # (kind, point, summary, method, role or quantity; which one)
TOLD = frozenset({"value", "low", "high", "p_value", "confidence", "n", "verdict", "caveats", "method"})


class _SpiedTake(Take):
    __slots__ = ("seen",)

    def __getattribute__(self, name: str) -> object:
        if name == "curve":
            _note(self, {("kind", self.kind), ("point", self.point)})
        return object.__getattribute__(self, name)


class _SpiedRecording(Recording):
    __slots__ = ("seen",)

    def __getattribute__(self, name: str) -> object:
        if name in ("summaries", "summary"):
            _note(self, {("kind", self.kind), ("point", self.point)})
        return object.__getattribute__(self, name)


class _Noted(dict[str, Mapping[str, "FloatArray"]]):
    """The summaries of a recording; which of them is read is noted in `seen`."""

    seen: Seen

    def __getitem__(self, key: str) -> Mapping[str, FloatArray]:
        self.seen.add(("summary", key))
        return super().__getitem__(key)


class _SpiedSheet(Sheet):
    __slots__ = ("seen",)

    def __getattribute__(self, name: str) -> object:
        if name == "trials":
            _note(self, {("method", self.method), ("role", self.role)})
        return object.__getattribute__(self, name)


class _SpiedFinding(Finding):
    __slots__ = ("seen",)

    def __getattribute__(self, name: str) -> object:
        if name in TOLD:
            _note(self, {("quantity", self.quantity)})
        return object.__getattribute__(self, name)


def _note(spy: object, what: Seen) -> None:
    try:
        seen: Seen = object.__getattribute__(spy, "seen")
    except AttributeError:  # it is being made, or a plug-in made it from a spy with dataclasses.replace
        return
    seen |= what


def spied(inputs: Inputs, seen: Seen) -> Inputs:
    """The same inputs; whatever is read of a take, sheet or finding is noted in `seen`."""
    return replace(
        inputs,
        takes=tuple(_spy(_SpiedTake, take, seen) for take in inputs.takes),
        recordings=tuple(_spy(_SpiedRecording, _noted(recording, seen), seen) for recording in inputs.recordings),
        sheets=tuple(_spy(_SpiedSheet, sheet, seen) for sheet in inputs.sheets),
        findings=tuple(_spy(_SpiedFinding, finding, seen) for finding in inputs.findings),
    )


def _noted(recording: Recording, seen: Seen) -> Recording:
    summaries = _Noted(recording.summaries)
    summaries.seen = seen
    return replace(recording, summaries=summaries)


def _spy(kind: type[T], original: object, seen: Seen) -> T:
    made = kind(**{f.name: getattr(original, f.name) for f in fields(original)})  # type: ignore[arg-type]
    object.__setattr__(made, "seen", seen)
    return made


def declared(analyser: Analyser) -> Seen:
    """What the needs of an analyser name; points only where it reads takes at all."""
    needs = analyser.needs
    said: Seen = {("kind", kind) for kind in needs.kinds} | {("method", method) for method in needs.methods}
    said |= {("role", role) for role in needs.roles if needs.methods}
    said |= {("quantity", quantity) for quantity in needs.findings}
    said |= {("summary", summary_key(summary)) for summary in needs.summaries}
    said |= {("point", point) for point in needs.points if needs.kinds}
    return said


def decoys(analyser: Analyser, full: Inputs, narrowed: Inputs) -> dict[str, Inputs]:
    """Worlds that hold, before what was declared, the same once more under names that were not: one for each sort.

    In each there is also something that nobody can know by name (DECOY). An analyser that takes whatever it is given
    reads that too, and is right to: the core hands it nothing else than what it declared. One that reads something
    undeclared and leaves DECOY alone has asked for it by name.
    """
    needs = analyser.needs
    kinds = [cast("Kind", DECOY), *sorted(set(KINDS) - needs.kinds)]
    points = [cast("Point", DECOY), *sorted(set(POINTS) - needs.points)]
    method = cast("Method", DECOY)
    sounds = narrowed.recordings
    takes = narrowed.takes if narrowed.takes or sounds else full.takes
    sheets = tuple(s for s in full.sheets if s.method not in needs.methods)
    unknown = tuple(replace(s, method=method) for s in narrowed.sheets or sheets)
    roles = [cast("Role", DECOY), *sorted(set(ROLES) - needs.roles)]
    others = [f for f in full.findings if f.quantity not in needs.findings]
    others.sort(key=lambda f: f.quantity != DECOY)
    return {
        "kind": replace(
            narrowed,
            takes=(*(replace(t, kind=k) for k in kinds for t in takes), *narrowed.takes),
            recordings=(*(replace(r, kind=k) for k in kinds for r in sounds), *sounds),
        ),
        "point": replace(
            narrowed,
            takes=(*(replace(t, point=p) for p in points for t in narrowed.takes), *narrowed.takes),
            recordings=(*(replace(r, point=p) for p in points for r in sounds), *sounds),
        ),
        "method": replace(narrowed, sheets=(*unknown, *sheets, *narrowed.sheets)),
        "role": replace(
            narrowed, sheets=(*(replace(s, role=r) for r in roles for s in narrowed.sheets), *narrowed.sheets)
        ),
        "quantity": replace(narrowed, findings=(*others, *narrowed.findings)),
    }
