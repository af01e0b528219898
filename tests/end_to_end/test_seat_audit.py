"""A session with places around a seat, a closing take, two sides and a sloped target, from files to findings."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest

from fairhearing import run
from fairhearing.cli.check_output import check_json
from fairhearing.importing import read_session
from fairhearing.progress import Silent

from .finding_list import FindingList
from .hand_numbers import nominal_between
from .session_writer import FloatArray, grid, smooth_error_db

SLOPE_DB = -1.0
SEATS = {"A": (-2.0, 0.0), "A1": (-2.0, 0.0), "A2": (1.5, 0.0), "B": (2.0, 0.0), "C": (0.0, 1.5)}
# Below it the bass, above it what the slope of the target asks for.
EDGE_HZ, FREQUENCY = 230.0, grid(15.0, 6000.0, 12)
MANIFEST = """\
format = 1
[session]
id = "seats"
[room]
id = "made-up"
[chain]
bass_given_back = false
[conditions.out]
reference = true
[conditions.in]
[seats.A]
position_m = [1.0, 2.0, 1.1]
[seats.A1]
near = "A"
[seats.A2]
near = "A"
[seats.B]
position_m = [2.0, 2.0, 1.1]
[seats.C]
position_m = [3.0, 2.0, 1.1]
[[measurements]]
files = "m/{seat}_{channel}_{condition}_{repeat}.csv"
[[measurements]]
files = "end/{seat}_{channel}_{condition}_{repeat}.csv"
closing = true
[[measurements]]
files = "quiet.csv"
kind = "noise"
seat = "A"
[criteria]
target_slope_db_per_octave = -1.0
"""


def level(height_db: float) -> FloatArray:
    """On the target above EDGE_HZ, and so much above or below it in the bass."""
    on_target = 80.0 + SLOPE_DB * np.log2(FREQUENCY / 1000.0)
    return np.where(FREQUENCY < EDGE_HZ, on_target + height_db, on_target)


def write(path: Path, level_db: FloatArray, frequency_hz: FloatArray = FREQUENCY) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    rows = (f"{f:.3f},{v:.4f}" for f, v in zip(frequency_hz, level_db, strict=True))
    path.write_text("Hz,dB\n" + "\n".join(rows) + "\n")


def write_session(folder: Path) -> None:
    """Bass 4 dB too strong at first, 4 + change afterwards; 1.5 dB more on the left alone where a seat says so."""
    draw = np.random.default_rng(12)
    for seat, (change, left) in SEATS.items():
        for side in ("left", "right"):
            for condition in ("out", "in"):
                shift = (change if condition == "in" else 0.0) + 4.0
                gain = left if condition == "in" and side == "left" else 0.0
                for repeat in range(4):
                    taken = level(shift) + gain + smooth_error_db(draw, FREQUENCY, 0.12)
                    write(folder / f"m/{seat}_{side}_{condition}_{repeat}.csv", taken)
    for side in ("left", "right"):
        write(folder / f"end/A_{side}_out_last.csv", level(5.2))
    write(folder / "quiet.csv", np.full(4, -90.0), np.array([10.0, 100.0, 1000.0, 10_000.0]))
    (folder / "session.toml").write_text(MANIFEST)


@pytest.fixture(scope="module")
def report(tmp_path_factory: pytest.TempPathFactory) -> Path:
    base = tmp_path_factory.mktemp("seats")
    write_session(base / "session")
    for store in (None, base / "report" / "store.duckdb"):  # the second run reads what the first one kept
        outcome = run.run_sessions([base / "session"], base / "report", store, False, Silent())
        assert (outcome.exit_code, outcome.notes) == (0, ())
    return base / "report"


@pytest.fixture(scope="module")
def found(report: Path) -> FindingList:
    return FindingList.read(report / "findings.json")


def test_the_sloped_target_is_what_the_bass_is_held_to(found):
    for seat, (change, _) in SEATS.items():
        stated = found.one("seats", "target_deviation", condition="in", seat=seat)
        assert stated["value"] == pytest.approx(4.0 + change, abs=0.2)
        shape = found.one("seats", "target_deviation", condition="out", seat=seat, variant="shape")
        assert shape["value"] < 0.35
    assert len(nominal_between(20, 200)) == 11


def test_the_audit_names_who_loses_and_who_gains(found):
    verdicts = {f["seat"]: f["verdict"] for f in found.all("seats", "seat_audit", variant=None)}
    assert verdicts == {"A": "improved", "B": "worse", "C": "unchanged"}
    worst = found.one("seats", "worst_seat_change")
    assert worst["verdict"] == "worse"
    assert worst["caveats"][0].startswith("worse at B (+")
    for seat in "ABC":
        audit, single = (found.one("seats", q, seat=seat) for q in ("seat_audit", "target_deviation_change"))
        assert audit["value"] == pytest.approx(single["value"], abs=1e-12)
        assert audit["low"] < single["low"] < single["high"] < audit["high"]


def test_the_places_around_a_seat_stand_beside_it(found):
    changes = [found.one("seats", "target_deviation_change", seat=seat)["value"] for seat in ("A", "A1", "A2")]
    stated = found.one("seats", "seat_position_spread", seat="A")
    assert stated["value"] == pytest.approx(np.std(changes, ddof=1), abs=1e-9)
    assert any("A2" in caveat for caveat in found.one("seats", "seat_audit", seat="A")["caveats"])
    over = found.one("seats", "target_deviation_change")
    by_seat = [found.one("seats", "target_deviation_change", seat=seat)["value"] for seat in "ABC"]
    assert over["value"] == pytest.approx(np.mean(by_seat), abs=1e-9)


def test_the_closing_take_shows_the_drift_and_is_no_repeat(found):
    stated = found.one("seats", "drift", condition="out", seat="A")
    assert stated["value"] == pytest.approx(1.2, abs=0.2)
    assert (stated["verdict"], stated["n"], stated["reference"]) == ("drifted", 1, None)
    assert found.one("seats", "drift", condition="out", seat="A", variant="level")["verdict"] == "steady"
    assert found.one("seats", "target_deviation", condition="out", seat="A")["n"] == 4
    assert any("drifted" in caveat for caveat in found.one("seats", "balance")["caveats"])


def test_check_counts_no_closing_take_among_the_repeats(report):
    content = read_session(report.parent / "session", run.load_plugins().importers)
    (session,) = check_json([content])["sessions"]
    repeats = {(c["seat"], c["condition"]): c["n_repeats"] for c in session["grid"] if c["kind"] == "response"}
    assert set(repeats.values()) == {4}
    assert len(content.takes) == 2 * 2 * 4 * len(SEATS) + 2 + 1


def test_left_and_right_were_set_apart_at_one_seat(found):
    verdicts = {seat: found.one("seats", "channel_difference_change", seat=seat)["verdict"] for seat in SEATS}
    assert verdicts == {"A": "kept", "A1": "kept", "A2": "kept", "B": "kept", "C": "shifted"}
    stated = found.one("seats", "channel_difference_change", seat="C")
    assert stated["value"] == pytest.approx(1.5, abs=0.15)


def test_the_report_names_the_loser_first(report):
    page = (report / "report.html").read_text(encoding="utf-8")
    sentence = page.index("The bass moves away from the target at seat")
    told = page[sentence:].split("</p>")[0].split("</li>")[0]
    assert "B</span>" in told[:100]
    assert "A2" not in told
    assert_charts(report, ["seats-in", "seat-map-in", "drift", "left-right-seat-main"])


def assert_charts(report: Path, names: Sequence[str]) -> None:
    drawn = [path.name for path in (report / "charts").glob("*.svg")]
    for name in names:
        assert any(name in one for one in drawn), (name, drawn)
