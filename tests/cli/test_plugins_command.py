"""Checks of the options of `fairhearing plugins`: which stand together, and what a new plug-in may be called."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from fairhearing.api import API_VERSION
from fairhearing.cli import main
from fairhearing.conformance.new_plugin import PLUGIN_KINDS


def three_lines(capsys: pytest.CaptureFixture[str]) -> list[str]:
    printed = capsys.readouterr()
    assert printed.out == ""
    lines = printed.err.splitlines()
    assert len(lines) == 3
    assert lines[1].startswith("  where: ")
    assert lines[2].startswith("  try:   ")
    return lines


@pytest.mark.parametrize(
    ("arguments", "what"),
    [
        (["--json", "--test", "page"], "--json and --test do not go together"),
        (["--test", "page", "--new", "a"], "--test and --new do not go together"),
        (["--write-golden"], "--write-golden without --test says nothing"),
        (["--kind", "importer"], "--kind without --new says nothing"),
        (["--into", "a", "--test", "page"], "--into without --new says nothing"),
    ],
)
def test_options_that_do_not_go_together_end_with_2(
    arguments: list[str], what: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["plugins", *arguments]) == 2
    assert three_lines(capsys)[0] == what


@pytest.mark.parametrize("kind", PLUGIN_KINDS)
def test_a_new_plug_in_is_a_whole_distribution(kind: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plugins", "--new", "lamp-log", "--kind", kind, "--into", str(tmp_path / "made")]) == 0
    folder = tmp_path / "made" / "lamp-log"
    assert capsys.readouterr().out == f"{folder}\n"
    project = tomllib.loads((folder / "pyproject.toml").read_text(encoding="utf-8"))
    assert project["project"]["entry-points"]["fairhearing"] == {"lamp-log": "fairhearing_lamp_log"}
    files = {path.relative_to(folder).as_posix(): path for path in folder.rglob("*") if path.is_file()}
    wanted = {"pyproject.toml", "README.md", "src/fairhearing_lamp_log/__init__.py", "tests/test_conformance.py"}
    assert wanted <= set(files)
    assert ("src/fairhearing_lamp_log/samples/high_pass.log" in files) == (kind == "importer")
    for name, path in files.items():
        text = path.read_text(encoding="utf-8")
        assert "@" not in name
        assert not any(word in text for word in ("@NAME@", "@MODULE@", "@CLASS@", "@QUANTITY@", "@API@")), name
        if name.endswith(".py"):
            compile(text, name, "exec")
    module = files["src/fairhearing_lamp_log/__init__.py"].read_text(encoding="utf-8")
    assert f'\nNEEDS_API = "{API_VERSION}"  #' in module
    assert [path.name for path in (tmp_path / "made").iterdir()] == ["lamp-log"]


@pytest.mark.parametrize(
    ("name", "kind", "class_name"),
    [
        ("lamp-log", "importer", "LampLogImporter"),
        ("lamp-importer", "importer", "LampImporter"),
        ("importer", "importer", "ImporterImporter"),
        ("response-curve", "importer", "ResponseCurveImporter"),
    ],
)
def test_its_class_has_a_name_that_the_module_does_not_import(
    name: str, kind: str, class_name: str, tmp_path: Path
) -> None:
    assert main(["plugins", "--new", name, "--kind", kind, "--into", str(tmp_path)]) == 0
    (module,) = (tmp_path / name / "src").glob("*/__init__.py")
    assert f"\nclass {class_name}:\n" in module.read_text(encoding="utf-8")


def test_without_a_kind_it_is_an_analyser_in_this_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["plugins", "--new", "none"]) == 0
    assert "class NoneAnalyser:" in (tmp_path / "none/src/fairhearing_none/__init__.py").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    "name", ["", "Lamp", "lamp_log", "1lamp", "-lamp", "lamp-", "lamp--log", "../lamp", "lamp log", "l" * 41, "lämp"]
)
def test_what_is_no_name_ends_with_2_and_writes_nothing(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["plugins", f"--new={name}", "--into", str(tmp_path / "made")]) == 2
    assert three_lines(capsys)[0] == f"{name!r} is no name for a plug-in"
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("name", ["page", "level", "score-sheet", "builtins"])
def test_a_name_that_is_taken_ends_with_2(name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plugins", "--new", name, "--into", str(tmp_path)]) == 2
    assert three_lines(capsys)[0] == f"a plug-in {name!r} is installed: of two with one name at most one is used"
    assert list(tmp_path.iterdir()) == []


def test_an_unknown_kind_ends_with_2(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plugins", "--new", "lamp-log", "--kind", "reader", "--into", str(tmp_path)]) == 2
    assert three_lines(capsys)[0] == "'reader' is no kind of plug-in"


@pytest.mark.parametrize("there", ["file", "folder", "link"])
def test_what_is_there_already_is_left_alone(there: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place = tmp_path / "lamp-log"
    if there == "file":
        place.write_text("mine", encoding="utf-8")
    elif there == "folder":
        place.mkdir()
    else:
        place.symlink_to(tmp_path / "nowhere")
    assert main(["plugins", "--new", "lamp-log", "--into", str(tmp_path)]) == 2
    assert three_lines(capsys)[0] == "'lamp-log' is there already"
    assert list(tmp_path.iterdir()) == [place]
    assert there != "file" or place.read_text(encoding="utf-8") == "mine"


def test_a_place_that_cannot_be_written_ends_with_2(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "made").write_text("a file", encoding="utf-8")
    assert main(["plugins", "--new", "lamp-log", "--into", str(tmp_path / "made")]) == 2
    assert three_lines(capsys)[0].startswith("the plug-in cannot be written: ")
