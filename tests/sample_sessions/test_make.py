"""The program that makes the sample sessions writes the committed files, and they fit their manifests."""

from __future__ import annotations

import ast
import re
import sys
import tomllib
import wave
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest

FOLDER = Path(__file__).parents[2] / "sample_sessions"
MODULES = sorted(path.stem for path in FOLDER.glob("*.py"))
FOLDERS = ("cable-turned-round", "filter-as-set", "loudspeaker-moved", "set-for-a-fifth")
RECORDED = "subsonic-spared"
GRADED = "contour-graded"
PLANNED = "filter-heard-planned"
NUMBER = re.compile(r"-?\d+(?:[.,]\d+)?")


def files_below(folder: Path) -> dict[str, Path]:
    """Made files by name relative to the folder; the program itself left out."""
    kept = [p for name in (*FOLDERS, RECORDED, GRADED, PLANNED) for p in (folder / name).rglob("*") if p.is_file()] + [
        folder / "truth.json"
    ]
    return {path.relative_to(folder).as_posix(): path for path in kept}


def same_within_last_digit(one: str, other: str) -> bool:
    """Whether two texts agree, numbers being allowed to differ by one in the last printed digit."""
    if NUMBER.sub("#", one) != NUMBER.sub("#", other):
        return False
    for first, second in zip(NUMBER.findall(one), NUMBER.findall(other), strict=True):
        a, b = first.replace(",", "."), second.replace(",", ".")
        decimals = max(len(text.partition(".")[2]) for text in (a, b))
        step = 10.0**-decimals if decimals else 0.0  # whole numbers count something: they must agree
        if abs(float(a) - float(b)) > step * 1.001:
            return False
    return True


def assert_same_but_for_rounding(one: Path, other: Path) -> None:
    """A sample that another numpy rounds the other way differs by one step; hardly any does."""
    steps = []
    for path in (one, other):
        with wave.open(str(path)) as file:
            steps.append(np.frombuffer(file.readframes(file.getnframes()), dtype="<i2").astype(int))
    difference = np.abs(steps[0] - steps[1])
    assert difference.max() <= 1
    assert np.count_nonzero(difference) < 1e-3 * len(difference)


def manifest_of(folder: str) -> dict[str, Any]:
    return tomllib.loads((FOLDER / folder / "session.toml").read_text(encoding="utf-8"))


def test_the_program_makes_the_committed_files_again(made: Path) -> None:
    fresh, committed = files_below(made), files_below(FOLDER)
    assert sorted(fresh) == sorted(committed)
    for name, path in committed.items():
        if path.read_bytes() != fresh[name].read_bytes():
            if path.suffix == ".wav":
                assert_same_but_for_rounding(path, fresh[name])
                continue
            assert same_within_last_digit(path.read_text(encoding="utf-8"), fresh[name].read_text(encoding="utf-8")), (
                name
            )


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        ("10.29,61.28", "10.29,61.29", True),
        ("10,29;61,28", "10,29;61,27", True),
        ("10.29,61.28", "10.29,61.30", False),
        ("L01,1,direct", "L02,1,direct", False),
        ("L01,1,direct", "L01,1,highpass", False),
        ("10.29 61.28", "10.29 61.28 1", False),
    ],
)
def test_texts_that_differ_by_more_than_the_last_digit_are_told_apart(one: str, other: str, same: bool) -> None:
    assert same_within_last_digit(one, other) is same


def test_no_two_takes_are_the_same_bytes_and_the_whole_is_small() -> None:
    contents = [path.read_bytes() for path in files_below(FOLDER).values()]
    assert len(set(contents)) == len(contents) < 320
    assert sum(len(content) for content in contents) < 6_000_000


def test_the_program_imports_numpy_and_the_standard_library_only() -> None:
    allowed = {"numpy", *sys.stdlib_module_names, *MODULES}
    for name in MODULES:
        for node in ast.walk(ast.parse((FOLDER / f"{name}.py").read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                assert {alias.name.partition(".")[0] for alias in node.names} <= allowed, name
            elif isinstance(node, ast.ImportFrom):
                assert node.level == 0, name
                assert (node.module or "").partition(".")[0] in allowed, name


@pytest.mark.parametrize("folder", FOLDERS)
def test_each_manifest_says_what_the_curves_were_made_from(folder: str, program: dict[str, ModuleType]) -> None:
    said = manifest_of(folder)
    scenario = next(s for s in program["scenarios"].scenarios() if s.folder == folder)
    assert said["session"]["id"] == scenario.id
    assert said["session"]["date"].isoformat() == scenario.id[-10:]
    assert [name for name, of in said["conditions"].items() if of.get("reference")] == [scenario.reference]
    assert set(said["conditions"]) == set(scenario.conditions)
    assert said["conditions"][scenario.treatment].get("trim_db", 0.0) == scenario.trim_db
    for condition, line in scenario.lines.items():
        chain = said["chain"] | said["conditions"][condition].get("chain", {})
        assert chain["amplifier_input_kohm"] * 1e3 == line.amplifier_input_ohm
        assert chain["source_output_ohm"] == line.source_output_ohm
        assert chain["cable_capacitance_pf"] == pytest.approx(line.cable_farad * 1e12, rel=1e-9)
    capacitor = scenario.lines[scenario.treatment].capacitor_farad
    assert said["chain"].get("capacitance_nf") == (capacitor and pytest.approx(capacitor * 1e9, rel=1e-9))
    assert said["chain"].get("design_corner_hz") == scenario.design_corner_hz
    assert {n: tuple(s["position_m"]) for n, s in said["seats"].items()} == {
        n: s.position_m for n, s in scenario.seats.items()
    }


@pytest.mark.parametrize("folder", FOLDERS)
def test_each_pattern_of_a_manifest_finds_files_and_no_file_is_left_over(folder: str) -> None:
    said = manifest_of(folder)
    words = {"seat": said["seats"], "condition": said["conditions"], "channel": ["left", "right"], "repeat": "1234"}
    expected = {"session.toml"}
    for entry in said["measurements"]:
        pattern = re.escape(entry["files"])
        for key, values in words.items():
            pattern = pattern.replace(rf"\{{{key}\}}", "(?:" + "|".join(values) + ")")
        found = {
            name
            for name in (p.relative_to(FOLDER / folder).as_posix() for p in (FOLDER / folder).rglob("*"))
            if re.fullmatch(pattern, name)
        }
        assert found
        assert not found & expected
        expected |= found
    expected |= {entry["files"] for entry in said.get("scores", [])}
    assert {name.removeprefix(f"{folder}/") for name in files_below(FOLDER) if name.startswith(folder)} == expected
