"""A small made-up session as files in memory, so that a test can break one thing in it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path

Files = dict[str, bytes]

SESSION_ID = "cedar-room-2026-01-17"
MANIFEST = f"""\
format = 1

[session]
id = "{SESSION_ID}"
date = 2026-01-17
question = "Does the box help at the bench?"

[room]
id = "cedar-room"

[chain]
design_corner_hz = 80.0
setting_kohm = 20.0

[conditions.out]
reference = true
label = "Box out"

[conditions.in]
label = "Box in"

[seats.bench]

[seats.stool]

[[measurements]]
files = "responses/{{seat}}_{{condition}}_{{repeat}}.csv"

[[scores]]
files = "scores/abx.csv"
method = "abx"
reference = "out"
treatment = "in"
"""
CORNER_HZ = 82.0
N_REPEATS = 3
FREQUENCIES_HZ = [20.0 * 10 ** (step / 40) for step in range(121)]  # 20 Hz to 20 kHz


def level_db(frequency_hz: float, seat: str, condition: str, repeat: int) -> float:
    """A bump for the room, a little of it different for each seat and repeat, and the filter where it is in."""
    decades = math.log10(frequency_hz / 55.0)
    room_db = 76.0 + (4.0 if seat == "bench" else 2.5) * math.exp(-30.0 * decades**2)
    moved_db = 0.05 * math.sin(7.0 * decades + 2.1 * repeat + len(seat + condition))
    ratio = frequency_hz / CORNER_HZ
    filter_db = 20.0 * math.log10(ratio / math.hypot(1.0, ratio)) if condition == "in" else 0.0
    return room_db + moved_db + filter_db


def response(seat: str, condition: str, repeat: int) -> bytes:
    """One response as delimited text with a header line."""
    rows = [f"{f:.3f},{level_db(f, seat, condition, repeat):.4f}" for f in FREQUENCIES_HZ]
    return ("\n".join(["Hz,dB", *rows]) + "\n").encode()


def abx_sheet() -> bytes:
    """Two listeners with eight trials each; the second errs in every third."""
    rows = ["listener,trial,x,answer"]
    for listener, every in (("L1", 9), ("L2", 3)):
        for trial in range(1, 9):
            x = "in" if trial % 4 in (1, 2) else "out"
            wrong = "out" if x == "in" else "in"
            rows.append(f"{listener},{trial},{x},{wrong if trial % every == 0 else x}")
    return ("\n".join(rows) + "\n").encode()


def sound_files(session_id: str = SESSION_ID) -> Files:
    """All files of a session without a fault."""
    files = {"session.toml": MANIFEST.replace(SESSION_ID, session_id).encode(), "scores/abx.csv": abx_sheet()}
    for seat in ("bench", "stool"):
        for condition in ("out", "in"):
            for repeat in range(1, N_REPEATS + 1):
                files[f"responses/{seat}_{condition}_{repeat}.csv"] = response(seat, condition, repeat)
    return files


def write_session(folder: Path, files: Mapping[str, bytes]) -> Path:
    """The folder, with these files in it."""
    for path, data in files.items():
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / path).write_bytes(data)
    return folder
