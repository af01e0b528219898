"""Variables and attributes of AES69 files: against a library that writes them, and what is told of faulty ones."""

from __future__ import annotations

import warnings
from io import BytesIO
from pathlib import Path

import h5py
import numpy as np
import pytest

from fairhearing.api import ImportProblem
from fairhearing_builtins.importers.aes69_container import opened
from fairhearing_builtins.importers.aes69_data import (
    CONVENTIONS,
    check_kind,
    convention_of,
    kind_of,
    read_impulses,
    read_transfers,
)

from .aes69_files import aes69_bytes

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # it is built against another numpy than the one that is there
    import sofar

DRAW = np.random.default_rng(20261125)
IMPULSES = DRAW.normal(size=(1, 3, 64))
DELAY = np.array([[0.0, 2.5, 7.0]])
FIR = {"Data_IR": IMPULSES, "Data_SamplingRate": np.array([48_000.0]), "Data_Delay": DELAY}
FREQUENCY = np.array([20.0, 25.0, 31.5, 40.0, 50.0])
VALUES = DRAW.normal(size=(1, 2, 5)) + 1j * DRAW.normal(size=(1, 2, 5))
TF = {"Data_Real": VALUES.real, "Data_Imag": VALUES.imag, "N": FREQUENCY}


def impulses(data: bytes):
    with opened(data, "a.sofa") as container:
        return read_impulses(container, convention_of(container))


def transfers(data: bytes):
    with opened(data, "a.sofa") as container:
        return read_transfers(container, convention_of(container))


def written_by_library(folder: Path, convention: str, **variables: object) -> bytes:
    made = sofar.Sofa(convention)
    for name, value in variables.items():
        setattr(made, name, value)
    path = folder / "made.sofa"
    sofar.write_sofa(str(path), made)
    return path.read_bytes()


@pytest.mark.parametrize("n_emitters", [None, 2])
def test_impulses_that_the_library_writes_are_read(n_emitters: int | None, tmp_path: Path) -> None:
    if n_emitters is None:
        data = written_by_library(tmp_path, "GeneralFIR", **FIR, ReceiverPosition=np.zeros((3, 3)))
        found = impulses(data)
        np.testing.assert_array_equal(found.samples[:, 0], IMPULSES[0])
        np.testing.assert_array_equal(found.delay_samples[:, 0], DELAY[0])
    else:
        several = np.stack([IMPULSES, 2 * IMPULSES], axis=3)
        delay = np.stack([DELAY, DELAY + 1], axis=2)
        more = {"ReceiverPosition": np.zeros((3, 3)), "EmitterPosition": np.zeros((2, 3))}
        data = written_by_library(tmp_path, "GeneralFIR-E", **{**FIR, "Data_IR": several, "Data_Delay": delay}, **more)
        found = impulses(data)
        np.testing.assert_array_equal(found.samples[:, 1], 2 * IMPULSES[0])
        np.testing.assert_array_equal(found.delay_samples, np.stack([DELAY[0], DELAY[0] + 1], axis=1))
    assert (found.rate_hz, found.caveats) == (48_000.0, ())


@pytest.mark.parametrize("n_emitters", [None, 3])
def test_transfer_functions_that_the_library_writes_are_read(n_emitters: int | None, tmp_path: Path) -> None:
    more = {"ReceiverPosition": np.zeros((2, 3))}
    if n_emitters is None:
        found = transfers(written_by_library(tmp_path, "GeneralTF", **TF, **more))
        np.testing.assert_array_equal(found.values[:, 0], VALUES[0])
    else:
        several = np.stack([VALUES, 2 * VALUES, 3j * VALUES], axis=3)
        parts = {"Data_Real": several.real, "Data_Imag": several.imag, "N": FREQUENCY}
        more["EmitterPosition"] = np.zeros((3, 3))
        found = transfers(written_by_library(tmp_path, "GeneralTF-E", **parts, **more))
        np.testing.assert_array_equal(found.values[:, 2], 3j * VALUES[0])
    np.testing.assert_array_equal(found.frequency_hz, FREQUENCY)


def test_the_library_reads_from_the_test_writer_what_is_read_here(tmp_path: Path) -> None:
    path = tmp_path / "made.sofa"
    path.write_bytes(aes69_bytes("GeneralFIR", **FIR, ReceiverPosition=np.zeros((3, 3))))
    theirs = sofar.read_sofa(str(path), verify=False, verbose=False)
    np.testing.assert_array_equal(theirs.Data_IR[0], impulses(path.read_bytes()).samples[:, 0])
    assert theirs.GLOBAL_SOFAConventions == "GeneralFIR"


def test_impulses_without_a_delay_have_none_and_say_so() -> None:
    found = impulses(aes69_bytes("GeneralFIR", **FIR, drop=("Data.Delay",)))
    np.testing.assert_array_equal(found.delay_samples, np.zeros((3, 1)))
    assert found.caveats == ("Data.Delay is missing: taken as 0 samples",)


TOO_MANY = {"Data_IR": np.concatenate([IMPULSES, IMPULSES])}
NOT_FINITE = IMPULSES.copy()
NOT_FINITE[0, 1, 16] = np.nan
FAULTS = [
    ({"SOFAConventions": "SimpleFreeFieldHRIR"}, (), "the convention is 'SimpleFreeFieldHRIR'", "SOFAConventions"),
    ({}, ("SOFAConventions",), "no convention is named", "SOFAConventions"),
    ({"DataType": "TF"}, (), "the data type is 'TF'; in GeneralFIR it is 'FIR'", "DataType"),
    ({}, ("Data.IR",), "the variable Data.IR is missing", "a.sofa"),
    ({}, ("Data.SamplingRate",), "the variable Data.SamplingRate is missing", "a.sofa"),
    (TOO_MANY, (), "2 measurements", "Data.IR"),
    ({"Data_IR": IMPULSES[0]}, (), r"the shape is \(3, 64\)", "Data.IR"),
    ({"Data_IR": NOT_FINITE}, (), "1 of 192 values are no finite numbers", "Data.IR, at (1, 2, 17)"),
    ({"Data_IR": np.full((1, 3, 4), b"x")}, (), "holds no numbers", "Data.IR"),
    ({"Data_SamplingRate": np.array([48e3, 44.1e3])}, (), "sampling rate is 44100, 48000", "Data.SamplingRate"),
    ({"Data_SamplingRate": np.array([0.0])}, (), "sampling rate is 0", "Data.SamplingRate"),
    ({"Data.SamplingRate:Units": "kilohertz"}, (), "unit is 'kilohertz'", "Data.SamplingRate, attribute Units"),
    ({"Data_Delay": np.zeros((1, 2))}, (), "does not fit 3 receivers", "Data.Delay"),
]


@pytest.mark.parametrize(("changes", "drop", "what", "where"), FAULTS)
def test_a_faulty_file_is_told_with_the_place(changes: dict, drop: tuple[str, ...], what: str, where: str) -> None:
    with pytest.raises(ImportProblem, match=what) as caught:
        impulses(aes69_bytes("GeneralFIR", drop=drop, **{**FIR, **changes}))
    assert caught.value.where.endswith(where)
    assert caught.value.try_


@pytest.mark.parametrize(
    ("changes", "what"),
    [
        ({"N": FREQUENCY[:4]}, "5, 5 and 4 values"),
        ({"Data_Imag": VALUES.imag[..., :4]}, "5, 4 and 5 values"),
        ({"N:Units": "rad/s"}, "the unit is 'rad/s', not 'hertz'"),
    ],
)
def test_transfer_functions_that_do_not_fit_are_told(changes: dict, what: str) -> None:
    with pytest.raises(ImportProblem, match=what):
        transfers(aes69_bytes("GeneralTF", **{**TF, **changes}))


def test_every_convention_has_its_kind_and_the_other_kind_is_refused_with_what_to_write() -> None:
    assert {name: kind_of(name) for name in CONVENTIONS} == {
        "GeneralFIR": "impulse", "GeneralFIR-E": "impulse", "GeneralTF": "response", "GeneralTF-E": "response",
    }  # fmt: skip
    check_kind("GeneralTF", "response", 7, "a.sofa")
    with pytest.raises(ImportProblem, match="holds impulse responses") as caught:
        check_kind("GeneralFIR", "response", 7, "a.sofa")
    assert (caught.value.where, caught.value.try_) == (
        "a.sofa (session.toml, line 7)", 'write kind = "impulse" for it in session.toml',
    )  # fmt: skip


def test_a_cut_file_is_a_problem_wherever_it_is_cut() -> None:
    data = aes69_bytes("GeneralFIR", **FIR)
    for n_bytes in range(8, len(data), 97):
        with pytest.raises(ImportProblem, match="cut or damaged"):
            impulses(data[:n_bytes])


@pytest.mark.parametrize("how", ["external link", "external file", "virtual"])
def test_values_that_lie_in_another_file_are_not_followed(how: str, tmp_path: Path) -> None:
    other = tmp_path / "other.h5"
    with h5py.File(other, "w") as file:
        file["values"] = IMPULSES
    buffer = BytesIO(aes69_bytes("GeneralFIR", **FIR, drop=("Data.IR",)))
    with h5py.File(buffer, "r+") as file:
        if how == "external link":
            file["Data.IR"] = h5py.ExternalLink(str(other), "values")
        elif how == "external file":
            file.create_dataset("Data.IR", IMPULSES.shape, "f8", external=[(str(other), 0, 8 * IMPULSES.size)])
        else:
            layout = h5py.VirtualLayout(IMPULSES.shape, "f8")
            layout[...] = h5py.VirtualSource(str(other), "values", IMPULSES.shape)
            file.create_virtual_dataset("Data.IR", layout)
    with pytest.raises(ImportProblem, match="no variable with its values in this file"):
        impulses(buffer.getvalue())


def test_a_shape_beyond_reason_is_refused_before_it_is_read() -> None:
    buffer = BytesIO(aes69_bytes("GeneralFIR", **FIR, drop=("Data.IR",)))
    with h5py.File(buffer, "r+") as file:
        file.create_dataset("Data.IR", (1, 1 << 20, 1 << 20), "f8", chunks=(1, 64, 64))
    with pytest.raises(ImportProblem, match="too many values"):
        impulses(buffer.getvalue())
