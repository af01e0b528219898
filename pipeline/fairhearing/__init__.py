"""Compare measured listening sessions: is a change in a playback chain a gain on balance?"""

__version__ = "0.1.0"
