"""Whether a report still says what its session folders give: seal, files, findings, and every other file of it."""

from fairhearing.verify.difference import Difference
from fairhearing.verify.verifying import Verification, verify_sessions

__all__ = ["Difference", "Verification", "verify_sessions"]
