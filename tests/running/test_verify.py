"""`fairhearing verify`: silent where nothing was touched, and names what was."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from bad_input.console import Console
from bad_input.sound_session import sound_files, write_session
from plug_in_modules import Installed

from fairhearing.verify.stated_findings import alike


@pytest.fixture
def made(installed: Installed, console: Console, folder: Path, out: Path) -> Path:
    assert console("run", folder, "--out", out).code == 0
    return out


def change_finding(out: Path, quantity: str, **fields: object) -> None:
    """Write other fields into the headline of a quantity."""
    path = out / "findings.json"
    content = json.loads(path.read_text())
    touched = [
        f for f in content["findings"] if f["quantity"] == quantity and f["seat"] is f["listener"] is f["variant"]
    ]
    assert touched
    for finding in touched:
        finding.update(fields)
    path.write_text(json.dumps(content))


def test_an_untouched_report_is_as_stated_and_nothing_is_written(made: Path, console: Console, folder: Path) -> None:
    before = {path: path.read_bytes() for path in made.parent.rglob("*") if path.is_file()}
    said = console("verify", folder, "--report", made)
    assert (said.code, said.err) == (0, "")
    assert said.out.splitlines()[-1] == "all that was checked is as stated"
    assert "files, each with its sha256" in said.out
    assert {path: path.read_bytes() for path in made.parent.rglob("*") if path.is_file()} == before


def test_a_value_that_was_changed_in_the_report_is_named_with_both_numbers(
    made: Path, console: Console, folder: Path
) -> None:
    change_finding(made, "proportion_correct", value=0.9)
    said = console("verify", folder, "--report", made)
    assert said.code == 3
    (line,) = [line for line in said.out.splitlines() if line.startswith("finding ")]
    assert "proportion_correct" in line
    assert "stated value 0.9, found value 0.875" in line  # 14 of 16


@pytest.mark.parametrize(
    "fields", [{"verdict": "heard-well"}, {"p_value": 0.001}, {"low": 0.123}, {"caveats": ["made up"]}, {"n": 99}]
)
def test_every_field_of_a_finding_counts(made: Path, console: Console, folder: Path, fields: dict[str, object]) -> None:
    change_finding(made, "proportion_correct", **fields)
    said = console("verify", folder, "--report", made, "--json")
    assert said.code == 3
    told = json.loads(said.out)
    assert not told["as_stated"]
    assert [d["stated"].split()[0] for d in told["differences"]] == list(fields)


def test_a_finding_that_was_taken_out_and_one_that_was_put_in_are_named(
    made: Path, console: Console, folder: Path
) -> None:
    path = made / "findings.json"
    content = json.loads(path.read_text())
    taken = content["findings"].pop()
    content["findings"].append({**taken, "id": taken["id"] + "/made-up"})
    path.write_text(json.dumps(content))
    said = console("verify", folder, "--report", made)
    assert said.code == 3
    assert f"finding {taken['id']}: stated none, found a finding" in said.out
    assert f"finding {taken['id']}/made-up: stated a finding, found none" in said.out


def test_a_changed_file_of_the_session_is_named_by_its_hash_and_by_what_it_changes(
    made: Path, console: Console, folder: Path
) -> None:
    sheet = folder / "scores" / "abx.csv"
    text = sheet.read_text()
    first = text.splitlines()[1]
    listener, trial, x, answer = first.split(",")
    sheet.write_text(text.replace(first, f"{listener},{trial},{x},{'in' if answer == 'out' else 'out'}", 1))
    said = console("verify", folder, "--report", made)
    assert said.code == 3
    assert "file cedar-room-2026-01-17: scores/abx.csv: stated sha256" in said.out
    assert "proportion_correct" in said.out


def test_an_older_sheet_under_the_same_answers_is_told_by_its_hash_alone(
    made: Path, console: Console, folder: Path
) -> None:
    sheet = folder / "scores" / "abx.csv"
    sheet.write_text(sheet.read_text() + "\n")
    said = console("verify", folder, "--report", made)
    assert said.code == 3
    differences = [line for line in said.out.splitlines() if ": stated " in line]
    assert [line.split(":")[0] for line in differences] == ["file cedar-room-2026-01-17"]


def test_without_the_store_it_says_that_hashes_were_not_compared(made: Path, console: Console, folder: Path) -> None:
    (made / "store.duckdb").unlink()
    said = console("verify", folder, "--report", made)
    assert said.code == 0
    assert "not checked: there is no " in said.out


def test_a_report_of_more_sessions_says_that_its_page_was_not_compared(
    installed: Installed, console: Console, folder: Path, out: Path
) -> None:
    files = sound_files()
    files["session.toml"] = files["session.toml"].replace(b"cedar-room-2026-01-17", b"cedar-room-2026-01-18")
    other = write_session(folder.parent / "other", files)
    assert console("run", folder, other, "--out", out).code == 0
    said = console("verify", folder, "--report", out)
    assert said.code == 0
    assert "not checked: the report is of other sessions too (cedar-room-2026-01-18)" in said.out
    assert "not checked" not in console("verify", folder, other, "--report", out).out


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (b"{", "it is no JSON"),
        (b'{"format": 1, "findings": [{"id": "a", "value": NaN}]}', "NaN is no number in JSON"),
        (b'{"format": 2, "findings": []}', "its format is not 1"),
        (b'{"format": 1, "findings": [{}]}', "finding 1 has no id"),
        (b'{"format": 1, "findings": [{"id": "a"}, {"id": "a"}]}', "two findings have the id 'a'"),
        (b'{"format": 1}', "it has no list of findings"),
    ],
)
def test_a_report_that_cannot_be_read_is_an_error_in_three_lines(
    made: Path, console: Console, folder: Path, content: bytes, why: str
) -> None:
    (made / "findings.json").write_bytes(content)
    said = console("verify", folder, "--report", made)
    assert said.code == 2
    ((what, where, _),) = said.faults
    assert why in what
    assert where == str(made / "findings.json")


def test_no_report_is_an_error(installed: Installed, console: Console, folder: Path, out: Path) -> None:
    said = console("verify", folder, "--report", out)
    assert said.code == 2
    assert "no report to verify" in said.faults[0][0]


def test_a_session_at_fault_is_told_as_everywhere(made: Path, console: Console, folder: Path) -> None:
    shutil.move(folder / "scores", folder / "answers")
    said = console("verify", folder, "--report", made)
    assert said.code == 2
    assert "scores/abx.csv" in said.err


def test_numbers_are_alike_to_nine_digits_and_no_further() -> None:
    assert alike(1.0, 1.0 + 1e-10)
    assert not alike(1.0, 1.0 + 1e-8)
    assert not alike(None, 0.0)
    assert not alike(0, False)
