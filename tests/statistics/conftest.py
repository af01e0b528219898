"""Hypothesis without a deadline and with fixed draws: the first call of a second method loads a library."""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("fixed", deadline=None, derandomize=True)
settings.load_profile("fixed")
