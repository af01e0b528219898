"""`fairhearing verify` of a planned listening: silent where nothing was touched after the seal, and names what was."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from bad_input.console import Console, Said
from bad_input.sound_session import response
from planned_listening import DESIGN, TOML, change, everything, fill, hearing, made_session
from plug_in_modules import Installed

from fairhearing.protocol.sealing import SealedKey, grouped, pack_key, read_key, seal_object
from fairhearing.protocol.writing import write_plan

ID = "listening-test"
PATTERN = (
    '[[measurements]]\nfiles = "responses/{seat}_{condition}_{repeat}.csv"\n[criteria]\nguard_db = 0.4\nalpha = 0.05\n'
)
SEALED = TOML + PATTERN
NAMED = SEALED.replace("[listening]\n", '[listening]\nplan = "listening"\n')
DATA = "responses/A_in_2.csv"
SHEET = "listening/listeners/k7.csv"


@pytest.fixture
def console() -> Console:
    return Console()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A session that was planned and answered, and is still sealed."""
    place = tmp_path / "session"
    for seat in ("A", "B"):
        for condition in ("out", "in"):
            for repeat in (1, 2):
                path = place / f"responses/{seat}_{condition}_{repeat}.csv"
                path.parent.mkdir(parents=True, exist_ok=True)
                path.write_bytes(response(seat, condition, repeat))
    plan = write_plan(made_session(place, SEALED), replace(DESIGN, n_trials=8)).folder
    (place / "session.toml").write_text(NAMED, encoding="utf-8")
    fill(plan, hearing(0.8))
    return place


@pytest.fixture
def out(installed: Installed, console: Console, folder: Path, tmp_path: Path) -> Path:
    """The report of the session, which was unsealed first."""
    assert console("unseal", folder).code == 0
    assert console("run", folder, "--out", tmp_path / "out").code == 0
    return tmp_path / "out"


def commitment_of(folder: Path) -> str:
    return str(json.loads((folder / "listening/seal.json").read_bytes())["commitment"])


def differences(said: Said) -> list[dict[str, str]]:
    """What `--json` says differs, after the exit code has said that something does."""
    assert said.code == 3, said
    told = json.loads(said.out)
    assert told["as_stated"] is False
    found = told["differences"]
    assert isinstance(found, list)
    return found


def edit(path: Path, old: str, new: str) -> None:
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


def change_key(folder: Path) -> None:
    """One trial of the key played otherwise, and packed again under the same salt: not a slip but a forgery."""
    sealed = read_key(folder / "listening")
    key = json.loads(json.dumps(sealed.key))
    cells = key["trials"][5]["cells"]
    cells["x"] = {"out": "in", "in": "out"}[cells["x"]]
    (folder / "listening/key/sealed-key.json").write_bytes(pack_key(SealedKey(key=key, salt=sealed.salt)))


def test_before_unsealing_the_seal_and_the_sheets_are_checked_and_nothing_is_written(
    folder: Path, console: Console
) -> None:
    before = everything(folder)
    said = console("verify", folder)
    assert (said.code, said.err) == (0, "")
    lines = said.out.splitlines()
    seal = f"the seal holds: key, criteria and plan are those of {grouped(commitment_of(folder))}"
    assert lines[0] == f"checked: {ID}: {seal}"
    assert lines[1] == f"checked: {ID}: the order of 30 trials, drawn again from its seed"
    assert lines[2] == f"checked: {ID}: the commitment that 3 sheets print"
    assert lines[3].startswith("not checked: no report is named")
    assert lines[4] == "all that was checked is as stated"
    assert everything(folder) == before


def test_a_report_with_its_seal_its_findings_and_its_files_is_as_stated(
    out: Path, folder: Path, console: Console
) -> None:
    said = console("verify", folder, "--report", out, "--json")
    told = json.loads(said.out)
    assert (said.code, told["as_stated"], told["differences"], told["not_checked"]) == (0, True, [], [])
    # two listeners, the operator; scored, sham, control, practice
    sheets = f"{ID}: 7 sheets, each with its sha256; the opened ones made again from key and answers"
    assert told["checked"][0].startswith(f"{ID}: the seal holds")
    assert told["checked"][2] == sheets
    assert any(line.endswith("findings computed anew") for line in told["checked"])
    assert any(line == f"{ID}: 11 files, each with its sha256" for line in told["checked"])  # 8 takes, 3 opened


Change = Callable[[Path], None]
AFTER_THE_SEAL: list[tuple[Change, str, str]] = [
    (change_key, "listening/key/sealed-key.json", "the key was changed after the seal"),
    (
        lambda folder: edit(folder / "session.toml", "alpha = 0.05", "alpha = 0.1"),
        f"session.toml, line {NAMED.splitlines().index('alpha = 0.05') + 1}",
        "the criteria were changed after the seal: alpha was 0.05 and is 0.1",
    ),
    (
        lambda folder: edit(folder / "session.toml", "alpha = 0.05\n", 'alpha = 0.05\nbenefit = ["relief"]\n'),
        f"session.toml, line {len(NAMED.splitlines()) + 1}",
        'benefit was ["improved", "preferred", "better", "relief"] and is ["relief"]',
    ),
    (
        lambda folder: edit(folder / "listening/plan.json", '"n_trials": 8', '"n_trials": 6'),
        "listening/plan.json",
        "the plan was changed after the seal",
    ),
    (
        lambda folder: edit(folder / "listening/seal.json", '"alpha": 0.05', '"alpha": 0.06'),
        "listening/seal.json",
        "the criteria in the seal are not those that were sealed",
    ),
    (
        lambda folder: edit(folder / "listening/seal.json", commitment_of(folder), "0" * 64),
        "listening/seal.json",
        "the commitment is not that of key, criteria and plan",
    ),
]
NAMES = ["key", "criterion", "added-criterion", "plan", "criteria-in-the-seal", "commitment"]


@pytest.mark.parametrize(("touch", "where", "what"), AFTER_THE_SEAL, ids=NAMES)
@pytest.mark.parametrize("opened", [False, True])
def test_what_was_changed_after_the_seal_is_named_with_its_file(
    folder: Path, console: Console, opened: bool, touch: Change, where: str, what: str
) -> None:
    if opened:
        assert console("unseal", folder).code == 0
    touch(folder)
    (found,) = differences(console("verify", folder, "--json"))
    assert (found["part"], found["what"], found["stated"]) == ("seal", f"{ID}: {where}", "what was sealed")
    assert what in found["found"]
    assert console("verify", folder).out.splitlines()[-1] == "1 difference: the folder is not as it was sealed"


@pytest.mark.parametrize(("touch", "where", "what"), AFTER_THE_SEAL, ids=NAMES)
def test_with_a_report_a_broken_seal_is_named_and_no_finding_is_said_to_be_verified(
    out: Path, folder: Path, console: Console, touch: Change, where: str, what: str
) -> None:
    touch(folder)
    said = console("verify", folder, "--report", out, "--json")
    (found,) = differences(said)
    assert (found["part"], found["what"]) == ("seal", f"{ID}: {where}")
    (note,) = json.loads(said.out)["not_checked"]
    assert note.startswith("findings and measured files: no run takes what differs from its seal")
    assert what in note
    assert not json.loads(said.out)["checked"]


@pytest.mark.parametrize(
    ("path", "old", "new", "what"),
    [
        ("listening/opened/scored.csv", ",in,", ",out,", "opened/scored.csv is not what the sealed key and the sheets"),
        ("listening/opened/practice.csv", ",in,", ",out,", "opened/practice.csv is not what the sealed key"),
        ("listening/opened.json", '"answered": 8', '"answered": 7', "opened.json is not what the sealed key"),
        (SHEET, ",A,", ",B,", "listeners/k7.csv was changed after the plan was unsealed"),
        ("listening/operator/switching.csv", ",,,\n", ",no,,\n", "operator/switching.csv was changed after"),
    ],
)
def test_what_was_changed_after_unsealing_is_named(
    out: Path, folder: Path, console: Console, path: str, old: str, new: str, what: str
) -> None:
    edit(folder / path, old, new)
    found = differences(console("verify", folder, "--report", out, "--json"))
    (seal,) = [one for one in found if one["part"] == "seal"]
    assert seal["what"] == f"{ID}: {path}"
    assert seal["found"].startswith(what)
    assert console("verify", folder, "--report", out).code == 3


def test_a_data_file_that_was_edited_is_named_beside_a_seal_that_holds(
    out: Path, folder: Path, console: Console
) -> None:
    edit(folder / DATA, "Hz,dB\n", "# looked at\nHz,dB\n")
    said = console("verify", folder, "--report", out, "--json")
    (found,) = differences(said)
    assert (found["part"], found["what"]) == ("file", f"{ID}: {DATA}")
    assert "the seal holds" in said.out
    last = console("verify", folder, "--report", out).out.splitlines()[-1]
    assert last == "1 difference: the report does not say what the folder gives"


def test_a_finding_that_was_edited_is_named_beside_a_seal_that_holds(out: Path, folder: Path, console: Console) -> None:
    path = out / "findings.json"
    content = json.loads(path.read_text(encoding="utf-8"))
    finding = next(f for f in content["findings"] if f["quantity"] == "proportion_correct" and f["listener"] is None)
    stated, finding["value"] = finding["value"], 0.99
    path.write_text(json.dumps(content), encoding="utf-8")
    said = console("verify", folder, "--report", out, "--json")
    (found,) = differences(said)
    assert (found["part"], found["what"]) == ("finding", finding["id"])
    assert (found["stated"], found["found"]) == ("value 0.99", f"value {stated}")
    assert "the seal holds" in said.out


@pytest.mark.parametrize(
    ("first_line", "found"),
    [(f"# commitment: {'0' * 64}\n", "the commitment 00000000"), ("", "no commitment")],
)
def test_a_sheet_of_another_seal_is_named_before_unsealing(
    folder: Path, console: Console, first_line: str, found: str
) -> None:
    rest = (folder / SHEET).read_text(encoding="utf-8").partition("\n")[2]
    (folder / SHEET).write_text(first_line + rest, encoding="utf-8")
    (told,) = differences(console("verify", folder, "--json"))
    assert (told["part"], told["what"]) == ("seal", f"{ID}: {SHEET}")
    assert told["stated"] == f"the commitment {grouped(commitment_of(folder))}"
    assert told["found"].startswith(found)


def test_an_order_that_was_chosen_and_then_sealed_is_told_from_one_that_was_drawn(
    folder: Path, console: Console
) -> None:
    plan = folder / "listening"
    sealed, seal = read_key(plan), json.loads((plan / "seal.json").read_bytes())
    key = json.loads(json.dumps(sealed.key))
    cells = key["trials"][5]["cells"]
    cells["x"] = {"out": "in", "in": "out"}[cells["x"]]
    anew = seal_object(key, seal["criteria"], json.loads((plan / "plan.json").read_bytes()), sealed.salt)
    (plan / "seal.json").write_text(json.dumps(anew), encoding="utf-8")
    (plan / "key/sealed-key.json").write_bytes(pack_key(SealedKey(key=key, salt=sealed.salt)))
    for path in [plan / "operator/switching.csv", *plan.glob("listeners/*.csv")]:
        first, rest = path.read_text(encoding="utf-8").split("\n", 1)
        path.write_text(first.replace(grouped(seal["commitment"]), grouped(str(anew["commitment"]))) + "\n" + rest)
    (found,) = differences(console("verify", folder, "--json"))
    assert found["what"] == f"{ID}: listening/key/sealed-key.json"
    assert found["found"] == "another order: it was sealed, and not drawn from its seed"


def test_while_the_key_is_kept_elsewhere_it_says_what_it_cannot_check(folder: Path, console: Console) -> None:
    shutil.move(folder / "listening/key", folder.parent / "safe")
    said = console("verify", folder)
    assert said.code == 0
    assert "the seal holds" not in said.out
    assert "not checked: listening-test: listening/key/sealed-key.json is kept elsewhere" in said.out
    assert console("check", folder).code == 0
    edit(folder / "session.toml", "alpha = 0.05", "alpha = 0.1")
    (found,) = differences(console("verify", folder, "--json"))
    assert "alpha was 0.05 and is 0.1" in found["found"]
    edit(folder / "session.toml", "alpha = 0.1", "alpha = 0.05")
    shutil.move(folder.parent / "safe", folder / "listening/key")
    assert "the seal holds" in console("verify", folder).out


def test_a_key_that_is_gone_after_unsealing_is_a_difference(folder: Path, console: Console) -> None:
    assert console("unseal", folder).code == 0
    shutil.rmtree(folder / "listening/key")
    (found,) = differences(console("verify", folder, "--json"))
    assert (found["what"], found["part"]) == (f"{ID}: listening/key/sealed-key.json", "seal")


def test_a_session_without_a_plan_and_without_a_report_has_nothing_to_verify(tmp_path: Path, console: Console) -> None:
    made_session(tmp_path)
    said = console("verify", tmp_path)
    assert (said.code, said.out) == (2, "")
    ((what, _, try_),) = said.faults
    assert what == "there is nothing to verify: no session has a sealed plan, and no report is named"
    assert "--report DIR" in try_


def test_an_answer_that_is_being_written_is_no_difference_before_unsealing(folder: Path, console: Console) -> None:
    change(folder / SHEET, "3", answer="")
    change(folder / SHEET, "4", answer="perhaps")  # unsealing will say so
    assert console("verify", folder).code == 0
