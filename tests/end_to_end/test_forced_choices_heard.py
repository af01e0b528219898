"""Triangle, duo-trio, same-different and tetrad sheets through a whole run, against scipy and counts by hand."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from .conftest import Runner
from .finding_list import FindingList
from .session_writer import Folder, grid

HEADERS = {
    "triangle": "order,answer",
    "tetrad": "order,answer",
    "duo-trio": "standard,first,second,answer",
    "same-different": "first,second,answer",
}
# The rows of a round, each with its right answer and a wrong one, as the contract's columns have them.
ROUNDS = {
    "triangle": [("in out out", "1", "2"), ("out in out", "2", "3"), ("in in out", "3", "1"), ("out in in", "1", "3")],
    "tetrad": [("in out out in", "1 4", "1 2"), ("out out in in", "3-4", "1 3"), ("in out in out", "2 4", "2 3"),
               ("out in in out", "2 3", "4 3")],
    "duo-trio": [("in,in,out", "1", "2"), ("in,out,in", "2", "1"), ("out,in,out", "2", "1"), ("out,out,in", "1", "2")],
    "same-different": [("in,in", "same", "different"), ("in,out", "different", "same"),
                       ("out,out", "same", "different"), ("out,in", "different", "same")],
}  # fmt: skip
CHANCE = {"triangle": 1 / 3, "tetrad": 1 / 3, "duo-trio": 1 / 2}
RIGHT = {"p1": 13, "007": 12, "p3": 9}  # of 16 trials each


def sheet(method: str, right: dict[str, int] | None = None) -> tuple[str, str]:
    """A sheet of 16 trials a listener, the last ones wrong; and one trial that nobody answered."""
    rows = []
    for who, n_right in (right or RIGHT).items():
        for number in range(16):
            what, good, bad = ROUNDS[method][number % 4]
            rows.append(f"{who},{number + 1},{what},{good if number < n_right else bad}")
        rows.append(f"{who},17,{ROUNDS[method][0][0]},")
    return method, f"listener,trial,{HEADERS[method]}\n" + "\n".join(rows) + "\n"


def folder(
    identifier: str, *methods: str, louder_db: float | None = 0.0, order: str | None = None, **said: object
) -> Folder:
    """Levels at the amplifier's output that differ by this; None: not measured."""
    right = said.get("right")
    made = Folder(id=identifier, sheets=[sheet(m, right) for m in methods], order=order)  # type: ignore[arg-type]
    if louder_db is not None:
        for condition, level_db in (("out", 70.0), ("in", 70.0 + louder_db)):
            for repeat in range(3):
                error_db = (-0.005, 0.0, 0.005)[repeat]
                made.add(condition, None, repeat + 1, grid(), level_db + error_db, point="amplifier-output")
    return made


@pytest.fixture(scope="module")
def found(run_folders: Runner) -> FindingList:
    folders = [folder(method, method) for method in ROUNDS]
    folders += [folder(f"{method}-loud", method, louder_db=0.6) for method in ROUNDS]
    folders += [folder(f"{method}-alone", method, louder_db=None) for method in ROUNDS]
    folders += [folder(f"{method}-balanced", method, order="balanced") for method in ROUNDS]
    folders += [folder(f"{method}-guessed", method, louder_db=None, right={"a": 6, "b": 5}) for method in ROUNDS]
    return run_folders([*folders, folder("two", "tetrad", "duo-trio")])


@pytest.mark.parametrize("method", ROUNDS)
def test_right_answers_are_heard_with_the_p_and_the_interval_of_scipy(found: FindingList, method: str) -> None:
    one = found.one(method, "proportion_correct")
    assert (one["value"], one["n"], one["verdict"], one["unit"]) == (34 / 48, 48, "heard", "1")
    if method == "same-different":
        # By hand: p1 wrong in the last 3, 007 in 4, p3 in 7 trials; same pairs are the odd trials.
        expected = stats.fisher_exact([[24 - 6, 6], [8, 24 - 8]], alternative="greater").pvalue
    else:
        expected = stats.binomtest(34, 48, CHANCE[method], alternative="greater").pvalue
    assert one["p_value"] == pytest.approx(expected, rel=1e-9)
    shares = np.array([13, 12, 9]) / 16
    half = stats.t.ppf(0.975, 2) * shares.std(ddof=1) / np.sqrt(3)
    exact = stats.binomtest(34, 48).proportion_ci(0.95, method="exact")
    assert one["low"] == pytest.approx(max(0.0, min(shares.mean() - half, exact.low)), rel=1e-9)
    assert one["high"] == pytest.approx(min(1.0, max(shares.mean() + half, exact.high)), rel=1e-9)
    assert any("3 trials without a valid answer" in caveat for caveat in one["caveats"])


@pytest.mark.parametrize("method", ROUNDS)
def test_each_listener_stands_by_code_with_an_exact_interval(found: FindingList, method: str) -> None:
    for who, n_right in RIGHT.items():
        one = found.one(method, "proportion_correct", listener=who)
        exact = stats.binomtest(n_right, 16).proportion_ci(0.95, method="exact")
        assert (one["value"], one["n"]) == (n_right / 16, 16)
        assert (one["low"], one["high"]) == pytest.approx(exact, rel=1e-9)
        if method != "same-different":
            raw = stats.binomtest(n_right, 16, CHANCE[method], alternative="greater").pvalue
            assert one["p_value"] == pytest.approx(raw, rel=1e-9)


@pytest.mark.parametrize("method", ROUNDS)
def test_without_matched_levels_nothing_is_put_down_to_the_change(found: FindingList, method: str) -> None:
    for ending, words in (("loud", "is unmatched (+0.60 dB)"), ("alone", "was not measured")):
        one = found.one(f"{method}-{ending}", "proportion_correct")
        assert one["verdict"] == "not-attributable"
        assert any(words in caveat for caveat in one["caveats"])
    assert found.one(f"{method}-guessed", "proportion_correct")["verdict"] == "not-shown"


@pytest.mark.parametrize("method", ROUNDS)
def test_a_balanced_order_names_its_test_and_a_p_that_is_no_binomial(found: FindingList, method: str) -> None:
    one = found.one(f"{method}-balanced", "proportion_correct")
    named = {
        "triangle": "re-randomisation",
        "tetrad": "re-randomisation",
        "duo-trio": "Fisher",
        "same-different": "Fisher",
    }
    assert named[method] in one["method"]
    assert one["p_value"] != pytest.approx(found.one(method, "proportion_correct")["p_value"], rel=1e-3)
    assert one["verdict"] == "heard"


def test_the_balanced_duo_trio_is_one_stratum_a_listener(found: FindingList) -> None:
    # The match is first in trials 1, 4, 5, 8 …; by hand, wrong in trials 14 to 16, 13 to 16, 10 to 16.
    distribution, right = {0: 1.0}, 0
    for n_right in RIGHT.values():
        first = [number % 4 in (0, 3) for number in range(16)]
        said_first = [place == (number < n_right) for number, place in enumerate(first)]
        both = sum(a and b for a, b in zip(first, said_first, strict=True))
        law = stats.hypergeom(16, sum(first), sum(said_first))
        right += both
        step: dict[int, float] = {}
        for total, weight in distribution.items():
            for k in range(9):
                step[total + k] = step.get(total + k, 0.0) + weight * law.pmf(k)
        distribution = step
    expected = sum(weight for total, weight in distribution.items() if total >= right)
    assert found.one("duo-trio-balanced", "proportion_correct")["p_value"] == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("method", ["triangle", "tetrad", "duo-trio"])
def test_d_prime_gives_the_proportion_back_by_simulated_percepts(found: FindingList, method: str) -> None:
    one = found.one(method, "d_prime")
    generator = np.random.default_rng(12)
    strong, weak = generator.normal(one["value"], 1, (2, 200_000)), generator.normal(0, 1, (2, 200_000))
    if method == "tetrad":
        right = (strong.min(axis=0) > weak.max(axis=0)) | (strong.max(axis=0) < weak.min(axis=0))
    elif method == "triangle":
        pair = abs(weak[0] - weak[1])
        right = (pair < abs(strong[0] - weak[0])) & (pair < abs(strong[0] - weak[1]))
    else:
        right = abs(strong[1] - strong[0]) < abs(strong[1] - weak[0])
    assert right.mean() == pytest.approx(34 / 48, abs=0.0041)  # four standard errors
    assert one["low"] < one["value"]


def test_same_different_has_both_models_from_hits_and_false_alarms(found: FindingList) -> None:
    one = found.one("same-different", "d_prime")
    # By hand, as above: 6 of 24 same pairs and 16 of 24 different ones were called different.
    criterion = stats.chi2.isf(6 / 24, 1)
    assert stats.ncx2.sf(criterion, 1, one["value"] ** 2 / 2) == pytest.approx(16 / 24, rel=1e-7)
    assert found.one("same-different", "d_prime", variant="independent")["value"] < one["value"]


def test_positions_are_told_of_duo_trios_and_triangles(found: FindingList) -> None:
    # By hand: the first is right in trials 1 and 4 of 4, wrong in the others' wrong ones.
    first = sum((number % 4 in (0, 3)) == (number < n) for n in RIGHT.values() for number in range(16))
    assert found.one("duo-trio", "first_position_share", of="proportion_correct")["value"] == first / 48
    shares = [found.one("triangle", "position_share", of="proportion_correct", variant=v)["value"]
              for v in ("first", "second", "third")]  # fmt: skip
    assert sum(shares) == pytest.approx(1.0, abs=1e-12)


def test_of_two_methods_the_first_entry_speaks(found: FindingList) -> None:
    assert "tetrad" in found.one("two", "proportion_correct")["method"]
    assert found.one("two", "proportion_correct", variant="duo-trio")["n"] == 48
    assert "duo-trio" in found.one("two", "d_prime", variant="duo-trio")["method"]
