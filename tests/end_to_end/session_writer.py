"""Writes session folders whose truth is known: own filter, room, noise and dialects; nothing of fairhearing in it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]

# Every dialect the contract allows is written in turn.
DIALECTS = ("comma", "semicolon", "tab", "blanks", "kilohertz", "real-imaginary", "utf16", "headerless")


def grid(low_hz: float = 15.0, high_hz: float = 12_000.0, per_octave: int = 24) -> FloatArray:
    """Log-spaced frequencies rounded as a file would hold them."""
    n = round(math.log2(high_hz / low_hz) * per_octave) + 1
    return np.round(np.geomspace(low_hz, high_hz, n), 3)


def divider(frequency_hz: FloatArray, capacitance_f: float, load_ohm: float, source_ohm: float = 0.0) -> ComplexArray:
    """Share of the source's voltage that the load gets behind a series capacitor, by complex impedances."""
    capacitor = 1.0 / (2j * np.pi * frequency_hz * capacitance_f)
    return load_ohm / (load_ohm + source_ohm + capacitor)


def high_pass(frequency_hz: FloatArray, corner_hz: float) -> ComplexArray:
    """The divider with 1 ohm whose capacitor has 1 ohm at the corner."""
    return divider(frequency_hz, 1.0 / (2 * np.pi * corner_hz), 1.0)


@dataclass(frozen=True, kw_only=True)
class Room:
    """Response of one place: direct sound and modes drawn from its own seed, with a roll-off at the bottom."""

    seed: int

    def __call__(self, frequency_hz: FloatArray) -> ComplexArray:
        """Complex response at these frequencies, about 70 dB."""
        draw = np.random.default_rng(self.seed)
        response = np.ones(len(frequency_hz), dtype=complex)
        for mode_hz in 25.0 * np.cumprod(1 + draw.uniform(0.1, 0.35, 14)):
            quality, strength = draw.uniform(3, 9), draw.normal(0, 0.6)
            response += strength / (1 + 1j * quality * (frequency_hz / mode_hz - mode_hz / frequency_hz))
        return 10**3.5 * response / (1 - 1j * (18.0 / frequency_hz) ** 2)


def smooth_error_db(generator: np.random.Generator, frequency_hz: FloatArray, sd_db: float) -> FloatArray:
    """A level error that wanders slowly over frequency, as where a microphone is put back elsewhere."""
    octave = np.log2(frequency_hz)
    speed, phase = generator.uniform(0.5, 9.0, 40), generator.uniform(0, 2 * np.pi, 40)
    waves = np.cos(np.outer(octave, speed) + phase)
    return np.asarray(sd_db * np.sqrt(2 / 40) * waves.sum(axis=1))


@dataclass(frozen=True, kw_only=True)
class Written:
    """One response file: what it is of, and the numbers that stand in it."""

    condition: str | None
    seat: str | None
    repeat: str
    channel: str | None
    playing: str
    point: str
    kind: str
    in_place: bool
    frequency_hz: FloatArray
    level_db: FloatArray
    phase_deg: FloatArray | None


@dataclass(kw_only=True)
class Folder:
    """A session folder in the making. The first of `conditions` is the reference; the values are its keys."""

    id: str
    conditions: Mapping[str, Mapping[str, Any]] = field(default_factory=lambda: {"out": {}, "in": {}})
    seats: Mapping[str, float] = field(default_factory=lambda: {"A": 1.0})
    chain: Mapping[str, Any] = field(default_factory=dict)
    criteria: Mapping[str, Any] = field(default_factory=dict)
    target: tuple[FloatArray, FloatArray] | None = None
    curves: list[Written] = field(default_factory=list)
    sheets: list[tuple[str, str]] = field(default_factory=list)  # method, text of a CSV
    order: str | None = None  # of all sheets

    def add(
        self,
        condition: str | None,
        seat: str | None,
        repeat: int,
        frequency_hz: FloatArray,
        level_db: FloatArray | float,
        phase_deg: FloatArray | None = None,
        *,
        channel: str | None = None,
        playing: str = "main",
        point: str = "seat",
        kind: str = "response",
        in_place: bool = False,
    ) -> None:
        """Note one take; levels are rounded to 0.0001 dB, phases to 0.001 degree, as they will stand in the file."""
        level = np.round(np.broadcast_to(np.asarray(level_db, dtype=float), frequency_hz.shape), 4)
        self.curves.append(
            Written(
                condition=condition,
                seat=seat,
                repeat=str(repeat),
                channel=channel,
                playing=playing,
                point=point,
                kind=kind,
                in_place=in_place,
                frequency_hz=frequency_hz,
                level_db=level,
                phase_deg=None if phase_deg is None else np.round(phase_deg, 3),
            )
        )

    def add_silence(self) -> None:
        """A noise take for each seat, so low that nothing is subtracted: the scatter of repeats is no noise then."""
        for seat in self.seats:
            self.add(None, seat, 1, np.array([5.0, 100.0, 1000.0, 22_000.0]), -200.0, kind="noise")

    def write(self, into: Path) -> Path:
        """The folder, written; returns where it lies."""
        folder = into / self.id
        folder.mkdir(parents=True)
        entries: dict[tuple[object, ...], str] = {}
        for index, curve in enumerate(self.curves):
            key = (
                curve.kind, curve.point, curve.playing, curve.in_place,
                curve.seat is None, curve.condition is None, curve.channel is None,
            )  # fmt: skip
            group = entries.setdefault(key, f"group{len(entries)}")
            words = [w for w in (curve.seat, curve.channel, curve.condition, curve.repeat) if w is not None]
            (folder / group).mkdir(exist_ok=True)
            (folder / group / ("_".join(words) + ".txt")).write_bytes(
                response_bytes(curve, DIALECTS[index % len(DIALECTS)])
            )
        if self.target is not None:
            rows = "".join(f"{f:g},{level:g}\n" for f, level in zip(*self.target, strict=True))
            (folder / "target.csv").write_text("Hz,dB\n" + rows)
        for index, (_, text) in enumerate(self.sheets):
            (folder / f"sheet{index}.csv").write_text(text)
        (folder / "session.toml").write_text(self._manifest(entries))
        return folder

    def _manifest(self, entries: Mapping[tuple[object, ...], str]) -> str:
        lines = ["format = 1", "", "[session]", f'id = "{self.id}"', "", "[room]", 'id = "made-up-room"', ""]
        lines += _table("chain", self.chain)
        for index, (name, keys) in enumerate(self.conditions.items()):
            own = {key: value for key, value in keys.items() if key != "chain"}
            lines += _table(f"conditions.{name}", {**({"reference": True} if index == 0 else {}), **own}, always=True)
            lines += _table(f"conditions.{name}.chain", keys.get("chain", {}))
        for seat, weight in self.seats.items():
            lines += _table(f"seats.{seat}", {"weight": weight}, always=True)
        for (kind, point, playing, in_place, no_seat, no_condition, no_channel), group in entries.items():
            words = [
                *([] if no_seat else ["{seat}"]),
                *([] if no_channel else ["{channel}"]),
                *([] if no_condition else ["{condition}"]),
                "{repeat}",
            ]
            lines += [
                "[[measurements]]",
                f'files = "{group}/{"_".join(words)}.txt"',
                f'kind = "{kind}"',
                f'point = "{point}"',
                f'playing = "{playing}"',
                f'repeats = "{"in-place" if in_place else "replaced"}"',
                "",
            ]
        for index, (method, _) in enumerate(self.sheets):
            lines += ["[[scores]]", f'files = "sheet{index}.csv"', f'method = "{method}"']
            lines += [f'order = "{self.order}"', ""] if self.order else [""]
        criteria = {**self.criteria, **({"target": "target.csv"} if self.target is not None else {})}
        return "\n".join(lines + _table("criteria", criteria)) + "\n"


def _table(name: str, keys: Mapping[str, Any], *, always: bool = False) -> list[str]:
    if not keys and not always:
        return []
    return [f"[{name}]", *(f"{key} = {_toml(value)}" for key, value in keys.items()), ""]


def _toml(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(_toml, value)) + "]"
    return repr(float(value)) if isinstance(value, float | int) else str(value)


def response_bytes(curve: Written, dialect: str) -> bytes:
    """The curve as a file of a dialect; 1e-4 dB survives every one of them."""
    frequency, level, phase = curve.frequency_hz, curve.level_db, curve.phase_deg
    # Complex values need a phase; without one the plain table is written.
    if dialect == "real-imaginary" and phase is not None:
        value = 10 ** (level / 20) * np.exp(1j * np.deg2rad(phase))
        rows = [f"{f:.3f},{v.real:.12e},{v.imag:.12e}" for f, v in zip(frequency, value, strict=True)]
        return ("frequency (Hz),real,imaginary\n" + "\n".join(rows) + "\n").encode()
    scale, digits = (1e-3, 6) if dialect == "kilohertz" else (1.0, 3)
    columns = [[f"{f * scale:.{digits}f}" for f in frequency], [f"{v:.4f}" for v in level]]
    header = ["f [kHz]" if dialect == "kilohertz" else "Frequency (Hz)", "Level (dB)"]
    if phase is not None:
        columns.append([f"{v:.3f}" for v in phase])
        header.append("Phase (deg)")
    separator = {"semicolon": ";", "tab": "\t", "utf16": "\t", "blanks": "  ", "headerless": " "}.get(dialect, ",")
    rows = [separator.join(row) for row in zip(*columns, strict=True)]
    if dialect == "blanks":
        header = ["freq", "dB", "deg"][: len(header)]
    if dialect == "headerless":
        lines = ["# no header: Hz, dB, degrees", *rows]
    elif dialect == "kilohertz":
        lines = ["* made up", "! of one take", separator.join(header), *rows]
    else:
        lines = [separator.join(header), *rows]
    text = "\n".join(lines) + "\n"
    if dialect == "semicolon":
        text = text.replace(".", ",")
    if dialect == "tab":
        text = text.replace("\n", "\r\n")
    return text.encode("utf-16" if dialect == "utf16" else "utf-8")
