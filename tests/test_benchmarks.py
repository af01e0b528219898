"""The benchmarks can be begun: each names what it measures, and what they measure with does so."""

from __future__ import annotations

import time
from importlib import import_module

import pytest
from benchmarks.__main__ import names
from benchmarks.ratio import median_seconds, turn_about


@pytest.mark.parametrize("name", names())
def test_each_can_be_imported_and_run(name: str) -> None:
    module = import_module(f"benchmarks.{name}")
    assert module.__doc__
    assert callable(module.run)


def test_a_work_of_twice_the_time_has_twice_the_ratio() -> None:
    found = turn_about(lambda: time.sleep(0.01), lambda: time.sleep(0.02), 3, 3.0, "sleep")
    assert 1.3 < found.value < 3.0
    assert found.holds
    assert median_seconds(lambda: time.sleep(0.01), 3) >= 0.01
