"""Checks how the project is laid out: sizes of files and functions, docstrings, what lies at the top, no odd paths."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from fnmatch import fnmatch
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
SOURCE_ROOTS = ("pipeline", "plugins", "tests", "sample_sessions")
MOST_LINES_OF_A_FILE = 400
MOST_LINES_OF_A_FUNCTION = 60
TOP_LEVEL = {
    "DEVELOPERS.md", "LICENSE", "README.md", "pipeline", "plugins", "pyproject.toml", "requirements.lock",
    "sample_sessions", "tests",
}  # fmt: skip
CATCH_ALL = {"pipeline/fairhearing/calling.py", "pipeline/fairhearing/registry.py"}
PACKAGES = ("altair", "duckdb", "numpy", "pandas", "pluggy", "scipy", "typer")
# The parts stand apart here, so that this file does not hold what it looks for.
MACHINE_PATH = re.compile(
    r"(?<![\w.<>}])/" + f"(?:{'|'.join(['work', 'tmp', 'root', 'home', 'Users', 'mnt'])})" + r"/\w"
)


def ignored_patterns() -> list[str]:
    lines = (ROOT / ".gitignore").read_text(encoding="utf-8").split()
    return [line.strip("/") for line in lines]


def is_ignored(path: Path) -> bool:
    names = path.relative_to(ROOT).parts
    return names[0] == ".git" or any(fnmatch(name, pattern) for name in names for pattern in ignored_patterns())


def modules() -> list[Path]:
    found = (path for folder in SOURCE_ROOTS for path in sorted((ROOT / folder).rglob("*.py")))
    return [path for path in found if not is_ignored(path)]


def name_of(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def tree_of(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def text_files(folder: Path) -> Iterator[Path]:
    for path in sorted(folder.iterdir()):
        if is_ignored(path) or path.is_symlink():
            continue
        if path.is_dir():
            yield from text_files(path)
        elif b"\0" not in path.read_bytes()[:4096]:
            yield path


def imported_names(tree: ast.Module) -> set[str]:
    names: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module is not None:
            names.add(node.module.split(".")[0])
    return names


def catches_everything(handler: ast.ExceptHandler) -> bool:
    if handler.type is None:
        return True
    caught = handler.type.elts if isinstance(handler.type, ast.Tuple) else [handler.type]
    return any(isinstance(name, ast.Name) and name.id == "Exception" for name in caught)


def test_there_are_modules_in_every_source_root() -> None:
    assert {name_of(path).split("/")[0] for path in modules()} == set(SOURCE_ROOTS)


def test_no_file_is_too_long() -> None:
    long = {name_of(path): len(path.read_text(encoding="utf-8").splitlines()) for path in modules()}
    assert {name: lines for name, lines in long.items() if lines > MOST_LINES_OF_A_FILE} == {}


def test_no_function_is_too_long() -> None:
    long = []
    for path in modules():
        for node in ast.walk(tree_of(path)):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                assert node.end_lineno is not None
                if (lines := node.end_lineno - node.lineno + 1) > MOST_LINES_OF_A_FUNCTION:
                    long.append(f"{name_of(path)}: {node.name}: {lines}")
    assert long == []


def test_every_module_says_what_it_owns() -> None:
    silent = [name_of(path) for path in modules() if not (ast.get_docstring(tree_of(path)) or "").strip()]
    assert silent == []


def test_everything_is_caught_only_where_plug_ins_are_loaded_and_called() -> None:
    catching = {
        name_of(path)
        for path in modules()
        if path.is_relative_to(ROOT / "pipeline") or path.is_relative_to(ROOT / "plugins")
        for node in ast.walk(tree_of(path))
        if isinstance(node, ast.ExceptHandler) and catches_everything(node)
    }
    assert catching == CATCH_ALL


def test_the_top_level_holds_what_it_should() -> None:
    there = {path.name for path in ROOT.iterdir() if not path.name.startswith(".") and not is_ignored(path)}
    assert there == TOP_LEVEL


def test_no_file_names_the_path_of_a_machine() -> None:
    naming = []
    for path in text_files(ROOT):
        for number, line in enumerate(path.read_text(encoding="utf-8", errors="replace").splitlines(), 1):
            if MACHINE_PATH.search(line):
                naming.append(f"{name_of(path)}, line {number}: {line.strip()[:80]}")
    assert naming == []


@pytest.mark.parametrize("folder", ["work", "tmp", "root", "home"])
def test_the_search_for_paths_finds_one(folder: str) -> None:
    assert MACHINE_PATH.search(f'cache = "/{folder}/cache"')
    assert not MACHINE_PATH.search(f"see docs/{folder}/cache")


@pytest.mark.parametrize("package", PACKAGES)
def test_a_package_that_is_required_is_used(package: str) -> None:
    using = [
        name_of(path)
        for path in modules()
        if name_of(path).startswith(("pipeline/", "plugins/")) and package in imported_names(tree_of(path))
    ]
    assert using
