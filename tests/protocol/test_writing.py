"""The written folder: what each sheet and page tells, what none of them tells, and that it is written once or not."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path

import pytest
from planned_listening import (
    COMPARED,
    DESIGN,
    GRADED,
    PAIRED,
    SWITCHING,
    everything,
    key_of,
    made_plan,
    made_session,
    rows_of,
)

from fairhearing.errors import OutputProblem
from fairhearing.protocol.design import Design
from fairhearing.protocol.sealing import grouped
from fairhearing.protocol.writing import write_plan
from fairhearing.session import Look

DESIGNS = {"abx": DESIGN, "paired": PAIRED, "graded": GRADED, "compared": COMPARED}


def words_of(page: Path) -> str:
    """The text of a page without its style."""
    text = re.sub(r"<style>.*?</style>", "", page.read_text(encoding="utf-8"), flags=re.DOTALL)
    return re.sub(r"<[^>]*>", " ", text)


def test_the_folder_holds_the_sheets_apart_from_the_key(tmp_path: Path) -> None:
    written = made_plan(tmp_path)
    assert written.paths == (
        "key/sealed-key.json", "listeners/k7.csv", "listeners/k7.html", "listeners/m3.csv", "listeners/m3.html",
        "operator/switching.csv", "operator/switching.html", "plan.json", "seal.json",
    )  # fmt: skip
    assert sorted(name for name in everything(written.folder) if not name.startswith(".")) == list(written.paths)


@pytest.mark.parametrize("design", DESIGNS.values(), ids=DESIGNS)
def test_every_sheet_and_page_prints_the_commitment(tmp_path: Path, design: Design) -> None:
    written = made_plan(tmp_path, design)
    for path in written.paths:
        if path.startswith(("listeners/", "operator/")):
            assert grouped(written.commitment) in (written.folder / path).read_text(encoding="utf-8")


@pytest.mark.parametrize("design", DESIGNS.values(), ids=DESIGNS)
def test_nothing_that_a_listener_gets_tells_conditions_shams_or_controls(tmp_path: Path, design: Design) -> None:
    plan = made_plan(tmp_path, design).folder
    tells = re.compile(r"\b(out|in|half|sham|control|bass)\b")
    for listener in design.listeners:
        _, rows = rows_of(plan / f"listeners/{listener}.csv")
        assert not tells.search("\n".join(",".join([*row, *row.values()]) for row in rows))
        page = re.sub(r"(?s)^.*?Practice, seat", "", words_of(plan / f"listeners/{listener}.html"))
        assert not tells.search(page)


@pytest.mark.parametrize("design", DESIGNS.values(), ids=DESIGNS)
def test_two_orders_of_one_design_give_listeners_sheets_that_say_the_same_of_what_plays(
    tmp_path: Path, design: Design
) -> None:
    """All that sheets of other orders differ in is programme, seat and the seal: nothing follows the condition."""
    plain = replace(design, programmes=(), seats=())
    sheets = []
    for name in ("one", "two"):
        plan = made_plan(tmp_path / name, plain).folder
        sheets.append(rows_of(plan / "listeners/k7.csv")[1])
        assert (plan / "listeners/k7.html").read_bytes()
    assert sheets[0] == sheets[1]


@pytest.mark.parametrize("design", DESIGNS.values(), ids=DESIGNS)
def test_the_operators_sheet_says_what_to_play_and_never_what_to_answer(tmp_path: Path, design: Design) -> None:
    plan = made_plan(tmp_path, design).folder
    _, rows = rows_of(plan / SWITCHING)
    trials = key_of(plan)
    assert [tuple(row[name] for name in row if name.startswith("play_")) for row in rows] == [
        one.plays for one in trials
    ]
    assert not {"answer", "x", "part_of_key"} & set(rows[0])
    assert {row["part"] for row in rows} == {"practice", "listening"}
    assert all(row["played"] == row["played_at"] == row["note"] == "" for row in rows)
    page = words_of(plan / "operator/switching.html")
    for word in ("85 dB(A)", "NIOSH", "discharge", "licensed", "local codes", "leave when they like", "consent"):
        assert word in page
    assert "control" in page
    assert "bass 6 dB up" in page


def test_the_operators_page_marks_where_a_look_is_due(tmp_path: Path) -> None:
    looks = tuple(Look(n_trials=n, n_right_needed=n, alpha_spent=0.01) for n in (8, 14, 20))
    plan = made_plan(tmp_path, replace(DESIGN, looks=looks)).folder
    words = " ".join(words_of(plan / "operator/switching.html").split())
    for listener in DESIGN.listeners:
        scored = [one.trial for one in key_of(plan) if one.listener == listener and one.part == "scored"]
        due = f"look 1 after trial {scored[3]}, look 2 after trial {scored[6]}."
        assert f"Listener {listener} Answers are typed in for {due}" in words
    assert "look" not in words_of(plan / "listeners/k7.html")


def test_pages_load_nothing_and_hostile_words_become_no_element(tmp_path: Path) -> None:
    plan = made_plan(tmp_path, replace(DESIGN, control="<script>alert(1)</script> & more")).folder
    for page in sorted(plan.rglob("*.html")):
        text = page.read_text(encoding="utf-8")
        assert not re.search(r"<script|src=|href=|@import|url\(", text)
    assert "&lt;script&gt;" in (plan / "operator/switching.html").read_text(encoding="utf-8")


def test_each_trial_of_a_listeners_page_has_a_box_for_each_answer(tmp_path: Path) -> None:
    plan = made_plan(tmp_path, replace(PAIRED, programmes=())).folder
    text = (plan / "listeners/k7.html").read_text(encoding="utf-8")
    n_trials = DESIGN.n_in_session
    assert text.count('<span class="box">') == 3 * n_trials
    graded = made_plan(tmp_path / "graded", GRADED).folder
    assert (graded / "listeners/k7.html").read_text(encoding="utf-8").count(
        '<span class="line">'
    ) == GRADED.n_in_session


def test_a_plan_is_never_written_over(tmp_path: Path) -> None:
    made_plan(tmp_path)
    before = everything(tmp_path)
    with pytest.raises(OutputProblem, match="holds a plan already, and a plan is never written over"):
        write_plan(made_session(tmp_path, before["session.toml"].decode()), DESIGN)
    assert everything(tmp_path) == before


def test_nothing_is_written_beside_what_lies_there_already(tmp_path: Path) -> None:
    session = made_session(tmp_path)
    (tmp_path / "listening").mkdir()
    (tmp_path / "listening/notes.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(OutputProblem, match="is there already, and not empty"):
        write_plan(session, DESIGN)
    assert everything(tmp_path / "listening") == {"notes.txt": b"mine"}


def test_a_folder_that_cannot_be_made_leaves_nothing(tmp_path: Path) -> None:
    session = made_session(tmp_path)
    (tmp_path / "listening").write_text("a file", encoding="utf-8")
    with pytest.raises(OutputProblem):
        write_plan(session, DESIGN)
    assert (tmp_path / "listening").read_text(encoding="utf-8") == "a file"


def test_plan_json_is_the_design_and_holds_no_order(tmp_path: Path) -> None:
    plan = made_plan(tmp_path).folder
    value = json.loads((plan / "plan.json").read_text(encoding="utf-8"))
    assert value["format"] == 1
    assert value["n_trials"] == DESIGN.n_trials
    assert not {"seed", "salt", "trials", "key"} & {*value, *json.loads((plan / "seal.json").read_bytes())}
