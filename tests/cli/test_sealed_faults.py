"""What is wrong with a planned listening, as whoever types the commands sees it: file, line, exit code 2, no change."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from bad_input.console import Console, Said
from planned_listening import NAMED, SWITCHING, change, everything, fill, hearing, made_plan, rows_of, write_rows

from fairhearing.protocol.sealing import SealedKey, pack_key, read_key

SHEET = "listeners/k7.csv"
CRITERIA = "[criteria]\nguard_db = 0.5\nalpha = 0.05\n"
ALPHA_LINE = len(NAMED.splitlines()) + 3
Damage = Callable[[Path], object]


@pytest.fixture
def console() -> Console:
    return Console()


@pytest.fixture
def plan(tmp_path: Path) -> Path:
    """A plan whose listeners have answered everything."""
    folder = made_plan(tmp_path / "session").folder
    fill(folder, hearing(0.7))
    return folder


def refused(said: Said, session: Path, before: dict[str, bytes]) -> list[tuple[str, str, str]]:
    """The faults of a command that ended with 2, said nothing else, and changed nothing."""
    assert (said.code, said.out) == (2, "")
    assert everything(session) == before
    return said.faults


def line_of(path: Path, listener: str, trial: str) -> int:
    """Where a trial stands: below the commitment and the header."""
    _, rows = rows_of(path)
    return next(at for at, row in enumerate(rows, 3) if (row["listener"], row["trial"]) == (listener, trial))


def edit(path: Path, old: str, new: str) -> None:
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


def forge_key(plan: Path) -> None:
    """Another answer made right in one trial, packed under the same salt."""
    sealed = read_key(plan)
    key = json.loads(json.dumps(sealed.key))
    cells = key["trials"][7]["cells"]
    cells["x"] = {"in": "out", "out": "in"}[cells["x"]]
    (plan / "key/sealed-key.json").write_bytes(pack_key(SealedKey(key=key, salt=sealed.salt)))


def stranger(plan: Path) -> None:
    first, rows = rows_of(plan / SHEET)
    write_rows(plan / "listeners/z9.csv", first, [{**row, "listener": "z9"} for row in rows])


def second_sheet(plan: Path) -> None:
    """A second sheet of k7 in which trial 9 is answered the other way."""
    shutil.copy(plan / SHEET, plan / "listeners/k7-again.csv")
    _, rows = rows_of(plan / SHEET)
    (said,) = [row["answer"] for row in rows if row["trial"] == "9"]
    change(plan / "listeners/k7-again.csv", "9", answer={"A": "B", "B": "A"}[said])


def early(plan: Path) -> None:
    change(plan / SWITCHING, "9", played_at="14:06:00")
    change(plan / SHEET, "9", answered_at="14:05:30")


# what, the file, and the trial on whose line it is told (None: no line of a trial)
OF_SHEETS: list[tuple[Damage, str, str, str | None]] = [
    (stranger, "listener 'z9' was not planned", "listeners/z9.csv", "P1"),
    (second_sheet, "listener k7 has two sheets that differ: answer of trial 9 is", SHEET, "9"),
    (
        lambda plan: change(plan / SHEET, "P1", part="listening"),
        "trial P1 is practice, and the sheet says 'listening'",
        SHEET,
        "P1",
    ),
    (
        lambda plan: edit(plan / SHEET, "k7,P1,", "k7,16,"),
        "listener k7 has no trial '16'",
        SHEET,
        "16",
    ),
]
OF_THE_ROOM: list[tuple[Damage, str]] = [
    (lambda plan: change(plan / SWITCHING, "9", played="no"), "listener k7 answered trial 9, which was not played"),
    (early, "listener k7 answered trial 9 at 14:05:30, before it was played at 14:06:00"),
]


@pytest.mark.parametrize("reason", [(), ("--reason", "we want to know")])
@pytest.mark.parametrize(
    ("damage", "what", "file", "trial"), OF_SHEETS, ids=["stranger", "two-sheets", "practice", "practice-renumbered"]
)
def test_a_sheet_at_fault_is_refused_by_unseal_with_its_line_and_no_reason_helps(
    plan: Path, console: Console, reason: tuple[str, ...], damage: Damage, what: str, file: str, trial: str
) -> None:
    damage(plan)
    before = everything(plan.parent)
    faults = refused(console("unseal", plan.parent, *reason), plan.parent, before)
    assert faults[0][0].startswith(what)
    listener = "z9" if "z9" in file else "k7"
    assert faults[0][1] == f"{file}, line {line_of(plan / file, listener, trial)}"


@pytest.mark.parametrize(("damage", "what"), OF_THE_ROOM, ids=["not-played", "before-it-was-played"])
def test_what_went_wrong_in_the_room_is_refused_and_with_a_reason_told_and_excluded(
    plan: Path, console: Console, damage: Damage, what: str
) -> None:
    damage(plan)
    before = everything(plan.parent)
    ((told, where, try_),) = refused(console("unseal", plan.parent), plan.parent, before)
    assert told == what
    assert where == f"{SHEET}, line {line_of(plan / SHEET, 'k7', '9')}"
    assert "--reason" in try_
    said = console("unseal", plan.parent, "--reason", "it happened")
    assert said.code == 0
    assert what in said.out
    opened = "".join(path.read_text(encoding="utf-8") for path in (plan / "opened").glob("*.csv"))
    assert opened.count(what) == 1  # in the column `excluded` of that trial


def test_all_faults_of_the_sheets_are_told_at_once_each_in_three_lines(plan: Path, console: Console) -> None:
    for damage, *_ in OF_SHEETS[:3]:
        damage(plan)
    for damage, _ in OF_THE_ROOM[:1]:
        damage(plan)
    faults = refused(console("unseal", plan.parent), plan.parent, everything(plan.parent))
    for what in (*(words for _, words, *_ in OF_SHEETS[:3]), OF_THE_ROOM[0][1]):
        assert sum(told.startswith(what) for told, *_ in faults) == 1, what


# The seal, at every command that reads the session


OF_THE_SEAL: list[tuple[Damage, str, str]] = [
    (forge_key, "the key was changed after the seal", "listening/key/sealed-key.json"),
    (
        lambda plan: (plan / "key/sealed-key.json").write_bytes(b"DO NOT OPEN\nAAAA\n"),
        "the key was changed after it was sealed",
        "listening/key/sealed-key.json",
    ),
    (
        lambda plan: edit(plan.parent / "session.toml", "alpha = 0.05", "alpha = 0.1"),
        "the criteria were changed after the seal: alpha was 0.05 and is 0.1",
        f"session.toml, line {ALPHA_LINE}",
    ),
    (
        lambda plan: edit(plan / "plan.json", '"power": 0.8', '"power": 0.9'),
        "the plan was changed after the seal",
        "listening/plan.json",
    ),
]


@pytest.fixture
def with_criteria(plan: Path) -> Path:
    """The criteria that were sealed written out, so that session.toml has a line for each."""
    (plan.parent / "session.toml").write_text(NAMED + CRITERIA, encoding="utf-8")
    return plan


@pytest.mark.parametrize(
    ("damage", "what", "where"), OF_THE_SEAL, ids=["forged-key", "damaged-key", "criteria", "plan"]
)
@pytest.mark.parametrize("opened", [False, True], ids=["sealed", "opened"])
def test_a_broken_seal_is_refused_by_check_run_and_unseal_with_its_file(
    with_criteria: Path, console: Console, opened: bool, damage: Damage, what: str, where: str
) -> None:
    session = with_criteria.parent
    assert console("check", session).code == 0
    if opened:
        assert console("unseal", session).code == 0
    damage(with_criteria)
    before = everything(session)
    ((told, place, _),) = refused(console("run", session, "--out", session.parent / "out"), session, before)
    assert told.startswith(what)
    assert place == f"{session.as_posix()}/{where}"
    checked = console("check", session)
    assert checked.code == 2
    assert what in checked.out + checked.err
    assert where in checked.out + checked.err
    if not opened:
        ((told, place, _),) = refused(console("unseal", session, "--reason", "never mind"), session, before)
        assert told.startswith(what)
        assert place == f"{session}/{where}"
    assert not (session.parent / "out").exists()


def practice_scored(plan: Path) -> None:
    """The practice trials put among the scored ones after unsealing."""
    practice = (plan / "opened/practice.csv").read_text(encoding="utf-8").partition("\n")[2]
    with (plan / "opened/scored.csv").open("a", encoding="utf-8") as stream:
        stream.write(practice)


CHANGED, AS_OPENED = "was changed after the plan was unsealed", "is none of the sheets that were opened"
OF_OPENED_SHEETS: list[tuple[Damage, str, str]] = [
    (practice_scored, f"opened/scored.csv {CHANGED}", "listening/opened/scored.csv"),
    (
        lambda plan: edit(plan / "opened/control.csv", ",in,", ",out,"),
        f"opened/control.csv {CHANGED}",
        "listening/opened/control.csv",
    ),
    (
        lambda plan: (plan / "opened/sham.csv").unlink(),
        "opened/sham.csv is missing, and was opened",
        "listening/opened/sham.csv",
    ),
    (
        lambda plan: shutil.copy(plan / "opened/sham.csv", plan / "opened/more.csv"),
        f"opened/more.csv {AS_OPENED}",
        "listening/opened/more.csv",
    ),
    (
        lambda plan: (plan / "opened.json").write_text("{}"),
        "opened.json does not say which sheets were opened",
        "listening/opened.json",
    ),
]


@pytest.mark.parametrize(
    ("damage", "what", "where"), OF_OPENED_SHEETS, ids=["practice", "answer", "missing", "added", "record"]
)
def test_an_opened_sheet_that_was_edited_is_refused_by_run_and_check(
    plan: Path, console: Console, damage: Damage, what: str, where: str
) -> None:
    session = plan.parent
    assert console("unseal", session).code == 0
    damage(plan)
    ((told, place, _),) = refused(
        console("run", session, "--out", session.parent / "out"), session, everything(session)
    )
    assert (told, place) == (what, f"{session.as_posix()}/{where}")
    checked = console("check", session)
    assert checked.code == 2
    assert what in checked.out + checked.err
