"""Checks of what the filter's findings say of a measuring input that loaded the line."""

from __future__ import annotations

from end_to_end.made_rooms import add_takes, unchanged
from end_to_end.session_writer import Folder, high_pass

from fairhearing_builtins.analysers.filter import Filter

from .build_inputs import only
from .build_measured import inputs_of

SET = {"design_corner_hz": 80.0, "setting_kohm": 100.0, "amplifier_input_kohm": 100.0, "bass_given_back": False}
METER = {**SET, "measuring_input_kohm": 100.0}
CAVEAT = (
    "measured with a measuring input of 100 kohm on the line: "
    "by the chain as written it moves the corner by 1.00 octaves"
)


def findings_of(corner_hz, chain, point):
    folder = Folder(id="made-up", seats={"A": 1.0}, chain=chain)
    folder.add_silence()
    said = {"seed": 1, "repeats": 3, "placement_sd_db": 0.02, "point": point}
    add_takes(folder, {"out": unchanged, "in": lambda f: high_pass(f, corner_hz)}, **said)
    return Filter().analyse(inputs_of(folder)).findings


def test_a_corner_that_the_measuring_input_doubled_is_not_called_mis_set():
    found = findings_of(160.0, METER, "amplifier-input")
    ratio = only(found, "corner_ratio")
    assert ratio.verdict == "undecided"
    for quantity in ("corner_frequency", "corner_ratio", "implied_load"):
        assert CAVEAT in only(found, quantity, seat=None, channel=None).caveats
    assert only(findings_of(160.0, SET, "amplifier-input"), "corner_ratio").verdict == "mis-set"


def test_a_corner_that_lies_as_meant_only_with_the_measuring_input_is_not_called_as_set():
    assert only(findings_of(80.0, METER, "amplifier-input"), "corner_ratio").verdict == "undecided"
    assert only(findings_of(80.0, SET, "amplifier-input"), "corner_ratio").verdict == "as-set"


def test_a_corner_that_is_mis_set_either_way_is_called_so():
    assert only(findings_of(400.0, METER, "amplifier-input"), "corner_ratio").verdict == "mis-set"


def test_elsewhere_the_measuring_input_hangs_on_nothing():
    found = findings_of(80.0, METER, "amplifier-output")
    assert only(found, "corner_ratio").verdict == "as-set"
    assert CAVEAT not in only(found, "corner_frequency", seat=None, channel=None).caveats
