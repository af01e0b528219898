"""The step of the installation that builds the loops: what it says where there is no compiler, or one that fails."""

from __future__ import annotations

import importlib.util
import shutil
from pathlib import Path
from types import SimpleNamespace

import pytest

ROOT = Path(__file__).parents[1]
SOURCE = ROOT / "pipeline" / "build_loops.py"


@pytest.fixture
def build(tmp_path: Path):
    """What builds in a folder of its own: it gives the data of the build, and the warnings."""
    spec = importlib.util.spec_from_file_location("build_loops", SOURCE)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    folder = tmp_path / module.FOLDER
    folder.mkdir(parents=True)
    shutil.copy(ROOT / module.FOLDER / "_loops.c", folder)

    def made() -> tuple[dict[str, object], list[str]]:
        warnings: list[str] = []
        hook = module.LoopsHook.__new__(module.LoopsHook)
        hook.__dict__.update(
            {f"_BuildHookInterface__{name}": value for name, value in {
                "root": str(tmp_path), "app": SimpleNamespace(display_warning=warnings.append)
            }.items()}
        )  # fmt: skip
        data: dict[str, object] = {"artifacts": [], "pure_python": True}
        hook.initialize("standard", data)
        return data, warnings

    return made, folder / "_loops.library"


def test_with_a_compiler_it_is_built_for_this_machine(build) -> None:
    made, library = build
    data, warnings = made()
    assert warnings == []
    assert library.stat().st_size > 1000
    assert data["artifacts"] == [str(library.relative_to(library.parents[3]))]
    assert (data["pure_python"], data["infer_tag"]) == (False, True)


def test_without_a_compiler_the_installation_goes_on(build, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("CC", "no-such-compiler")
    made, library = build
    data, warnings = made()
    assert warnings == ["there is no C compiler (cc): recordings will be read at about half the speed"]
    assert data == {"artifacts": [], "pure_python": True}
    assert not library.exists()


def test_what_a_compiler_says_is_told_and_the_installation_goes_on(build) -> None:
    made, library = build
    (library.parent / "_loops.c").write_text("no C at all", encoding="utf-8")
    data, warnings = made()
    assert "did not build _loops.c" in warnings[0]
    assert "error" in warnings[0]
    assert not library.exists()
    assert data["artifacts"] == []
