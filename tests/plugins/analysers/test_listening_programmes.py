"""Checks of what is said of listening to programmes that cannot show the filter."""

from __future__ import annotations

from fairhearing.api import Finding
from fairhearing_builtins.analysers.forced_choice import ForcedChoice
from fairhearing_builtins.analysers.preference import Preference

from .build_inputs import inputs, matched, session, sheet


def share(programme, value, point="amplifier-output", condition="in", reference="out"):
    return Finding(
        quantity="energy_share_below_corner", value=value, unit="1", method="made up", condition=condition,
        reference=reference, point=point, programme=programme, caveats=("made up",),
    )  # fmt: skip


def rows(programmes):
    return [
        {"listener": who, "trial": str(index), "programme": name, "seat": None, "x": "in", "answer": "in"}
        for who in ("p", "q") for index, name in enumerate(programmes, 1)
    ]  # fmt: skip


def told(programmes, *shares):
    result = ForcedChoice().analyse(
        inputs(session(), sheets=(sheet("abx", rows(programmes)),), findings=(matched(), *shares))
    )
    over_all = next(f for f in result.findings if f.quantity == "proportion_correct" and f.listener is None)
    return [caveat for caveat in over_all.caveats if "cannot show the filter" in caveat]


def test_trials_with_a_programme_without_bass_are_told():
    assert told(["choir", "organ"], share("choir", 0.017), share("organ", 0.8)) == [
        "choir has only 1.7 % of its energy below the corner: trials with it cannot show the filter"
    ]


def test_if_all_that_was_listened_to_is_such_the_whole_result_is_told():
    (caveat,) = told(["choir", "flute"], share("choir", 0.017), share("flute", 0.099), share("organ", 0.8))
    assert caveat.startswith("all that was listened to has less than 10 % of its energy below the corner")
    assert "choir 1.7 %, flute 9.9 %" in caveat


def test_a_tenth_of_the_energy_is_enough():
    assert told(["organ"], share("organ", 0.1)) == []


def test_what_nobody_measured_is_not_told():
    assert told(["organ"]) == []
    assert told(["organ"], share("choir", 0.01), share("organ", None)) == []


def test_what_was_recorded_goes_before_a_forecast():
    assert told(["organ"], share("organ", 0.05, "programme"), share("organ", 0.3)) == []


def test_another_pairs_corner_is_not_meant():
    assert told(["organ"], share("organ", 0.05, condition="wide")) == []


def test_trials_that_name_no_programme_go_by_the_mean_over_programmes():
    assert len(told([None], share(None, 0.05), share("organ", 0.5))) == 1


def test_preferences_are_told_alike():
    trials = [{"listener": who, "trial": "1", "programme": "choir", "first": "in", "second": "out", "preferred": "in"}
              for who in "pqrstu"]  # fmt: skip
    result = Preference().analyse(
        inputs(session(), sheets=(sheet("paired-preference", trials),), findings=(matched(), share("choir", 0.017)))
    )
    shares = [f for f in result.findings if f.quantity == "preference_share"]
    assert len(shares) == 7
    assert all(any("cannot show the filter" in caveat for caveat in f.caveats) for f in shares)
