"""Checks that help and `corner` start at once: what they load, and how long against a program that prints hello."""

from __future__ import annotations

import statistics
import subprocess
import sys
import time
from pathlib import Path

import pytest

HEAVY = ("altair", "duckdb", "jinja2", "numpy", "pandas", "pluggy", "rich", "scipy", "vl_convert")
CORNER = ("corner", "--design-corner-hz", "100", "--setting-kohm", "20", "--load-kohm", "100")
PLAN = ("plan", "--question", "heard", "--effect", "0.7", "--dry-run")
COMMANDS = [
    ("--help",),
    ("corner", "--help"),
    CORNER,
    (*CORNER, "--json"),
    ("corner", "--load-kohm", "no"),
    ("nonsense",),
    ("plan", "--help"),
    ("unseal", "--help"),
    PLAN,
    (*PLAN, "--looks", "2", "--json"),
    ("plan", "--question", "preferred", "--effect", "0.7", "--dry-run"),
    ("plan", "--question", "better", "--effect", "0.5", "--dry-run"),
    ("plan", "--question", "equivalent", "--margin", "0.6", "--dry-run"),
    ("plan", "--question", "herd"),
]
HELLO = """\
import typer

app = typer.Typer(rich_markup_mode=None, pretty_exceptions_enable=False, add_completion=False)


@app.command()
def hello() -> None:
    print("hello")


app()
"""
LARGEST_RATIO = 1.5
N_RUNS = 11


@pytest.mark.parametrize("arguments", COMMANDS, ids=" ".join)
def test_nothing_heavy_is_loaded(arguments: tuple[str, ...]) -> None:
    program = (
        "import sys\n"
        "from fairhearing.cli import main\n"
        f"main({list(arguments)!r})\n"
        "print('loaded:', *sorted({name.partition('.')[0] for name in sys.modules}))\n"
    )
    finished = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    loaded = finished.stdout.splitlines()[-1].split()
    assert "typer" in loaded
    assert set(loaded).isdisjoint(HEAVY)


def test_help_and_corner_take_at_most_half_as_long_again_as_hello(tmp_path: Path) -> None:
    hello = tmp_path / "hello.py"
    hello.write_text(HELLO, encoding="utf-8")
    programs = {
        "hello": [sys.executable, str(hello)],
        "help": [sys.executable, "-m", "fairhearing", "--help"],
        "corner": [sys.executable, "-m", "fairhearing", *CORNER],
    }
    durations_s: dict[str, list[float]] = {name: [] for name in programs}
    for _ in range(N_RUNS):
        for name, command in programs.items():
            start_s = time.perf_counter()
            subprocess.run(command, capture_output=True, check=True)
            durations_s[name].append(time.perf_counter() - start_s)
    medians_s = {name: statistics.median(values) for name, values in durations_s.items()}
    for name in ("help", "corner"):
        assert medians_s[name] <= LARGEST_RATIO * medians_s["hello"], medians_s
