"""The correction of a microphone: what is subtracted from what, how far it reaches, and where it is not applied."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from session_text import HEAD, written

from fairhearing.api import (
    AudioFormat,
    Harmonic,
    ImportProblem,
    MeasurementFile,
    Reading,
    RecordingFile,
    ResponseCurve,
)
from fairhearing.contracts import SessionContent
from fairhearing.correcting import corrected, plain_path
from fairhearing.importing import read_session
from fairhearing.registry import load_plugins

ITEM = MeasurementFile(path="a.csv", line=12, entry=0, microphone="./mic.csv")
FREQUENCY_HZ = np.array([20.0, 40.0, 80.0, 160.0])
CURVE = ResponseCurve(frequency_hz=FREQUENCY_HZ, level_db=np.array([70.0, 71.0, 72.0, 73.0]))


def correction(frequency_hz: list[float], level_db: list[float]) -> dict[str, ResponseCurve]:
    return {"mic.csv": ResponseCurve(frequency_hz=np.array(frequency_hz), level_db=np.array(level_db))}


def one(reading: Reading, curves: dict[str, ResponseCurve], item: MeasurementFile = ITEM) -> Reading:
    (found,) = corrected(item, [reading], curves)
    return found


def curve_of(reading: Reading) -> ResponseCurve:
    assert isinstance(reading.content, ResponseCurve)
    return reading.content


@pytest.mark.parametrize(
    ("text", "plain"), [("mic.csv", "mic.csv"), ("./mic.csv", "mic.csv"), ("a/./b.csv", "a/b.csv"), ("..csv", "..csv")]
)
def test_a_path_loses_the_dots_that_mean_here(text: str, plain: str) -> None:
    assert plain_path(text) == plain


def test_the_correction_is_subtracted_and_told() -> None:
    """A microphone that shows 2 dB too much at 40 Hz: what was there is 2 dB less."""
    reading = Reading(path="a.csv", content=CURVE, applied=("trimmed",), caveats=("odd",))
    found = one(reading, correction([20.0, 40.0, 160.0], [0.5, 2.0, 4.0]))
    # Halfway between 40 and 160 Hz on a logarithmic scale is 80 Hz: 3 dB (by hand).
    np.testing.assert_allclose(curve_of(found).level_db, [69.5, 69.0, 69.0, 69.0], atol=1e-12)
    assert found.applied == ("trimmed", "microphone correction mic.csv")
    assert found.caveats == ("odd",)
    assert not curve_of(found).level_db.flags.writeable
    np.testing.assert_array_equal(CURVE.level_db, [70.0, 71.0, 72.0, 73.0])


def test_phase_and_frequencies_stay() -> None:
    phase_deg = np.array([10.0, 20.0, 30.0, 40.0])
    with_phase = ResponseCurve(frequency_hz=FREQUENCY_HZ, level_db=CURVE.level_db, phase_deg=phase_deg)
    found = curve_of(one(Reading(path="a.csv", content=with_phase), correction([20.0, 160.0], [1.0, 1.0])))
    np.testing.assert_array_equal(found.phase_deg, phase_deg)
    np.testing.assert_array_equal(found.frequency_hz, FREQUENCY_HZ)


@pytest.mark.parametrize(
    ("ends_hz", "said"),
    [
        ((20.0, 160.0), None),
        ((30.0, 160.0), "its value is held below 30 Hz (1 dB)"),
        ((20.0, 100.0), "its value is held above 100 Hz (5 dB)"),
        ((30.0, 100.0), "its value is held below 30 Hz (1 dB) and above 100 Hz (5 dB)"),
    ],
)
def test_beyond_its_ends_its_values_are_held_with_a_caveat(ends_hz: tuple[float, float], said: str | None) -> None:
    found = one(Reading(path="a.csv", content=CURVE), correction(list(ends_hz), [1.0, 5.0]))
    start = "the microphone correction mic.csv does not reach so far: "
    assert found.caveats == (() if said is None else (start + said,))
    assert curve_of(found).level_db[[0, -1]].tolist() == [69.0, 68.0]


def test_a_harmonic_takes_the_difference_between_its_own_place_and_that_of_its_fundamental() -> None:
    """The third harmonic of 20 Hz stands at 60 Hz: there 6 dB are subtracted, of the fundamental 1 dB (by hand)."""
    levels_db = np.array([-40.0, np.nan])
    harmonic = Harmonic(
        order=3, frequency_hz=np.array([20.0, 40.0]), level_db=levels_db, noise_level_db=np.array([-70.0, -71.0])
    )
    content = ResponseCurve(frequency_hz=FREQUENCY_HZ, level_db=CURVE.level_db, harmonics=(harmonic,))
    curves = correction([20.0, 40.0, 60.0, 120.0], [1.0, 2.0, 6.0, 4.0])
    (found,) = curve_of(one(Reading(path="a.csv", content=content), curves)).harmonics
    assert found.order == 3
    np.testing.assert_allclose(found.level_db, [-45.0, np.nan], atol=1e-12)
    np.testing.assert_allclose(found.noise_level_db, [-75.0, -73.0], atol=1e-12)


def test_a_recording_stays_as_it_is_with_a_caveat() -> None:
    form = AudioFormat(rate_hz=8000, n_channels=1, n_frames=1, subtype="PCM_16")
    reading = Reading(path="a.csv", content=RecordingFile(format=form, sha256="", size=1, modified_ns=1))
    found = one(reading, correction([20.0, 160.0], [1.0, 1.0]))
    assert (found.content, found.applied) == (reading.content, ())
    assert found.caveats == (
        "the microphone correction mic.csv was not applied: the levels of a recording are taken as they are",
    )


def test_where_nothing_can_be_corrected_the_readings_are_passed() -> None:
    told = Reading(path="a.csv", problem=ImportProblem("cut", where="a.csv", try_="copy it"))
    plain = Reading(path="a.csv", content=CURVE)
    curves = correction([20.0, 160.0], [1.0, 1.0])
    assert one(told, curves) is told
    assert one(plain, {}) is plain
    assert one(plain, curves, MeasurementFile(path="a.csv", line=12, entry=0)) is plain


def test_each_channel_of_a_file_is_corrected() -> None:
    readings = [Reading(path="a.csv", content=CURVE, channel=name) for name in ("left", "right")]
    found = corrected(ITEM, readings, correction([20.0, 160.0], [1.5, 1.5]))
    assert [(one.channel, curve_of(one).level_db[0]) for one in found] == [("left", 68.5), ("right", 68.5)]


# --- in a session folder ----------------------------------------------------------------------------------------------

TEXT = f"""{HEAD}[conditions.out]
reference = true
[conditions.in]
[seats.A]
[[measurements]]
files = "A_{{condition}}.csv"
microphone = "mic.uff"
"""
TABLE = "\n".join(f"{20 * 2 ** (n / 3):.3f},{80 - n}" for n in range(30)) + "\n"


def folder_with(place: Path, microphone: bytes, text: str = TEXT) -> SessionContent:
    written(place, text)
    for condition, more in (("out", "#\n"), ("in", "")):
        (place / f"A_{condition}.csv").write_text(more + TABLE, encoding="utf-8")
    (place / "mic.uff").write_bytes(microphone)
    return read_session(place, load_plugins().importers)


def universal(*gains: float) -> bytes:
    """Flat functions at several nodes, of 0 dB times a gain, in single precision."""
    parts = []
    for node, gain in enumerate(gains, 1):
        points = [f"{hz:13.5E}{gain:13.5E}{0.0:13.5E}" for hz in (10.0, 100.0, 1000.0, 20_000.0)]
        rows = f"{points[0]}{points[1]}\n{points[2]}{points[3]}\n"
        parts.append(
            "    -1\n    58\nmade up\nNONE\n09-May-26 10:00:00\nNONE\nNONE\n"
            f"    4         1    0         0 NONE      {node:10d}   3 NONE               1   0\n"
            "         5         4         0  0.00000E+00  0.00000E+00  0.00000E+00\n"
            "        18    0    0    0 Frequency            Hz                  \n"
            + "         0    0    0    0 NONE                 NONE                \n" * 3
            + rows
            + "    -1\n"
        )
    return "".join(parts).encode()


def test_a_correction_of_one_curve_is_taken_whatever_its_format(tmp_path: Path) -> None:
    content = folder_with(tmp_path, universal(2.0))
    assert content.problems == ()
    expected_db = 80.0 - 20 * math.log10(2.0)
    assert [take.curve.level_db[0] for take in content.takes] == pytest.approx([expected_db] * 2, abs=1e-4)
    assert {take.applied for take in content.takes} == {("microphone correction mic.uff",)}


def test_a_correction_of_two_curves_is_a_problem_and_never_left_out_in_silence(tmp_path: Path) -> None:
    (problem,) = folder_with(tmp_path, universal(2.0, 3.0)).problems
    assert problem.what == "the file holds 2 responses, and the correction of a microphone is one"
    assert problem.where == "mic.uff (session.toml, line 11)"
    assert problem.try_ == "export the one that is meant into a file of its own"


def test_a_target_of_two_curves_is_one_too(tmp_path: Path) -> None:
    text = TEXT.replace('microphone = "mic.uff"\n', '[criteria]\ntarget = "mic.uff"\n')
    (problem,) = folder_with(tmp_path, universal(2.0, 3.0), text).problems
    assert problem.what == "the file holds 2 responses, and the target is one"
    assert problem.where == "mic.uff"


def test_a_correction_that_cannot_be_read_is_told_once(tmp_path: Path) -> None:
    content = folder_with(tmp_path, b"no table\n")
    assert len(content.problems) == 1
    assert content.problems[0].where.startswith("mic.uff")
