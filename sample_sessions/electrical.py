"""Voltages in a small linear network, by complex nodal analysis: no closed formula of a filter stands here."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]

GROUND = -1
HALF_POWER_DB = 10 * math.log10(0.5)


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A resistor (ohm) or a capacitor (farad) between two nodes; node -1 is ground."""

    a: int
    b: int
    ohm: float | None = None
    farad: float | None = None

    def admittance(self, omega: Real) -> Complex:
        """Admittance in siemens at each angular frequency."""
        conductance = 0.0 if self.ohm is None else 1 / self.ohm
        return np.asarray(conductance + 1j * omega * (self.farad or 0.0), dtype=np.complex128)


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """From the source to the amplifier's input: what stands in the way of one volt. No capacitor: a plain wire."""

    source_output_ohm: float
    amplifier_input_ohm: float
    cable_farad: float
    capacitor_farad: float | None = None


def node_voltages(frequency_hz: Real, parts: list[Part], source_ohm: float, n_nodes: int) -> Complex:
    """Voltage at every node, shape (frequencies, nodes), when 1 V feeds node 0 through `source_ohm`.

    Kirchhoff's current law in every node, Y v = i, solved frequency by frequency.
    """
    omega = 2 * np.pi * np.asarray(frequency_hz, dtype=float)
    matrix = np.zeros((omega.size, n_nodes, n_nodes), dtype=complex)
    for part in [*parts, Part(a=0, b=GROUND, ohm=source_ohm)]:
        admittance = part.admittance(omega)
        for node in (part.a, part.b):
            if node != GROUND:
                matrix[:, node, node] += admittance
        if GROUND not in (part.a, part.b):
            matrix[:, part.a, part.b] -= admittance
            matrix[:, part.b, part.a] -= admittance
    current = np.zeros((omega.size, n_nodes, 1), dtype=complex)
    current[:, 0, 0] = 1 / source_ohm
    return np.asarray(np.linalg.solve(matrix, current)[:, :, 0], dtype=np.complex128)


def line_transfer(line: Line, frequency_hz: Real) -> Complex:
    """Voltage at the amplifier's input over the source's open-circuit voltage."""
    last = 0 if line.capacitor_farad is None else 1
    parts = [
        Part(a=last, b=GROUND, ohm=line.amplifier_input_ohm),
        Part(a=last, b=GROUND, farad=line.cable_farad),
    ]
    if line.capacitor_farad is not None:
        parts.append(Part(a=0, b=1, farad=line.capacitor_farad))
    return node_voltages(frequency_hz, parts, line.source_output_ohm, last + 1)[:, last]


def subwoofer_input(frequency_hz: Real, ohm: float, farad: float) -> Complex:
    """Voltage behind the subwoofer's own low-pass: a resistor, then a capacitor to ground."""
    return node_voltages(frequency_hz, [Part(a=0, b=GROUND, farad=farad)], ohm, 1)[:, 0]


def ratio_db(treatment: Line, reference: Line | None, frequency_hz: Real) -> Real:
    """Level in dB of one line over the other (over 1 V where there is no other)."""
    over = 1.0 if reference is None else line_transfer(reference, frequency_hz)
    return np.asarray(20 * np.log10(np.abs(line_transfer(treatment, frequency_hz) / over)))


def passband_gain_db(treatment: Line, reference: Line | None) -> float:
    """Largest level in dB of the treatment over the reference from 1 Hz to 20 kHz, on a fine grid.

    Not higher: beyond hearing the cable bends both lines, and not alike.
    """
    return float(np.max(ratio_db(treatment, reference, np.geomspace(1.0, 20e3, 20_001))))


def corner_hz(treatment: Line, reference: Line | None = None) -> float:
    """Frequency at which the level stands 3.01 dB (half the power) under the passband's: found by bisection."""
    wanted_db = passband_gain_db(treatment, reference) + HALF_POWER_DB
    low, high = 0.1, 2e3
    for _ in range(80):
        middle = math.sqrt(low * high)
        if ratio_db(treatment, reference, np.array([middle]))[0] < wanted_db:
            low = middle
        else:
            high = middle
    return math.sqrt(low * high)
