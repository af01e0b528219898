"""Tests of fairhearing_builtins.reporters.page: the page as a text."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from dataclasses import replace
from itertools import pairwise
from xml.etree import ElementTree

import pytest

from fairhearing.api import AnalyserResult, ReportInputs, Result
from fairhearing_builtins.reporters import svg, words
from fairhearing_builtins.reporters.page import Page, fairhearing_reporters
from fairhearing_builtins.reporters.svg import script_bundle

from .build_charts import corner_chart
from .build_report import HALL, STUDY, both, hall, measured, study
from .conftest import rendered
from .read_page import Element, loose_digits, read, shown_numbers

HOSTILE = "</script><img src=x onerror=alert(1)>\"'&"


def page_of(inputs: ReportInputs) -> bytes:
    return next(file.data for file in Page().render(inputs) if file.main)


def within(elements: list[Element], identifier: str) -> list[Element]:
    return [
        one
        for one in elements
        if one.attributes.get("id") == identifier or any(a.attributes.get("id") == identifier for a in one.around)
    ]


def as_number(text: str) -> float:
    assert re.fullmatch(r"[+\u2212]?\d+(\.\d+)?", text), text
    return float(text.replace("\u2212", "-"))


def test_the_hook_offers_the_page_and_the_data_files() -> None:
    assert [(one.name, one.version) for one in fairhearing_reporters()] == [("page", "1"), ("data-files", "1")]


def test_the_report_has_its_files_and_one_main_one() -> None:
    files = [file for reporter in fairhearing_reporters() for file in reporter.render(both())]
    assert [file.path for file in files if file.main] == ["report.html"]
    paths = [file.path for file in files]
    assert len(paths) == len(set(paths))
    assert {"report.html", "findings.json", "tables/findings.csv"} <= set(paths)


def test_every_analyser_with_findings_has_a_drawing(both_report: dict[str, bytes]) -> None:
    for result in both().results:
        mine = f"charts/{result.session}_{result.analyser}_"
        assert [path for path in both_report if path.startswith(mine)], mine


def test_drawings_parse_as_xml_and_stand_under_their_names(both_report: dict[str, bytes]) -> None:
    drawings = {path: data for path, data in both_report.items() if path.startswith("charts/")}
    assert f"charts/{HALL}_filter_corner-in.svg" in drawings
    for data in drawings.values():
        assert ElementTree.fromstring(data).tag == "{http://www.w3.org/2000/svg}svg"


def test_every_number_shown_is_in_findings_json_within_its_rounding(both_report: dict[str, bytes]) -> None:
    findings = {one["id"]: one for one in json.loads(both_report["findings.json"])["findings"]}
    shown = shown_numbers(read(both_report["report.html"]))
    assert len(shown) > 300
    for one in shown:
        field = one.attributes["data-field"]
        assert field in {"value", "low", "high", "p_value", "n", "confidence"}
        exact = findings[one.attributes["data-finding"]][field] * float(one.attributes.get("data-scale", "1"))
        decimals = len(one.text.partition(".")[2])
        assert abs(as_number(one.text) - exact) <= 0.5 * 10**-decimals + 1e-9


def test_every_number_of_every_finding_is_shown(both_report: dict[str, bytes]) -> None:
    shown = {
        (one.attributes["data-finding"], one.attributes["data-field"])
        for one in shown_numbers(read(both_report["report.html"]))
    }
    for one in json.loads(both_report["findings.json"])["findings"]:
        for field in ("value", "low", "high", "p_value"):
            assert one[field] is None or (one["id"], field) in shown


@pytest.mark.parametrize("name", ["both_report", "hall_report", "study_report"])
def test_no_number_stands_loose(name: str, request: pytest.FixtureRequest) -> None:
    assert loose_digits(read(request.getfixturevalue(name)["report.html"])) == []


def test_where_nobody_listened_nothing_is_said_of_what_can_be_heard(study_report: dict[str, bytes]) -> None:
    page = study_report["report.html"].decode().lower()
    assert [word for word in words.LISTENING_WORDS if word in page] == []
    drawings = b"".join(data for path, data in study_report.items() if path.endswith(".svg")).decode().lower()
    assert [word for word in words.LISTENING_WORDS if word in drawings] == []


def test_in_a_report_of_both_only_the_section_with_listeners_says_it(both_report: dict[str, bytes]) -> None:
    elements = read(both_report["report.html"])

    def text(identifier: str) -> str:
        return "".join(data for one in within(elements, identifier) for data in one.own).lower()

    assert [word for word in words.LISTENING_WORDS if word in text(f"session-{STUDY}")] == []
    assert {"heard", "preferred"} <= {word for word in words.LISTENING_WORDS if word in text(f"session-{HALL}")}


def test_the_same_input_gives_the_same_bytes(both_report: dict[str, bytes]) -> None:
    svg._svg.cache_clear()
    assert rendered(both()) == both_report


def test_nothing_on_the_page_is_fetched_from_anywhere(both_report: dict[str, bytes]) -> None:
    elements = read(both_report["report.html"])
    assert not {one.tag for one in elements} & {
        "link",
        "img",
        "iframe",
        "object",
        "embed",
        "base",
        "audio",
        "video",
        "form",
    }
    loading = ("src", "srcset", "action", "data", "poster", "background", "xlink:href")
    assert not [one.attributes for one in elements if set(loading) & set(one.attributes)]
    targets = {one.attributes["href"] for one in elements if "href" in one.attributes}
    assert all(target.startswith("#") or target in both_report for target in targets), targets
    (style,) = (one.text for one in elements if one.tag == "style")
    assert "url(" not in style
    assert "@import" not in style


def test_anchors_lead_somewhere_and_ids_are_unique(both_report: dict[str, bytes]) -> None:
    elements = read(both_report["report.html"])
    ids = [one.attributes["id"] for one in elements if "id" in one.attributes]
    assert len(ids) == len(set(ids))
    links = {one.attributes["href"][1:] for one in elements if one.attributes.get("href", "").startswith("#")}
    assert links == {f"session-{HALL}", f"session-{STUDY}"}
    assert links <= set(ids)


def test_the_policy_allows_the_scripts_on_the_page_and_nothing_else(both_report: dict[str, bytes]) -> None:
    elements = read(both_report["report.html"])
    (policy,) = (one.attributes["content"] for one in elements if one.attributes.get("http-equiv"))
    rules = dict(rule.strip().split(" ", 1) for rule in policy.split(";"))
    assert rules["default-src"] == "'none'"
    running = [one.text for one in elements if one.tag == "script" and "type" not in one.attributes]
    digests = {"'sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode() + "'" for text in running}
    assert set(rules["script-src"].split()) == digests
    assert "unsafe-eval" not in policy
    assert "unsafe-inline" not in rules["script-src"] + rules["style-src"]


def test_the_script_bundle_stands_on_the_page_once_and_can_end_no_element(both_report: dict[str, bytes]) -> None:
    assert both_report["report.html"].decode().count(script_bundle()) == 1
    assert not re.search(r"</script|<!--|<script", script_bundle(), re.IGNORECASE)


def test_a_page_without_charts_carries_no_scripts() -> None:
    page = page_of(ReportInputs(sessions=study().sessions, results=()))
    assert [one.tag for one in read(page) if one.tag == "script"] == []
    assert len(page) < 40_000


def test_each_figure_has_caption_description_specification_and_a_link_to_its_file(
    both_report: dict[str, bytes],
) -> None:
    elements = read(both_report["report.html"])
    figures = [one for one in elements if one.tag == "figure"]
    assert len(figures) == len([path for path in both_report if path.startswith("charts/")])
    for figure in figures:
        inside = [one for one in elements if figure in one.around]
        (caption,) = (one.text for one in inside if one.tag == "figcaption")
        (chart,) = (one for one in inside if "chart" in one.classes)
        (data,) = (one.text for one in inside if one.tag == "script")
        assert caption
        assert chart.attributes["role"] == "img"
        assert chart.attributes["aria-label"] in {one.text for one in inside if one.tag == "p"}
        assert "<" not in data
        assert "$schema" not in json.loads(data)
        assert next(one.attributes["href"] for one in inside if one.tag == "a") in both_report


def test_headings_are_in_order_and_the_page_says_its_language(both_report: dict[str, bytes]) -> None:
    elements = read(both_report["report.html"])
    assert elements[0].tag == "html"
    assert elements[0].attributes["lang"] == "en"
    levels = [int(one.tag[1]) for one in elements if re.fullmatch(r"h[1-6]", one.tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(later - earlier <= 1 for earlier, later in pairwise(levels))


def test_charts_stand_in_reading_order(hall_report: dict[str, bytes]) -> None:
    names = [one.attributes["id"] for one in read(hall_report["report.html"]) if one.tag == "figure"]
    assert [name.rsplit("_", 1)[1] for name in names] == [
        "parts", "responses-in", "corner-in", "target-in", "seats-in", "level-in", "trials-in", "preference-in",
    ]  # fmt: skip


def test_hostile_text_is_text_wherever_it_stands() -> None:
    one = hall()
    (good,) = one.sessions
    conditions = tuple(replace(c, label=HOSTILE) for c in good.conditions)
    bad = replace(good, question=HOSTILE, conditions=conditions, warnings=(HOSTILE,))
    chart = replace(corner_chart(90.0), title=HOSTILE, alternative=HOSTILE, name="corner-" + HOSTILE)
    finding = measured(
        "x" + HOSTILE, 1.0, 0.1, HOSTILE, verdict=HOSTILE, method=HOSTILE, caveats=(HOSTILE,), seat=HOSTILE
    )
    result = AnalyserResult(
        session=good.id, room=HOSTILE, analyser=HOSTILE, version=HOSTILE, problem=HOSTILE,
        result=Result(findings=(finding,), charts=(chart,)),
    )  # fmt: skip
    hostile = replace(
        one, sessions=(bad,), results=(result,), unread=(HOSTILE,), problems=(HOSTILE,), software={HOSTILE: "1"}
    )
    elements = read(page_of(hostile))
    assert "img" not in {element.tag for element in elements}
    assert not [name for element in elements for name in element.attributes if name.startswith("on")]
    (heading,) = (element.text for element in elements if element.tag == "h2" and "quoted" in element.classes)
    assert heading == HOSTILE
    assert all(re.fullmatch(r"[\w./%~-]+", number.attributes["data-finding"]) for number in shown_numbers(elements))


def test_a_report_of_nothing_is_a_page_that_says_so() -> None:
    elements = read(page_of(ReportInputs(sessions=(), results=())))
    assert words.NO_SESSIONS in {one.text for one in elements}


def test_a_session_without_results_says_so() -> None:
    elements = read(page_of(replace(hall(), results=())))
    texts = {one.text for one in elements}
    assert words.NO_FINDINGS in texts
    assert words.NO_CHARTS in texts


def test_an_analyser_with_verdicts_but_no_values_is_drawn_under_its_own_name() -> None:
    nothing = measured("target_deviation_change", None, None, "dB", verdict="undecided", caveats=("no subwoofer",))
    target = AnalyserResult(session=HALL, room="", analyser="target", version="1", result=Result(findings=(nothing,)))
    balance = next(one for one in hall().results if one.analyser == "balance")
    elements = read(page_of(replace(hall(), results=(target, balance))))
    captions = [one.text for one in elements if one.tag == "figcaption"]
    assert captions == [words.BALANCE_TITLE, words.OVERVIEW_TITLE.format(analyser="target")]


def test_findings_over_many_sessions_have_a_section_of_their_own() -> None:
    pooled = measured("pooled_effect", -1.2, 0.4, "dB", of="target_deviation_change")
    over = AnalyserResult(session="", room="", analyser="pool", version="1", result=Result(findings=(pooled,)))
    elements = read(page_of(replace(both(), results=(*both().results, over))))
    assert words.OVER_ROOMS in {one.text for one in elements if one.tag == "h2"}
    assert "session-over-rooms" in {one.attributes.get("id") for one in elements}


def test_a_chart_that_does_not_fit_its_data_is_named_and_costs_no_other() -> None:
    broken = replace(corner_chart(90.0), name="broken", series="absent")
    result = AnalyserResult(
        session=HALL, room="", analyser="a", version="1", result=Result(charts=(broken, corner_chart(90.0)))
    )
    elements = read(page_of(replace(hall(), results=(result,))))
    assert len([one for one in elements if one.tag == "figure"]) == 1
    assert "broken of a: chart broken: column 'absent' is not in its data" in {one.text for one in elements}


def test_very_long_names_become_files_that_can_be_written() -> None:
    long = replace(corner_chart(90.0), name="c" * 500)
    result = AnalyserResult(
        session=HALL,
        room="",
        analyser="a" * 300,
        version="1",
        result=Result(charts=(long, replace(long, name="c" * 501))),
    )
    paths = [file.path for file in Page().render(replace(hall(), results=(result,)))]
    assert len(paths) == len(set(paths)) == 3
    assert max(map(len, paths)) < 150


def test_lines_that_name_one_of_several_sessions_stand_with_it_and_others_with_the_whole(
    both_report: dict[str, bytes],
) -> None:
    elements = read(both_report["report.html"])
    (unread,), (problem,) = study().unread, study().problems

    def places(text: str) -> list[str]:
        return [
            one.attributes["id"]
            for one in elements
            if one.tag == "section" and "id" in one.attributes and text in one.text
        ]

    assert places(unread) == [f"session-{STUDY}"]
    assert places(problem) == ["shared"]


def test_the_usual_cautions_stand_on_every_page(study_report: dict[str, bytes]) -> None:
    # NIOSH, "Criteria for a recommended standard: occupational noise exposure", publication 98-126 (1998), 1.1.1 and
    # 1.1.2: 85 dBA as an 8-hour time-weighted average, 3-dB exchange rate (from memory).
    (cautions,) = (one.text for one in read(study_report["report.html"]) if "cautions" in one.classes)
    for said in ("85 dB(A)", "8 h", "3 dB", "NIOSH", "discharge", "licensed", "local codes", "consent"):
        assert said in cautions


def test_files_stand_with_their_digests_and_versions_with_their_names(study_report: dict[str, bytes]) -> None:
    cells = {one.text for one in read(study_report["report.html"]) if one.tag in ("td", "th", "code")}
    for source in study().sources:
        assert {source.path, source.sha256} <= cells
    assert set(study().software) | set(study().software.values()) <= cells


def test_what_was_done_to_a_file_stands_below_it_before_what_is_doubtful_of_it() -> None:
    first, other = study().sources
    done = replace(other, applied=("window 5 ms before", "microphone correction mic.csv"))
    elements = read(page_of(replace(study(), sources=(first, done))))
    below = [one.text for one in elements if one.tag == "tr" and any("files" in a.classes for a in one.around)]
    at = next(n for n, text in enumerate(below) if done.path in text)
    assert below[at + 1 :] == [
        f"{words.APPLIED}: window 5 ms before; microphone correction mic.csv",
        "a row at 0 Hz was dropped",
    ]
    assert not any(words.APPLIED in text for text in below[:at])


def test_two_findings_that_only_their_place_tells_apart_are_told_with_it() -> None:
    made = [
        replace(measured("channel_difference_change", 0.1, 0.05, "dB", verdict="kept"), point=point, playing=playing)
        for point, playing in (("amplifier-output", "main"), ("seat", "main"), ("seat", "both"))
    ]
    result = AnalyserResult(session=HALL, room="", analyser="a", version="1", result=Result(findings=tuple(made)))
    name = words.QUANTITIES["channel_difference_change"]
    lines = [one.text for one in read(page_of(replace(hall(), results=(result,)))) if one.tag == "li"]
    told = [line.split(": kept")[0] for line in lines if line.startswith(name) and ": kept" in line]
    assert told == [
        f"{name}, amplifier output, main loudspeakers",
        f"{name}, all that plays",
        f"{name}, main loudspeakers",
    ]
    alone = replace(result, result=Result(findings=tuple(made[:1])))
    texts = [one.text for one in read(page_of(replace(hall(), results=(alone,)))) if one.tag == "li"]
    assert any(text.startswith(f"{name}: kept") for text in texts)


def test_tables_by_band_of_one_quantity_stand_together() -> None:
    band = {"band_hz": (22.4, 28.2), "nominal_hz": 25.0}
    made = [
        replace(measured(quantity, 1.0, None, "dB"), programme=programme, **band)
        for quantity, programmes in (("level_change", (None,)), ("subsonic_band_level_change", ("organ", "choir")))
        for programme in programmes
    ]
    result = AnalyserResult(session=HALL, room="", analyser="a", version="1", result=Result(findings=tuple(made)))
    elements = read(page_of(replace(hall(), results=(result,))))
    summaries = [one.text for one in elements if one.tag == "summary" and any("bulk" in a.classes for a in one.around)]
    name = words.QUANTITIES["subsonic_band_level_change"]
    assert summaries[0].startswith(f"{words.BANDS}: {words.QUANTITIES['level_change']}, dB: ")
    assert summaries[1] == f"{words.BANDS}: {name}, dB ({words.N_TABLES.format(n=2)})"
    assert ["organ" in text for text in summaries[2:]].count(True) == 1
    assert len(summaries) == 4


def test_no_folder_and_no_clock_stand_on_the_page(both_report: dict[str, bytes]) -> None:
    text = read(both_report["report.html"])[0].text.replace(script_bundle(), "")
    assert "nowhere" not in text  # the folder of the made-up sessions
    assert not re.search(r"\b\d\d:\d\d\b", text)
