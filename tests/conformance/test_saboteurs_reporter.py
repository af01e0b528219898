"""Each rule of a reporter is broken by a saboteur made for it, and by that one only."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from conformance.saboteurs.reporters import SABOTEURS, SoundPage

from fairhearing.api import OutputFile, ReportInputs
from fairhearing.conformance import Outcome, reporter_cases
from fairhearing.conformance.kit import report
from fairhearing.conformance.report_reading import has_word, loads, states, words_of
from fairhearing.conformance.reporter import RULES

NAMES = [rule.name for rule in RULES]
IDS = [kind.__name__ for kind, _ in SABOTEURS]
_found: dict[type, dict[str, Outcome]] = {}


def outcomes(kind: type) -> dict[str, Outcome]:
    if kind not in _found:
        _found[kind] = {outcome.rule: outcome for outcome in report(kind.__name__, reporter_cases(kind())).outcomes}
    return _found[kind]


def test_the_reporter_that_they_are_made_from_keeps_every_rule() -> None:
    assert {name: outcome.state for name, outcome in outcomes(SoundPage).items()} == dict.fromkeys(NAMES, "kept")


@pytest.mark.parametrize(("kind", "rule"), SABOTEURS, ids=IDS)
def test_a_saboteur_breaks_its_rule_and_no_other(kind: type, rule: str) -> None:
    broken = {name: outcome.why for name, outcome in outcomes(kind).items() if outcome.state == "broken"}
    assert list(broken) == [rule], broken
    assert broken[rule].strip()


def test_every_rule_has_a_saboteur_and_the_table_shows_it(capsys: pytest.CaptureFixture[str]) -> None:
    assert {rule for _, rule in SABOTEURS} == set(NAMES)
    width = max(map(len, IDS))
    marks = {"kept": ".", "skipped": "-", "broken": "X", "waived": "w"}
    with capsys.disabled():
        print("\nX broken   . kept   - nothing to look at")
        for index, name in enumerate(NAMES):
            print(f"{'':{width}}  {'| ' * index}{name}")
        for kind, rule in SABOTEURS:
            of = outcomes(kind)
            print(f"{kind.__name__:{width}}  {' '.join(marks[of[name].state] for name in NAMES)}  {of[rule].why[:90]}")


class Pictures:
    """Writes nothing that can be read."""

    name = "pictures"
    version = "1"

    def render(self, inputs: ReportInputs) -> Iterator[OutputFile]:
        yield OutputFile(path="a.png", data=b"\x89PNG")


def test_what_a_reporter_does_not_write_is_skipped_and_never_counted_as_kept() -> None:
    states_of = {name: outcome.state for name, outcome in outcomes(Pictures).items()}
    skipped = {"every-claim-appears", "axes-carry-units", "gaps-stay-gaps", "hostile-text-escaped"}
    assert {name for name, state in states_of.items() if state == "skipped"} == skipped
    assert {state for name, state in states_of.items() if name not in skipped} == {"kept"}


@pytest.mark.parametrize(
    ("text", "value", "expected"),
    [
        ("the corner is 88.5 Hz", 88.47, True),
        ("the corner is 88.4 Hz", 88.47, False),
        ("88.4711", 88.4711, True),
        ("88.48", 88.4711, False),
        ("65 %", 0.65, True),
        ("65 %", 0.648, False),
        ("64.8 %", 0.648, True),
        ("46.8 kΩ", 46_830.0, True),
        ("46,830", 46_830.0, True),
        ("4.683e+04", 46_830.0, True),
        ("-2,86 dB", -2.86, True),
        ("2.86 dB", -2.86, False),
        ("84.1-92.9 Hz", 92.86, True),
        ("1988.5", 88.5, False),
        ("0", 0.37, False),
    ],
)
def test_a_text_states_a_value_that_it_rounds_rightly_to_three_digits(text: str, value: float, expected: bool) -> None:
    assert states(text, value) is expected


def test_a_unit_is_a_word_of_its_own() -> None:
    assert has_word("88 Hz,", "Hz")
    assert has_word("5dB", "dB")
    assert not has_word("88 kHz", "Hz")


def page(body: str, path: str = "a.html") -> OutputFile:
    return OutputFile(path=path, data=body.encode())


@pytest.mark.parametrize(
    ("file", "n_loaded"),
    [
        (page("<a href='https://a.invalid'>read on</a>"), 0),
        (page("<img src='data:image/png;base64,'><script src='page.js'></script>"), 0),
        (page("<p>src=https://a.invalid fetch(</p>"), 0),
        (page("<script>fetch(x)</script>"), 1),
        (
            page("<meta http-equiv='Content-Security-Policy' content=\"default-src 'none'\"><script>fetch(x)</script>"),
            0,
        ),
        (page("<meta http-equiv='Content-Security-Policy' content=\"connect-src *\"><script>fetch(x)</script>"), 1),
        (page("<svg><image xlink:href='http://a.invalid/a.png'/></svg>", "a.svg"), 1),
        (page("<svg xmlns='http://www.w3.org/2000/svg'><use href='#a'/></svg>", "a.svg"), 0),
        (page("![a](https://a.invalid/a.png)", "a.md"), 1),
        (page("[a](https://a.invalid/)", "a.md"), 0),
        (page("p { background: url('//a.invalid/a.png') }", "a.css"), 1),
        (page("p { background: url('a.png') }", "a.css"), 0),
        (page("<meta http-equiv='refresh' content='1; url=https://a.invalid'>"), 1),
    ],
)
def test_what_a_browser_would_load_is_found_and_nothing_else(file: OutputFile, n_loaded: int) -> None:
    assert len(list(loads(file))) == n_loaded


def test_scripts_and_styles_are_no_words_of_a_page() -> None:
    assert words_of(page("<p>one</p><script>two</script><style>three</style>")) == "one"
    assert words_of(page('{"a": [1.5, null, "b"]}', "a.json")) == "a\n1.5\nb"
    assert words_of(page('a,"b ""c"""\n', "a.csv")) == 'a\nb "c"'
    assert words_of(OutputFile(path="a.png", data=b"\x89PNG")) is None
