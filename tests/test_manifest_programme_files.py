"""Checks of programme files in session.toml: what they are, and what an entry of them must not say."""

from __future__ import annotations

import pytest
from session_text import HEAD, loaded

BASE = f"""{HEAD}[seats.A]
[conditions.out]
reference = true
[conditions.in]
[[measurements]]
files = "programmes/{{programme}}.wav"
kind = "recording"
point = "programme"
"""


FILES = ("programmes/organ.wav", "programmes/choir.wav")


def test_a_programme_file_has_no_condition_and_no_seat(tmp_path):
    found = loaded(tmp_path, BASE + "full_scale_v = 40.0\n", FILES)
    assert found.problems == ()
    assert found.session is not None
    files = found.session.measurements
    assert [(f.programme, f.condition, f.seat, f.point, f.full_scale_v) for f in files] == [
        ("choir", None, None, "programme", 40.0), ("organ", None, None, "programme", 40.0)
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("more", "words", "line"),
    [
        ('condition = "in"', "what is played in every condition", 14),
        ('seat = "A"', "heard at no seat", 14),
        ('playing = "main"', "not what it is played through", 14),
        ('repeats = "in-place"', "nothing to repeat", 14),
        ("full_scale_pa = 20.0", "full_scale_v says what it is", 14),
        ("closing = true", "nothing drifts in it", 14),
    ],
)
def test_what_no_programme_file_has_is_told_with_its_line(tmp_path, more, words, line):
    problems = loaded(tmp_path, f"{BASE}{more}\n", FILES).problems
    (problem,) = [one for one in problems if words in one.what]
    assert problem.where == f"session.toml, line {line}"
    assert "does not belong to point = 'programme'" in problem.what
    assert problem.try_ == "leave the line out"


def test_other_kinds_have_no_such_point(tmp_path):
    problems = loaded(tmp_path, BASE.replace('kind = "recording"', 'kind = "response"'), FILES).problems
    (problem,) = problems
    assert (
        problem.what
        == "point = 'programme' in [[measurements]] is for recordings, and the kind of this entry is 'response'"
    )
    assert problem.where == "session.toml, line 13"


def test_a_condition_in_the_name_is_told(tmp_path):
    text = BASE.replace("{programme}", "{programme}_{condition}")
    problems = loaded(tmp_path, text, ("programmes/organ_in.wav", "programmes/organ_out.wav")).problems
    assert "has {condition}, and point = 'programme' has none" in problems[0].what
    assert problems[0].where == "session.toml, line 11"


def test_two_files_of_one_programme_are_the_same_take(tmp_path):
    text = BASE.replace("{programme}.wav", "{repeat}.wav").replace("kind =", 'programme = "organ"\nkind =')
    problems = loaded(tmp_path, text, FILES).problems
    assert any("has {repeat}" in problem.what for problem in problems)
