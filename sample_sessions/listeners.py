"""Made-up listeners: what each answers in a blind trial, drawn with probabilities that we know."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

Row = dict[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel:
    """Who listens to what, how often, and how good they are at it."""

    n_listeners: int
    n_trials: int
    programmes: tuple[str, ...]
    seats: tuple[str, ...]
    detection: float | None = None  # probability of a right answer; 0.5 is guessing
    preference: float | None = None  # expected share for the treatment, `none` counted as half
    none: float = 0.0  # probability of "no preference"


def code(number: int) -> str:
    """Code of a listener: never a name."""
    return f"L{number:02d}"


def heard_at(panel: Panel, listener: int, trial: int) -> Row:
    """Programme and seat of a trial: rotated so that every listener meets all of them about equally often."""
    return {
        "listener": code(listener),
        "trial": str(trial),
        "programme": panel.programmes[(trial + listener) % len(panel.programmes)],
        "seat": panel.seats[(trial // len(panel.programmes) + listener) % len(panel.seats)],
    }


def identification(panel: Panel, conditions: tuple[str, str], rng: np.random.Generator) -> list[Row]:
    """Trials "is it the one or the other": x drawn freshly each time, so that the last answer tells nothing."""
    assert panel.detection is not None
    rows = []
    for listener in range(1, panel.n_listeners + 1):
        for trial in range(1, panel.n_trials + 1):
            x = int(rng.integers(2))
            right = bool(rng.random() < panel.detection)
            answer = x if right else 1 - x
            rows.append({**heard_at(panel, listener, trial), "x": conditions[x], "answer": conditions[answer]})
    return rows


def preferences(panel: Panel, reference: str, treatment: str, rng: np.random.Generator) -> list[Row]:
    """Trials "which of the two do you like better": each stands first in half of a listener's trials."""
    assert panel.preference is not None
    wins = panel.preference - panel.none / 2
    rows = []
    for listener in range(1, panel.n_listeners + 1):
        treatment_first = rng.permutation(np.arange(panel.n_trials) % 2 == 0)
        for trial in range(1, panel.n_trials + 1):
            pair = (treatment, reference) if treatment_first[trial - 1] else (reference, treatment)
            draw = rng.random()
            preferred = treatment if draw < wins else "none" if draw < wins + panel.none else reference
            row = {**heard_at(panel, listener, trial), "first": pair[0], "second": pair[1], "preferred": preferred}
            rows.append(row)
    return rows


def share_right(rows: list[Row]) -> float:
    """Share of right answers that was drawn."""
    return sum(row["x"] == row["answer"] for row in rows) / len(rows)


def share_preferred(rows: list[Row], treatment: str) -> float:
    """Share of the treatment that was drawn, `none` counted as half, over trials as many for each listener."""
    points = {treatment: 1.0, "none": 0.5}
    return sum(points.get(row["preferred"], 0.0) for row in rows) / len(rows)
