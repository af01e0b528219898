"""The importer of AES69 files: seats and channels in one file, what it says yes and no to, and the missing library."""

from __future__ import annotations

import sys
from io import BytesIO

import h5py
import numpy as np
import pytest

from fairhearing.api import ImportProblem, MeasurementFile, Reading, Recognition, Session, SourceFile
from fairhearing.choose import choose_importer
from fairhearing.registry import load_plugins
from fairhearing_builtins.importers.aes69 import Aes69File

from .aes69_files import aes69_bytes, first_order

FREQUENCY = np.geomspace(10, 20_000, 60)
GAINS = (1.0, 2.0, 4.0)
VALUES = np.stack([first_order(FREQUENCY, 90.0, gain) for gain in GAINS])[np.newaxis]
TF = {"Data_Real": VALUES.real, "Data_Imag": VALUES.imag, "N": FREQUENCY}


def source(data: bytes, **said: object) -> SourceFile:
    item = MeasurementFile(**{"path": "a.sofa", "line": 12, "entry": 0, "condition": "in", **said})
    return SourceFile(item=item, path="a.sofa", data=data)


def answer(data: bytes, **said: object) -> Recognition:
    return Aes69File().recognise(source(data, **said))


def read_all(data: bytes, session: Session, **said: object) -> list[Reading]:
    return list(Aes69File().read([source(data, **said)], session))


def problem(data: bytes, session: Session, **said: object) -> ImportProblem:
    (reading,) = read_all(data, session, **said)
    assert isinstance(reading.problem, ImportProblem)
    assert reading.content is None
    return reading.problem


def test_each_receiver_is_a_seat_with_its_own_response(session: Session) -> None:
    readings = read_all(aes69_bytes("GeneralTF", ReceiverDescriptions="sofa, A, B", **TF), session)
    assert [(reading.path, reading.seat, reading.channel) for reading in readings] == [
        ("a.sofa", "sofa", None), ("a.sofa", "A", None), ("a.sofa", "B", None),
    ]  # fmt: skip
    for reading, values in zip(readings, VALUES[0], strict=True):
        np.testing.assert_array_equal(reading.content.frequency_hz, FREQUENCY)
        np.testing.assert_allclose(reading.content.level_db, 20 * np.log10(np.abs(values)), rtol=1e-12)
        np.testing.assert_allclose(reading.content.phase_deg, np.angle(values, deg=True), rtol=1e-12)
        assert not reading.content.level_db.flags.writeable
        assert reading.caveats == ()
    assert readings[1].applied == (
        "seat A is receiver 2, by its description", "level: 20 lg |H|, re 1 in the unit of the file",
    )  # fmt: skip


def test_each_emitter_is_a_channel(session: Session) -> None:
    both = np.stack([VALUES, 10 * VALUES], axis=3)
    data = aes69_bytes(
        "GeneralTF-E", Data_Real=both.real, Data_Imag=both.imag, N=FREQUENCY, ReceiverDescriptions="sofa, A, B"
    )
    readings = read_all(data, session)
    assert [(r.seat, r.channel) for r in readings] == [(s, c) for s in ("sofa", "A", "B") for c in ("1", "2")]
    np.testing.assert_allclose(readings[3].content.level_db - readings[2].content.level_db, 20.0, rtol=1e-12)


def test_receivers_in_order_say_so_with_every_reading(session: Session) -> None:
    readings = read_all(aes69_bytes("GeneralTF", **TF), session)
    assert [reading.seat for reading in readings] == ["A", "B", "sofa"]
    assert all("in the order of session.toml" in reading.caveats[0] for reading in readings)


def test_a_value_without_a_level_is_told_with_receiver_and_place(session: Session) -> None:
    values = VALUES.copy()
    values[0, 2, 7] = 0
    data = aes69_bytes("GeneralTF", Data_Real=values.real, Data_Imag=values.imag, N=FREQUENCY)
    found = problem(data, session)
    assert "it has no level in dB" in found.what
    assert found.where == "a.sofa, receiver 3, emitter 1, value 8 of dimension N"


def test_a_file_of_another_kind_is_refused_with_the_kind_to_write(session: Session) -> None:
    found = problem(aes69_bytes("GeneralTF", **TF), session, kind="impulse")
    assert found.try_ == 'write kind = "response" for it in session.toml'
    assert "line 12" in found.where
    impulses = aes69_bytes(
        "GeneralFIR", Data_IR=np.ones((1, 3, 8)), Data_SamplingRate=48e3, Data_Delay=np.zeros((1, 3))
    )
    assert problem(impulses, session).try_ == 'write kind = "impulse" for it in session.toml'


def other_container() -> bytes:
    buffer = BytesIO()
    with h5py.File(buffer, "w") as file:
        file["values"] = np.arange(4.0)
    return buffer.getvalue()


def test_it_says_yes_to_its_files_and_no_to_others_with_the_reason() -> None:
    data = aes69_bytes("GeneralTF", **TF)
    assert answer(data) == Recognition(claims=True, why="HDF5 with the attribute Conventions of AES69")
    assert answer(data[:4096]) == Recognition(claims=True, why="an HDF5 container that is cut or damaged")
    assert not answer(b"Hz,dB\n20,85\n").claims
    assert "its attribute Conventions is ''" in answer(other_container()).why
    assert "reads response and impulse, not recording" in answer(data, kind="recording").why
    assert answer(aes69_bytes("SimpleFreeFieldHRIR")).claims


@pytest.mark.parametrize("kind", ["response", "impulse"])
def test_exactly_one_importer_claims_it(kind: str) -> None:
    for data in (aes69_bytes("GeneralTF", **TF), aes69_bytes("GeneralTF", **TF)[:3000]):
        assert choose_importer(source(data, kind=kind), load_plugins().importers).name == "aes69"


def test_without_the_library_the_file_is_claimed_and_the_extra_named(
    session: Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    data = aes69_bytes("GeneralTF", **TF)
    monkeypatch.setitem(sys.modules, "h5py", None)
    said = answer(data)
    assert said.claims
    assert "with the extra 'containers'" in said.why
    found = problem(data, session)
    assert found.what == "AES69 files are read with h5py, which is not installed"
    assert "fairhearing[containers]" in found.try_
    assert not answer(b"Hz,dB\n20,85\n").claims


def test_a_damaged_container_is_a_problem_or_read_and_never_an_exception(session: Session) -> None:
    data = aes69_bytes("GeneralTF", ReceiverDescriptions="sofa, A, B", **TF)
    draw = np.random.default_rng(20261125)
    n_problems = 0
    for _ in range(300):
        damaged = bytearray(data)
        for place in draw.integers(8, len(data), 8):
            damaged[place] = draw.integers(0, 256)
        readings = read_all(bytes(damaged), session) if answer(bytes(damaged)).claims else []
        n_problems += any(reading.problem is not None for reading in readings)
    assert n_problems > 100
