"""Sheets that are damaged in any way are a fault in words, or open with every planned trial; never anything else."""

from __future__ import annotations

import csv
import random
from pathlib import Path

import pytest
from planned_listening import SWITCHING, everything, fill, hearing, made_plan

from fairhearing.errors import InputProblem
from fairhearing.manifest import load_session
from fairhearing.protocol.opening import unseal

N_DAMAGES = 150
PIECES = (b"\n", b"\r\n", b",", b";", b'"', b"\0", b"\xff", "ü".encode(), b"A", b"yes", b"P1", b"1", b"-", b" ", b"#")


def damaged(data: bytes, chance: random.Random) -> bytes:
    for _ in range(chance.randint(1, 4)):
        place = chance.randrange(len(data) + 1)
        kind = chance.randrange(4)
        if kind == 0:
            data = data[:place] + chance.choice(PIECES) + data[place:]
        elif kind == 1:
            data = data[:place] + data[place + chance.randint(1, 40) :]
        elif kind == 2:
            data = data[:place]
        else:
            data = data[:place] + data[place : place + 30] + data[place:]
    return data


@pytest.mark.parametrize("path", ["listeners/k7.csv", SWITCHING, "seal.json", "plan.json", "key/sealed-key.json"])
def test_a_damaged_file_is_told_in_words_or_does_no_harm(tmp_path: Path, path: str) -> None:
    plan = made_plan(tmp_path).folder
    fill(plan, hearing(0.7))
    session = load_session(tmp_path).session
    assert session is not None
    sound, chance = everything(plan), random.Random(20261125)
    n_opened = 0
    for _ in range(N_DAMAGES):
        (plan / path).write_bytes(damaged(sound[path], chance))
        before = everything(plan)
        words, outcome = "", None
        try:
            outcome = unseal(session, plan)
        except InputProblem as problem:
            words = str(problem)
        if outcome is None:
            assert len(words.splitlines()) >= 3
            assert everything(plan) == before
            continue
        n_opened += 1
        assert sum(one.n_planned for one in outcome.counts) == 34
        for sheet in sorted((plan / "opened").glob("*.csv")):
            with sheet.open(encoding="utf-8", newline="") as stream:
                assert all(row["listener"] in ("k7", "m3") for row in csv.DictReader(stream))
            sheet.unlink()
        for name in ("opened.json", ".fairhearing-opened.json"):
            (plan / name).unlink()
        (plan / "opened").rmdir()
    assert n_opened < N_DAMAGES
