"""Made-up listening sessions for tests: a session folder, a design, and sheets filled in by listeners of known ear."""

from __future__ import annotations

import csv
import io
import random
from collections.abc import Callable, Iterable
from dataclasses import replace
from pathlib import Path

from fairhearing.manifest import load_session
from fairhearing.protocol.design import Design, KeyTrial
from fairhearing.protocol.reading import trials_of
from fairhearing.protocol.sealing import read_key
from fairhearing.protocol.writing import WrittenPlan, write_plan
from fairhearing.session import Session

TOML = """\
format = 1
[session]
id = "listening-test"
question = "Does anybody hear it?"
[room]
id = "made-up"
[conditions.out]
reference = true
[conditions.in]
[conditions.half]
[seats.A]
[seats.B]
[listening]
switching = "relay"
"""
NAMED = TOML + 'plan = "listening"\n'
SWITCHING = "operator/switching.csv"
Answers = Callable[[KeyTrial], str]

DESIGN = Design(
    question="heard",
    method="abx",
    scale=None,
    conditions=("out", "in"),
    condition="in",
    reference="out",
    alpha=0.05,
    power=0.8,
    effect=0.7,
    margin=None,
    listeners=("k7", "m3"),
    n_trials=10,
    n_practice=2,
    n_sham=2,
    n_control=3,
    control="bass 6 dB up",
    looks=(),
    spending=None,
    programmes=("organ", "choir"),
    seats=("A", "B"),
    block_trials=8,
    trial_s=46.0,
    switching_s=2.0,
    break_s=300.0,
    minutes=None,
)
PAIRED = replace(DESIGN, question="preferred", method="paired-preference")
GRADED = replace(
    DESIGN, question="better", method="grading", scale="quality", conditions=("out", "in", "half"), effect=5.0,
    n_trials=12, n_practice=3, n_sham=3, n_control=3,
)  # fmt: skip
COMPARED = replace(DESIGN, question="better", method="grading", scale="comparison", effect=0.5)


def made_session(folder: Path, toml: str = TOML) -> Session:
    """The session of a folder that is written first."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "session.toml").write_text(toml, encoding="utf-8")
    session = load_session(folder).session
    assert session is not None
    return session


def made_plan(folder: Path, design: Design = DESIGN) -> WrittenPlan:
    """A session that names its plan, and the plan in it."""
    written = write_plan(made_session(folder), design)
    (folder / "session.toml").write_text(NAMED, encoding="utf-8")
    return written


def key_of(plan: Path) -> tuple[KeyTrial, ...]:
    """The trials of a plan's sealed key."""
    return trials_of(read_key(plan).key)


def right_answer(trial: KeyTrial) -> str:
    """What an abx listener says who hears everything; where nothing differs, A."""
    if trial.part == "sham":
        return "A"
    return "A" if trial.cells["x"] == trial.cells["first"] else "B"


def hearing(share: float, seed: int = 20261125) -> Answers:
    """An abx listener who is right in this share of trials."""
    chance = random.Random(seed)

    def answer(trial: KeyTrial) -> str:
        right = right_answer(trial)
        return right if chance.random() < share else {"A": "B", "B": "A"}[right]

    return answer


def rows_of(path: Path) -> tuple[str, list[dict[str, str]]]:
    """The first line of a sheet and its rows."""
    first, _, rest = path.read_text(encoding="utf-8").partition("\n")
    return first, list(csv.DictReader(io.StringIO(rest)))


def write_rows(path: Path, first: str, rows: Iterable[dict[str, str]], delimiter: str = ",") -> None:
    """A sheet with these rows."""
    rows = list(rows)
    stream = io.StringIO()
    stream.write(first + "\n")
    writer = csv.DictWriter(stream, list(rows[0]), delimiter=delimiter, lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    path.write_text(stream.getvalue(), encoding="utf-8")


def change(path: Path, trial: str, **cells: str) -> None:
    """Write cells into the row of one trial: of its first listener, where there are several."""
    first, rows = rows_of(path)
    row = next(one for one in rows if one["trial"] == trial)
    row.update(cells)
    write_rows(path, first, rows)


def fill(plan: Path, answer: Answers, column: str = "answer") -> None:
    """Let every listener answer every trial."""
    by_place = {(one.listener, one.trial): one for one in key_of(plan)}
    for path in sorted((plan / "listeners").glob("*.csv")):
        first, rows = rows_of(path)
        for row in rows:
            row[column] = answer(by_place[row["listener"], row["trial"]])
        write_rows(path, first, rows)


def everything(folder: Path) -> dict[str, bytes]:
    """All files below a folder with their bytes."""
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}
