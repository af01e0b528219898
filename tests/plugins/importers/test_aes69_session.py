"""A whole run over a session whose seats lie in one AES69 file per take: the findings of the same data as text."""

from __future__ import annotations

import re
import shutil
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from end_to_end.finding_list import KEY, FindingList
from end_to_end.made_rooms import add_takes, unchanged
from end_to_end.session_writer import Folder, Written, high_pass

from fairhearing.cli import main

from .aes69_files import aes69_bytes

SEATS = {"A": 1.0, "B": 1.0, "sofa": 2.0}
CORNER_HZ = 90.0
NAMES = "{seat}_{condition}_{repeat}"
CHAIN = {"design_corner_hz": CORNER_HZ}


@dataclass(kw_only=True)
class OneFilePerTake(Folder):
    """The same session with all seats of a take in one AES69 file, the receivers in an order of their own."""

    def write(self, into: Path) -> Path:
        """As text first; then each group of responses is put together."""
        folder = super().write(into)
        manifest = (folder / "session.toml").read_text()
        group = re.search(r'files = "(group\d+)/\{seat\}_\{condition\}_\{repeat\}.txt"\nkind = "response"', manifest)
        assert group is not None
        shutil.rmtree(folder / group[1])
        (folder / group[1]).mkdir()
        manifest = manifest.replace(f"{group[1]}/{{seat}}_{{condition}}", f"{group[1]}/{{condition}}")
        manifest = manifest.replace(
            f"{group[1]}/{{condition}}_{{repeat}}.txt", f"{group[1]}/{{condition}}_{{repeat}}.sofa"
        )
        (folder / "session.toml").write_text(manifest)
        responses = sorted((c for c in self.curves if c.kind == "response"), key=lambda c: (c.condition, c.repeat))
        for (condition, repeat), curves in groupby(responses, key=lambda c: (c.condition, c.repeat)):
            (folder / group[1] / f"{condition}_{repeat}.sofa").write_bytes(container(list(curves)[::-1]))
        return folder


def container(curves: list[Written]) -> bytes:
    values = np.stack([10 ** (c.level_db / 20) * np.exp(1j * np.deg2rad(c.phase_deg)) for c in curves])[np.newaxis]
    return aes69_bytes(
        "GeneralTF", Data_Real=values.real, Data_Imag=values.imag, N=curves[0].frequency_hz,
        ReceiverDescriptions=", ".join(str(c.seat) for c in curves),
    )  # fmt: skip


def session_folder(kind: type[Folder], conditions: Mapping[str, Mapping[str, Any]] | None = None) -> Folder:
    folder = kind(id="chapel", seats=SEATS, chain=CHAIN, conditions=conditions or {"out": {}, "in": {}})
    folder.add_silence()
    changes = {"out": unchanged, "in": lambda f: 0.98 * high_pass(f, CORNER_HZ)}
    return add_takes(folder, changes, seed=7, phase=True)


@pytest.fixture(scope="module")
def both(tmp_path_factory: pytest.TempPathFactory) -> tuple[FindingList, FindingList]:
    """Findings from text and from AES69 files, by the command line."""
    found = []
    for name, kind in (("text", Folder), ("containers", OneFilePerTake)):
        base = tmp_path_factory.mktemp(name)
        folder = session_folder(kind).write(base)
        assert main(["run", str(folder), "--out", str(base / "report")]) == 0
        found.append(FindingList.read(base / "report" / "findings.json"))
    return found[0], found[1]


def by_key(findings: FindingList) -> dict[tuple[str, ...], dict[str, Any]]:
    return {tuple(repr(finding.get(name)) for name in KEY): finding for finding in findings.findings}


def test_one_file_of_all_seats_gives_the_findings_of_a_text_for_each(both: tuple[FindingList, FindingList]) -> None:
    text, containers = map(by_key, both)
    assert set(text) == set(containers)
    assert len(text) > 100
    n_numbers = 0
    for key, finding in text.items():
        other = containers[key]
        for name in ("value", "low", "high"):
            assert (other[name] is None) == (finding[name] is None), (key, name)
            if finding[name] is not None:
                n_numbers += 1
                # The text holds levels to 0.0001 dB and phases to 0.001 degree; the files hold these very numbers.
                assert other[name] == pytest.approx(finding[name], rel=1e-6, abs=1e-6), (key, name)
        assert (other["verdict"], other["n"], other["unit"]) == (finding["verdict"], finding["n"], finding["unit"])
    assert n_numbers > 300


def test_the_corner_is_found_at_every_seat_and_is_the_true_one(both: tuple[FindingList, FindingList]) -> None:
    _, containers = both
    for seat in (None, *SEATS):
        corner = containers.one("chapel", "corner_frequency", seat=seat, condition="in")
        assert corner["low"] < CORNER_HZ < corner["high"]
        assert corner["value"] == pytest.approx(CORNER_HZ, rel=0.03)
