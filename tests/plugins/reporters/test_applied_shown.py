"""What was done to the files of a session stands on the report's list of files: scale, window, sweep, correction."""

from __future__ import annotations

import numpy as np
import pytest
import soundfile
from bad_input.console import Console
from scipy import signal

from fairhearing_builtins.reporters import words

from .read_page import read

RATE_HZ = 8000
MANIFEST = """\
format = 1
[session]
id = "shed-2026-03-02"
[room]
id = "shed"
[conditions.out]
reference = true
[conditions.in]
[seats.A]
[[measurements]]
files = "impulses/{seat}_{condition}_{repeat}.wav"
kind = "impulse"
microphone = "mic.csv"
calibrator = "calibrator.wav"
calibrator_db = 94.0
[[measurements]]
files = "sweeps/{seat}_{condition}.wav"
kind = "sweep"
playing = "both"
excitation = "sweep.wav"
full_scale_pa = 20.0
[[measurements]]
files = "recordings/{condition}.wav"
kind = "recording"
point = "amplifier-output"
programme = "organ"
full_scale_v = 40.0
"""


def sweep() -> np.ndarray:
    """One second from 20 Hz to 3 kHz, exponential, in two seconds of silence."""
    time_s = np.arange(RATE_HZ) / RATE_HZ
    rate = np.log(3000.0 / 20.0)
    tone = np.sin(2 * np.pi * 20.0 / rate * (np.exp(rate * time_s) - 1))
    fade = signal.windows.tukey(RATE_HZ, 0.02)
    return np.concatenate([np.zeros(RATE_HZ // 2), 0.5 * tone * fade, np.zeros(RATE_HZ // 2)])


@pytest.fixture(scope="module")
def shown(tmp_path_factory: pytest.TempPathFactory) -> dict[str, list[str]]:
    """Of each file in the report's list what stands below it, a line each."""
    folder = tmp_path_factory.mktemp("applied") / "shed"
    for name in ("impulses", "sweeps", "recordings"):
        (folder / name).mkdir(parents=True)
    (folder / "session.toml").write_text(MANIFEST, encoding="utf-8")
    (folder / "mic.csv").write_text("Hz,dB\n20,1\n100,0.5\n1000,0\n4000,-1\n", encoding="utf-8")
    draw = np.random.default_rng(5)

    def write(path: str, samples: np.ndarray) -> None:
        soundfile.write(folder / path, samples, RATE_HZ, subtype="FLOAT")

    write("calibrator.wav", 0.1 * np.sin(2 * np.pi * 1000.0 * np.arange(4 * RATE_HZ) / RATE_HZ))
    write("sweep.wav", sweep())
    high_pass = signal.butter(1, 90.0, "highpass", fs=RATE_HZ)
    for condition in ("out", "in"):
        for repeat in (1, 2):
            click = draw.normal(0.0, 1e-5, 8000)
            click[100] += 0.5
            write(f"impulses/A_{condition}_{repeat}.wav", signal.lfilter(*high_pass, click))
        write(f"sweeps/A_{condition}.wav", 0.5 * sweep() + draw.normal(0.0, 1e-5, 2 * RATE_HZ))
        write(f"recordings/{condition}.wav", draw.normal(0.0, 0.1, 2 * RATE_HZ))
    said = Console()("run", folder, "--out", folder.parent / "report")
    assert said.code == 0, said.err
    elements = read((folder.parent / "report" / "report.html").read_bytes())
    rows = [one for one in elements if one.tag == "tr" and any("files" in around.classes for around in one.around)]
    found: dict[str, list[str]] = {}
    for row in rows[1:]:
        if "caveats" in row.classes:
            found[list(found)[-1]].append(row.text)
        else:
            (path,) = (one.text for one in elements if one.tag == "th" and row in one.around)
            found[path] = []
    return found


def test_all_that_was_done_to_an_impulse_response_is_told_in_its_order(shown: dict[str, list[str]]) -> None:
    (done,) = (line for line in shown["impulses/A_in_1.wav"] if line.startswith(f"{words.APPLIED}: "))
    # The tone is 0.1 high, 0.0707 root mean square: 94 dB are 1.0024 Pa (20 uPa times 10^4.7, by hand), so 14.18 Pa.
    at = [done.index(part) for part in ("sample value 1.0 is 14.17", "of 1000.0 Hz in calibrator.wav", "window ")]
    assert at == sorted(at)
    assert "is 94 dB" in done
    assert done.endswith("microphone correction mic.csv")
    assert "behind the direct sound" in done


def test_the_sweep_and_the_scale_are_told_of_its_recordings_and_no_correction(shown: dict[str, list[str]]) -> None:
    (done,) = (line for line in shown["sweeps/A_out.wav"] if line.startswith(f"{words.APPLIED}: "))
    assert "sample value 1.0 is 20 Pa, as session.toml says; deconvolved with sweep.wav: exponential sweep from" in done
    assert "microphone" not in done


def test_a_scale_of_session_toml_is_told_of_a_recording(shown: dict[str, list[str]]) -> None:
    (done,) = shown["recordings/in.wav"]
    assert done == f"{words.APPLIED}: sample value 1.0 is 40 V, as session.toml says"


@pytest.mark.parametrize(("path", "use"), [("calibrator.wav", "calibrator"), ("sweep.wav", "excitation")])
def test_the_files_beside_say_what_they_were_taken_for(path: str, use: str, shown: dict[str, list[str]]) -> None:
    assert shown[path] == [f"{words.APPLIED}: taken as the {use}"]


def test_where_nothing_was_done_nothing_is_said(shown: dict[str, list[str]]) -> None:
    assert shown["mic.csv"] == []
