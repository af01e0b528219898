"""The importer of universal files: against a library that writes and reads dataset 58, and faults with their line."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import pyuff

from fairhearing.api import ImportProblem, MeasurementFile, Reading, Session, SourceFile
from fairhearing.choose import choose_importer
from fairhearing.registry import load_plugins
from fairhearing_builtins.importers.universal_file import UniversalFile

from .aes69_files import first_order

CORNER_HZ = 90.0
EVEN_HZ = np.arange(1, 401) * 2.5
UNEVEN_HZ = np.round(np.geomspace(10, 20_000, 97), 2)


def function(frequency_hz: np.ndarray, values: np.ndarray, *, even: bool, double: bool = True, **more: object) -> dict:
    """One dataset 58 as the library takes it."""
    return {
        "type": 58, "func_type": 4, "binary": 0, "rsp_node": 12, "rsp_dir": 3, "ref_node": 7, "ref_dir": -1,
        "abscissa_spacing": int(even), "abscissa_spec_data_type": 18, "ordinate_spec_data_type": 15,
        "orddenom_spec_data_type": 0, "z_axis_spec_data_type": 0, "abscissa_axis_units_lab": "Hz",
        "ordinate_axis_units_lab": "Pa", "orddenom_axis_units_lab": "V", "x": frequency_hz, "data": values,
        "ord_data_type": {(True, True): 6, (True, False): 5, (False, True): 4, (False, False): 2}[
            np.iscomplexobj(values), double
        ],
        **more,
    }  # fmt: skip


def written(folder: Path, *sets: dict) -> bytes:
    path = folder / "made.uff"
    library = pyuff.UFF(str(path))
    library.write_sets([dict(each) for each in sets], mode="overwrite", force_double=False)
    return path.read_bytes()


def item(**said: object) -> MeasurementFile:
    return MeasurementFile(**{"path": "a.uff", "line": 12, "entry": 0, "seat": "A", "condition": "in", **said})


def read_all(data: bytes, session: Session, **said: object) -> list[Reading]:
    file = SourceFile(item=item(**said), path="a.uff", data=data)
    assert UniversalFile().recognise(file).claims
    return list(UniversalFile().read([file], session))


def read(data: bytes, session: Session, **said: object) -> Reading:
    (reading,) = read_all(data, session, **said)
    assert reading.problem is None, reading.problem
    return reading


def problem(data: bytes, session: Session, **said: object) -> ImportProblem:
    (reading,) = read_all(data, session, **said)
    assert isinstance(reading.problem, ImportProblem)
    assert reading.content is None
    return reading.problem


@pytest.mark.parametrize("double", [True, False])
@pytest.mark.parametrize("even", [True, False])
def test_what_the_library_writes_is_the_response_that_it_was_given(
    even: bool, double: bool, tmp_path: Path, session: Session
) -> None:
    frequency_hz = EVEN_HZ if even else UNEVEN_HZ
    values = first_order(frequency_hz, CORNER_HZ, 1e4)
    reading = read(written(tmp_path, function(frequency_hz, values, even=even, double=double)), session)
    curve = reading.content
    # Single precision prints six digits: 5e-6 of a part is 0.00005 dB and 0.0003 degree.
    np.testing.assert_allclose(curve.frequency_hz, frequency_hz, rtol=1e-5)
    np.testing.assert_allclose(curve.level_db, 20 * np.log10(np.abs(values)), atol=1e-9 if double else 1e-4)
    np.testing.assert_allclose(curve.phase_deg, np.angle(values, deg=True), atol=1e-9 if double else 1e-3)
    assert (reading.caveats, reading.channel) == ((), None)
    assert reading.applied == ("level: 20 lg |H|, re 1 Pa/V",)


@pytest.mark.parametrize("double", [True, False])
@pytest.mark.parametrize("even", [True, False])
def test_the_library_reads_the_same_numbers(even: bool, double: bool, tmp_path: Path, session: Session) -> None:
    frequency_hz = EVEN_HZ if even else UNEVEN_HZ
    data = written(tmp_path, function(frequency_hz, first_order(frequency_hz, CORNER_HZ), even=even, double=double))
    theirs = pyuff.UFF(str(tmp_path / "made.uff")).read_sets()
    curve = read(data, session).content
    np.testing.assert_allclose(curve.level_db, 20 * np.log10(np.abs(theirs["data"])), atol=1e-12)
    np.testing.assert_allclose(curve.frequency_hz, theirs["x"], rtol=1e-12)


def test_a_real_function_is_a_size_without_phase(tmp_path: Path, session: Session) -> None:
    size = np.abs(first_order(EVEN_HZ, CORNER_HZ))
    curve = read(written(tmp_path, function(EVEN_HZ, size, even=True)), session).content
    np.testing.assert_allclose(curve.level_db, 20 * np.log10(size), atol=1e-9)
    assert curve.phase_deg is None
    size[4] = -size[4]
    found = problem(written(tmp_path, function(EVEN_HZ, size, even=True)), session)
    assert found.what == f"the value at 12.5 Hz is {size[4]:g}: it has no level in dB"
    assert found.where == "a.uff, line 15"


def test_the_value_at_0_hz_is_dropped_with_a_caveat(tmp_path: Path, session: Session) -> None:
    frequency_hz = np.arange(50) * 10.0
    data = written(tmp_path, function(frequency_hz, first_order(frequency_hz, CORNER_HZ), even=True))
    reading = read(data, session)
    np.testing.assert_array_equal(reading.content.frequency_hz, frequency_hz[1:])
    assert reading.caveats == ("the value at 0 Hz was dropped",)


def response(n: int = 40, **more: object) -> dict:
    return function(EVEN_HZ[:n], first_order(EVEN_HZ[:n], CORNER_HZ), even=True, **more)


@pytest.mark.parametrize("end", ["\r\n", "\r"])
def test_line_ends_change_nothing(end: str, tmp_path: Path, session: Session) -> None:
    data = written(tmp_path, response())
    other = read(data.replace(b"\n", end.encode()), session).content
    np.testing.assert_array_equal(other.level_db, read(data, session).content.level_db)


def test_several_functions_are_channels_by_node_and_direction(tmp_path: Path, session: Session) -> None:
    data = written(tmp_path, response(), response(rsp_dir=-2), response(rsp_node=13, rsp_dir=0))
    assert [reading.channel for reading in read_all(data, session)] == ["12-z", "12-minus-y", "13-scalar"]
    data = written(tmp_path, response(), response(ref_node=8))
    names = [reading.channel for reading in read_all(data, session)]
    assert names == ["12-z-by-7-minus-x", "12-z-by-8-minus-x"]


def test_several_functions_that_cannot_be_told_apart_are_refused(tmp_path: Path, session: Session) -> None:
    data = written(tmp_path, response(), response())
    assert "node and direction '12-z': nothing tells them apart" in problem(data, session).what
    found = problem(written(tmp_path, response(), response(rsp_dir=1)), session, channel="left")
    assert "2 functions, and session.toml says that it is channel 'left'" in found.what
    assert found.where == "a.uff, line 36"
    assert read(written(tmp_path, response()), session, channel="left").channel == "left"


def test_other_datasets_and_functions_are_skipped_with_a_caveat(tmp_path: Path, session: Session) -> None:
    units = pyuff.prepare_164(
        units_code=1, units_description="SI", temp_mode=1, length=1.0, force=1.0, temp=1.0, temp_offset=273.15
    )
    coherence = function(EVEN_HZ, np.ones(len(EVEN_HZ)), even=True, func_type=6)
    reading = read(written(tmp_path, {"type": 164, **units}, response(), coherence), session)
    assert reading.caveats == (
        "datasets 164 of the universal file were skipped: only 58 is read",
        "1 functions of another type were skipped: coherence",
    )


def test_a_file_without_any_response_says_what_is_there(tmp_path: Path, session: Session) -> None:
    found = problem(written(tmp_path, response(func_type=9)), session)
    assert "no function that is read as kind 'response': power spectral density (type 9)" in found.what
    assert found.where == "a.uff, line 8"
    found = problem(b"    -1\n   151\nNONE\n    -1\n    -1\n   164\nNONE\n    -1\n", session)
    assert found.what == "there is no dataset 58 (function at nodal DOF) in the file, only 151, 164"
    assert found.where == "a.uff, line 2"


def test_binary_values_are_refused_in_words(tmp_path: Path, session: Session) -> None:
    """58b with little-endian order, IEEE 754 numbers, 11 lines of text before 8 bytes for each of 80 numbers."""
    text = written(tmp_path, response())
    lines = text.splitlines(keepends=True)
    binary = b"".join([lines[0], b"    58b     1     2          11         640\n", *lines[2:13]])
    data = text + binary + np.arange(80.0).astype("<f8").tobytes() + b"\n    -1\n"
    found = problem(data, session)
    assert found.what == "the values of a dataset 58b are binary numbers, which are not read"
    assert found.where == "a.uff, line 36"
    assert problem(data[len(text) :], session).where == "a.uff, line 2"


@pytest.mark.parametrize(
    ("more", "what"),
    [
        ({"abscissa_axis_units_lab": "rad/s"}, "specific data type 18, unit 'rad/s', not a frequency in hertz"),
        ({"abscissa_spec_data_type": 19, "abscissa_axis_units_lab": "NONE"}, "specific data type 19, not a frequency"),
        ({"ordinate_axis_units_lab": "dB"}, "the unit of the values is 'dB'; a dataset 58 holds linear values"),
    ],
)
def test_what_is_no_linear_function_of_frequency_is_refused(
    more: dict, what: str, tmp_path: Path, session: Session
) -> None:
    assert what in problem(written(tmp_path, response(**more)), session).what


def test_an_abscissa_that_says_nothing_is_taken_as_hertz_with_a_caveat(tmp_path: Path, session: Session) -> None:
    unnamed = response(abscissa_spec_data_type=0, abscissa_axis_units_lab="NONE", ordinate_axis_units_lab="NONE")
    reading = read(written(tmp_path, {**unnamed, "orddenom_axis_units_lab": "NONE"}), session)
    assert reading.caveats == ("the universal file does not say what its abscissa is: taken as frequency in hertz",)
    assert reading.applied == ("level: 20 lg |H|, re 1 in the unit of the file",)


def test_a_cut_file_is_a_problem_with_a_line_wherever_it_is_cut(tmp_path: Path, session: Session) -> None:
    """Where the library gives an empty list, or fewer values than there should be."""
    data = written(tmp_path, response())
    n_read = 0
    for n_bytes in range(14, len(data) - 1, 11):
        file = SourceFile(item=item(), path="a.uff", data=data[:n_bytes])
        if not UniversalFile().recognise(file).claims:
            continue
        n_read += 1
        found = problem(data[:n_bytes], session)
        assert "cut" in found.what or "no number of a dataset" in found.what
        assert found.where.startswith("a.uff, line ")
    assert n_read > 100


def test_garbage_that_the_library_reads_as_nothing_is_told(tmp_path: Path, session: Session) -> None:
    path = tmp_path / "garbage.uff"
    path.write_text("    -1\n    58\nthis is\nno dataset\n    -1\n")
    found = problem(path.read_bytes(), session)
    assert "2 lines; a dataset 58 begins with eleven records" in found.what
    path.write_text("no universal file at all\n")
    assert pyuff.UFF(str(path)).get_set_types().size == 0
    answer = UniversalFile().recognise(SourceFile(item=item(), path="a.uff", data=path.read_bytes()))
    assert (answer.claims, answer.why) == (False, "it does not begin with a line -1 and the number of a dataset")


def test_fewer_than_four_values_and_an_increment_of_0_are_refused(tmp_path: Path, session: Session) -> None:
    assert "3 values above 0 Hz" in problem(written(tmp_path, response(3)), session).what
    text = written(tmp_path, response()).decode()
    still = text.replace(f"{2.5:13.5e}{2.5:13.5e}", f"{2.5:13.5e}{0.0:13.5e}")
    assert still != text
    assert problem(still.encode(), session).where == "a.uff, line 9, columns 44 to 56"


@pytest.mark.parametrize("kind", ["response", "impulse"])
def test_exactly_one_importer_claims_a_universal_file(kind: str, tmp_path: Path) -> None:
    data = written(tmp_path, response())
    for content in (data, data.replace(b"\n", b"\r\n"), b"\xef\xbb\xbf" + data, b"    -1\n    58\n"):
        file = SourceFile(item=item(kind=kind), path="a.uff", data=content)
        assert choose_importer(file, load_plugins().importers).name == "universal-file"
    table = replace(file, data=b"-1 58\n20 85\n25 84\n31.5 83\n40 82\n", item=item())
    assert choose_importer(table, load_plugins().importers).name == "response-table"
