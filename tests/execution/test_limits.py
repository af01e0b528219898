"""The limits that the environment sets, and what is no limit."""

from __future__ import annotations

import pytest

from fairhearing.errors import InputProblem
from fairhearing.execution.limits import (
    IN_PROCESS_VARIABLE,
    MEGABYTES_VARIABLE,
    SECONDS_VARIABLE,
    Limits,
    limits_from,
)


def test_an_empty_environment_gives_the_usual_limits() -> None:
    assert limits_from({}) == Limits()


def test_each_variable_sets_its_own_limit() -> None:
    assert limits_from({SECONDS_VARIABLE: "2.5"}) == Limits(seconds=2.5)
    assert limits_from({MEGABYTES_VARIABLE: "100"}) == Limits(megabytes=100.0)


def test_work_in_this_process_has_no_limits() -> None:
    assert limits_from({IN_PROCESS_VARIABLE: "1", SECONDS_VARIABLE: "3"}) is None
    assert limits_from({IN_PROCESS_VARIABLE: "0"}) == Limits()


@pytest.mark.parametrize("variable", [SECONDS_VARIABLE, MEGABYTES_VARIABLE])
@pytest.mark.parametrize("written", ["0", "-1", "nan", "inf", "soon", ""])
def test_what_is_no_number_above_zero_is_refused_with_its_value(variable: str, written: str) -> None:
    with pytest.raises(InputProblem, match=f"{variable} is '{written}'"):
        limits_from({variable: written})
