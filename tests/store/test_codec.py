"""What goes into the store as text comes back as it was, and equal values give equal text."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fairhearing import result, session
from fairhearing.result import AnalyserResult, ChartRequest, Finding, Table
from fairhearing.session import Criteria, Session
from fairhearing.store.codec import decode, encode

FINITE = st.floats(allow_nan=False, allow_infinity=False)
# Surrogates are no characters: no file of UTF-8 holds one.
TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=8)
CELLS = st.one_of(st.none(), st.booleans(), st.integers(-(2**60), 2**60), FINITE, TEXT)
COLUMNS = st.dictionaries(TEXT, st.lists(CELLS, max_size=3).map(tuple), max_size=3)

st.register_type_strategy(float, FINITE)
st.register_type_strategy(str, TEXT)
st.register_type_strategy(Path, TEXT.map(lambda text: Path("folder") / text.replace("/", "").replace("\0", "")))


def tables() -> st.SearchStrategy[Table]:
    return st.builds(Table, name=TEXT, columns=COLUMNS, units=st.dictionaries(TEXT, TEXT, max_size=3))


def charts() -> st.SearchStrategy[ChartRequest]:
    return st.builds(ChartRequest, data=COLUMNS)


def findings() -> st.SearchStrategy[Finding]:
    return st.builds(Finding, caveats=st.lists(TEXT, min_size=1, max_size=2).map(tuple))


def results() -> st.SearchStrategy[AnalyserResult]:
    inner = st.builds(
        result.Result,
        findings=st.lists(findings(), max_size=2).map(tuple),
        tables=st.lists(tables(), max_size=2).map(tuple),
        charts=st.lists(charts(), max_size=1).map(tuple),
    )
    return st.builds(AnalyserResult, result=inner)


def same(first: object, second: object) -> bool:
    """Equal, and of the same types all the way down: 1 is not 1.0, a list is no tuple."""
    if type(first) is not type(second):
        return False
    if dataclasses.is_dataclass(first):
        return all(same(getattr(first, f.name), getattr(second, f.name)) for f in dataclasses.fields(first))
    if isinstance(first, dict):
        return list(first) == list(second) and all(same(first[key], second[key]) for key in first)
    if isinstance(first, tuple):
        return len(first) == len(second) and all(map(same, first, second))
    return first == second


def sorted_keys(value: object) -> object:
    """With mappings in the order of their keys, which is the one that text has."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        changed = {f.name: sorted_keys(getattr(value, f.name)) for f in dataclasses.fields(value)}
        return dataclasses.replace(value, **changed)
    if isinstance(value, dict):
        return {key: value[key] for key in sorted(value)}
    return tuple(map(sorted_keys, value)) if isinstance(value, tuple) else value


@given(st.builds(Session))
def test_a_session_comes_back_as_it_was(value: Session) -> None:
    assert same(decode(Session, encode(value)), value)


@given(results())
def test_a_result_comes_back_as_it_was(value: AnalyserResult) -> None:
    assert same(decode(AnalyserResult, encode(value)), sorted_keys(value))


@given(results())
def test_equal_results_give_equal_text(value: AnalyserResult) -> None:
    text = encode(value)
    assert encode(decode(AnalyserResult, text)) == text
    assert json.loads(text)["analyser"] == value.analyser


def test_a_whole_number_where_a_float_is_meant_comes_back_as_a_float() -> None:
    criteria = decode(Criteria, '{"guard_db": 1, "bass_band_hz": [20, 200]}')
    assert same(criteria.guard_db, 1.0)
    assert same(criteria.bass_band_hz, (20.0, 200.0))


def test_a_chain_and_a_condition_of_an_older_store_have_their_defaults() -> None:
    """As they were written before there were taps and equipment."""
    older = (
        '{"id":"in","label":"Filter in","reference":false,"trim_db":0.5,"chain":{"design_corner_hz":90,'
        '"setting_kohm":47,"capacitance_nf":null,"amplifier_input_kohm":47,"source_output_ohm":null,'
        '"cable_capacitance_pf":300,"loudspeaker_ohm":null,"bass_given_back":true}}'
    )
    chain = session.Chain(
        design_corner_hz=90.0,
        setting_kohm=47.0,
        amplifier_input_kohm=47.0,
        cable_capacitance_pf=300.0,
        bass_given_back=True,
    )
    expected = session.Condition(id="in", label="Filter in", trim_db=0.5, chain=chain)
    assert same(decode(session.Condition, older), expected)
    assert expected.equipment == session.Equipment()


def test_taps_and_equipment_come_back_as_they_were() -> None:
    value = session.Condition(
        id="in",
        label="in",
        chain=session.Chain(tap_kohm=(150.0, 220.0), tap_before_kohm=(), balanced=True),
        equipment=session.Equipment(filter="in", boost="on", boost_db=12.0, subwoofer_polarity="inverted"),
    )
    assert same(decode(session.Condition, encode(value)), value)


def test_a_key_of_a_later_version_is_left_out() -> None:
    assert decode(session.Room, '{"id": "hall", "colour": "grey"}') == session.Room(id="hall")


@pytest.mark.parametrize("value", [np.float32(1.5), np.int64(2), np.zeros(3), {1, 2}, object()])
def test_what_cannot_be_kept_is_refused(value: object) -> None:
    with pytest.raises(TypeError, match=type(value).__name__):
        encode(Table(name="t", columns={"a": [value]}, units={}))


@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_a_number_that_is_not_finite_is_refused(value: float) -> None:
    with pytest.raises(ValueError, match="not JSON compliant"):
        encode(Table(name="t", columns={"a": [value]}, units={}))
