"""An opened plan can be made again from its key and its sheets, and whatever was changed after is named."""

from __future__ import annotations

from pathlib import Path

import pytest
from planned_listening import SWITCHING, change, everything, fill, hearing, made_plan

from fairhearing.manifest import load_session
from fairhearing.protocol.opening import check_opened, unseal

SHEET = "listeners/k7.csv"


@pytest.fixture
def plan(tmp_path: Path) -> Path:
    folder = made_plan(tmp_path).folder
    fill(folder, hearing(0.7))
    return folder


def opened(plan: Path, reason: str | None = None) -> None:
    session = load_session(plan.parent).session
    assert session is not None
    unseal(session, plan, reason)


def checked(plan: Path) -> tuple[str, ...]:
    session = load_session(plan.parent).session
    assert session is not None
    return check_opened(session, plan)


@pytest.mark.parametrize("reason", [None, "k7 had to leave"])
def test_what_was_opened_can_be_made_again_from_the_key_and_the_sheets(plan: Path, reason: str | None) -> None:
    if reason:
        change(plan / SHEET, "3", answer="")
    opened(plan, reason)
    assert checked(plan) == ()


def test_whatever_was_changed_after_unsealing_is_named(plan: Path) -> None:
    opened(plan)
    sound = everything(plan)

    def after(path: str, old: bytes, new: bytes) -> tuple[str, ...]:
        (plan / path).write_bytes(sound[path].replace(old, new, 1))
        assert (plan / path).read_bytes() != sound[path]
        found = checked(plan)
        (plan / path).write_bytes(sound[path])
        return found

    assert after("opened/scored.csv", b",in,", b",out,") == (
        "opened/scored.csv is not what the sealed key and the sheets give",
    )
    assert after(SHEET, b",A,", b",B,") == (f"{SHEET} was changed after the plan was unsealed",)
    assert after(SWITCHING, b",,,", b",no,,") == (f"{SWITCHING} was changed after the plan was unsealed",)
    assert after("plan.json", b'"power": 0.8', b'"power": 0.9') == ("the plan was changed after the seal",)
    assert after("opened.json", b'"answered": 10', b'"answered": 11') == (
        "opened.json is not what the sealed key and the sheets give",
    )
    (plan / "opened/sham.csv").unlink()
    assert checked(plan) == ("opened/sham.csv is not what the sealed key and the sheets give",)
