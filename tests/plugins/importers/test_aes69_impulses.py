"""Impulse responses out of AES69 and universal files: levels, phases, delays, one window for one place; a whole run."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from end_to_end.finding_list import FindingList
from scipy import signal

from fairhearing.api import ImportProblem, MeasurementFile, Reading, Session, SourceFile
from fairhearing.cli import main
from fairhearing_builtins.importers.aes69 import Aes69File
from fairhearing_builtins.importers.universal_file import UniversalFile

from .aes69_files import aes69_bytes

RATE_HZ = 8000.0
CORNER_HZ = 90.0
# Bilinear first-order high-pass of an outside library: its response on the unit circle is known exactly.
FILTER = signal.butter(1, CORNER_HZ, "highpass", fs=RATE_HZ)


def impulse(n: int = 4000, arrival: int = 80, gain: float = 1.0) -> np.ndarray:
    click = np.zeros(n)
    click[arrival] = gain
    return click


def filtered(samples: np.ndarray) -> np.ndarray:
    return signal.lfilter(*FILTER, samples)


def truth(frequency_hz: np.ndarray) -> np.ndarray:
    return signal.freqz(*FILTER, worN=frequency_hz, fs=RATE_HZ)[1]


def container(*receivers: np.ndarray, **more: object) -> bytes:
    samples = np.stack(receivers)[np.newaxis]
    given = {"Data_SamplingRate": RATE_HZ, "Data_Delay": np.zeros((1, len(receivers))), **more}
    return aes69_bytes("GeneralFIR", Data_IR=samples, **given)


def source(data: bytes, path: str = "a.sofa", **said: object) -> SourceFile:
    given = {"line": 12, "entry": 0, "kind": "impulse", "condition": "in", "seat": "A", **said}
    return SourceFile(item=MeasurementFile(path=path, **given), path=path, data=data)


def read(session: Session, *files: SourceFile) -> list[Reading]:
    readings = list(Aes69File().read(files, session))
    assert [reading.problem for reading in readings] == [None] * len(readings)
    return readings


def test_an_impulse_response_gives_the_level_and_phase_of_its_filter(session: Session) -> None:
    (reading,) = read(session, source(container(filtered(impulse(arrival=0)))))
    curve = reading.content
    lowest_hz = 1 / (0.5 * 0.875)  # half a second behind the direct sound, of which a quarter fades out
    assert curve.frequency_hz[0] == pytest.approx(lowest_hz, rel=0.02)
    assert 0.44 * RATE_HZ < curve.frequency_hz[-1] <= 0.45 * RATE_HZ
    clear = curve.frequency_hz > 4 * lowest_hz  # at its lowest frequency a window is as wide as what it shows
    expected = truth(curve.frequency_hz[clear])
    np.testing.assert_allclose(curve.level_db[clear], 20 * np.log10(np.abs(expected)), atol=0.02)
    np.testing.assert_allclose(curve.phase_deg[clear], np.angle(expected, deg=True), atol=0.2)
    assert "500 ms behind the direct sound" in reading.applied[1]
    assert reading.caveats == ()


@pytest.mark.parametrize("delay", [0.0, 12.0, 2.5])
def test_the_delay_of_the_file_turns_the_phase_and_leaves_the_level(delay: float, session: Session) -> None:
    (usual,) = read(session, source(container(impulse(arrival=16))))
    (later,) = read(session, source(container(impulse(arrival=16), Data_Delay=np.array([[delay]]))))
    np.testing.assert_array_equal(later.content.level_db, usual.content.level_db)
    turned = np.exp(1j * np.deg2rad(later.content.phase_deg))
    expected = np.exp(-2j * np.pi * later.content.frequency_hz * (16 + delay) / RATE_HZ)
    np.testing.assert_allclose(turned, expected, atol=1e-6)


def test_takes_of_one_place_have_one_window_and_their_difference_is_the_filter(session: Session) -> None:
    """Noise takes over at different times in both; their difference is the filter's response all the same."""
    draw = np.random.default_rng(20261125)
    room = impulse(8000) + np.exp(-np.arange(8000) / 400) * draw.normal(0, 0.2, 8000) * (np.arange(8000) > 80)
    noises = draw.normal(0, 1e-5, (2, 8000))
    out, filter_in = read(
        session,
        source(container(room + noises[0]), "out.sofa", condition="out"),
        source(container(filtered(room) + noises[1]), "in.sofa"),
    )
    np.testing.assert_array_equal(out.content.frequency_hz, filter_in.content.frequency_hz)
    assert out.applied[-2:] == filter_in.applied[-2:]
    frequency_hz = out.content.frequency_hz
    change_db = filter_in.content.level_db - out.content.level_db
    clear = frequency_hz > 20
    np.testing.assert_allclose(change_db[clear], 20 * np.log10(np.abs(truth(frequency_hz[clear]))), atol=0.3)
    assert abs(np.mean(change_db[clear] - 20 * np.log10(np.abs(truth(frequency_hz[clear]))))) < 0.02


def test_another_place_has_its_own_window(session: Session) -> None:
    readings = read(
        session, source(container(impulse(4000)), "a.sofa"), source(container(impulse(2000)), "b.sofa", seat="B")
    )
    assert ["490 ms behind" in readings[0].applied[1], "240 ms behind" in readings[1].applied[1]] == [True, True]


def test_a_short_response_says_what_does_not_show_in_it(session: Session) -> None:
    (reading,) = read(session, source(container(impulse(arrival=80, n=280))))
    assert "too short for a bass band from 20 Hz: 25 ms behind the direct sound" in reading.caveats[0]
    assert reading.content.frequency_hz[0] == pytest.approx(1 / (0.025 * 0.875), rel=0.015)
    (fault,) = Aes69File().read([source(container(impulse(arrival=80, n=82)))], session)
    assert "too short: 0 ms behind the direct sound say nothing below 4571 Hz" in fault.problem.what
    assert fault.problem.where == "a.sofa, receiver 1, emitter 1"


def test_a_receiver_without_any_sound_is_the_only_problem_of_its_file(session: Session) -> None:
    data = container(impulse(), impulse(gain=0.0), impulse(), ReceiverDescriptions="A, B, sofa")
    first, second = Aes69File().read([source(data, seat=None), source(container(impulse()), "b.sofa")], session)
    assert isinstance(first.problem, ImportProblem)
    assert "all samples are 0" in first.problem.what
    assert first.problem.where == "a.sofa, receiver 2, emitter 1"
    assert (second.path, second.problem) == ("b.sofa", None)


@pytest.mark.parametrize(
    ("said", "shift_db", "told"),
    [
        ({"full_scale_pa": 20.0}, 120.0, "sample value 1.0 is 20 Pa, as session.toml says"),
        ({"full_scale_v": 10.0}, 20.0, "sample value 1.0 is 10 V, as session.toml says"),
    ],
)
def test_the_scale_of_session_toml_is_applied_and_told(
    said: dict, shift_db: float, told: str, session: Session
) -> None:
    (plain,) = read(session, source(container(impulse())))
    (scaled,) = read(session, source(container(impulse()), **said))
    np.testing.assert_allclose(scaled.content.level_db - plain.content.level_db, shift_db, atol=1e-9)
    assert told in scaled.applied


def universal(samples: np.ndarray, *, function: int = 1, minimum_s: float = 0.0, spacing: int = 1) -> bytes:
    """A function of time as dataset 58, real, double precision."""
    axes = "\n".join(f"{kind:10d}{0:5d}{0:5d}{0:5d} {'NONE':20s} {unit:20s}" for kind, unit in AXES)
    rows = "\n".join("".join(f"{v:20.12E}" for v in samples[i : i + 4]) for i in range(0, len(samples), 4))
    form = f"{4:10d}{len(samples):10d}{spacing:10d}{minimum_s:13.5E}{1 / RATE_HZ:13.5E}{0:13.5E}"
    degree = f"{function:5d}{1:10d}{0:5d}{0:10d} {'NONE':10s}{1:10d}{0:4d} {'NONE':10s}{1:10d}{0:4d}"
    return "\n".join(["    -1", "    58", *["NONE"] * 5, degree, form, axes, rows, "    -1", ""]).encode()


AXES = [(17, "s"), (15, "Pa"), (0, "NONE"), (0, "NONE")]


@pytest.mark.parametrize("function", [1, 25])
def test_a_universal_file_of_the_same_samples_gives_the_same_response(function: int, session: Session) -> None:
    samples = filtered(impulse())
    (ours,) = read(session, source(container(samples)))
    (other,) = UniversalFile().read([source(universal(samples, function=function), "a.uff")], session)
    np.testing.assert_allclose(other.content.level_db, ours.content.level_db, atol=1e-8)
    np.testing.assert_allclose(other.content.phase_deg, ours.content.phase_deg, atol=1e-6)
    (late,) = UniversalFile().read([source(universal(samples, minimum_s=-0.01), "a.uff")], session)
    turned = np.exp(1j * np.deg2rad(late.content.phase_deg - other.content.phase_deg))
    np.testing.assert_allclose(turned, np.exp(2j * np.pi * other.content.frequency_hz * 0.01), atol=1e-6)


def test_a_function_of_time_under_kind_response_names_the_other_kind(session: Session) -> None:
    (reading,) = UniversalFile().read([source(universal(impulse()), "a.uff", kind="response")], session)
    assert reading.problem.try_ == 'write kind = "impulse" for it in session.toml (line 12)'
    (reading,) = UniversalFile().read([source(universal(impulse()), "a.uff", kind="impulse")], session)
    assert reading.problem is None


MANIFEST = """format = 1
[session]
id = "chapel-impulses"
[room]
id = "chapel"
[chain]
design_corner_hz = 90.0
bass_given_back = false
[conditions.out]
reference = true
[conditions.in]
[seats.A]
position_m = [3.2, 1.4, 1.15]
[seats.B]
position_m = [4.2, 1.4, 1.15]
[[measurements]]
files = "impulses/{condition}_{repeat}.sofa"
kind = "impulse"
"""


def test_the_corner_is_found_from_one_file_of_impulse_responses_per_take(tmp_path: Path) -> None:
    """Two receivers in the order B, A, told by their positions; three repeats with the microphone put back."""
    folder = tmp_path / "chapel"
    (folder / "impulses").mkdir(parents=True)
    (folder / "session.toml").write_text(MANIFEST)
    draw = np.random.default_rng(7)
    frames = np.arange(16_000)
    for condition in ("out", "in"):
        for repeat in (1, 2, 3):
            takes = []
            for seat in (1, 0):
                room = np.random.default_rng(seat)  # the same room for each take of a seat, a little moved
                tail = np.exp(-frames / 900) * room.normal(0, 0.02, len(frames)) * (frames > 90)
                sound = impulse(16_000, 90) + tail + np.exp(-frames / 900) * draw.normal(0, 0.0003, len(frames))
                takes.append((filtered(sound) if condition == "in" else sound) + draw.normal(0, 1e-6, len(frames)))
            positions = np.array([[4.2, 1.4, 1.15], [3.2, 1.5, 1.15]])
            data = container(*takes, ReceiverPosition=positions)
            (folder / "impulses" / f"{condition}_{repeat}.sofa").write_bytes(data)
    assert main(["run", str(folder), "--out", str(tmp_path / "report")]) == 0
    found = FindingList.read(tmp_path / "report" / "findings.json")
    for seat in (None, "A", "B"):
        corner = found.one("chapel-impulses", "corner_frequency", seat=seat, condition="in")
        assert corner["value"] == pytest.approx(CORNER_HZ, rel=0.01)
        assert corner["low"] < CORNER_HZ < corner["high"]
