"""A response file that was cut is told from a whole one, by itself and by the other files of its entry."""

from __future__ import annotations

import pytest

from fairhearing_builtins.importers.response_table import ResponseTable

N_SWEEP = 16
SWEEP_HZ = [round(20.0 * 1.3**i, 2) for i in range(N_SWEEP)]
FIXED = "".join(
    f"{f:.2f},{80 + (i * 7) % 11 - 0.05 * i:.3f},{(i * 37) % 180 - 90:.2f}\n" for i, f in enumerate(SWEEP_HZ)
)
LOOSE = "".join(f"{f!r},{80 + ((i * 7) % 11) / 7!r}\n" for i, f in enumerate(SWEEP_HZ))


@pytest.mark.parametrize("content", [FIXED, LOOSE, "Hz,dB,deg\n" + FIXED], ids=["fixed", "loose", "header"])
@pytest.mark.parametrize("newline", ["\n", "\r\n"], ids=["LF", "CRLF"])
def test_a_file_cut_anywhere_is_never_read_silently(content, newline, response_file, session):
    whole = content.replace("\n", newline).encode()
    outcomes = set()
    for cut in range(len(whole) // 2, len(whole)):
        files = [response_file(whole, "whole.csv"), response_file(whole[:cut], "cut.csv")]
        intact, reading = ResponseTable().read(files, session)
        assert intact.problem is None
        assert intact.caveats == ()
        complete_rows = whole[:cut].rstrip(b"\r\n") == whole.rstrip(b"\r\n")
        at_row_end = whole[:cut].endswith((b"\n", b"\r"))
        if reading.problem is not None:
            assert not at_row_end
            assert "cut" in reading.problem.what
            outcomes.add("problem")
        elif complete_rows:
            outcomes.add("complete")
        else:
            assert any("may be cut" in caveat for caveat in reading.caveats), whole[:cut][-20:]
            outcomes.add("caveat")
    assert outcomes == {"problem", "complete", "caveat"}


def test_files_of_another_entry_are_no_siblings(response_file, session):
    half = "".join(FIXED.splitlines(keepends=True)[:8])
    files = [response_file(FIXED, "whole.csv", entry=0), response_file(half, "half.csv", entry=1)]
    _, reading = ResponseTable().read(files, session)
    assert reading.problem is None
    assert reading.caveats == ()


def test_a_shorter_grid_that_begins_otherwise_is_no_cut(response_file, session):
    other = "".join(f"{f + 1:.2f},80.000,0.00\n" for f in SWEEP_HZ[:8])
    _, reading = ResponseTable().read([response_file(FIXED, "whole.csv"), response_file(other, "other.csv")], session)
    assert reading.caveats == ()
