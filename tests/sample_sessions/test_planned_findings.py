"""The planned listening, which another program drew, sealed, filled in and opened: read, opened and verified here."""

from __future__ import annotations

import csv
import json
import shutil
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from bad_input.console import Console

from fairhearing.protocol.drawing import draw_trials
from fairhearing.protocol.reading import design_of, trials_of
from fairhearing.protocol.sealing import grouped, read_key

FOLDER = Path(__file__).parents[2] / "sample_sessions"
((ID, TRUE),) = json.loads((FOLDER / "truth.json").read_text(encoding="utf-8"))["planned"].items()
SESSION = FOLDER / TRUE["folder"]
PLAN = SESSION / "listening"
ROLES = ("scored", "control", "sham")
KEY = "listening/key/sealed-key.json"


pytestmark = pytest.mark.usefixtures("without_page")


@pytest.fixture(scope="module")
def report(without_page: None, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of a run over the committed session."""
    out = tmp_path_factory.mktemp("report")
    said = Console()("run", SESSION, "--out", out)
    assert (said.code, said.err) == (0, "")
    return out


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    """The session by itself, to be changed."""
    return Path(shutil.copytree(SESSION, tmp_path / "session"))


def one(report: Path, quantity: str, **said: object) -> dict[str, Any]:
    """The one finding with these fields, null in variant, seat, programme and listener unless said."""
    findings = json.loads((report / "findings.json").read_text(encoding="utf-8"))["findings"]
    wanted = {"variant": None, "seat": None, "programme": None, "listener": None, **said}
    found = [f for f in findings if f["quantity"] == quantity and all(f[n] == v for n, v in wanted.items())]
    assert len(found) == 1, (quantity, wanted, len(found))
    return found[0]


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


# What is found


def test_the_chance_of_a_right_answer_lies_within_both_intervals(report: Path) -> None:
    drawn, true = TRUE["drawn"]["scored"], TRUE["probability_right"]
    over_all = one(report, "proportion_correct")
    assert over_all["n"] == drawn["scored"]
    assert over_all["value"] == pytest.approx(drawn["n_right"] / drawn["scored"], abs=1e-12)
    by_looks = one(report, "proportion_correct", variant="sequential")
    for found in (over_all, by_looks):
        assert found["low"] < true < found["high"]
        assert found["high"] - found["low"] < 0.25
        assert found["verdict"] == "heard"


def test_both_planned_looks_are_found_and_the_second_ended_it(report: Path) -> None:
    looks = json.loads((PLAN / "plan.json").read_bytes())["looks"]
    assert TRUE["n_right_at_first_look"] < looks[0]["n_right_needed"]
    found = one(report, "proportion_correct", variant="sequential")
    n_right, needed = TRUE["drawn"]["scored"]["n_right"], looks[1]["n_right_needed"]
    assert n_right >= needed
    n_played = TRUE["drawn"]["scored"]["played"]
    assert f"look 2 of 2 after {n_played} trials: {n_right} right, " in found["method"]


def test_all_hear_the_control_and_shams_are_guessed(report: Path) -> None:
    control = one(report, "control_correct")
    assert control["value"] == pytest.approx(TRUE["drawn"]["control"]["n_right"] / 40, abs=1e-12)
    assert control["low"] < TRUE["probability_right_in_control"] <= control["high"]
    assert control["verdict"] == "passed"
    sham = one(report, "sham_correct_share")
    assert sham["value"] == pytest.approx(TRUE["drawn"]["sham"]["n_right"] / 32, abs=1e-12)
    assert sham["low"] < 0.5 < sham["high"]


def test_every_trial_is_accounted_for_as_it_was_made(report: Path) -> None:
    (path,) = (report / "tables").glob("*_trial-flow.csv")
    whole = {row["role"]: row for row in rows_of(path) if row["listener"] == "all listeners"}
    for role in ROLES:
        made = {name: str(n) for name, n in TRUE["drawn"][role].items() if name != "n_right"}
        assert {name: whole[role][name] for name in made} == made
    assert "1 a lorry drove past" in whole["scored"]["reasons"]
    assert "1 not played: the amplifier had switched itself off" in whole["scored"]["reasons"]
    by_listener = {row["listener"]: row for row in rows_of(path) if row["role"] == "scored"}
    assert [by_listener[name]["scored"] for name in ("L1", "L3", "L5")] == ["16", "15", "15"]


def test_corner_level_and_balance_are_as_the_truth_says(report: Path) -> None:
    corner = one(report, "corner_frequency", point="amplifier-output")
    assert corner["value"] == pytest.approx(TRUE["corner_hz"], rel=0.002)
    assert one(report, "corner_ratio", point="amplifier-output")["verdict"] == "as-set"
    level = one(report, "level_difference", point="amplifier-output")
    assert level["value"] == pytest.approx(TRUE["level_difference_db"], abs=0.005)
    assert level["verdict"] == "matched"
    change = one(report, "target_deviation_change")
    assert change["low"] < TRUE["target_deviation_change_db"] < change["high"]
    assert one(report, "balance")["verdict"] == TRUE["balance"]


# What is verified


def test_the_report_and_the_seal_are_verified(report: Path) -> None:
    said = Console()("verify", SESSION, "--report", report)
    assert (said.code, said.err) == (0, "")
    seal = f"the seal holds: key, criteria and plan are those of {grouped(TRUE['commitment'])}"
    assert said.out.splitlines()[0] == f"checked: {ID}: {seal}"
    assert said.out.splitlines()[-1] == "all that was checked is as stated"
    assert "not checked" not in said.out


def test_one_line_of_the_key_changed_is_named(report: Path, copy: Path) -> None:
    lines = (copy / KEY).read_text(encoding="utf-8").splitlines(keepends=True)
    lines[40] = lines[40][:10] + {"A": "B"}.get(lines[40][10], "A") + lines[40][11:]
    (copy / KEY).write_text("".join(lines), encoding="utf-8")
    said = Console()("verify", copy, "--report", report, "--json")
    assert said.code == 3
    (found,) = json.loads(said.out)["differences"]
    assert (found["part"], found["what"]) == ("seal", f"{ID}: {KEY}")
    assert found["found"].startswith("the key was changed after it was sealed")
    refused = Console()("run", copy, "--out", copy.parent / "out")
    assert refused.code == 2
    ((what, where, _),) = refused.faults
    assert what.startswith("the key was changed after it was sealed")
    assert where == f"{copy.as_posix()}/{KEY}"


# What another program wrote by the documented form is what this one writes


def close(plan: Path) -> None:
    """Take away what was opened."""
    shutil.rmtree(plan / "opened")
    (plan / "opened.json").unlink()


def test_unsealing_gives_the_same_opened_files_again(copy: Path) -> None:
    close(copy / "listening")
    assert Console()("verify", copy).code == 0  # the seal, before it is opened
    assert Console()("unseal", copy).code == 0
    names = ["opened.json", *(f"opened/{part}.csv" for part in ("practice", *ROLES))]
    assert sorted(path.name for path in (copy / "listening/opened").iterdir()) == sorted(n[7:] for n in names[1:])
    for name in names:
        assert (copy / "listening" / name).read_bytes() == (PLAN / name).read_bytes(), name


def test_the_planned_look_gives_the_same_record_again(copy: Path, program: dict[str, ModuleType]) -> None:
    plan = copy / "listening"
    close(plan)
    (plan / "looks.json").unlink()
    for name, text in program["planned"].sheets_at_look().items():
        (plan / name).write_text(text, encoding="utf-8")
    assert Console()("unseal", copy, "--look", "1").code == 3  # it goes on
    assert (plan / "looks.json").read_bytes() == (PLAN / "looks.json").read_bytes()


def test_the_order_follows_from_the_sealed_seed_by_both_programs() -> None:
    key = read_key(PLAN).key
    design = design_of(json.loads((PLAN / "plan.json").read_bytes()))
    assert draw_trials(design, str(key["seed"])) == trials_of(key)
    assert len(trials_of(key)) == 8 * (3 + 16 + 4 + 5)


def test_planning_the_same_gives_the_same_plan(copy: Path) -> None:
    shutil.rmtree(copy / "listening")
    manifest = copy / "session.toml"
    manifest.write_text(manifest.read_text(encoding="utf-8").replace('plan = "listening"\n', ""), encoding="utf-8")
    asked = (
        "--question", "heard", "--effect", "0.65", "--listeners", "8", "--trials", "16", "--practice", "3",
        "--looks", "2", "--control", "bass 6 dB down", "--programme", "double-bass", "--programme", "footsteps",
    )  # fmt: skip
    assert Console()("plan", copy, *asked).code == 0
    made, committed = (json.loads((folder / "plan.json").read_bytes()) for folder in (copy / "listening", PLAN))
    spent = [[look.pop("alpha_spent") for look in plan["looks"]] for plan in (made, committed)]
    assert spent[0] == pytest.approx(spent[1], rel=1e-12)
    assert made == committed
    seals = [json.loads((folder / "seal.json").read_bytes()) for folder in (copy / "listening", PLAN)]
    assert seals[0]["criteria"].pop("target_slope_db_per_octave") is None  # newer than the sample's seal
    assert seals[0]["criteria"] == seals[1]["criteria"]
    assert seals[0].keys() == seals[1].keys()
    assert seals[0]["commitment"] != seals[1]["commitment"]  # another seed and another salt
    empty = [rows_without_answers(folder / "listening/listeners/L2.csv") for folder in (copy, SESSION)]
    assert empty[0] == empty[1]


def rows_without_answers(sheet: Path) -> tuple[str, list[tuple[str, ...]]]:
    """The header of a listener's sheet, and what stands in each row before it is filled in but for what was drawn."""
    head, *lines = sheet.read_text(encoding="utf-8").splitlines()[1:]
    kept = [name for name in head.split(",") if name not in ("programme", "answer", "answered_at", "excluded")]
    return head, [tuple(row[name] for name in kept) for row in csv.DictReader([head, *lines])]


def test_a_look_that_is_told_otherwise_is_named(copy: Path) -> None:
    looks = copy / "listening/looks.json"
    looks.write_text(looks.read_text(encoding="utf-8").replace('"ended": false', '"ended": true'), encoding="utf-8")
    said = Console()("verify", copy, "--json")
    assert said.code == 3
    (found,) = json.loads(said.out)["differences"]
    told = "looks.json is not what key and answers give: look 1 did not end the listening"
    assert (found["part"], found["what"], found["found"]) == ("seal", f"{ID}: listening/looks.json", told)
