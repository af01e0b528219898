"""Checks of the table of the chain: every key in words, the states of the equipment, what changed."""

from __future__ import annotations

from dataclasses import fields, replace

from fairhearing.api import Chain, Equipment
from fairhearing_builtins.reporters import words
from fairhearing_builtins.reporters.sections import state_rows

from .build_report import session

SESSION = session("hall", setting_kohm=47.0, question="Is it set right?")
OUT, IN = SESSION.reference, SESSION.treatments[0]


def test_every_key_of_chain_and_equipment_has_words() -> None:
    keys = {one.name for part in (Chain, Equipment) for one in fields(part)}
    assert keys == set(words.CHAIN_NAMES)


def test_the_states_of_the_equipment_stand_in_the_table() -> None:
    chain = replace(IN.chain, tap_kohm=(150.0, 220.0), balanced=True)
    equipment = Equipment(filter="in", boost="on", subwoofer_level_db=-3.0, subwoofer_polarity="inverted")
    rows = dict(state_rows(replace(IN, chain=chain, equipment=equipment), SESSION))
    assert rows["Filter"] == "in"
    assert rows["Level of the subwoofer, dB"] == "\u22123"
    assert rows["Taps behind the capacitor, kΩ"] == "150, 220"
    assert rows["Balanced, a capacitor in each leg"] == "yes"
    changed = rows[f"Changed against {OUT.label}"].split("; ")
    for name in ("the filter", "the boost", "Polarity of the subwoofer", "Taps behind the capacitor, kΩ"):
        assert name in changed


def test_the_reference_is_not_compared_with_itself() -> None:
    assert not [name for name, _ in state_rows(OUT, SESSION) if name.startswith("Changed")]


def test_a_condition_of_which_nothing_is_said_has_no_rows() -> None:
    assert state_rows(replace(IN, chain=Chain(), equipment=Equipment()), SESSION) == ()
