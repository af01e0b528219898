"""Levels matched by loudness, from WAV files to the report: a known gain, a known trim, and what listeners heard."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile
from bad_input.console import Console

RATE_HZ = 44_100
GAIN_DB = -1.83
MANIFEST = """\
format = 1
[session]
id = "loft-2026-04-11"
[room]
id = "loft"
[conditions.out]
reference = true
[conditions.in]
trim_db = {trim_db}
[seats.chair]
[[measurements]]
files = "takes/{{programme}}_{{condition}}.wav"
kind = "recording"
point = "amplifier-output"
full_scale_v = 20.0
[[scores]]
files = "abx.csv"
method = "abx"
[criteria]
level_measure = "loudness"
"""


def music(seconds: float) -> np.ndarray:
    """Noise that falls with frequency, its level stepping every 1.5 s."""
    drawn = np.random.default_rng(12)
    n_frames = round(seconds * RATE_HZ)
    level = np.repeat(10 ** drawn.uniform(-2.2, -0.9, 100), round(1.5 * RATE_HZ))[:n_frames, None]
    white = drawn.normal(0.0, 1.0, (n_frames + 7, 2))
    return level * np.mean([white[k : k + n_frames] for k in range(8)], axis=0)


@pytest.fixture(scope="module", params=[0.0, 1.8])
def run(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[float, list[dict], str]:
    """The trim, the findings and the page of a session whose condition is softer by a known gain."""
    place = tmp_path_factory.mktemp("loft")
    folder = place / "loft"
    (folder / "takes").mkdir(parents=True)
    (folder / "session.toml").write_text(MANIFEST.format(trim_db=request.param))
    samples = music(32.0)
    soundfile.write(folder / "takes" / "organ_out.wav", samples, RATE_HZ, subtype="PCM_24")
    soundfile.write(folder / "takes" / "organ_in.wav", samples * 10 ** (GAIN_DB / 20), RATE_HZ, subtype="PCM_24")
    rows = [f"l1,{k},{'in' if k % 2 else 'out'},{'in' if k % 2 else 'out'}" for k in range(20)]
    (folder / "abx.csv").write_text("\n".join(["listener,trial,x,answer", *rows]) + "\n")
    said = Console()("run", folder, "--out", place / "report")
    assert said.code == 0, said.err
    found = json.loads((place / "report" / "findings.json").read_text())["findings"]
    return request.param, found, Path(place / "report" / "report.html").read_text(encoding="utf-8")


def one(findings: list[dict], quantity: str, **of: object) -> dict:
    said = {"variant": None, "programme": None, "channel": None, "seat": None, **of}
    (found,) = (f for f in findings if f["quantity"] == quantity and all(f[key] == said[key] for key in said))
    return found


def test_the_headline_is_the_known_gain_with_the_trim(run: tuple[float, list[dict], str]) -> None:
    trim_db, findings, _ = run
    found = one(findings, "level_difference")
    assert found["value"] == pytest.approx(GAIN_DB + trim_db, abs=1e-4)
    assert (found["point"], found["verdict"]) == ("amplifier-output", "matched" if trim_db else "unmatched")
    assert found["high"] - found["low"] < 0.001
    for variant in ("loudness-same-blocks", "A-weighted", "C-weighted"):
        other = one(findings, "level_difference", variant=variant)
        assert other["value"] == pytest.approx(GAIN_DB + trim_db, abs=1e-4)


def test_the_trim_that_would_match_is_what_is_lacking(run: tuple[float, list[dict], str]) -> None:
    trim_db, findings, _ = run
    assert one(findings, "matching_trim", of="level_difference")["value"] == pytest.approx(-GAIN_DB - trim_db, abs=1e-4)
    left = one(findings, "level_left_after_trim", of="level_difference")
    assert left["value"] == pytest.approx(-0.03, abs=1e-4)  # 1.83 is not a step of 0.1 dB


def test_the_recordings_differ_in_loudness_by_as_much(run: tuple[float, list[dict], str]) -> None:
    _, findings, page = run
    for quantity, unit in (("integrated_loudness", "LKFS"), ("true_peak_level", "dBTP"), ("a_weighted_level", "dBV")):
        values = {f["condition"]: (f["value"], f["unit"]) for f in findings if f["quantity"] == quantity}
        assert values["in"][0] - values["out"][0] == pytest.approx(GAIN_DB, abs=2e-4)
        assert values["in"][1] == values["out"][1] == unit
    assert "Loudness of the recording" in page
    assert "Trim that would match the levels" in page


def test_what_listeners_heard_is_put_down_to_the_change_only_if_the_levels_match(
    run: tuple[float, list[dict], str],
) -> None:
    trim_db, findings, _ = run
    heard = next(f for f in findings if f["quantity"] == "proportion_correct" and f["listener"] is None)
    assert heard["verdict"] == ("heard" if trim_db else "not-attributable")
