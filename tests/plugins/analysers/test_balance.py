"""Checks of the balance: every rule of it worked by hand, and that nothing but headline findings counts."""

from __future__ import annotations

from itertools import product

import pytest

from fairhearing.api import Analyser, Chain, Finding, Result, Session
from fairhearing_builtins.analysers.balance import Balance, fairhearing_analysers

from .build_inputs import finding, inputs, keys, session

AS_SET = finding("corner_ratio", "as-set", 0.99, unit="1", low=0.97, high=1.01, point="amplifier-output")
UNTOUCHED = finding("guard_band_change", "untouched", 0.1, low=-0.2, high=0.3)
IMPROVED = finding("target_deviation_change", "improved", -1.2, low=-1.6, high=-0.8)
SEAT_A = finding("target_deviation_change", "improved", -1.4, low=-1.9, high=-0.9, seat="A")
SEAT_B = finding("target_deviation_change", "undecided", -0.4, low=-0.9, high=0.1, seat="B")
PREFERRED = finding("preference_share", "preferred", 0.8, unit="1", point=None)
NOT_PREFERRED = finding("preference_share", "not-preferred", 0.2, unit="1", point=None)
PREFERENCE_NOT_SHOWN = finding("preference_share", "not-shown", 0.55, unit="1", point=None)
RELIEF = finding("subsonic_level_change", "relief", -6.0)
SOUND = (AS_SET, UNTOUCHED, SEAT_A, SEAT_B)  # every default requirement shown, no benefit


def weigh(*findings: Finding, made: Session | None = None, **criteria: object) -> Result:
    return Balance().analyse(inputs(made or session(**criteria), findings=findings))  # type: ignore[arg-type]


def verdict(*findings: Finding, **criteria: object) -> str | None:
    (found,) = weigh(*findings, **criteria).findings
    assert found.quantity == "balance"
    assert (found.value, found.p_value) == (None, None)
    return found.verdict


def states(result: Result, role: str) -> dict[str, str]:
    columns = result.tables[0].columns
    rows = zip(columns["part"], columns["role"], columns["seat"], columns["state"], strict=True)
    return {
        f"{part} {seat}" if role == "harm" and seat else str(part): str(state)
        for part, its_role, seat, state in rows
        if its_role == role
    }


def test_it_is_an_analyser_and_its_hook_offers_it() -> None:
    (offered,) = fairhearing_analysers()
    assert isinstance(offered, Analyser)
    assert (offered.name, offered.version) == ("balance", "2")
    wanted = (
        "corner_ratio guard_band_change target_deviation_change seat_spread_change preference_share "
        "rating_difference subsonic_level_change proportion_correct level_difference seat_audit drift"
    )
    assert offered.needs.findings == frozenset(wanted.split())


# --- gain -------------------------------------------------------------------------------------------------------------


def test_gain_needs_every_requirement_one_benefit_and_nothing_worse() -> None:
    assert verdict(*SOUND, IMPROVED) == "gain"
    assert verdict(*SOUND, PREFERRED) == "gain"
    assert verdict(*SOUND, RELIEF) == "gain"
    assert verdict(*SOUND, finding("rating_difference", "better", 0.8)) == "gain"


def test_a_requirement_that_was_not_measured_keeps_a_gain_undecided() -> None:
    for missing in (AS_SET, UNTOUCHED, SEAT_A, SEAT_B):
        kept = [one for one in SOUND if one is not missing]
        assert verdict(*kept, IMPROVED) == "undecided", missing


def test_a_requirement_that_is_undecided_keeps_a_gain_undecided() -> None:
    open_corner = finding("corner_ratio", "undecided", 0.8, unit="1", low=0.7, high=0.9)
    assert verdict(open_corner, UNTOUCHED, SEAT_A, SEAT_B, IMPROVED) == "undecided"


def test_only_the_listed_requirements_and_benefits_count() -> None:
    assert verdict(IMPROVED, require=()) == "gain"
    assert verdict(IMPROVED, require=(), benefit=("preferred",)) == "undecided"
    assert verdict(IMPROVED, UNTOUCHED, require=("untouched",)) == "gain"


# --- mixed ------------------------------------------------------------------------------------------------------------

HARMS = [
    finding("target_deviation_change", "worse", 1.4, low=0.6, high=2.2),
    finding("target_deviation_change", "worse", 1.4, low=0.6, high=2.2, seat="B"),
    finding("seat_spread_change", "worse", 0.9, low=0.3, high=1.5),
    finding("rating_difference", "worse", -0.7),
]


@pytest.mark.parametrize("harm", HARMS, ids=lambda harm: f"{harm.quantity}-{harm.seat}")
def test_a_benefit_with_a_harm_is_mixed(harm: Finding) -> None:
    kept = [one for one in SOUND if (one.quantity, one.seat) != (harm.quantity, harm.seat)]
    assert verdict(*SOUND, PREFERRED) == "gain"
    assert verdict(*kept, PREFERRED, harm) == "mixed"


def test_a_benefit_that_listeners_do_not_prefer_is_mixed() -> None:
    assert verdict(*SOUND, IMPROVED, NOT_PREFERRED) == "mixed"
    assert verdict(*SOUND, IMPROVED, PREFERENCE_NOT_SHOWN) == "gain"


@pytest.mark.parametrize(
    "refuting",
    [
        finding("corner_ratio", "mis-set", 0.2, unit="1", low=0.19, high=0.21),
        finding("corner_ratio", "mis-set", None, unit="1"),  # no filter found where one was meant
        finding("guard_band_change", "touched", 1.3, low=0.9, high=1.7),
    ],
    ids=["mis-set", "no-filter", "touched"],
)
def test_a_benefit_with_a_refuted_requirement_is_mixed_and_without_one_no_gain(refuting: Finding) -> None:
    kept = [one for one in SOUND if one.quantity != refuting.quantity]
    assert verdict(*kept, IMPROVED, refuting) == "mixed"
    assert verdict(*kept, refuting) == "no-gain"


def test_mixed_goes_before_no_gain_where_another_requirement_is_still_open() -> None:
    touched = finding("guard_band_change", "touched", 1.3, low=0.9, high=1.7)
    assert verdict(touched, IMPROVED) == "mixed"


# --- no gain ----------------------------------------------------------------------------------------------------------

DECIDED = (
    finding("target_deviation_change", "unchanged", 0.1, low=-0.2, high=0.3),
    PREFERENCE_NOT_SHOWN,
    finding("rating_difference", "not-shown", 0.1),
    finding("subsonic_level_change", "no-relief", -0.3, low=-0.5, high=-0.1),
)


def test_every_listed_benefit_decided_and_none_shown_is_no_gain() -> None:
    assert verdict(*SOUND, *DECIDED) == "no-gain"
    assert verdict(*SOUND, DECIDED[0], PREFERENCE_NOT_SHOWN, benefit=("improved", "preferred")) == "no-gain"


@pytest.mark.parametrize("open_one", range(4))
def test_one_benefit_not_measured_undecided_or_null_leaves_it_undecided(open_one: int) -> None:
    others = [one for index, one in enumerate(DECIDED) if index != open_one]
    quantity = DECIDED[open_one].quantity
    assert verdict(*SOUND, *others) == "undecided"
    assert verdict(*SOUND, *others, finding(quantity, "undecided", 0.1)) == "undecided"
    assert verdict(*SOUND, *others, finding(quantity, None, None)) == "undecided"
    assert verdict(*SOUND, *others, finding(quantity, "not-shown", None)) == "undecided"


def test_a_result_not_put_down_to_the_change_is_decided_but_shows_nothing() -> None:
    open_levels = finding("preference_share", "not-attributable", 0.9, unit="1", point=None)
    result = weigh(*SOUND, open_levels, benefit=("preferred",))
    assert result.findings[0].verdict == "no-gain"
    assert any("not put down to the change" in caveat for caveat in result.findings[0].caveats)


def test_a_harm_without_a_benefit_is_decided_by_the_benefits() -> None:
    worse = finding("target_deviation_change", "worse", 1.4, low=0.6, high=2.2)
    assert verdict(*SOUND, worse, benefit=("improved",)) == "no-gain"
    assert verdict(*SOUND, worse) == "undecided"


# --- undecided --------------------------------------------------------------------------------------------------------


def test_nothing_measured_is_undecided() -> None:
    result = weigh()
    assert result.findings[0].verdict == "undecided"
    assert set(states(result, "requirement").values()) == {"undecided"}
    assert set(states(result, "benefit").values()) == {"undecided"}


def test_a_session_that_lists_no_benefit_is_undecided_and_says_why() -> None:
    result = weigh(*SOUND, IMPROVED, benefit=())
    assert result.findings[0].verdict == "undecided"
    assert any("lists none" in caveat for caveat in result.findings[0].caveats)


# --- no seat worse ----------------------------------------------------------------------------------------------------


def seat(name: str, verdict: str, high: float | None) -> Finding:
    value = 0.0 if high is not None else None
    return finding(
        "target_deviation_change", verdict, value, low=-0.9 if high is not None else None, high=high, seat=name
    )


@pytest.mark.parametrize(
    ("seat_b", "expected"),
    [
        (seat("B", "undecided", 0.49), "shown"),
        (seat("B", "undecided", 0.5), "undecided"),  # below, not at, the smallest change
        (seat("B", "undecided", None), "undecided"),
        (seat("B", "worse", 2.0), "refuted"),
        (seat("B", "worse", 0.4), "refuted"),
        (seat("C", "improved", -0.1), "undecided"),  # B itself has no finding
    ],
)
def test_no_seat_worse_looks_at_every_seats_upper_bound(seat_b: Finding, expected: str) -> None:
    result = weigh(AS_SET, UNTOUCHED, SEAT_A, seat_b, IMPROVED)
    assert states(result, "requirement")["no-seat-worse"] == expected


def test_the_limit_of_no_seat_worse_is_the_smallest_change_of_the_criteria() -> None:
    result = weigh(SEAT_A, seat("B", "undecided", 0.8), smallest_change_db=1.0)
    assert states(result, "requirement")["no-seat-worse"] == "shown"


def test_seats_of_weight_zero_do_not_count() -> None:
    made = session(seats={"A": 1.0, "B": 0.0})
    worse = seat("B", "worse", 3.0)
    result = weigh(AS_SET, UNTOUCHED, SEAT_A, worse, IMPROVED, made=made)
    assert result.findings[0].verdict == "gain"
    assert "target-worse B" not in states(result, "harm")
    assert weigh(made=session(seats={"A": 0.0})).findings[0].verdict == "undecided"


def test_a_worse_seat_is_a_refuted_requirement_and_a_harm() -> None:
    result = weigh(AS_SET, UNTOUCHED, SEAT_A, seat("B", "worse", 3.0), PREFERRED)
    assert result.findings[0].verdict == "mixed"
    assert states(result, "harm")["target-worse B"] == "shown"
    assert "worse at B" in result.findings[0].method


# --- every word -------------------------------------------------------------------------------------------------------

WORDS = [
    ("as-set", "corner_ratio", "as-set", "mis-set", None),
    ("untouched", "guard_band_change", "untouched", "touched", None),
    ("matched", "level_difference", "matched", "unmatched", None),
    ("heard", "proportion_correct", "heard", None, "not-shown"),
    ("improved", "target_deviation_change", "improved", "unchanged", None),
    ("preferred", "preference_share", "preferred", "not-preferred", "not-shown"),
    ("better", "rating_difference", "better", "worse", "not-shown"),
    ("relief", "subsonic_level_change", "relief", "no-relief", None),
]


@pytest.mark.parametrize(("word", "quantity", "shown", "refuted", "neither"), WORDS)
def test_each_word_is_shown_refuted_or_left_open_by_its_own_quantity(
    word: str, quantity: str, shown: str, refuted: str | None, neither: str | None
) -> None:
    expected = {shown: "shown", refuted: "refuted", neither: "not-shown", "undecided": "undecided"}
    for said, state in expected.items():
        if said is None:
            continue
        for role, criteria in (("requirement", {"require": (word,)}), ("benefit", {"benefit": (word,)})):
            result = weigh(finding(quantity, said), **criteria)
            assert states(result, role)[word] == state


def test_the_verdicts_cover_every_combination_of_states() -> None:
    # The contract's rules written out once more, over shown, refuted and open requirement, benefit and harm.
    require = {"shown": "untouched", "refuted": "touched", "open": "undecided"}
    benefit = {"shown": "relief", "refuted": "no-relief", "open": "undecided"}
    harm = {"shown": "worse", "refuted": "improved", "open": "undecided"}
    for r, b, h in product(require, benefit, harm):
        got = verdict(
            finding("guard_band_change", require[r]),
            finding("subsonic_level_change", benefit[b]),
            finding("seat_spread_change", harm[h]),
            require=("untouched",),
            benefit=("relief",),
        )
        if b == "shown" and r == "shown" and h != "shown":
            expected = "gain"
        elif b == "shown" and (r == "refuted" or h == "shown"):
            expected = "mixed"
        elif r == "refuted" or b == "refuted":
            expected = "no-gain"
        else:
            expected = "undecided"
        assert got == expected, (r, b, h)


# --- which findings count ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "split",
    [
        {"variant": "shape"},
        {"channel": "left"},
        {"programme": "organ"},
        {"listener": "L1"},
        {"condition": "half"},
        {"reference": "half"},
        {"of": "something"},
        {"seat": "A"},
    ],
    ids=lambda split: next(iter(split)),
)
def test_only_headlines_over_all_of_this_pair_count(split: dict[str, str]) -> None:
    other = finding("subsonic_level_change", "relief", -6.0, **split)
    assert verdict(other, require=(), benefit=("relief",)) == "undecided"


def test_a_corner_counts_wherever_it_was_measured_and_without_a_reference() -> None:
    for said in ({"point": "seat"}, {"point": "amplifier-input"}, {"reference": None}):
        corner = finding("corner_ratio", "as-set", 1.0, **said)
        assert verdict(corner, UNTOUCHED, SEAT_A, SEAT_B, IMPROVED) == "gain"


def test_with_everything_playing_goes_before_the_main_loudspeakers_alone() -> None:
    both = finding("target_deviation_change", "unchanged", 0.0, playing="both", low=-0.1, high=0.1)
    main = finding("target_deviation_change", "improved", -1.0, playing="main", low=-1.2, high=-0.8)
    assert verdict(main, require=(), benefit=("improved",)) == "gain"
    assert verdict(main, both, require=(), benefit=("improved",)) == "no-gain"
    null = finding("target_deviation_change", None, None, playing="both")
    assert verdict(main, null, require=(), benefit=("improved",)) == "undecided"


def test_levels_at_the_amplifiers_output_go_before_those_at_seats() -> None:
    output = finding("level_difference", "matched", 0.0, point="amplifier-output")
    seats = finding("level_difference", "unmatched", 0.5)
    assert states(weigh(seats, output, require=("matched",)), "requirement")["matched"] == "shown"


# --- what is told -----------------------------------------------------------------------------------------------------


def test_the_method_names_every_part_with_its_state_and_finding() -> None:
    method = weigh(*SOUND, IMPROVED, NOT_PREFERRED).findings[0].method
    for words in (
        "a benefit shown, but",
        "as-set shown (corner_ratio 0.99, 0.97 to 1.01, as-set)",
        "untouched shown (guard_band_change 0.1 dB, -0.2 to 0.3, untouched)",
        "no-seat-worse shown (target_deviation_change at all seats below 0.5 dB)",
        "improved shown (target_deviation_change -1.2 dB, -1.6 to -0.8, improved)",
        "relief undecided (subsonic_level_change: no finding)",
        "not-preferred shown (preference_share 0.2, not-preferred)",
    ):
        assert words in method


def test_each_treatment_has_a_balance_of_its_own_and_the_table_holds_all_parts() -> None:
    made = session(conditions=("out", "in", "half"))
    half = [finding(one.quantity, one.verdict, one.value, condition="half") for one in (AS_SET, UNTOUCHED)]
    result = weigh(*SOUND, IMPROVED, *half, made=made)
    assert [(f.condition, f.reference, f.verdict) for f in result.findings] == [
        ("in", "out", "gain"),
        ("half", "out", "undecided"),
    ]
    assert len(set(keys(result.findings))) == 2
    (table,) = result.tables
    assert table.name == "balance"
    assert {"part", "role", "state", "quantity", "value", "low", "high"} <= set(table.columns) == set(table.units)
    rows = {
        (condition, part, role): index
        for index, (condition, part, role) in enumerate(
            zip(table.columns["condition"], table.columns["part"], table.columns["role"], strict=True)
        )
    }
    row = rows["in", "improved", "benefit"]
    assert [table.columns[name][row] for name in ("state", "value", "low", "high", "unit")] == [
        "shown", -1.2, -1.6, -0.8, "dB"
    ]  # fmt: skip
    row = rows["in", "no-seat-worse", "requirement"]
    assert [table.columns[name][row] for name in ("seat", "high")] == ["B", 0.1]  # the seat nearest to the limit


def test_a_required_corner_without_any_filter_is_told() -> None:
    plain = session(chain=Chain(amplifier_input_kohm=47.0))
    assert any("no chain names a filter" in caveat for caveat in weigh(made=plain).findings[0].caveats)
    assert not any("no chain names a filter" in caveat for caveat in weigh().findings[0].caveats)


# --- doubts that decide nothing ---------------------------------------------------------------------------------------

B_WORSE = finding("target_deviation_change", "worse", 0.9, low=0.2, high=1.6, seat="B")


def caveats(*findings: Finding) -> str:
    (found,) = weigh(*findings).findings
    return "; ".join(found.caveats)


def test_a_seat_that_is_worse_by_itself_alone_still_refutes_but_may_be_chance() -> None:
    audits = [finding("seat_audit", "undecided", 0.9, low=-0.1, high=1.9, seat=seat) for seat in "AB"]
    told = (AS_SET, UNTOUCHED, SEAT_A, B_WORSE, IMPROVED)
    assert "worse at B may be chance: 2 seats were looked at" in caveats(*told, *audits)
    assert verdict(*told, *audits) == verdict(*told) == "mixed"
    assert "chance" not in caveats(*told)
    shown = finding("seat_audit", "worse", 0.9, low=0.1, high=1.7, seat="B")
    assert "chance" not in caveats(*told, audits[0], shown)


def test_drift_is_said_and_decides_nothing() -> None:
    drifted = finding("drift", "drifted", 0.9, low=0.6, high=1.2, seat="A", condition="out", reference=None)
    assert "drifted before the end of the session: out at A" in caveats(*SOUND, IMPROVED, drifted)
    assert verdict(*SOUND, IMPROVED, drifted) == "gain"
    steady = finding("drift", "steady", 0.0, low=-0.1, high=0.1, seat="A", condition="out", reference=None)
    assert "drifted" not in caveats(*SOUND, IMPROVED, steady)
    elsewhere = finding("drift", "drifted", 0.9, seat="A", condition="other", reference=None)
    assert "drifted" not in caveats(*SOUND, IMPROVED, elsewhere)
