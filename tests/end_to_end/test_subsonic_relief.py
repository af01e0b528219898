"""A session with recordings at the amplifier's output, in and out of a known filter, through the whole program."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
import soundfile
from bad_input.console import Console

RATE_HZ = 8000
CORNER_HZ = 90.0
SECONDS = 120
MANIFEST = """\
format = 1
[session]
id = "mill-2026-03-01"
[room]
id = "mill"
[chain]
design_corner_hz = 90.0
amplifier_input_kohm = 47.0
[conditions.out]
reference = true
[conditions.in]
[[measurements]]
files = "takes/{programme}_{condition}.wav"
kind = "recording"
point = "amplifier-output"
full_scale_v = 20.0
"""
PROGRAMMES = {"organ": 1.3, "warp": 2.0, "march": 0.9}


def programme(seed: int, slope: float) -> np.ndarray:
    """Noise that falls with frequency and comes and goes."""
    drawn, n = np.random.default_rng(seed), SECONDS * RATE_HZ
    frequency = np.fft.rfftfreq(n, 1 / RATE_HZ)
    shape = np.where(frequency > 0.4, np.maximum(frequency, 0.4) ** (-slope / 2), 0)
    noise = np.fft.irfft(np.fft.rfft(drawn.normal(size=n)) * shape, n)
    noise *= np.exp(0.4 * np.interp(np.arange(n), np.linspace(0, n, 60), drawn.normal(size=60)))
    return noise * (0.1 / noise.std())


def filtered(samples: np.ndarray) -> np.ndarray:
    """(jf/fc)/(1 + jf/fc), put on exactly."""
    ratio = 1j * np.fft.rfftfreq(len(samples), 1 / RATE_HZ) / CORNER_HZ
    return np.fft.irfft(np.fft.rfft(samples) * ratio / (1 + ratio), len(samples))


def closed_form_db(samples: np.ndarray) -> float:
    """The loss of each frequency from 0.5 to 20 Hz, weighed with what the programme, faded over 8 s, has there."""
    frequency = np.fft.rfftfreq(len(samples), 1 / RATE_HZ)
    n = 8 * RATE_HZ
    weight = np.ones(len(samples))
    weight[:n] = np.sin(np.pi / 2 * np.arange(n) / n) ** 2
    weight[-n:] = weight[:n][::-1]
    power = np.abs(np.fft.rfft(samples * weight)) ** 2
    inside = (frequency >= 0.5) & (frequency < 20)
    loss = 1 / (1 + (CORNER_HZ / frequency[inside]) ** 2)
    return 10 * math.log10(float((power[inside] * loss).sum() / power[inside].sum()))


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> dict[str, object]:
    place = tmp_path_factory.mktemp("mill")
    folder = place / "mill"
    (folder / "takes").mkdir(parents=True)
    (folder / "session.toml").write_text(MANIFEST)
    expected = {}
    for seed, (name, slope) in enumerate(PROGRAMMES.items()):
        samples = programme(seed, slope)
        expected[name] = closed_form_db(samples)
        # A steady voltage of the amplifier's output in both.
        for condition, made in (("out", samples), ("in", filtered(samples))):
            soundfile.write(folder / "takes" / f"{name}_{condition}.wav", made + 0.01, RATE_HZ, subtype="PCM_24")
    said = Console()("run", folder, "--out", place / "report")
    assert (said.code, said.err) == (0, "")
    findings = json.loads((place / "report" / "findings.json").read_text())["findings"]
    return {"findings": findings, "expected": expected, "report": place / "report"}


def changes(told: dict[str, object]) -> dict[str | None, dict[str, object]]:
    return {
        f["programme"]: f
        for f in told["findings"]  # type: ignore[attr-defined]
        if f["quantity"] == "subsonic_level_change" and f["variant"] is None
    }


def test_the_change_of_each_programme_is_the_closed_form_and_in_its_interval(told: dict[str, object]) -> None:
    found = changes(told)
    for name, expected in told["expected"].items():  # type: ignore[attr-defined]
        assert found[name]["value"] == pytest.approx(expected, abs=0.05)
        assert found[name]["low"] < expected < found[name]["high"]
        assert found[name]["verdict"] == "relief"
        assert found[name]["point"] == "amplifier-output"


def test_over_programmes_it_is_the_mean_of_the_decibels(told: dict[str, object]) -> None:
    found = changes(told)
    expected = sum(told["expected"].values()) / 3  # type: ignore[attr-defined]
    assert found[None]["value"] == pytest.approx(expected, abs=0.05)
    assert found[None]["verdict"] == "relief"
    assert "t over programmes" in str(found[None]["method"])


def test_shares_have_a_condition_and_a_programme_and_the_filter_lowers_them(told: dict[str, object]) -> None:
    shares = {
        (f["programme"], f["condition"]): f["value"]
        for f in told["findings"]  # type: ignore[attr-defined]
        if f["quantity"] == "subsonic_share"
    }
    assert set(shares) == {(name, condition) for name in PROGRAMMES for condition in ("in", "out")}
    for name in PROGRAMMES:
        assert 0 < shares[name, "in"] < shares[name, "out"] / 5


def test_the_report_says_it_and_draws_it(told: dict[str, object]) -> None:
    report = told["report"]
    assert isinstance(report, Path)
    page = (report / "report.html").read_text(encoding="utf-8")
    assert "Change of subsonic energy" in page
    assert {path.name.split("_")[-1] for path in (report / "charts").iterdir() if "subsonic" in path.name} == {
        "subsonic-spectrum-amplifier-output.svg", "subsonic-band-change-amplifier-output.svg"
    }  # fmt: skip
