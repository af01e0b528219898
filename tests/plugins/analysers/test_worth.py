"""Checks of the worth analyser: the library behind it, infinite and unlinked conditions, ties, positions, tables."""

from __future__ import annotations

import math
import random

import choix
import numpy as np
import pytest
from scipy import stats

from fairhearing.api import Analyser, Finding, Result
from fairhearing.statistics.bradley_terry import by_group, count_outcomes, fit_worth
from fairhearing_builtins.analysers.worth import Worth, fairhearing_analysers

from .build_inputs import Row, finding, inputs, keys, matched, only, preference_rows, session, sheet

CONDITIONS = ("out", "in", "half")
LEVELS = (matched(), matched(condition="half"))


def analysed(
    rows: list[Row], findings: tuple[Finding, ...] = LEVELS, conditions: tuple[str, ...] = CONDITIONS
) -> Result:
    return Worth().analyse(
        inputs(session(conditions=conditions), sheets=(sheet("paired-preference", rows),), findings=findings)
    )


def trials(listener: str, *told: tuple[str, str, str]) -> list[Row]:
    return [
        {"listener": listener, "trial": str(n), "first": a, "second": b, "preferred": c}
        for n, (a, b, c) in enumerate(told)
    ]


def panel(n_listeners: int = 6, seed: int = 1, tie: float = 0.2) -> list[Row]:
    """Listeners who differ and compare all three conditions, in both orders, twice."""
    generator = np.random.default_rng(seed)
    rows: list[Row] = []
    for n in range(n_listeners):
        likes = dict(zip(CONDITIONS, generator.normal([0.0, 0.9, 0.3], 0.5), strict=True))
        told = []
        for a in CONDITIONS:
            for b in (c for c in CONDITIONS if c != a):
                for _ in range(2):
                    better = a if generator.random() < 1 / (1 + math.exp(likes[b] - likes[a])) else b
                    told.append((a, b, "none" if generator.random() < tie else better))
        rows += trials(f"l{n}", *told)
    return rows


def test_it_is_an_analyser_and_its_hook_offers_it() -> None:
    (offered,) = fairhearing_analysers()
    assert isinstance(offered, Analyser)
    assert offered.name == "worth"


def test_two_conditions_are_left_to_the_share_of_preferences() -> None:
    assert analysed(preference_rows("a", 7, 3), conditions=("out", "in")) == Result()


def test_without_ties_it_is_the_worth_that_choix_finds() -> None:
    rows = panel(tie=0.0)
    place = {name: n for n, name in enumerate(CONDITIONS)}
    pairs = []
    for row in rows:
        loser = row["second"] if row["preferred"] == row["first"] else row["first"]
        pairs.append((place[row["preferred"] or ""], place[loser or ""]))
    second = choix.ilsr_pairwise(3, pairs, max_iter=1000, tol=1e-12)
    findings = analysed(rows).findings
    for name in ("in", "half"):
        found = only(findings, "worth", condition=name)
        assert found.value == pytest.approx(second[place[name]] - second[0], abs=1e-6)
        assert (found.reference, found.unit, found.n, found.p_value, found.verdict) == ("out", "1", 6, None, None)


def test_its_interval_is_t_over_listeners() -> None:
    rows = panel()
    place = {name: n for n, name in enumerate(CONDITIONS)}
    counts = []
    for n in range(6):
        own = [row for row in rows if row["listener"] == f"l{n}"]
        first, second = ([place[row[side] or ""] for row in own] for side in ("first", "second"))
        outcome = [1 if r["preferred"] == "none" else 0 if r["preferred"] == r["first"] else 2 for r in own]
        counts.append(count_outcomes(first, second, outcome, 3))
    fit = fit_worth(np.sum(counts, axis=0))
    error = math.sqrt(by_group(np.array(counts), fit)[1, 1])
    found = only(analysed(rows).findings, "worth", condition="in")
    half = stats.t.ppf(0.975, 5) * error
    assert (found.value, found.low, found.high) == pytest.approx(
        (fit.worth[1], fit.worth[1] - half, fit.worth[1] + half), rel=1e-6
    )
    assert "Davidson's ties" in found.method
    assert "jackknife over 6 listeners, t with 5 degrees of freedom" in found.method


def test_a_first_position_that_wins_is_taken_out_in_its_variant() -> None:
    # The reference stands first throughout and wins 12 of 20 against each; among the others the first wins 15 of 20.
    told = [("out", c, "out" if n < 12 else c) for c in ("in", "half") for n in range(20)]
    told += [("in", "half", "in" if n < 15 else "half") for n in range(20)]
    told += [("half", "in", "half" if n < 15 else "in") for n in range(20)]
    rows = [row for name in "abc" for row in trials(name, *told)]
    findings = analysed(rows).findings
    plain = only(findings, "worth", condition="in")
    adjusted = only(findings, "worth", condition="in", variant="position-adjusted")
    # By hand: in and half are alike; position ln 3 by their trials, so the reference's ln(12/8) is ln 3 less a worth.
    assert plain.value == pytest.approx(-math.log(12 / 8), abs=1e-6)
    assert adjusted.value == pytest.approx(math.log(3) - math.log(12 / 8), abs=1e-6)


def test_an_undefeated_condition_is_null_and_bounded_by_a_named_convention() -> None:
    told = [("in", "out", "in"), ("in", "half", "in"), ("out", "half", "out"), ("half", "out", "half")]
    rows = [row for name in "abcdefg" for row in trials(name, *told)]
    findings = analysed(rows).findings
    assert only(findings, "worth", condition="half").value == pytest.approx(0.0, abs=1e-9)
    endless = only(findings, "worth", condition="in")
    assert (endless.value, endless.low) == (None, None)
    assert any("infinite" in caveat and "pseudo-win" in caveat for caveat in endless.caveats)
    bounded = only(findings, "worth", condition="in", variant="pseudo-win")
    # Half a win either way on each pair: 7.5 to 0.5 against both, who stay alike.
    assert bounded.value == pytest.approx(math.log(7.5 / 0.5), abs=1e-6)


def test_a_condition_never_linked_to_the_reference_is_null_with_a_caveat() -> None:
    told = [("in", "out", "in"), ("out", "in", "out"), ("half", "wide", "half"), ("wide", "half", "wide")]
    rows = [row for name in "abcd" for row in trials(name, *told)]
    findings = analysed(rows, conditions=(*CONDITIONS, "wide")).findings
    assert only(findings, "worth", condition="in").value == pytest.approx(0.0, abs=1e-9)
    for name in ("half", "wide"):
        lone = only(findings, "worth", condition=name)
        assert lone.value is None
        assert any("never compared with the reference" in caveat for caveat in lone.caveats)
    assert not any(f.variant == "pseudo-win" for f in findings)


def test_one_listener_is_about_that_person_only_over_trials() -> None:
    found = only(analysed(panel(1, seed=4)).findings, "worth", condition="in")
    assert found.n == 1
    assert any("that person only" in caveat for caveat in found.caveats)
    assert "all trials independent" in found.method


def test_a_worth_clear_of_nought_is_not_put_down_to_the_change_without_matched_levels() -> None:
    rows = panel(20, seed=3)
    clear = only(analysed(rows).findings, "worth", condition="in")
    assert (clear.low or 0.0) > 0.0
    assert not any("not put down to the change" in caveat for caveat in clear.caveats)
    unmatched = (finding("level_difference", "unmatched", 0.6), matched(condition="half"))
    told = only(analysed(rows, unmatched).findings, "worth", condition="in")
    assert any("not put down to the change" in caveat for caveat in told.caveats)


def test_contrasts_of_all_pairs_and_terms_stand_in_tables() -> None:
    result = analysed(panel())
    contrasts, terms = result.tables
    rows = list(zip(*contrasts.columns.values(), strict=True))
    plain = {(row[1], row[2]): row[3] for row in rows if row[0] is None}
    assert set(plain) == {("half", "out"), ("in", "out"), ("in", "half")}
    assert plain["in", "half"] == pytest.approx(plain["in", "out"] - plain["half", "out"], abs=1e-9)
    assert all(row[4] < row[3] < row[5] for row in rows)
    assert list(terms.columns["variant"]) == [None, "position-adjusted"]
    assert terms.columns["first_position_term"][0] is None


def test_the_order_of_rows_changes_nothing_and_findings_are_unique_and_drawn() -> None:
    rows = panel()
    here = analysed(rows)
    random.Random(2).shuffle(rows)
    assert analysed(rows).findings == here.findings
    assert len(set(keys(here.findings))) == len(here.findings)
    (chart,) = here.charts
    assert list(chart.data["condition"]) == ["Filter half", "Filter in"]


def test_trials_that_say_nothing_are_left_out_and_told() -> None:
    rows = [
        *panel(),
        {"listener": "l0", "trial": "x", "first": "in", "second": "in", "preferred": "in"},
        {"listener": "l0", "trial": "y", "first": "in", "second": "out", "preferred": None},
    ]
    found = only(analysed(rows).findings, "worth", condition="in")
    assert found.value == only(analysed(panel()).findings, "worth", condition="in").value
    assert any("1 trial that set a condition against itself" in caveat for caveat in found.caveats)
    assert any("1 trial without a valid answer" in caveat for caveat in found.caveats)
