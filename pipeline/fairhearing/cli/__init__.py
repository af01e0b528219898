"""The command line: parses, calls, prints."""

from fairhearing.cli.entry import main

__all__ = ["main"]
