"""What is written comes back: revisions, moved folders, missing values, text; one import stands whole or not at all."""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from bad_input.console import contents_of
from bad_input.sound_session import SESSION_ID, response, sound_files, write_session

from fairhearing import run
from fairhearing.importing import read_session as read_folder
from fairhearing.progress import Silent
from fairhearing.registry import load_plugins
from fairhearing.store import Store, open_store
from fairhearing.store.read import read_session, session_ids
from fairhearing.store.write import write_session as write_content


def import_(store: Path, *folders: Path) -> tuple[str, ...]:
    outcome = run.import_sessions(folders, store, False, Silent())
    assert (outcome.exit_code, outcome.notes) == (0, ())
    return outcome.lines


@pytest.fixture
def place(tmp_path: Path) -> Path:
    return tmp_path / "s.duckdb"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return write_session(tmp_path / "sound", sound_files())


def test_the_same_bytes_again_change_nothing(place: Path, folder: Path) -> None:
    first = import_(place, folder)
    before = contents_of(place)
    assert import_(place, folder) == first == (f"{SESSION_ID}: revision 1, 12 measurements, 16 trials",)
    assert contents_of(place) == before
    assert {name: len(rows) for name, rows in before.items()} == {
        "grids": 1,
        "harmonics": 0,
        "measurements": 12,
        "meta": 1,
        "recordings": 0,
        "results": 0,
        "sessions": 1,
        "sheets": 1,
        "sources": 13,
        "summaries": 0,
        "trials": 16,
    }


@pytest.mark.parametrize("path", ["responses/bench_in_2.csv", "scores/abx.csv", "session.toml"])
def test_a_changed_file_makes_a_new_revision_and_the_old_one_stays(path: str, place: Path, folder: Path) -> None:
    import_(place, folder)
    before = contents_of(place)
    added = {"responses/bench_in_2.csv": "21000.000,75.0000\n", "scores/abx.csv": "L2,9,in,in\n", "session.toml": "#\n"}
    (folder / path).write_bytes((folder / path).read_bytes() + added[path].encode())
    assert import_(place, folder)[0].startswith(f"{SESSION_ID}: revision 2, ")
    after = contents_of(place)
    for name, rows in before.items():
        assert set(map(str, rows)) <= set(map(str, after[name]))
    with open_store(place, create=False) as store:
        assert session_ids(store) == (SESSION_ID,)
        stored = read_session(store, SESSION_ID)
        first = read_session(store, SESSION_ID, revision=1)
    assert (first.revision, len(first.inputs.takes), len(first.inputs.sheets[0].trials)) == (1, 12, 16)
    assert {take.curve.level_db.size for take in first.inputs.takes} == {121}
    assert stored.revision == 2
    n_points = {take.path: take.curve.level_db.size for take in stored.inputs.takes}
    assert n_points["responses/bench_in_2.csv"] == (122 if path.startswith("responses") else 121)
    assert len(stored.inputs.sheets[0].trials) == (17 if path.startswith("scores") else 16)


def test_going_back_to_the_first_bytes_is_a_third_revision(place: Path, folder: Path) -> None:
    import_(place, folder)
    sheet = (folder / "scores/abx.csv").read_bytes()
    (folder / "scores/abx.csv").write_bytes(sheet + b"L2,9,in,in\n")
    import_(place, folder)
    (folder / "scores/abx.csv").write_bytes(sheet)
    assert import_(place, folder) == (f"{SESSION_ID}: revision 3, 12 measurements, 16 trials",)


def test_a_moved_folder_changes_only_the_path(place: Path, folder: Path, tmp_path: Path) -> None:
    import_(place, folder)
    before = contents_of(place)
    moved = folder.rename(tmp_path / "elsewhere")
    import_(place, moved)
    after = contents_of(place)
    assert [str(row).replace(str(moved), str(folder)) for row in after.pop("sessions")] == list(
        map(str, before.pop("sessions"))
    )
    assert after == before
    with open_store(place, create=False) as store:
        assert read_session(store, SESSION_ID).inputs.session.folder == moved


def test_what_was_read_from_the_folder_comes_back_from_the_store(place: Path, folder: Path) -> None:
    import_(place, folder)
    content = read_folder(folder, load_plugins().importers)
    assert content.session is not None
    with open_store(place, create=False) as store:
        stored = read_session(store, SESSION_ID)
    assert stored.inputs.session == content.session
    assert stored.sources == content.sources
    assert len(stored.inputs.takes) == 12
    for ours, theirs in zip(stored.inputs.takes, content.takes, strict=True):
        assert (ours.path, ours.seat, ours.condition, ours.repeat) == (
            theirs.path,
            theirs.seat,
            theirs.condition,
            theirs.repeat,
        )
        np.testing.assert_array_equal(ours.curve.frequency_hz, theirs.curve.frequency_hz)
        np.testing.assert_array_equal(ours.curve.level_db, theirs.curve.level_db)
        assert not ours.curve.level_db.flags.writeable
        assert not ours.curve.frequency_hz.flags.writeable
    pd.testing.assert_frame_equal(stored.inputs.sheets[0].trials, content.sheets[0].trials)


def test_a_take_without_phase_has_none_and_not_zeros(place: Path, folder: Path) -> None:
    with_phase = ["Hz,dB,deg", *(f"{20 * 1.1**step:.3f},80.5,{step - 30}" for step in range(60))]
    (folder / "responses/stool_out_1.csv").write_text("\n".join(with_phase) + "\n")
    import_(place, folder)
    with open_store(place, create=False) as store:
        takes = read_session(store, SESSION_ID).inputs.takes
    phases = {take.path: take.curve.phase_deg for take in takes}
    phase = phases.pop("responses/stool_out_1.csv")
    assert phase is not None
    assert phase.tolist() == [step - 30.0 for step in range(60)]
    assert list(phases.values()) == [None] * 11
    assert {take.channel for take in takes} == {None}


def test_a_null_within_a_curve_is_not_a_number_and_not_zero(place: Path, folder: Path) -> None:
    import_(place, folder)
    with open_store(place, create=False) as store:
        store.connection.execute("UPDATE measurements SET level_db = [1.5, NULL] WHERE ordinal = 3")
        curve = read_session(store, SESSION_ID).inputs.takes[3].curve
    np.testing.assert_array_equal(curve.level_db, [1.5, np.nan])


def test_text_of_a_score_sheet_stays_text_and_an_empty_cell_is_none(place: Path, folder: Path) -> None:
    sheet = "listener,trial,x,answer,note\n007,01,in,in,\n007,02,out,in,3.0\n1e3,1,in,out,NA\n"
    (folder / "scores/abx.csv").write_text(sheet)
    import_(place, folder)
    with open_store(place, create=False) as store:
        trials = read_session(store, SESSION_ID).inputs.sheets[0].trials
    assert trials.to_dict("list") == {
        "listener": ["007", "007", "1e3"],
        "trial": ["01", "02", "1"],
        "x": ["in", "out", "in"],
        "answer": ["in", "in", "out"],
        "note": [None, "3.0", "NA"],
    }


def test_columns_have_the_types_that_a_query_expects(place: Path, folder: Path) -> None:
    import_(place, folder)
    with open_store(place, create=False) as store:
        rows = store.connection.execute(
            "SELECT table_name || '.' || column_name, data_type FROM duckdb_columns() WHERE NOT internal"
        ).fetchall()
    types = dict(rows)
    assert types["measurements.level_db"] == types["measurements.phase_deg"] == "DOUBLE[]"
    assert types["grids.frequency_hz"] == "DOUBLE[]"
    assert types["trials.cells"] == types["sources.caveats"] == "VARCHAR[]"
    assert types["measurements.in_place"] == "BOOLEAN"
    assert types["sessions.revision"] == types["results.revision"] == "INTEGER"
    assert types["sessions.manifest"] == "BLOB"
    assert types["sources.size"] == "BIGINT"
    assert types["recordings.modified_ns"] == types["recordings.n_frames"] == "BIGINT"
    assert (types["summaries.content"], types["summaries.shape"]) == ("DOUBLE[]", "BIGINT[]")
    assert types["trials.listener"] == types["trials.trial"] == "VARCHAR"


def test_two_sessions_stand_both_or_not_at_all(
    place: Path, folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import_(place, folder)
    before = contents_of(place)
    second = write_session(tmp_path / "second", sound_files("second"))
    third = write_session(tmp_path / "third", sound_files("third"))
    written = []

    def fail_at_the_third(store: Store, content: object) -> int:
        revision = write_content(store, content)
        written.append(content.session.id)
        if content.session.id == "third":
            raise RuntimeError("the disk is gone")
        return revision

    monkeypatch.setattr(run, "write_session", fail_at_the_third)
    with pytest.raises(RuntimeError, match="the disk is gone"):
        run.import_sessions([second, third], place, False, Silent())
    assert written == ["second", "third"]
    assert contents_of(place) == before


def test_a_new_store_is_gone_again_when_its_first_import_fails(
    place: Path, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object) -> int:
        raise KeyboardInterrupt

    monkeypatch.setattr(run, "write_session", fail)
    with pytest.raises(KeyboardInterrupt):
        run.import_sessions([folder], place.parent / "new" / "s.duckdb", False, Silent())
    assert not (place.parent / "new").exists()


def test_a_commit_puts_its_rows_in_place_and_leaves_no_log_of_them(place: Path, folder: Path) -> None:
    content = read_folder(folder, load_plugins().importers)
    with open_store(place, create=True) as store:
        empty = place.stat().st_size
        with store.transaction():
            write_content(store, content)
        log = place.with_name(place.name + ".wal")
        assert not log.exists() or not log.stat().st_size
        assert place.stat().st_size > empty


def test_a_rare_channel_among_many_takes_is_kept(place: Path, tmp_path: Path) -> None:
    """A column that is empty nearly everywhere is still text where it is not."""
    files = sound_files()
    rows = files["responses/bench_in_1.csv"].split(b"\n")[:6]
    manifest = files["session.toml"].decode()
    entry = '\n[[measurements]]\nfiles = "one/{seat}_{condition}_{channel}.csv"\n'
    many = {f"responses/bench_in_{n}.csv": b"\n".join([*rows, b"30.0,%d.5" % n, b""]) for n in range(1, 1501)}
    files = {"session.toml": (manifest[: manifest.index("[[scores]]")] + entry).encode(), **many}
    files["one/stool_out_007.csv"] = response("stool", "out", 1)
    import_(place, write_session(tmp_path / "many", files))
    with open_store(place, create=False) as store:
        channels = [take.channel for take in read_session(store, SESSION_ID).inputs.takes]
    assert len(channels) == 1501
    assert [channel for channel in channels if channel is not None] == ["007"]


def test_writing_two_hundred_responses_costs_less_than_reading_them(place: Path, folder: Path, tmp_path: Path) -> None:
    """Limit measured in the same run: a batch into the store against the parsing of the same files."""
    import_(tmp_path / "before.duckdb", folder)  # what is loaded once is loaded then
    files = {k: v for k, v in sound_files().items() if not k.startswith("responses/")}
    for repeat in range(1, 51):
        for seat in ("bench", "stool"):
            for condition in ("out", "in"):
                files[f"responses/{seat}_{condition}_{repeat}.csv"] = response(seat, condition, repeat)
    importers = load_plugins().importers
    started = time.process_time()
    content = read_folder(write_session(tmp_path / "many", files), importers)
    reading_s = time.process_time() - started
    with open_store(place, create=True) as store, store.transaction():
        started = time.process_time()
        assert write_content(store, content) == 1
        writing_s = time.process_time() - started
    assert len(content.takes) == 200
    assert writing_s < reading_s
