"""Each rule of an importer is broken by a saboteur made for it, and by that one only."""

from __future__ import annotations

from pathlib import Path

import pytest
from conformance.saboteurs.importers import SABOTEURS, OtherLog, SoundLog, write_samples

from fairhearing.api import MeasurementFile, Recognition, ScoreFile, SourceFile
from fairhearing.conformance import ImporterSample, Outcome, importer_cases
from fairhearing.conformance.importer import RULES
from fairhearing.conformance.kit import report

NAMES = [rule.name for rule in RULES]
IDS = [kind.__name__ for kind, _ in SABOTEURS]


@pytest.fixture(scope="module")
def outcomes(tmp_path_factory: pytest.TempPathFactory) -> dict[str, dict[str, Outcome]]:
    """The outcome of every rule for the sound importer and every saboteur."""
    folder = tmp_path_factory.mktemp("samples")
    samples, others = write_samples(folder), (OtherLog(folder),)
    found = {}
    for kind in (SoundLog, *(kind for kind, _ in SABOTEURS)):
        ran = report(kind.__name__, importer_cases(kind(), samples=samples, others=others))
        found[kind.__name__] = {outcome.rule: outcome for outcome in ran.outcomes}
    return found


def test_the_importer_that_they_are_made_from_keeps_every_rule(outcomes: dict[str, dict[str, Outcome]]) -> None:
    assert {name: outcome.state for name, outcome in outcomes["SoundLog"].items()} == dict.fromkeys(NAMES, "kept")


@pytest.mark.parametrize(("kind", "rule"), SABOTEURS, ids=IDS)
def test_a_saboteur_breaks_its_rule_and_no_other(
    kind: type, rule: str, outcomes: dict[str, dict[str, Outcome]]
) -> None:
    broken = {name: outcome.why for name, outcome in outcomes[kind.__name__].items() if outcome.state == "broken"}
    assert list(broken) == [rule], broken
    assert broken[rule].strip()


def test_every_rule_has_a_saboteur_and_the_table_shows_it(
    outcomes: dict[str, dict[str, Outcome]], capsys: pytest.CaptureFixture[str]
) -> None:
    assert {rule for _, rule in SABOTEURS} == set(NAMES)
    width = max(map(len, IDS))
    marks = {"kept": ".", "skipped": "-", "broken": "X", "waived": "w"}
    with capsys.disabled():
        print("\nX broken   . kept   - nothing to look at")
        for index, name in enumerate(NAMES):
            print(f"{'':{width}}  {'| ' * index}{name}")
        for kind, rule in SABOTEURS:
            of = outcomes[kind.__name__]
            print(f"{kind.__name__:{width}}  {' '.join(marks[of[name].state] for name in NAMES)}  {of[rule].why[:90]}")


class Greedy(SoundLog):
    name = "greedy"

    def recognise(self, file: SourceFile) -> Recognition:
        return Recognition(claims=True, why="anything")


def test_another_importer_that_claims_the_samples_is_named(tmp_path: Path) -> None:
    (case,) = (
        case
        for case in importer_cases(SoundLog(), samples=write_samples(tmp_path), others=(Greedy(),))
        if case.rule.name == "claims-nobody-elses"
    )
    assert case.outcome().state == "broken"
    assert case.outcome().why == "greedy claims steep.log, a sample of made-up-log: anything"


def test_an_importer_without_samples_or_with_a_missing_one_is_an_error(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="at least one sample"):
        importer_cases(SoundLog(), samples=[])
    with pytest.raises(ValueError, match=r"no such sample file: .*gone\.log"):
        importer_cases(SoundLog(), samples=[tmp_path / "gone.log"])


class Sheets(SoundLog):
    kinds = frozenset({"scores"})


def test_a_sheet_says_its_method_by_its_name_or_by_its_item(tmp_path: Path) -> None:
    for name in ("odd.csv", "abx-1.csv"):
        (tmp_path / name).write_text("x", encoding="utf-8")
    with pytest.raises(ValueError, match="say of which method it is"):
        importer_cases(Sheets(), samples=[tmp_path / "odd.csv"])
    item = ScoreFile(path="a", line=3, entry=0, method="grading", scale="quality")
    said = ImporterSample(tmp_path / "odd.csv", item=item)
    assert len(importer_cases(Sheets(), samples=[said, tmp_path / "abx-1.csv"])) == len(NAMES)


def test_what_session_toml_says_of_a_sample_reaches_the_importer(tmp_path: Path) -> None:
    seen = []

    class Curious(SoundLog):
        def recognise(self, file: SourceFile) -> Recognition:
            seen.append(file.item)
            return super().recognise(file)

    samples = write_samples(tmp_path)
    item = MeasurementFile(path="a", line=7, entry=2, kind="response", seat="B", condition="out", channel="left")
    told = ImporterSample(samples[0].path, item=item)
    importer_cases(Curious(), samples=[told], others=())[0].outcome()
    assert {(one.seat, one.condition, one.channel, one.path) for one in seen} == {("B", "out", "left", "steep.log")}
