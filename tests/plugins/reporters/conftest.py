"""The reports of the made-up sessions, rendered once, as path -> bytes."""

from __future__ import annotations

import pytest

from fairhearing.api import ReportInputs
from fairhearing_builtins.reporters.page import fairhearing_reporters

from .build_report import both, hall, study


def rendered(inputs: ReportInputs) -> dict[str, bytes]:
    """All files of all built-in reporters."""
    return {file.path: file.data for reporter in fairhearing_reporters() for file in reporter.render(inputs)}


@pytest.fixture(scope="session")
def both_report() -> dict[str, bytes]:
    return rendered(both())


@pytest.fixture(scope="session")
def hall_report() -> dict[str, bytes]:
    return rendered(hall())


@pytest.fixture(scope="session")
def study_report() -> dict[str, bytes]:
    return rendered(study())
