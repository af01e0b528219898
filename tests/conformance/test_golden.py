"""Golden files: written so that they can be read by people, compared to the digits that are printed."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from conformance.saboteurs.importers import SoundLog

from fairhearing.api import Reading, ScoreTable
from fairhearing.conformance import ImporterSample, write_golden
from fairhearing.conformance.golden import golden_difference, golden_text
from fairhearing.conformance.importer_samples import read_one

LOG = "made-up log\n20.0;61.234\n25.1;62.5\n"
GOLDEN = """\
{
 "format": 1,
 "columns": ["frequency_hz", "level_db"],
 "caveats": [],
 "rows": [
  [20.000000, 61.234000],
  [25.100000, 62.500000]
 ]
}
"""


@pytest.fixture
def sample(tmp_path: Path) -> ImporterSample:
    (tmp_path / "a.log").write_text(LOG, encoding="utf-8")
    return ImporterSample(tmp_path / "a.log")


def compared(sample: ImporterSample, golden: str) -> str | None:
    sample.golden_path.write_text(golden, encoding="utf-8")
    return golden_difference(sample.golden_path, list(read_one(SoundLog(), sample).values()))


def test_a_golden_file_is_written_with_a_diff_of_what_changed_and_nothing_the_second_time(
    sample: ImporterSample,
) -> None:
    assert "+  [20.000000, 61.234000],\n" in write_golden(SoundLog(), sample)
    assert sample.golden_path.name == "a.log.golden.json"
    assert sample.golden_path.read_text(encoding="utf-8") == GOLDEN
    assert write_golden(SoundLog(), sample) == ""
    sample.path.write_text(LOG.replace("62.5", "63.5"), encoding="utf-8")
    diff = write_golden(SoundLog(), sample).splitlines()
    assert diff[:2] == ["--- a.log.golden.json before", "+++ a.log.golden.json now"]
    assert [line for line in diff[3:] if line[0] in "+-"] == [
        "-  [25.100000, 62.500000]",
        "+  [25.100000, 63.500000]",
    ]


def test_a_sample_that_is_not_read_has_no_golden_file(sample: ImporterSample) -> None:
    sample.path.write_text("made-up log\nno;row\n", encoding="utf-8")
    with pytest.raises(ValueError, match="is no row"):
        write_golden(SoundLog(), sample)
    assert not sample.golden_path.exists()


@pytest.mark.parametrize(
    ("seen", "printed", "same"),
    [
        ("61.234000", "61.234000", True),
        ("61.234000", "61.234001", False),
        ("61.234000", "61.234", True),
        ("61.234000", "61.23", True),
        ("61.234000", "61.24", False),
        ("61.234000", "61.2", False),
        ("61.234000", "61", False),
        ("20.000000", "20", True),
        ("20.000000", "20.2", False),
        ("61.234000", '"61.234"', False),
        ("61.234000", "null", False),
        ("61.234000", "true", False),
    ],
)
def test_a_number_is_the_same_within_its_printed_digits_and_never_further_off_than_0_005(
    sample: ImporterSample, seen: str, printed: str, same: bool
) -> None:
    found = compared(sample, GOLDEN.replace(seen, printed))
    assert (found is None) is same, found


@pytest.mark.parametrize(
    ("golden", "told"),
    [
        (GOLDEN.replace("level_db", "level"), "columns"),
        (GOLDEN.replace('"caveats": []', '"caveats": ["cut"]'), "caveats"),
        (GOLDEN.replace("61.234000],", "61.234000],\n  [22.0, 61.0],"), "2 rows, golden 3"),
    ],
)
def test_other_columns_caveats_and_rows_are_told(sample: ImporterSample, golden: str, told: str) -> None:
    assert told in (compared(sample, golden) or "")


@pytest.mark.parametrize("golden", ["{", "[]", '{"format": 2}'])
def test_what_is_no_golden_file_is_an_error(sample: ImporterSample, golden: str) -> None:
    with pytest.raises(ValueError, match=r"golden|Expecting"):
        compared(sample, golden)


def test_the_rows_of_a_sheet_are_text_with_their_lines() -> None:
    table = ScoreTable(columns={"listener": ("007", "Zoë"), "answer": ("in", None)}, lines=(2, 4))
    golden = json.loads(golden_text([Reading(path="a.csv", content=table, caveats=("one sheet",))]))
    assert golden["columns"] == ["line", "listener", "answer"]
    assert golden["rows"] == [[2, "007", "in"], [4, "Zoë", None]]
    assert golden["caveats"] == ["one sheet"]
