"""`fairhearing plugins --test`: an installed plug-in by its name, on the samples that it brings along."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest
from conformance.saboteurs.analysers import TwentyForTen
from conformance.saboteurs.importers import ATouchTooLoud, SoundLog, write_samples
from conformance.saboteurs.reporters import LosesTheSign, SoundPage

from fairhearing.cli import main
from fairhearing.conformance.by_name import check_by_name, write_golden_by_name
from fairhearing.conformance.worlds import worlds
from fairhearing.errors import InputProblem
from fairhearing.registry import BrokenPlugin, PluginList, Plugins


@pytest.fixture
def install(monkeypatch: pytest.MonkeyPatch):
    """Puts plug-ins in the place of the installed ones."""

    def installed(
        importers: Sequence[object] = (), analysers: Sequence[object] = (), reporters: Sequence[object] = ()
    ) -> None:
        broken = BrokenPlugin(entry_point="odd", distribution="odd-plug-in", reason="no hook", try_="update it")
        plugins = Plugins(
            importers=tuple(importers),
            analysers=tuple(analysers),
            reporters=tuple(reporters),
            notes=PluginList(broken=(broken,)),
        )
        for module in ("conformance.by_name", "registry"):
            monkeypatch.setattr(f"fairhearing.{module}.load_plugins", lambda: plugins)

    return installed


@pytest.fixture
def sound_log(tmp_path: Path) -> SoundLog:
    log = SoundLog()
    log.samples = [sample.path for sample in write_samples(tmp_path)]
    return log


def test_an_importer_is_tested_on_its_samples(install, sound_log: SoundLog) -> None:
    install(importers=[sound_log])
    (report,) = check_by_name("made-up-log")
    assert list(report.lines()) == [
        "skipped must   claims-nobody-elses: no other installed importer reads files of its kinds",
        "importer made-up-log: 14 rules ran: 13 kept, 0 waived, 1 skipped, 0 broken",
    ]


def test_all_plug_ins_of_one_name_are_tested(install) -> None:
    page = SoundPage()
    page.name = TwentyForTen.name
    install(analysers=[TwentyForTen()], reporters=[page])
    assert [(report.plugin, report.passed) for report in check_by_name(page.name)] == [
        (f"analyser {page.name}", False),
        (f"reporter {page.name}", True),
    ]


def test_an_analyser_brings_its_own_samples_or_is_tested_on_those_of_the_kit(install) -> None:
    analyser = TwentyForTen()
    analyser.samples = [replace(worlds()[0], takes=())]
    install(analysers=[analyser])
    with pytest.raises(InputProblem, match="no sample meets the needs"):
        check_by_name(analyser.name)


def test_the_command_ends_with_0_if_all_is_kept_and_3_if_a_rule_is_broken(
    install, capsys: pytest.CaptureFixture[str]
) -> None:
    install(reporters=[SoundPage()])
    assert main(["plugins", "--test", "made-up-page"]) == 0
    assert capsys.readouterr().out == "reporter made-up-page: 9 rules ran: 9 kept, 0 waived, 0 skipped, 0 broken\n"
    install(reporters=[LosesTheSign()])
    assert main(["plugins", "--test", "made-up-page"]) == 3
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith("broken  must   every-claim-appears: target_deviation_change: its value -2.86")
    assert lines[1].endswith("8 kept, 0 waived, 0 skipped, 1 broken")


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("made-up-pgae", ["there is no plug-in 'made-up-pgae'", "did you mean 'made-up-page'?"]),
        ("odd", ["the plug-in 'odd' does not load: no hook", "odd-plug-in", "update it"]),
    ],
)
def test_an_unknown_name_ends_with_2_in_three_lines(
    name: str, told: list[str], install, capsys: pytest.CaptureFixture[str]
) -> None:
    install(reporters=[SoundPage()])
    assert main(["plugins", "--test", name]) == 2
    printed = capsys.readouterr()
    assert printed.out == ""
    assert len(printed.err.splitlines()) == 3
    assert all(part in printed.err for part in told)


def test_an_importer_without_samples_ends_with_2(install, capsys: pytest.CaptureFixture[str]) -> None:
    install(importers=[SoundLog()])
    assert main(["plugins", "--test", "made-up-log"]) == 2
    assert capsys.readouterr().err.splitlines()[:2] == [
        "the importer 'made-up-log' brings no samples, and the kit cannot make files for it",
        "  where: the attribute samples of SoundLog",
    ]


def test_samples_that_are_missing_end_with_2(install, tmp_path: Path) -> None:
    log = SoundLog()
    log.samples = [tmp_path / "gone.log"]
    install(importers=[log])
    with pytest.raises(InputProblem, match=r"the samples of 'made-up-log' are not usable: no such sample file"):
        check_by_name("made-up-log")


def test_golden_files_are_written_on_request_with_their_diffs(
    install, sound_log: SoundLog, capsys: pytest.CaptureFixture[str]
) -> None:
    loud = ATouchTooLoud()
    loud.samples = sound_log.samples
    install(importers=[loud])
    assert main(["plugins", "--test", "made-up-log"]) == 3
    assert "broken  should golden" in capsys.readouterr().out
    assert main(["plugins", "--test", "made-up-log", "--write-golden"]) == 0
    printed = capsys.readouterr().out
    assert "--- steep.log.golden.json before\n" in printed
    assert "-  [20.000000, 80.000000],\n+  [20.400000, 80.001000]" not in printed
    assert "-  [20.000000, 80.000000],\n" in printed
    assert "+  [20.000000, 80.001000],\n" in printed
    assert write_golden_by_name("made-up-log") == ()


def test_only_importers_have_golden_files(install) -> None:
    install(reporters=[SoundPage()])
    with pytest.raises(InputProblem, match="'made-up-page' is no importer"):
        write_golden_by_name("made-up-page")


def test_a_sample_that_is_not_read_has_no_golden_file(install, sound_log: SoundLog) -> None:
    sound_log.samples[0].write_text("made-up log\nno;row\n", encoding="utf-8")
    install(importers=[sound_log])
    with pytest.raises(InputProblem, match=r"no golden file is written: .*is no row") as caught:
        write_golden_by_name("made-up-log")
    assert caught.value.where == str(sound_log.samples[0])
