"""What margins and alpha two one-sided tests can have."""

from __future__ import annotations


def require_margins(lower: float | None, upper: float | None, lowest: float, highest: float) -> None:
    """Refuse no margin at all, one outside the range, and two that do not rise."""
    margins = [margin for margin in (lower, upper) if margin is not None]
    if not margins or not all(lowest < margin < highest for margin in margins) or margins != sorted(set(margins)):
        raise ValueError(f"the margins are {lower} and {upper}; one or two that rise, between {lowest} and {highest}")


def require_alpha(alpha: float) -> None:
    """Refuse an alpha that leaves the interval of confidence 1 - 2 alpha nothing."""
    if not 0.0 < alpha < 0.5:
        raise ValueError(f"alpha is {alpha}; it must lie between 0 and 0.5")
