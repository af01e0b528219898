"""One pass over each recording for all summaries that anybody needs, kept by content; what fails costs only itself."""

from __future__ import annotations

import hashlib
import os
import threading
from contextlib import AbstractContextManager
from pathlib import Path

import numpy as np
import pytest
import soundfile
from bad_input.console import contents_of
from recorded_session import RATE_HZ, SESSION_ID, Breaks, Counting, Crossings, plugins, sound, values, write_session

from fairhearing import recordings, run
from fairhearing.acoustics.loudness import KWeightedEnergy
from fairhearing.acoustics.low_spectrum import LowSpectrum
from fairhearing.acoustics.summaries import BlockLevels, PowerSpectrum
from fairhearing.acoustics.true_peak import TruePeak
from fairhearing.audio import AudioFormat, summary_key
from fairhearing.contracts import Analyser, Inputs, Needs
from fairhearing.decoding import Samples, open_samples
from fairhearing.errors import ImportProblem
from fairhearing.progress import Silent
from fairhearing.recordings import _checked_arrays, blocks, read_once
from fairhearing.registry import _check
from fairhearing.result import Finding, Result
from fairhearing.run import RunOutcome
from fairhearing.store import open_store
from fairhearing.store.read import read_results, read_session
from fairhearing_builtins.analysers.recording_levels import RecordingLevels


class Bench:
    """A store, a session folder, chosen analysers, and a count of the files that were opened as sound."""

    def __init__(self, place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        self.store = place / "s.duckdb"
        self.folder = place / "chapel"
        self.opened: list[str] = []
        self._patch = monkeypatch

        def counted(location: Path, format: AudioFormat, first_frame: int = 0) -> AbstractContextManager[Samples]:
            self.opened.append(location.name)
            return open_samples(location, format, first_frame)

        monkeypatch.setattr(recordings, "open_samples", counted)

    def use(self, *analysers: Analyser) -> None:
        self._patch.setattr(run, "load_plugins", lambda: plugins(*analysers))

    def import_(self, folder: Path | None = None) -> RunOutcome:
        return run.import_sessions([folder or self.folder], self.store, False, Silent())

    def analyse(self, *analysers: Analyser) -> RunOutcome:
        self.use(*analysers)
        self.opened.clear()
        return run.analyse_store(self.store, Silent())

    def results(self) -> dict[str, Result]:
        with open_store(self.store, create=False) as store:
            stored = read_session(store, SESSION_ID)
            found = read_results(store, SESSION_ID, stored.revision)
        return {result.analyser: result.result for result in found.values()}

    def modified(self) -> set[int]:
        with open_store(self.store, create=False) as store:
            stored = read_session(store, SESSION_ID)
        return {source.file.modified_ns for source in stored.recordings}

    def findings(self, analyser: str = "recording-levels") -> tuple[Finding, ...]:
        return self.results()[analyser].findings


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Bench:
    made = Bench(tmp_path, monkeypatch)
    made.use()
    write_session(made.folder)
    assert made.import_().lines == (f"{SESSION_ID}: revision 1, 2 measurements, 0 trials",)
    return made


def sha256(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def test_all_summaries_of_all_analysers_come_from_one_read_of_each_file(bench: Bench) -> None:
    outcome = bench.analyse(RecordingLevels(), Counting(Crossings()), Counting(Crossings(level=0.2), "louder"))
    assert (outcome.exit_code, outcome.notes) == (0, ())
    assert sorted(bench.opened) == ["organ_in.wav", "organ_out.wav"]
    samples = {condition: sound(seed) for seed, condition in enumerate(("out", "in"))}
    for level, name in ((0.0, "counting"), (0.2, "louder")):
        expected = {}
        for condition, x in samples.items():
            above = np.vstack([np.full((1, 2), False), np.round(x * 2**23) / 2**23 > level])
            expected["organ", condition] = float((above[1:] & ~above[:-1]).sum())
        assert values(bench.findings(name), f"{name}_count") == expected


def test_what_is_kept_is_not_read_again(bench: Bench) -> None:
    bench.analyse()
    first = bench.results()
    bench.analyse()
    assert bench.opened == []
    assert bench.results() == first
    (bench.folder / "takes").rename(bench.folder / "away")
    assert bench.analyse().notes == ()
    assert bench.results() == first


def test_another_parameter_is_another_summary_and_reads_each_file_once(bench: Bench) -> None:
    bench.analyse(Counting(Crossings(level=0.2)))
    bench.analyse(Counting(Crossings(level=0.2)), Counting(Crossings(level=0.1), "softer"))
    assert len(bench.opened) == 2
    rows = contents_of(bench.store)["summaries"]
    assert {row[1:5] for row in rows} == {
        ("crossings", "3", f'{{"level":{level}}}', "count") for level in ("0.1", "0.2")
    }
    assert {row[0] for row in rows} == {sha256(path) for path in (bench.folder / "takes").iterdir()}


def test_summaries_come_back_from_the_store_bit_by_bit(bench: Bench) -> None:
    seen: list[dict[str, dict[str, np.ndarray]]] = []

    class Looking(RecordingLevels):
        needs = Needs(kinds=frozenset({"recording"}), summaries=(BlockLevels(), PowerSpectrum()))

        def analyse(self, inputs: Inputs) -> Result:
            seen.append({r.path: dict(r.summary(PowerSpectrum())) for r in inputs.recordings})
            kept = [array for r in inputs.recordings for array in r.summary(BlockLevels()).values()]
            assert not any(array.flags.writeable for array in kept)
            with pytest.raises(KeyError):
                inputs.recordings[0].summary(BlockLevels(block_s=9.0))
            return super().analyse(inputs)

    bench.analyse(Looking())
    format = AudioFormat(rate_hz=RATE_HZ, n_channels=2, n_frames=20_000, subtype="PCM_24")
    summary = PowerSpectrum()
    assert len(seen[0]) == 2
    for path, arrays in seen[0].items():
        made = read_once(bench.folder / path, path, format, {summary_key(summary): summary})[summary_key(summary)]
        assert isinstance(made, dict)
        assert set(made) == set(arrays)
        for name, expected in made.items():
            np.testing.assert_array_equal(arrays[name], expected)


def test_the_same_bytes_under_two_names_are_read_once(bench: Bench) -> None:
    (bench.folder / "takes" / "organ_in.wav").write_bytes((bench.folder / "takes" / "organ_out.wav").read_bytes())
    bench.import_()
    bench.analyse(Counting(Crossings()))
    assert len(bench.opened) == 1
    first, second = bench.findings("counting")
    assert first.value == second.value


def test_a_moved_folder_changes_only_the_path_and_reads_no_file_again(bench: Bench) -> None:
    bench.analyse()
    before, findings = contents_of(bench.store), bench.findings()
    moved = bench.folder.rename(bench.folder.parent / "elsewhere")
    bench.import_(moved)
    after = contents_of(bench.store)
    assert [str(row).replace(str(moved), str(bench.folder)) for row in after.pop("sessions")] == list(
        map(str, before.pop("sessions"))
    )
    assert after == before
    bench.analyse()
    assert bench.opened == []
    assert bench.findings() == findings
    bench.analyse(Counting(Crossings()))
    assert len(bench.opened) == 2


def test_a_copied_folder_with_other_times_is_known_by_its_hashes(bench: Bench) -> None:
    bench.analyse()
    for path in (bench.folder / "takes").iterdir():
        os.utime(path, ns=(1, 1))
    assert bench.import_().lines == (f"{SESSION_ID}: revision 1, 2 measurements, 0 trials",)
    assert bench.modified() == {1}


def test_a_missing_file_keeps_its_findings_and_only_what_must_read_it_is_refused(bench: Bench) -> None:
    bench.analyse(RecordingLevels())
    findings = bench.findings()
    gone = bench.folder / "takes" / "organ_in.wav"
    digest = sha256(gone)
    gone.unlink()
    outcome = bench.analyse(RecordingLevels(), Counting(Crossings()))
    assert outcome.exit_code == 3
    (note,) = outcome.notes
    assert note.splitlines()[0] == (
        f"the recording with sha256 {digest} must be read again and cannot be: No such file or directory"
    )
    assert note.splitlines()[1] == f"  where: {gone.as_posix()}"
    assert bench.opened == ["organ_out.wav"]
    assert bench.findings() == findings
    counting = bench.results()["counting"]
    assert list(values(counting.findings, "counting_count")) == [("organ", "out")]
    (refusal,) = counting.refusals
    assert refusal.what == "no findings of counting from takes/organ_in.wav"
    assert digest in refusal.why
    assert str(bench.folder) not in refusal.what + refusal.why + refusal.try_
    soundfile.write(gone, sound(1), RATE_HZ, subtype="PCM_24")
    assert bench.analyse(RecordingLevels(), Counting(Crossings())).notes == ()
    assert bench.results()["counting"].refusals == ()
    assert len(bench.findings("counting")) == 2


def test_where_every_file_is_missing_the_reason_is_that_and_not_that_nothing_was_recorded(bench: Bench) -> None:
    (bench.folder / "takes").rename(bench.folder / "away")
    bench.analyse()
    result = bench.results()["recording-levels"]
    assert result.findings == ()
    assert len(result.refusals) == 2
    assert all("must be read again" in refusal.why for refusal in result.refusals)


def test_a_changed_file_is_not_taken_for_the_one_that_was_imported(bench: Bench) -> None:
    path = bench.folder / "takes" / "organ_out.wav"
    digest = sha256(path)
    data = bytearray(path.read_bytes())
    data[-1] ^= 1
    path.write_bytes(data)
    os.utime(path, ns=(1, 1))
    outcome = bench.analyse(Counting(Crossings()))
    assert outcome.exit_code == 3
    assert "is another file now" in outcome.notes[0]
    assert digest in outcome.notes[0]
    assert bench.opened == ["organ_in.wav"]
    path.write_bytes(data[:-2])
    assert f"{len(data) - 2} bytes, not the {len(data)}" in bench.analyse(Counting(Crossings())).notes[0]


def test_a_file_with_another_time_and_the_same_bytes_is_read_and_its_time_noted(bench: Bench) -> None:
    for path in (bench.folder / "takes").iterdir():
        os.utime(path, ns=(5, 5))
    assert bench.analyse().notes == ()
    assert len(bench.findings()) == 6
    assert bench.modified() == {5}


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf])
def test_a_sample_that_is_no_number_is_an_error_of_that_recording_with_frame_and_time(
    value: float, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench = Bench(tmp_path, monkeypatch)
    bench.use()
    write_session(bench.folder, subtype="FLOAT")
    samples = sound(3)
    samples[12_345, 1] = value
    soundfile.write(bench.folder / "takes" / "organ_in.wav", samples, RATE_HZ, subtype="FLOAT")
    bench.import_()
    outcome = bench.analyse()
    assert outcome.exit_code == 3
    (note,) = outcome.notes
    assert note.startswith(f"the sample of channel 2 in frame 12345 (1.543 s) is {value}, not a finite number\n")
    assert "organ_in.wav" in note
    assert set(values(bench.findings(), "recording_level")) == {("organ", "out")}
    assert {row[0] for row in contents_of(bench.store)["summaries"]} == {
        sha256(bench.folder / "takes" / "organ_out.wav")
    }


def test_large_finite_samples_whose_sum_is_none_are_no_error(tmp_path: Path) -> None:
    path = tmp_path / "large.wav"
    soundfile.write(path, np.full((10, 1), 1.7e308), RATE_HZ, subtype="DOUBLE")
    format = AudioFormat(rate_hz=RATE_HZ, n_channels=1, n_frames=10, subtype="DOUBLE")
    (block,) = blocks(path, "large.wav", format)
    assert (block == 1.7e308).all()


def test_a_flac_file_that_ends_early_is_found_in_the_pass(tmp_path: Path) -> None:
    path = tmp_path / "cut.flac"
    soundfile.write(path, sound(1, 80_000), RATE_HZ)
    path.write_bytes(path.read_bytes()[:200_000])
    format = AudioFormat(rate_hz=RATE_HZ, n_channels=2, n_frames=80_000, subtype="PCM_16")
    with pytest.raises(
        ImportProblem, match=r"ends at or after frame \d+ \(\d+\.\d{3} s\) of 80000 \(10\.000 s\)"
    ) as told:
        read_once(path, "cut.flac", format, {"levels": BlockLevels()})
    assert told.value.where == "cut.flac"


def test_a_summary_that_raises_costs_itself_only_and_is_named(bench: Bench) -> None:
    outcome = bench.analyse(RecordingLevels(), Counting(Breaks(), "broken"), Counting(Crossings()))
    assert outcome.exit_code == 0
    assert len(outcome.notes) == 2
    assert all("plug-in breaks 1 failed: ZeroDivisionError: nothing to divide by" in note for note in outcome.notes)
    assert sorted(bench.opened) == ["organ_in.wav", "organ_out.wav"]
    results = bench.results()
    assert (len(results["recording-levels"].findings), len(results["counting"].findings)) == (6, 2)
    assert results["broken"].findings == ()
    assert len(results["broken"].refusals) == 2
    assert {row[1] for row in contents_of(bench.store)["summaries"]} == {"block-levels", "crossings"}


def test_what_a_summary_must_not_return_is_its_failure() -> None:
    class Made:
        def __init__(self, what: object) -> None:
            self.what = what

        def update(self, block: object) -> None: ...

        def result(self) -> object:
            return self.what

    for returned, told in (({}, "no array"), ({"a": np.zeros(1, complex)}, "real numbers"), ({1: np.zeros(1)}, "1")):
        with pytest.raises((TypeError, ValueError), match=told):
            _checked_arrays(Made(returned))


def test_blocks_are_read_only_in_few_buffers_and_hold_every_frame(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    samples = np.round(sound(4, 50_001) * 2**15) / 2**15
    soundfile.write(path, samples, RATE_HZ, subtype="PCM_16")
    format = AudioFormat(rate_hz=RATE_HZ, n_channels=2, n_frames=50_001, subtype="PCM_16")
    found, places = [], set()
    for block in blocks(path, "a.wav", format):
        assert not block.flags.writeable
        places.add(block.__array_interface__["data"][0])
        found.append(block.copy())
    assert [len(block) for block in found] == [16_000] * 3 + [2001]  # of two seconds
    assert len(places) == 1
    np.testing.assert_array_equal(np.concatenate(found), samples)
    later = [block.copy() for block in blocks(path, "a.wav", format, 16_001)]
    np.testing.assert_array_equal(np.concatenate(later), samples[16_001:])


@pytest.mark.parametrize("form", ["WAV", "FLAC"])
def test_two_threads_side_by_side_make_of_a_long_recording_what_one_makes(
    form: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "long"
    soundfile.write(path, sound(5, 20 * RATE_HZ + 77), RATE_HZ, subtype="PCM_24", format=form)
    format = AudioFormat(rate_hz=RATE_HZ, n_channels=2, n_frames=20 * RATE_HZ + 77, subtype="PCM_24")
    summaries = {summary_key(one): one for one in (BlockLevels(), KWeightedEnergy(), LowSpectrum(), TruePeak())}
    threads = set()
    update = recordings._update

    def watched(running: object, stream: object) -> None:
        threads.add(threading.get_ident())
        update(running, stream)  # type: ignore[arg-type]

    monkeypatch.setattr(recordings, "_update", watched)
    beside = read_once(path, "long", format, summaries)
    assert len(threads) == (2 if form == "WAV" else 1)
    monkeypatch.setattr(recordings, "begins_anywhere", lambda *_: False)
    alone = read_once(path, "long", format, summaries)
    assert beside.keys() == alone.keys() == summaries.keys()
    for key in summaries:
        for name in beside[key]:
            np.testing.assert_array_equal(beside[key][name], alone[key][name])


def test_a_fault_in_either_thread_is_the_fault_of_the_recording(tmp_path: Path) -> None:
    path = tmp_path / "long.wav"
    soundfile.write(path, sound(5, 20 * RATE_HZ), RATE_HZ, subtype="PCM_24")
    format = AudioFormat(rate_hz=RATE_HZ, n_channels=2, n_frames=20 * RATE_HZ, subtype="PCM_24")
    summaries = {summary_key(one): one for one in (BlockLevels(), TruePeak())}

    class Shrinks:
        name, version = "shrinks", "1"

        def start(self, format: AudioFormat) -> Shrinks:
            self.n = 0
            return self

        def update(self, block: object) -> None:
            self.n += 1
            if self.n == 4:
                with path.open("r+b") as file:
                    file.truncate(44 + 6 * 10 * RATE_HZ)

        def result(self) -> dict[str, np.ndarray]:
            return {"n": np.array([self.n])}

    with pytest.raises(ImportProblem, match="ends at or after frame"):
        read_once(path, "long.wav", format, {**summaries, "shrinks": Shrinks()})  # type: ignore[dict-item]


def test_one_and_one_point_nothing_are_one_parameter() -> None:
    assert summary_key(Crossings(level=1)) == summary_key(Crossings(level=1.0)) == 'crossings 3 {"level":1}'
    assert summary_key(Crossings(level=0.5)) != summary_key(Crossings(level=0.25))


def test_an_analyser_whose_needs_hold_no_summary_does_not_load() -> None:
    analyser = Counting(Crossings())
    _check(analyser, "analyser", Analyser)
    for wrong, told in ((Crossings, "no Summary"), ("levels", "no Summary"), (Crossings(level=[1]), "parameter level")):
        analyser.needs = Needs(kinds=frozenset({"recording"}), summaries=(wrong,))
        with pytest.raises(TypeError, match=told):
            _check(analyser, "analyser", Analyser)
