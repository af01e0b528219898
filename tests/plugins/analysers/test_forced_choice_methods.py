"""Checks of triangle, duo-trio, same-different and tetrad sheets: standards' tables, cases by hand, laws."""

from __future__ import annotations

import random
from itertools import permutations

import pytest
from references.helper import load
from scipy import stats

from fairhearing.api import Finding, Result, Sheet
from fairhearing_builtins.analysers.forced_choice import ForcedChoice

from .build_inputs import Row, abx_rows, finding, inputs, keys, matched, only, session, sheet
from .choice_sheets import CHANCE, METHODS, TETRADS, choice_rows, counted_rows, trial


def analysed(*sheets: Sheet, findings: tuple[Finding, ...] = (matched(),), **said: object) -> Result:
    return ForcedChoice().analyse(inputs(session(**said), sheets=sheets, findings=findings))  # type: ignore[arg-type]


def proportion(method: str, right: int, wrong: int, **said: object) -> Finding:
    result = analysed(sheet(method, choice_rows(method, "L1", right, wrong), **said))
    return only(result.findings, "proportion_correct")


@pytest.mark.parametrize(("method", "table"), [("triangle", "E01"), ("tetrad", "E01"), ("duo-trio", "E02")])
def test_critical_numbers_are_those_of_the_standards(method: str, table: str) -> None:
    # ISO 4120 table A.1 (chance 1/3: the tetrad's too), ISO 10399 table A.1 (the numbers of ISO 5495 as well).
    reference = load(table)
    alphas = reference.inputs["alpha"]
    for n, numbers in list(zip(reference.inputs["n"], reference.expected["min_correct"], strict=True))[3::7]:
        for alpha, critical in zip(alphas, numbers, strict=True):
            if critical is None:
                p_value = proportion(method, n, 0).p_value
                assert p_value is not None
                assert p_value > alpha
                continue
            enough, one_less = (proportion(method, k, n - k).p_value for k in (critical, critical - 1))
            assert enough is not None
            assert one_less is not None
            assert enough <= alpha < one_less, (n, alpha)


def test_all_orders_and_answers_of_a_triangle_are_judged_one_by_one() -> None:
    # ISO 4120 names the six orders: the odd one at 1, 2 or 3, of either condition.
    odd = {
        "in out out": "1",
        "out in out": "2",
        "out out in": "3",
        "out in in": "1",
        "in out in": "2",
        "in in out": "3",
    }
    for order, place in odd.items():
        for answer in "123":
            rows = [{"listener": "a", "trial": "1", "order": order, "answer": answer}]
            assert only(analysed(sheet("triangle", rows)).findings, "proportion_correct").value == (answer == place)


def test_all_orders_and_answers_of_a_duo_trio_are_judged_one_by_one() -> None:
    # ISO 10399, balanced reference: A(AB), A(BA), B(AB), B(BA).
    for standard, first, second in (
        ("in", "in", "out"),
        ("in", "out", "in"),
        ("out", "in", "out"),
        ("out", "out", "in"),
    ):
        for answer, chosen in (("1", first), ("2", second)):
            rows = [{"listener": "a", "trial": "1", "standard": standard, "first": first, "second": second,
                     "answer": answer}]  # fmt: skip
            found = only(analysed(sheet("duo-trio", rows)).findings, "proportion_correct")
            assert found.value == (chosen == standard)


def test_all_orders_and_answers_of_a_tetrad_are_judged_one_by_one() -> None:
    for order in sorted(set(permutations(("in", "in", "out", "out")))):
        alike = {f"{i + 1} {j + 1}" for i in range(4) for j in range(i + 1, 4) if order[i] == order[j]}
        assert len(alike) == 2
        for answer in ("1 2", "1 3", "1 4", "2 3", "2 4", "3 4"):
            rows = [{"listener": "a", "trial": "1", "order": " ".join(order), "answer": answer}]
            assert only(analysed(sheet("tetrad", rows)).findings, "proportion_correct").value == (answer in alike)


def test_all_pairs_and_answers_of_same_different_are_judged_one_by_one() -> None:
    for first in ("in", "out"):
        for second in ("in", "out"):
            for answer in ("same", "different"):
                rows = [{"listener": "a", "trial": "1", "first": first, "second": second, "answer": answer},
                        {"listener": "a", "trial": "2", "first": "in", "second": "out", "answer": None}]  # fmt: skip
                found = only(analysed(sheet("same-different", rows)).findings, "proportion_correct")
                assert found.value == ((first == second) == (answer == "same"))


@pytest.mark.parametrize("method", METHODS)
def test_interval_n_method_and_verdict_are_told(method: str) -> None:
    found = proportion(method, 14, 2)
    exact = stats.binomtest(14, 16).proportion_ci(0.95, method="exact")
    assert (found.low, found.high) == pytest.approx(exact, rel=1e-9)
    assert (found.value, found.n, found.verdict, found.unit) == (14 / 16, 16, "heard", "1")
    assert (found.condition, found.reference, found.of, found.variant) == ("in", "out", None, None)
    assert f"{method}, 14 of 16 right; p: " in found.method
    chance = {"triangle": "chance 1/3", "tetrad": "chance 1/3", "duo-trio": "chance 1/2", "same-different": "Fisher"}
    assert chance[method] in found.method
    assert proportion(method, 6, 10).verdict == "not-shown"


@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize(
    "levels",
    [(), (finding("level_difference", "unmatched", 0.4),), (finding("level_difference", "undecided", None),)],
    ids=("not measured", "unmatched", "undecided"),
)
def test_what_is_heard_is_not_attributable_without_matched_levels(method: str, levels: tuple[Finding, ...]) -> None:
    result = analysed(sheet(method, choice_rows(method, "L1", 14, 2)), findings=levels)
    found = only(result.findings, "proportion_correct")
    assert found.verdict == "not-attributable"
    assert any("level_difference" in caveat for caveat in found.caveats)
    unheard = analysed(sheet(method, choice_rows(method, "L1", 6, 10)), findings=levels)
    assert only(unheard.findings, "proportion_correct").verdict == "not-shown"


@pytest.mark.parametrize("method", METHODS)
def test_levels_count_at_the_seats_of_the_sheet(method: str) -> None:
    levels = (matched(seat="A"), finding("level_difference", "unmatched", 0.6, seat="B"))
    at_a = analysed(sheet(method, choice_rows(method, "L1", 14, 2, seat="A")), findings=levels)
    at_b = analysed(sheet(method, choice_rows(method, "L1", 14, 2, seat="B")), findings=levels)
    verdicts = [only(result.findings, "proportion_correct").verdict for result in (at_a, at_b)]
    assert verdicts == ["heard", "not-attributable"]


@pytest.mark.parametrize("method", METHODS)
def test_each_listener_has_a_raw_p_and_a_verdict_by_holm(method: str) -> None:
    rows = [*choice_rows(method, "a", 12, 0), *choice_rows(method, "b", 9, 3), *choice_rows(method, "c", 6, 6)]
    found = analysed(sheet(method, rows)).findings
    own = [only(found, "proportion_correct", listener=name) for name in "abc"]
    if method == "same-different":
        # Six pairs of each sort; b was wrong in the last three: same, different, different the wrong way round.
        raw = [stats.fisher_exact(t, alternative="greater").pvalue for t in ([[6, 0], [0, 6]], [[5, 1], [2, 4]])]
    else:
        raw = [stats.binomtest(k, 12, CHANCE[method], alternative="greater").pvalue for k in (12, 9)]
    assert [f.p_value for f in own[:2]] == pytest.approx(raw, rel=1e-9)
    adjusted = [3 * raw[0], 2 * raw[1]]
    assert [f.verdict for f in own] == [*("heard" if p <= 0.05 else "not-shown" for p in adjusted), "not-shown"]
    assert "Holm over 3 listeners" in own[0].method


# --- balanced orders --------------------------------------------------------------------------------------------------


def test_balanced_triangles_are_dealt_anew_within_each_listener() -> None:
    # By hand: each place twice, all right: one of 90 orders; two listeners: one of 8100.
    rows = [row for name in "ab" for row in counted_rows("triangle", name, [[2, 0, 0], [0, 2, 0], [0, 0, 2]])]
    result = analysed(sheet("triangle", rows, order="balanced"))
    over_all, own = (only(result.findings, "proportion_correct", listener=name) for name in (None, "a"))
    assert own.p_value == pytest.approx(1 / 90, rel=1e-12)
    assert over_all.p_value == pytest.approx(1 / 8100, rel=1e-12)
    assert "re-randomisation" in over_all.method
    assert "the place of the odd one" in over_all.method
    assert any("balanced" in caveat for caveat in over_all.caveats)


def test_balanced_tetrads_are_dealt_anew_by_which_two_belong_together() -> None:
    rows = counted_rows("tetrad", "a", [[1, 1, 0], [0, 2, 0], [0, 0, 2]])
    found = only(analysed(sheet("tetrad", rows, order="balanced")).findings, "proportion_correct")
    played, answered = [0, 0, 1, 1, 2, 2], [0, 1, 1, 1, 2, 2]
    right = [sum(map(int.__eq__, deal, answered)) for deal in permutations(played)]
    assert found.p_value == pytest.approx(sum(n >= 5 for n in right) / 720, rel=1e-12)
    assert "which two belong together" in found.method


def test_balanced_duo_trios_are_fishers_test_of_positions() -> None:
    rows = counted_rows("duo-trio", "a", [[7, 1], [2, 6]])
    found = only(analysed(sheet("duo-trio", rows, order="balanced")).findings, "proportion_correct")
    assert found.p_value == pytest.approx(stats.fisher_exact([[7, 1], [2, 6]], alternative="greater").pvalue, rel=1e-9)
    assert "Fisher" in found.method


def test_listeners_with_one_trial_each_in_a_balanced_sheet_are_taken_together() -> None:
    # ISO 4120 as usual: an assessor has one triad, the six orders are balanced over the panel.
    rows = [{**row, "listener": f"L{i:02d}"} for i, row in
            enumerate(counted_rows("triangle", "x", [[5, 1, 0], [0, 5, 1], [1, 0, 5]]))]  # fmt: skip
    found = analysed(sheet("triangle", rows, order="balanced")).findings
    over_all = only(found, "proportion_correct")
    drawn = stats.random_table([6, 6, 6], [6, 6, 6]).rvs(20_000, random_state=1)
    share = float((drawn.trace(axis1=1, axis2=2) >= 15).mean())
    assert over_all.p_value is not None
    assert over_all.p_value == pytest.approx(share, abs=1e-4)
    assert (over_all.p_value < 1e-4, over_all.verdict) == (True, "heard")
    assert "one trial in it together" in over_all.method
    assert only(found, "proportion_correct", listener="L00").p_value == 1.0


def test_same_different_is_pooled_over_a_sheet_or_kept_within_listeners_as_the_order_asks() -> None:
    tables = {"a": [[6, 2], [3, 5]], "b": [[3, 5], [0, 8]]}
    rows = [row for name, table in tables.items() for row in counted_rows("same-different", name, table)]
    pooled, within = (
        only(analysed(sheet("same-different", rows, order=order)).findings, "proportion_correct")
        for order in ("independent", "balanced")
    )
    expected = stats.fisher_exact([[9, 7], [3, 13]], alternative="greater").pvalue
    assert pooled.p_value == pytest.approx(expected, rel=1e-9)
    # Two strata by hand: sums of two hypergeometric counts of hits, 5 and 8 observed.
    first, second = stats.hypergeom(16, 8, 7), stats.hypergeom(16, 8, 13)
    p = sum(first.pmf(i) * second.pmf(j) for i in range(9) for j in range(9) if i + j >= 13)
    assert within.p_value == pytest.approx(p, rel=1e-9)


# --- sheets -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("method", METHODS)
def test_trials_without_a_valid_answer_are_counted_out_and_told(method: str) -> None:
    bad = trial(method, 0, 0)
    rows: list[Row] = choice_rows(method, "L1", 9, 3)
    for index, answer in enumerate((None, "", "9", "none")):
        rows.append({"listener": "L1", "trial": f"x{index}", **bad, "answer": answer})
    found = only(analysed(sheet(method, rows)).findings, "proportion_correct")
    assert (found.n, found.value) == (12, 0.75)
    assert any("4 trials without a valid answer" in caveat for caveat in found.caveats)
    nothing = analysed(sheet(method, [{"listener": "L1", "trial": "1", **trial(method, 1, 0), "answer": None}]))
    (null,) = nothing.findings
    assert (null.value, null.verdict) == (None, None)
    assert "no valid trial" in null.caveats


@pytest.mark.parametrize("method", METHODS)
def test_more_than_two_conditions_give_each_against_the_reference(method: str) -> None:
    rows: list[Row] = choice_rows(method, "L1", 12, 0)
    kinds = 3 if method in ("triangle", "tetrad") else 2
    for index in range(12):
        own = trial(method, index % kinds, (index + 1) % kinds, condition="half", turned=index % 4 > 1)
        rows.append({"listener": "L1", "trial": f"h{index}", **own})
    between = {name: (cell.replace("out", "half") if name != "answer" else cell) for name, cell in
               trial(method, 1, 1, turned=True).items()}  # fmt: skip
    rows.append({"listener": "L1", "trial": "b", **between})
    result = analysed(
        sheet(method, rows), conditions=("out", "in", "half"), findings=(matched(), matched(condition="half"))
    )
    ours, other = (only(result.findings, "proportion_correct", condition=name) for name in ("in", "half"))
    assert any("against out alone" in caveat for caveat in ours.caveats)
    if method == "same-different":
        # Six same pairs of out alone count for both: right in the first twelve trials, wrong in the others.
        same_out = {"first": "out", "second": "out"}
        shared = [row for row in rows if same_out.items() <= dict(row).items()]
        assert ours.n == 12 + sum(str(row["trial"]).startswith("h") for row in shared)
        assert other.n == 12 + sum(not str(row["trial"]).startswith("h") for row in shared)
    else:
        assert (ours.n, ours.value, other.n, other.value) == (12, 1.0, 12, 0.0)


@pytest.mark.parametrize("method", METHODS)
def test_reference_and_treatment_of_the_sheet_go_before_those_of_the_session(method: str) -> None:
    rows = choice_rows(method, "L1", 12, 0)
    found = only(analysed(sheet(method, rows, reference="in", treatment="out")).findings, "proportion_correct")
    assert (found.condition, found.reference, found.value) == ("out", "in", 1.0)
    alone = analysed(sheet(method, [{**rows[0], "order": "out out out", "first": "out", "second": "out"}]))
    assert (alone.findings, len(alone.refusals)) == ((), 1)


@pytest.mark.parametrize("method", METHODS)
def test_a_session_with_this_method_alone_has_the_headline_and_its_chart(method: str) -> None:
    result = analysed(sheet(method, [*choice_rows(method, "a", 9, 3), *choice_rows(method, "b", 8, 4)]))
    assert only(result.findings, "proportion_correct").n == 24
    assert only(result.findings, "d_prime").n == 24
    (chart,) = result.charts
    assert chart.name == "trials-in"
    assert chart.rules[0].at == pytest.approx(CHANCE[method], rel=1e-12)
    assert method in chart.title
    assert len(set(keys(result.findings))) == len(result.findings)


def test_of_several_methods_the_first_in_session_toml_speaks_and_the_others_are_variants() -> None:
    triangle = sheet("triangle", choice_rows("triangle", "a", 4, 8), entry=1)
    duo_trio = sheet("duo-trio", choice_rows("duo-trio", "a", 12, 0), entry=2)
    again = sheet("triangle", choice_rows("triangle", "a", 5, 7), entry=3)
    both = analysed(again, duo_trio, triangle)
    over_all, other = (only(both.findings, "proportion_correct", variant=name) for name in (None, "duo-trio"))
    assert (over_all.n, over_all.value, over_all.verdict) == (24, 9 / 24, "not-shown")
    assert (other.n, other.value, other.verdict) == (12, 1.0, "heard")
    assert only(both.findings, "d_prime", variant="duo-trio").n == 12
    assert [chart.name for chart in both.charts] == ["trials-in", "trials-in-duo-trio"]
    assert len(set(keys(both.findings))) == len(both.findings)
    abx_second = analysed(sheet("same-different", choice_rows("same-different", "a", 10, 2)),
                          sheet("abx", abx_rows("a", 9, 3), entry=1))  # fmt: skip
    variants = {f.variant for f in abx_second.findings if f.quantity == "d_prime"}
    assert variants == {None, "independent", "abx", "abx-differencing"}


def test_a_first_sheet_without_a_valid_trial_leaves_the_headline_to_the_next() -> None:
    empty = sheet("triangle", [{"listener": "a", "trial": "1", "order": "in out out", "answer": None}])
    result = analysed(empty, sheet("tetrad", choice_rows("tetrad", "a", 12, 0), entry=1))
    assert only(result.findings, "proportion_correct").value == 1.0
    assert only(result.findings, "proportion_correct", variant="triangle").value is None


@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize("order", ["independent", "balanced"])
def test_order_of_rows_and_codes_of_listeners_change_nothing_but_the_labels(method: str, order: str) -> None:
    rows = [
        row
        for name, right in zip("abc", (9, 7, 4), strict=True)
        for row in choice_rows(method, name, right, 12 - right)
    ]
    here = analysed(sheet(method, rows, order=order)).findings
    shuffled = list(rows)
    random.Random(8).shuffle(shuffled)
    assert analysed(sheet(method, shuffled, order=order)).findings == here
    names = {"a": "z", "b": "k", "c": "b"}
    renamed = analysed(sheet(method, [{**row, "listener": names[str(row["listener"])]} for row in rows], order=order))
    for one in here:
        other = only(renamed.findings, one.quantity, variant=one.variant, listener=names.get(one.listener or ""))
        assert (other.value, other.low, other.high, other.p_value, other.verdict) == (
            one.value, one.low, one.high, one.p_value, one.verdict
        )  # fmt: skip


def test_the_rows_of_these_tests_hold_every_kind() -> None:
    # So that no check above passes on one order alone.
    orders = {row["order"] for row in choice_rows("tetrad", "a", 12, 0)}
    assert orders == {*TETRADS, *(" ".join("in" if w == "out" else "out" for w in o.split()) for o in TETRADS)}
    assert len({row["order"] for row in choice_rows("triangle", "a", 12, 0)}) == 6
