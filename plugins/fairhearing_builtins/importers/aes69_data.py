"""The data of an AES69 file, general FIR and transfer functions: per receiver and emitter, checked."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fairhearing.api import ImportProblem
from fairhearing_builtins.importers.aes69_container import Container, FloatArray

# AES69-2022, annex A: the general conventions, with the data type that each holds.
CONVENTIONS = {"GeneralFIR": "FIR", "GeneralFIR-E": "FIR-E", "GeneralTF": "TF", "GeneralTF-E": "TF-E"}
_KINDS = {"FIR": "impulse", "TF": "response"}
_HERTZ = frozenset({"hertz", "hz"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Impulses:
    """Impulse responses: shape (receivers, emitters, samples); delay in samples, shape (receivers, emitters)."""

    samples: FloatArray
    delay_samples: FloatArray
    rate_hz: float
    caveats: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Transfers:
    """Transfer functions: shape (receivers, emitters, frequencies), and the frequencies in hertz."""

    values: npt.NDArray[np.complex128]
    frequency_hz: FloatArray


def convention_of(container: Container) -> str:
    """The convention that the file follows, one of `CONVENTIONS`.

    Raises
    ------
    ImportProblem
        It follows another one, or none, or its data type is not that of its convention.
    """
    name = container.attribute("SOFAConventions")
    if name not in CONVENTIONS:
        raise container.problem(
            f"the convention is {name!r}" if name else "no convention is named",
            "attribute SOFAConventions",
            f"write the responses in one of the general conventions: {', '.join(CONVENTIONS)}",
        )
    data_type = container.attribute("DataType")
    if data_type != CONVENTIONS[name]:
        raise container.problem(
            f"the data type is {data_type!r}; in {name} it is {CONVENTIONS[name]!r}", "attribute DataType"
        )
    return name


def kind_of(convention: str) -> str:
    """The kind that session.toml must say for files of a convention: impulse or response."""
    return _KINDS[CONVENTIONS[convention].removesuffix("-E")]


def read_impulses(container: Container, convention: str) -> Impulses:
    """The FIR data.

    Raises
    ------
    ImportProblem
        A variable is missing, of another shape, not finite, or there is more than one measurement.
    """
    samples = _per_receiver(container, "Data.IR", convention)
    caveats: tuple[str, ...] = ()
    if container.has("Data.Delay"):
        delay = container.numbers("Data.Delay")
        delay = delay if convention.endswith("-E") else delay[..., np.newaxis]
        try:
            delay = np.broadcast_to(delay, (1, *samples.shape[:2]))[0]
        except ValueError:
            raise container.problem(
                f"the shape {delay.shape} does not fit {samples.shape[0]} receivers", "Data.Delay"
            ) from None
    else:
        delay = np.zeros(samples.shape[:2])
        caveats = ("Data.Delay is missing: taken as 0 samples",)
    return Impulses(samples=samples, delay_samples=delay, rate_hz=_rate(container), caveats=caveats)


def read_transfers(container: Container, convention: str) -> Transfers:
    """The TF data.

    Raises
    ------
    ImportProblem
        A variable is missing, of another shape, not finite, or there is more than one measurement.
    """
    real = _per_receiver(container, "Data.Real", convention)
    imaginary = _per_receiver(container, "Data.Imag", convention)
    frequency = container.numbers("N")
    if frequency.ndim == 2 and 1 in frequency.shape:
        frequency = frequency.reshape(-1)
    if real.shape != imaginary.shape or frequency.shape != real.shape[2:]:
        raise container.problem(
            f"real part, imaginary part and frequencies have {real.shape[2]}, {imaginary.shape[2]} and "
            f"{frequency.size} values",
            "Data.Real, Data.Imag and N",
        )
    _check_hertz(container, "N")
    return Transfers(values=real + 1j * imaginary, frequency_hz=frequency)


def _per_receiver(container: Container, name: str, convention: str) -> FloatArray:
    """The one measurement of a variable M, R, N or M, R, N, E as receivers, emitters, values."""
    values = container.numbers(name)
    axes = "M, R, N, E" if convention.endswith("-E") else "M, R, N"
    if values.ndim != axes.count(",") + 1 or 0 in values.shape:
        raise container.problem(f"the shape is {values.shape}; in {convention} it is ({axes})", name)
    if values.shape[0] > 1:
        raise container.problem(
            f"there are {values.shape[0]} measurements (dimension M): whether they are repeats, or what else was "
            "changed between them, cannot be told",
            name,
            "write each measurement into a file of its own, and name repeat and condition in its name",
        )
    one = values[0]
    return np.moveaxis(one, 2, 1) if one.ndim == 3 else one[:, np.newaxis, :]


def _rate(container: Container) -> float:
    rates = np.unique(container.numbers("Data.SamplingRate"))
    if len(rates) != 1 or not rates[0] > 0:
        shown = ", ".join(f"{rate:g}" for rate in rates[:4])
        raise container.problem(f"the sampling rate is {shown}; there must be one above 0 Hz", "Data.SamplingRate")
    _check_hertz(container, "Data.SamplingRate")
    return float(rates[0])


def _check_hertz(container: Container, name: str) -> None:
    unit = container.attribute("Units", of=name)
    if unit.lower() not in _HERTZ:
        raise container.problem(f"the unit is {unit!r}, not 'hertz'", f"{name}, attribute Units")


def check_kind(convention: str, kind: str, line: int, path: str) -> None:
    """That session.toml says the kind that a convention holds.

    Raises
    ------
    ImportProblem
        It says another one.
    """
    wanted = kind_of(convention)
    if kind != wanted:
        held = "impulse responses" if wanted == "impulse" else "transfer functions"
        raise ImportProblem(
            f"the file holds {held} ({convention}), and session.toml says kind {kind!r}",
            where=f"{path} (session.toml, line {line})",
            try_=f'write kind = "{wanted}" for it in session.toml',
        )
