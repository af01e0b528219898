"""A fresh environment as a plug-in's author and a user have it: new plug-ins, examples, and one that is broken.

Packages come from where uv finds them: its cache, else the index that the environment names.
"""

from __future__ import annotations

import json
import os
import re
import shlex
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest
from uv import find_uv_bin

from fairhearing.conformance.new_plugin import PLUGIN_KINDS

ROOT = Path(__file__).parent.parent
EXAMPLES = sorted(path.parent for path in (Path(__file__).parent / "examples").glob("*/pyproject.toml"))
WALK, CODE = re.findall(
    r"^```(?:sh|python)\n(.*?)^```",
    (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8"),
    flags=re.DOTALL | re.MULTILINE,
)[:2]
NEW = {kind: f"lamp-{kind}" for kind in PLUGIN_KINDS}
BROKEN = "dropped-lamp"
BROKEN_PROJECT = f"""\
[build-system]
requires = ["hatchling>=1.27"]
build-backend = "hatchling.build"
[project]
name = "{BROKEN}"
version = "0.3.0"
[project.entry-points.fairhearing]
{BROKEN} = "dropped_lamp"
[tool.hatch.build.targets.wheel]
include = ["dropped_lamp.py"]
"""


@dataclass(frozen=True)
class Environment:
    """A virtual environment, and the folder in which its user works."""

    python: Path
    folder: Path

    @property
    def variables(self) -> dict[str, str]:
        """Ours, without what makes Python or the project behave otherwise than in a shell of somebody else."""
        of_others = re.compile(r"PYTHON|PYTEST|FAIRHEARING|VIRTUAL_ENV")
        return {name: value for name, value in os.environ.items() if not of_others.match(name)}

    def run(self, *command: str | Path, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [str(part) for part in command], cwd=cwd or self.folder, env=self.variables, capture_output=True, text=True,
            check=False,
        )  # fmt: skip

    def fairhearing(self, *arguments: str | Path) -> subprocess.CompletedProcess[str]:
        return self.run(self.python.with_name("fairhearing"), *arguments)

    def install(self, *what: str) -> None:
        options = ("--python", self.python, "--quiet", "--no-progress")
        done(uv("pip", "install", *options, *what, cwd=self.folder))


def uv(*arguments: str | Path, cwd: Path) -> subprocess.CompletedProcess[str]:
    command = [find_uv_bin(), *map(str, arguments)]
    variables = {**os.environ, "UV_PYTHON_DOWNLOADS": "never"}
    return subprocess.run(command, cwd=cwd, env=variables, capture_output=True, text=True, check=False)


def done(finished: subprocess.CompletedProcess[str]) -> str:
    assert finished.returncode == 0, finished.stdout + finished.stderr
    return finished.stdout


@pytest.fixture(scope="module")
def fresh(tmp_path_factory: pytest.TempPathFactory) -> Environment:
    """The project from its source tree; by its own command a new plug-in of each kind; the examples; a broken one."""
    place, folder = tmp_path_factory.mktemp("fresh"), tmp_path_factory.mktemp("author")
    done(uv("venv", "--quiet", "--python", sys.executable, place / "venv", cwd=place))
    made = Environment(python=place / "venv" / "bin" / "python", folder=folder)
    # A wheel, since what uv keeps of a source tree is not made anew when a module changes.
    done(uv("build", "--quiet", "--wheel", "--out-dir", place, ROOT, cwd=place))
    (wheel,) = place.glob("*.whl")
    made.install(str(wheel))
    for kind, name in NEW.items():
        assert done(made.fairhearing("plugins", "--new", name, "--kind", kind)).strip() == name
    (folder / BROKEN).mkdir()
    (folder / BROKEN / "pyproject.toml").write_text(BROKEN_PROJECT, encoding="utf-8")
    (folder / BROKEN / "dropped_lamp.py").write_text("import filament_of_a_lamp\n", encoding="utf-8")
    new = [f"./{name}[test]" for name in NEW.values()]
    made.install(*new, *map(str, EXAMPLES), f"./{BROKEN}")
    return made


def test_it_holds_the_project_itself_and_not_the_tree_that_it_was_made_from(fresh: Environment) -> None:
    where = done(fresh.run(fresh.python, "-c", "import fairhearing, sys; print(fairhearing.__file__, *sys.path)"))
    assert str(fresh.python.parent.parent) in where
    assert str(ROOT / "pipeline") not in where


@pytest.mark.parametrize("kind", PLUGIN_KINDS)
def test_a_new_plug_in_passes_its_own_test_and_the_kit_by_name(kind: str, fresh: Environment) -> None:
    name = NEW[kind]
    own = done(fresh.run(fresh.python, "-m", "pytest", "-q", "-W", "error", cwd=fresh.folder / name))
    passed = re.search(r"^(\d+) passed in", own, flags=re.MULTILINE)
    assert passed is not None
    said = done(fresh.fairhearing("plugins", "--test", name))
    assert re.search(rf"^{kind} {name}: {passed[1]} rules ran: \d+ kept, 0 waived, \d+ skipped, 0 broken$", said, re.M)


def test_the_walk_in_developers_leads_to_a_plug_in_that_keeps_the_rules(fresh: Environment) -> None:
    new, install, test = (shlex.split(line) for line in WALK.splitlines())
    folder = Path(done(fresh.fairhearing(*new[1:])).strip())
    assert install[:5] == ["python", "-m", "pip", "install", "-e"]
    fresh.install("--no-deps", *install[4:])
    (module,) = (fresh.folder / folder).glob("src/*/__init__.py")
    assert f"`{module.relative_to(fresh.folder)}`" in (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    written = re.search(r"^class \w+", module.read_text(encoding="utf-8"), flags=re.MULTILINE)
    assert written is not None
    assert f"{written[0]}:" in CODE, "the test beside it would not find the class"
    module.write_text(CODE, encoding="utf-8")
    assert re.search(
        r"^analyser bass-peak: .* 0 waived, \d+ skipped, 0 broken$", done(fresh.fairhearing(*test[1:])), re.M
    )


def test_the_list_shows_the_sound_ones_and_names_the_broken_one(fresh: Environment) -> None:
    listed = fresh.fairhearing("plugins")
    assert (listed.returncode, listed.stderr) == (0, "")
    for name in (*NEW.values(), *(example.name for example in EXAMPLES)):
        assert re.search(rf"^{name} .* fairhearing-{name} 0\.1\.0", listed.stdout, flags=re.MULTILINE), name
    what, where, try_ = listed.stdout.splitlines()[-3:]
    assert what == f"NOT USED: {BROKEN}: ModuleNotFoundError: No module named 'filament_of_a_lamp'"
    assert where == f"  where: {BROKEN}"
    assert try_.startswith(f"  try:   re-install or remove {BROKEN}")


def test_help_is_not_touched_by_the_broken_one(fresh: Environment) -> None:
    here = subprocess.run(
        [sys.executable, "-m", "fairhearing", "--help"], env=fresh.variables, capture_output=True, text=True, check=True
    )
    there = fresh.fairhearing("--help")
    assert (there.returncode, there.stderr, there.stdout) == (0, "", here.stdout)


def test_a_run_works_and_names_the_broken_one_on_standard_error_and_in_the_report(fresh: Environment) -> None:
    finished = fresh.fairhearing("run", ROOT / "sample_sessions" / "filter-as-set", "--out", "report")
    findings = json.loads((fresh.folder / "report" / "findings.json").read_text(encoding="utf-8"))["findings"]
    quantities = {finding["quantity"] for finding in findings}
    assert {"balance", "corner_frequency", "lamp_analyser_change"} <= quantities
    told = f"plug-in {BROKEN} ({BROKEN}) is not used: ModuleNotFoundError: No module named"
    assert told in finished.stderr
    assert told in (fresh.folder / "report" / "report.html").read_text(encoding="utf-8")
    assert (fresh.folder / "report" / "lamp-reporter.txt").is_file()
    assert (fresh.folder / "report" / "summary.md").is_file()
    assert finished.returncode == 0, finished.stderr
