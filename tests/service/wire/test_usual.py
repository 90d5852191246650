"""The short way never answers differently from the long way."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.units import WIRE_UNITS
from service.wire import senml
from service.wire.resolve import resolve_text
from service.wire.usual import usual_pack

numbers = st.one_of(
    st.floats(),
    st.integers(-(2**60), 2**60),
    st.integers(-5, 2**31),
    st.sampled_from([0, -0.0, 1e-320, 1e308, 2**28, 2**28 - 1, 253_402_300_799, -(2**28)]),
)
names = st.one_of(st.sampled_from(["flange", "bench/1", ":x", "é", "", "a" * 121]), st.text())
units = st.one_of(st.sampled_from([*WIRE_UNITS, "l/min"]), st.text(max_size=3))
odd = st.one_of(st.none(), st.booleans(), st.text(max_size=3), st.lists(numbers, max_size=1))


def mostly(usual: st.SearchStrategy) -> st.SearchStrategy:
    return st.one_of(usual, usual, usual, usual, usual, usual, odd)


labels = {
    "n": mostly(names),
    "u": mostly(units),
    "v": mostly(numbers),
    "t": mostly(numbers),
    "bn": mostly(names),
    "bt": mostly(numbers),
    "bu": mostly(units),
    "boot": mostly(st.text(max_size=70)),
    "seq": mostly(numbers),
    "bv": mostly(numbers),
    "vb": mostly(st.booleans()),
    "vs": mostly(st.text(max_size=5)),
    "s": mostly(numbers),
    "ut": mostly(numbers),
    "x_": mostly(numbers),
    "bver": mostly(st.integers(1, 30)),
}
plain = {label: labels[label] for label in ("n", "u", "v")}
packs = st.lists(
    st.one_of(
        st.fixed_dictionaries(plain, optional={"t": labels["t"]}),
        st.fixed_dictionaries(plain, optional={k: v for k, v in labels.items() if k not in plain}),
        st.fixed_dictionaries({}, optional=labels),
    ),
    max_size=4,
)


def long_way(text: str) -> senml.Pack:
    return senml._measure(resolve_text(text))


@given(packs, st.sampled_from([None, 1, 2]), st.booleans())
def test_the_short_way_agrees_with_the_long(pack, indent, ascii_only):
    text = json.dumps(pack, indent=indent, ensure_ascii=ascii_only)
    short = usual_pack(text)
    assert short is None or short == long_way(text)


@given(st.text(alphabet='[]{}":,nuvt1.e-\\ Cel', max_size=60))
def test_any_text_at_all(text):
    short = usual_pack(text)
    assert short is None or short == long_way(text)


@pytest.mark.parametrize(
    "text",
    [
        '[{"n":"a","u":"Cel","v":1}]',
        '[{"n":"a","u":"Cel","v":1.5,"t":-3}]',
        '[{"bn":"node/","bt":1772000000.5,"bu":"Cel","boot":"7f","seq":12,"n":"a","v":1},'
        '{"n":"b","u":"l/s","v":0.2,"t":1}]',
    ],
)
def test_a_usual_pack_goes_the_short_way(text):
    assert usual_pack(text) == long_way(text) is not None


@pytest.mark.parametrize(
    "text",
    [
        '[{"n":"a","u":"Cel","v":1,"v":2}]',
        '[{"n":"a","u":"Cel","v":NaN}]',
        '[{"n":"a","u":"Cel","v":1e999}]',
        '[{"n":"a","u":"l/min","v":1}]',
        '[{"n":"a","u":"Cel","vs":"open-circuit"}]',
        '[{"n":"a","u":"Cel","v":1,"x_":2}]',
        '[{"n":"a b","u":"Cel","v":1}]',
        '[{"n":"\\u0061","u":"Cel","v":1}]',
        '[{"n":"a","u":"Cel","v":true}]',
        '[{"n":"a","u":"Cel","v":1,"t":false}]',
        '[{"n":["a"],"u":"Cel","v":1}]',
        '[{"n":"a","u":{},"v":1}]',
        '[{"n":0,"u":"Cel","v":1}]',
        "[]",
        "{}",
        "7",
    ],
)
def test_anything_else_goes_the_long_way(text):
    assert usual_pack(text) is None
