"""The seal: a commitment that anyone can reckon, a key that does not open by accident, and every change named."""

from __future__ import annotations

import hashlib
import json
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import pytest
from planned_listening import DESIGN, TOML, made_plan, made_session

from fairhearing.protocol.drawing import draw_trials
from fairhearing.protocol.reading import design_of, trials_of
from fairhearing.protocol.sealing import (
    KEY_HEAD,
    SealedKey,
    SealFault,
    check_seal,
    commit,
    grouped,
    pack_key,
    read_key,
    read_object,
    unpack_key,
)
from fairhearing.session import Criteria


@pytest.fixture
def plan(tmp_path: Path) -> Path:
    return made_plan(tmp_path).folder


def fault_of(plan: Path, criteria: Criteria | None = None) -> SealFault:
    fault = check_seal(plan, criteria or Criteria())
    assert fault is not None
    return fault


def edit(path: Path, **values: Any) -> None:
    path.write_text(json.dumps({**json.loads(path.read_text(encoding="utf-8")), **values}), encoding="utf-8")


def repack(plan: Path, **values: Any) -> None:
    sealed = read_key(plan)
    (plan / "key/sealed-key.json").write_bytes(pack_key(SealedKey(key={**sealed.key, **values}, salt=sealed.salt)))


def test_the_commitment_is_a_hash_that_anyone_can_reckon_from_the_opened_files(plan: Path) -> None:
    sealed, seal = read_key(plan), read_object(plan / "seal.json")
    whole = {
        "criteria": seal["criteria"],
        "key": sealed.key,
        "plan": read_object(plan / "plan.json"),
        "salt": sealed.salt,
    }
    text = json.dumps(whole, sort_keys=True, separators=(",", ":"))
    assert seal["commitment"] == hashlib.sha256(text.encode("ascii")).hexdigest()


def test_what_was_sealed_holds_and_the_order_can_be_drawn_again_from_the_seed(plan: Path) -> None:
    assert check_seal(plan, Criteria()) is None
    key = read_key(plan).key
    design = design_of(read_object(plan / "plan.json"))
    assert design == DESIGN
    assert draw_trials(design, str(key["seed"])) == trials_of(key)
    assert key["generator"] == "sha256-counter-1"


def test_the_key_says_not_to_open_it_and_shows_nothing_to_whoever_looks(plan: Path) -> None:
    text = (plan / "key/sealed-key.json").read_text(encoding="ascii")
    assert text.splitlines()[0] == KEY_HEAD
    assert KEY_HEAD.startswith("DO NOT OPEN")
    body = text.partition("\n")[2]
    assert not any(word in body for word in ("listener", "organ", '"', "out out"))
    assert max(map(len, body.splitlines())) <= 76


def test_two_plans_of_one_design_share_neither_seed_nor_salt_nor_commitment(tmp_path: Path) -> None:
    plans = [made_plan(tmp_path / name) for name in ("one", "two")]
    keys = [read_key(one.folder) for one in plans]
    assert keys[0].key["seed"] != keys[1].key["seed"]
    assert keys[0].salt != keys[1].salt
    assert plans[0].commitment != plans[1].commitment
    assert {len(bytes.fromhex(one)) for key in keys for one in (key.salt, str(key.key["seed"]))} == {32}


@pytest.mark.parametrize("name", [one.name for one in fields(DESIGN)])
def test_a_change_of_any_value_of_the_plan_is_named(plan: Path, name: str) -> None:
    value = json.loads((plan / "plan.json").read_text(encoding="utf-8"))[name]
    edit(plan / "plan.json", **{name: [value, 1]})
    fault = fault_of(plan)
    assert fault.parts == ("plan",)
    assert fault.what == "the plan was changed after the seal"
    assert fault.file == "plan.json"


def test_plan_json_may_be_laid_out_otherwise(plan: Path) -> None:
    values = json.loads((plan / "plan.json").read_text(encoding="utf-8"))
    (plan / "plan.json").write_text(json.dumps(values, indent=7), encoding="utf-8")
    assert check_seal(plan, Criteria()) is None


CHANGED: dict[str, Any] = {
    "bass_band_hz": (30.0, 200.0), "target": "other.csv", "target_slope_db_per_octave": -1.0,
    "guard_band_hz": (500.0, 9000.0), "level_measure": "loudness", "require": ("as-set",), "benefit": ("relief",),
}  # fmt: skip


@pytest.mark.parametrize("name", [one.name for one in fields(Criteria)])
def test_a_change_of_any_criterion_is_named_with_what_it_was(plan: Path, name: str) -> None:
    value = CHANGED.get(name, getattr(Criteria(), name))
    changed = value * 1.01 if isinstance(value, float) and name not in CHANGED else value
    fault = fault_of(plan, replace(Criteria(), **{name: changed}))
    assert fault.parts == ("criteria",)
    assert fault.file == "session.toml"
    assert f"{name} was " in fault.what


def test_a_change_of_the_criteria_in_the_seal_itself_is_named_too(plan: Path) -> None:
    criteria = json.loads((plan / "seal.json").read_text(encoding="utf-8"))["criteria"]
    edit(plan / "seal.json", criteria={**criteria, "alpha": 0.1})
    assert fault_of(plan).parts == ("criteria",)
    assert fault_of(plan, Criteria(alpha=0.1)).parts == ("criteria",)


def test_the_bytes_of_a_target_file_are_sealed_with_the_criteria(tmp_path: Path) -> None:
    made_session(tmp_path)
    (tmp_path / "target.csv").write_text("Hz,dB\n20,0\n50,0\n100,0\n200,0\n", encoding="utf-8")
    session = made_session(tmp_path, TOML + '[criteria]\ntarget = "target.csv"\n')
    from fairhearing.protocol.writing import write_plan

    plan = write_plan(session, DESIGN).folder
    assert check_seal(plan, session.criteria) is None
    (tmp_path / "target.csv").write_text("Hz,dB\n20,0\n50,0\n100,0\n200,1\n", encoding="utf-8")
    fault = fault_of(plan, session.criteria)
    assert fault.parts == ("criteria",)
    assert "target_sha256 was" in fault.what
    (tmp_path / "target.csv").unlink()
    assert "and is not there" in fault_of(plan, session.criteria).what


def test_a_criterion_that_the_seal_does_not_know_counts_as_unchanged_with_its_default_only(plan: Path) -> None:
    # As a plan of an earlier version would lie there, sealed without relief_db.
    sealed, seal = read_key(plan), read_object(plan / "seal.json")
    from fairhearing.protocol.sealing import seal_object

    criteria = {key: value for key, value in dict(seal["criteria"]).items() if key != "relief_db"}  # type: ignore[call-overload]
    (plan / "seal.json").write_text(
        json.dumps(seal_object(sealed.key, criteria, read_object(plan / "plan.json"), sealed.salt)), encoding="utf-8"
    )
    assert check_seal(plan, Criteria()) is None
    assert fault_of(plan, Criteria(relief_db=0.5)).parts == ("criteria",)


def test_a_changed_key_is_named(plan: Path) -> None:
    trials = json.loads(json.dumps(read_key(plan).key["trials"]))
    trials[3]["cells"]["x"] = {"in": "out", "out": "in"}[trials[3]["cells"]["x"]]
    repack(plan, trials=trials)
    fault = fault_of(plan)
    assert (fault.parts, fault.what, fault.file) == (
        ("key",), "the key was changed after the seal", "key/sealed-key.json",
    )  # fmt: skip


def test_key_and_plan_changed_together_are_both_named(plan: Path) -> None:
    repack(plan, seed="00" * 32)
    edit(plan / "plan.json", alpha=0.1)
    assert fault_of(plan).parts == ("key", "plan")


def test_another_salt_is_told_apart_from_a_change_of_all_three(plan: Path) -> None:
    sealed = read_key(plan)
    (plan / "key/sealed-key.json").write_bytes(pack_key(SealedKey(key=sealed.key, salt="00" * 32)))
    assert "the salt of the seal was changed" in fault_of(plan).what


def test_a_commitment_that_was_rewritten_alone_does_not_hold(plan: Path) -> None:
    edit(plan / "seal.json", commitment="00" * 32)
    assert fault_of(plan).what == "the commitment is not that of key, criteria and plan"


@pytest.mark.parametrize("name", ["seal.json", "plan.json", "key/sealed-key.json"])
@pytest.mark.parametrize("content", [None, b"", b"{", b"[1]", KEY_HEAD.encode() + b"\nnot base64!\n"])
def test_a_file_that_is_missing_or_damaged_is_a_fault_of_its_part(plan: Path, name: str, content: bytes | None) -> None:
    if content is None:
        (plan / name).unlink()
    else:
        (plan / name).write_bytes(content)
    fault = fault_of(plan)
    assert fault.file == name
    assert fault.parts == {"plan.json": ("plan",), "key/sealed-key.json": ("key",)}.get(
        name, ("key", "criteria", "plan")
    )


def test_every_byte_of_the_sealed_key_counts(plan: Path) -> None:
    path = plan / "key/sealed-key.json"
    data = path.read_bytes()
    start = data.index(b"\n") + 1
    for place in range(start, len(data), 37):
        if data[place : place + 1] in (b"\n", b"="):
            continue
        other = b"A" if data[place : place + 1] != b"A" else b"B"
        path.write_bytes(data[:place] + other + data[place + 1 :])
        assert fault_of(plan).parts in (("key",), ("key", "criteria", "plan"))


def test_a_packed_key_unpacks_to_itself() -> None:
    sealed = SealedKey(key={"seed": "ab", "trials": [{"trial": "ä"}]}, salt="cd")
    assert unpack_key(pack_key(sealed)) == sealed
    assert unpack_key(pack_key(sealed).replace(b"\n", b"\r\n")) == sealed


def test_the_commitment_is_printed_in_groups_of_eight() -> None:
    commitment = commit({}, {}, {}, "")
    assert grouped(commitment).replace(" ", "") == commitment
    assert [len(group) for group in grouped(commitment).split(" ")] == [8] * 8
