"""What a plan fixes and what a drawn trial is: values only."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from typing import Literal

from fairhearing.session import PLAN_FORMAT, Look, Method, Question

Part = Literal["practice", "scored", "sham", "control"]
CONTROL = "control"  # what is played in place of the treatment in a trial of the positive control


@dataclass(frozen=True, slots=True, kw_only=True)
class Design:
    """All that is fixed beforehand and may be known by everyone. Trials are counted per listener.

    `block_trials`: the most trials between two breaks. `trial_s`: to listen to one trial and to answer;
    `switching_s`: of each change of what is played. `minutes`: what each listener can give, None if nobody said.
    """

    question: Question
    method: Method
    scale: str | None
    conditions: tuple[str, ...]
    condition: str
    reference: str
    alpha: float
    power: float
    effect: float
    margin: float | None
    listeners: tuple[str, ...]
    n_trials: int
    n_practice: int
    n_sham: int
    n_control: int
    control: str | None
    looks: tuple[Look, ...]
    spending: str | None
    programmes: tuple[str, ...]
    seats: tuple[str, ...]
    block_trials: int
    trial_s: float
    switching_s: float
    break_s: float
    minutes: float | None

    @property
    def pair(self) -> tuple[str, str]:
        """Reference and condition: the two that a trial of two sets against each other."""
        return (self.reference, self.condition)

    @property
    def n_in_session(self) -> int:
        """All trials of one listener, practice included."""
        return self.n_practice + self.n_trials + self.n_sham + self.n_control


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyTrial:
    """One trial as it was drawn. `cells`: the method's columns without the answer; `plays`: what sounds, in order.

    In a sham everything that sounds is the reference, and `cells` is what it pretends; in a control the treatment
    stands for the control's difference.
    """

    listener: str
    trial: str
    part: Part
    block: int
    position: int
    programme: str | None
    seat: str | None
    cells: Mapping[str, str]
    plays: tuple[str, ...]


def plan_object(design: Design) -> dict[str, object]:
    """The design as plan.json holds it."""
    return {"format": PLAN_FORMAT, **asdict(design)}


def trial_object(trial: KeyTrial) -> dict[str, object]:
    """A trial as the key holds it."""
    return {one.name: _plain(getattr(trial, one.name)) for one in fields(trial)}


def _plain(value: object) -> object:
    if isinstance(value, Mapping):
        return dict(value)
    return list(value) if isinstance(value, tuple) else value
