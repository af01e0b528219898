"""Builds sessions with an opened plan of a listening, and with what is said of how it was run."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from fairhearing.api import Listening, ListeningPlan, Look, Session

from .build_inputs import session

COMMITMENT = "0123456789abcdef" * 4


def plan(**said: Any) -> ListeningPlan:
    """Twenty abx trials of two listeners, `in` against `out`, unless said otherwise."""
    return ListeningPlan(
        **{
            "question": "heard",
            "method": "abx",
            "scale": None,
            "conditions": ("out", "in"),
            "condition": "in",
            "reference": "out",
            "alpha": 0.05,
            "power": 0.8,
            "effect": 0.7,
            "margin": None,
            "listeners": ("a", "b"),
            "n_trials": 10,
            "n_practice": 0,
            "n_sham": 0,
            "n_control": 0,
            "control": None,
            "looks": (),
            "spending": None,
            "programmes": (),
            "seats": (),
            "commitment": COMMITMENT,
            "sealed": False,
            **said,
        }
    )


def looks(*n_trials: int) -> tuple[Look, ...]:
    """Looks after so many trials of all listeners together; what they need is worked out anew by who reads them."""
    return tuple(Look(n_trials=n, n_right_needed=0, alpha_spent=0.0) for n in n_trials)


def planned_session(of: ListeningPlan | None = None, **said: Any) -> Session:
    """A session with [listening]: the plan, and what else is said."""
    return replace(session(), listening=Listening(plan=of, **said))
