"""Recordings at the terminals and the programme files, through the whole program: known truth, and a forecast."""

from __future__ import annotations

import math
import sys
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path
from types import ModuleType

import pytest
from bad_input.console import Console

from .finding_list import FindingList

SAMPLES = Path(__file__).parents[2] / "sample_sessions"
MODULES = sorted(path.stem for path in SAMPLES.glob("*.py"))
PROGRAMMES = ("organ", "drums", "choir")
FULL_SCALE_V = 40.0


@pytest.fixture(scope="module")
def made_up() -> Iterator[ModuleType]:
    """The program that makes the session, found as it is when it is run as a script; gone again afterwards."""
    sys.path.insert(0, str(SAMPLES))
    try:
        yield import_module("recordings")
    finally:
        sys.path.remove(str(SAMPLES))
        for name in MODULES:
            sys.modules.pop(name, None)


def entries(manifest: str) -> str:
    """The manifest with the recordings alone, and with the programme files."""
    head, *measured = manifest.split("[[measurements]]")
    kept = "".join(f"[[measurements]]{one}" for one in measured if 'kind = "recording"' in one)
    programmes = '[[measurements]]\nfiles = "programmes/{programme}.wav"\nkind = "recording"\npoint = "programme"\n'
    return f"{head}{kept}\n{programmes}full_scale_v = {FULL_SCALE_V}\n"


@pytest.fixture(scope="module")
def report(made_up: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("mill")
    for name, data in made_up.recorded_files().items():
        if "sweep" not in name:
            path = place / "session" / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(data)
    manifest = place / "session" / "session.toml"
    manifest.write_text(entries(manifest.read_text(encoding="utf-8")), encoding="utf-8")
    (place / "session" / "programmes").mkdir()
    # what the amplifier puts out without the capacitor stands for full scale: the source's own resistance is in it
    line = made_up.LINES[made_up.REFERENCE]
    gain = line.amplifier_input_ohm / (line.amplifier_input_ohm + line.source_output_ohm)
    for name in PROGRAMMES:
        data = made_up.sound_file(gain * made_up.programme(name) / FULL_SCALE_V, made_up.RATE_HZ)
        (place / "session" / "programmes" / f"{name}.wav").write_bytes(data)
    said = Console()("run", place / "session", "--out", place / "report")
    assert (said.code, said.err) == (0, "")
    return place / "report"


@pytest.fixture(scope="module")
def findings(report: Path) -> FindingList:
    return FindingList.read(report / "findings.json")


@pytest.fixture(scope="module")
def truth(made_up: ModuleType) -> dict:
    return made_up.recorded_truth()


def one(findings: FindingList, quantity: str, point: str = "amplifier-output", **said: object) -> dict:
    (session,) = findings.sessions
    (found,) = findings.all(session, quantity, **{"point": point, "variant": None, **said})
    return found


@pytest.mark.parametrize("programme", PROGRAMMES)
def test_voltages_at_the_terminals_are_the_true_ones(findings, truth, programme):
    of = truth["programmes"][programme]
    for condition in ("bridged", "boxed"):
        rms = one(findings, "amplifier_voltage", programme=programme, condition=condition)["value"]
        assert rms == pytest.approx(of["rms_v"][condition], rel=1e-3)
        # noise of 4 mV and steps of 1.2 mV lie on the highest sample
        peak = one(findings, "amplifier_peak_voltage", programme=programme, condition=condition)["value"]
        assert peak == pytest.approx(of["peak_v"][condition], abs=0.03)
        power = one(findings, "amplifier_power", programme=programme, condition=condition)["value"]
        assert power == pytest.approx(of["rms_v"][condition] ** 2 / truth["loudspeaker_ohm"], rel=2e-3)
        crest = one(findings, "crest_factor", programme=programme, condition=condition)["value"]
        assert crest == pytest.approx(20 * math.log10(of["peak_v"][condition] / of["rms_v"][condition]), abs=0.02)


@pytest.mark.parametrize("programme", PROGRAMMES)
def test_changes_are_the_true_ones(findings, truth, programme):
    of = truth["programmes"][programme]
    change = one(findings, "amplifier_voltage_change", programme=programme)
    assert change["value"] == pytest.approx(of["level_change_db"], abs=0.005)
    assert change["low"] < change["value"] < change["high"]
    peak = one(findings, "headroom_won", variant="peak", programme=programme)
    assert peak["value"] == pytest.approx(-of["peak_change_db"], abs=0.02)


@pytest.mark.parametrize("programme", PROGRAMMES)
def test_the_forecast_agrees_with_what_was_recorded_at_the_terminals(findings, programme):
    for condition in ("bridged", "boxed"):
        values = [
            one(findings, "amplifier_voltage", point, programme=programme, condition=condition)["value"]
            for point in ("amplifier-output", "programme")
        ]
        assert 20 * math.log10(values[0] / values[1]) == pytest.approx(0.0, abs=0.02)
    for quantity in ("amplifier_voltage_change", "amplifier_power_change"):
        recorded, forecast = (
            one(findings, quantity, point, programme=programme)["value"] for point in ("amplifier-output", "programme")
        )
        assert forecast == pytest.approx(recorded, abs=0.02)


def test_only_the_choir_is_said_to_show_nothing(findings, truth):
    for programme in PROGRAMMES:
        share = one(findings, "energy_share_below_corner", programme=programme)
        # what the finding itself says of 32 s
        assert any("about 3 % of itself" in caveat for caveat in share["caveats"])
        assert share["value"] == pytest.approx(truth["programmes"][programme]["share_below_corner"], rel=0.03)
        said = any("cannot show the filter" in caveat for caveat in share["caveats"])
        assert said == (programme == "choir")


def test_over_three_programmes_the_interval_is_over_them_and_decides_nothing(findings, truth):
    over = one(findings, "headroom_against_doubling", programme=None)
    values = [one(findings, "headroom_won", programme=programme)["value"] for programme in PROGRAMMES]
    assert over["value"] == pytest.approx(sum(values) / 3 - 10 * math.log10(2))
    assert over["verdict"] == "undecided"
    assert over["low"] < 0 < over["high"]


def test_the_page_has_the_words_the_charts_and_the_caution(report):
    page = (report / "report.html").read_text(encoding="utf-8")
    for words in ("Headroom won", "Power into the loudspeaker", "bridged amplifier", "double power"):
        assert words in page
    charts = {path.name for path in (report / "charts").iterdir()}
    assert any("relief-headroom-recorded-amplifier-output-boxed" in name for name in charts)
    assert any("relief-voltage-forecast-programme" in name for name in charts)


def test_other_analysers_do_not_take_a_programme_file_for_a_recording(findings):
    forecast = [f for f in findings.findings if f["point"] == "programme"]
    assert {f["analyser"] for f in forecast} == {"relief-forecast"}
