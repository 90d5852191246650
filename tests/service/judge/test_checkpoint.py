"""A judge restored from a checkpoint goes on to the letter; nothing else is ever taken for one."""

from __future__ import annotations

import json
import zlib
from collections import deque
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from service.judge import actions as act
from service.judge.checkpoint import FORMAT, CheckpointError, decode, encode
from service.judge.events import Event, Outcome
from service.judge.judge import Judge
from service.judge.sense import SenseTrack
from service.judge.shop import Channel, Shop
from service.judge.state import JudgeState
from service.readings import ChannelKind, Quality, Reading

VERSION = "1 test"


def kept(judge: Judge) -> bytes:
    return encode((judge.state, judge.gate), VERSION)


def restored(judge: Judge) -> Judge:
    return Judge(*decode(kept(judge), VERSION))


# A shop's quarter of an hour in four minutes --------------------------------------------------


@dataclass
class Told:
    """A story: its events, and what the gate was asked before each reading."""

    events: list[Event]
    asked: list[tuple[Any, ...]]


def tell(stage: Any) -> Told:
    """Two parts: oven, a carry with the probe off, purge with a sensor, sensor faults, a pass, an
    acknowledged alarm, a clock set right, slow cool."""
    asked: list[tuple[Any, ...]] = []
    plain_sense = stage.judge.sense

    def sense(*given: Any) -> tuple[Quality, str | None]:
        asked.append(given)
        return plain_sense(*given)

    stage.judge.sense = sense
    heat = {"c": 260.0, "loss": -0.4}

    def probe(t_s: float) -> float | str | None:
        heat["c"] -= heat["loss"]
        if 145 < t_s < 160:
            return "open-circuit"
        odd = {45: "open-circuit", 100: 0.0, 101: 85.0, 140: 990.0, 141: None}
        return odd.get(int(t_s), round(heat["c"] + ((int(t_s) * 7919) % 13 - 6) * 0.05, 2))

    stage.act(act.ServiceStarted(version="test", offset_us=0))
    stage.sources = {
        "tc1": probe,
        "tc2": lambda t_s: None if 120 < t_s < 140 else 200.0 + t_s / 4,
        "room1": lambda t_s: 19.0 + t_s / 500,
        "flow1": lambda t_s: 9.0 if 75 < t_s < 190 else 0.0,
        "oxygen1": lambda t_s: max(20.0, 209_000 * 0.95 ** max(0.0, t_s - 75)),
    }
    limits = act.Limits(
        preheat_min_c=200, interpass_max_c=320, cooling_max_c_per_h=300, oxygen_max_ppm=500
    )
    names = {"tc1": "thermocouple", "flow1": "gas flow", "oxygen1": "oxygen", "room1": "ambient"}
    stage.part(1, names, limits, cavity_volume_l=1.2, hose_volume_l=0.3)
    stage.part(2, {"tc2": "thermocouple"}, limits)
    stage.act(act.BeginHeat(heat_id=1, part_id=1))
    stage.act(act.BeginHeat(heat_id=2, part_id=2))
    stage.run(40)
    stage.act(act.MovePart(heat_id=1, phase="carry"))
    heat["loss"] = 0.35
    stage.run(25)
    stage.act(act.MovePart(heat_id=1, phase="bench"))
    stage.run(10)
    stage.act(act.BeginPurge(heat_id=1))
    stage.run(45)
    stage.offset_us = 3_600_000_000
    stage.act(act.ClockStepped(offset_us=stage.offset_us))
    stage.act(act.BeginPass(heat_id=1))
    stage.run(15)
    stage.act(act.EndPass(heat_id=1))
    stage.run(45)
    alarm = stage.alarms[-1]
    stage.act(act.AcknowledgeAlarm(alarm_id=alarm.alarm_id, token="tap"))
    stage.run(10)
    stage.act(act.EndPurge(heat_id=1))
    stage.act(act.MovePart(heat_id=1, phase="slow cool"))
    stage.run(20)
    stage.act(act.EndHeat(heat_id=2))
    stage.run(10)
    return Told(stage.events, asked)


@pytest.fixture(scope="module")
def told() -> Told:
    from tests.service.judge.conftest import Stage

    return tell(Stage())


def play(told: Told, cuts: set[int]) -> tuple[list[Outcome], list[object], list[str], bytes]:
    """The story with the judge kept and restored before each of the events in ``cuts``.

    Returns:
        Outcomes, what the gate said, the bench answer after every 20th event, and the final state.
    """
    judge, outcomes, said, benches = Judge(), [], [], []
    asked = iter(told.asked)
    for place, event in enumerate(told.events):
        if place in cuts:
            judge = restored(judge)
        if isinstance(event, Reading):
            said.append(judge.sense(*next(asked)))
        outcomes.append(judge.step(event))
        if place % 20 == 0:
            benches.append(json.dumps(judge.bench()))
    return outcomes, said, benches, kept(judge)


@pytest.fixture(scope="module")
def unbroken(told: Told) -> tuple[list[Outcome], list[object], list[str], bytes]:
    return play(told, set())


def test_the_story_holds_what_a_checkpoint_must_survive(told: Told, unbroken: Any) -> None:
    """Else the tests below would prove little."""
    outcomes, said, _, _ = unbroken
    assert {quality for quality, _ in said} == set(Quality)
    assert len({change.kind for outcome in outcomes for change in outcome.alarms}) >= 2
    assert sum(len(outcome.verdicts) for outcome in outcomes) > 10


def test_restored_again_and_again_it_goes_on_to_the_letter(told: Told, unbroken: Any) -> None:
    assert play(told, set(range(0, len(told.events), 97))) == unbroken


@settings(
    max_examples=3, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(data=st.data())
def test_wherever_it_is_cut_it_goes_on_to_the_letter(
    told: Told, unbroken: Any, data: st.DataObject
) -> None:
    places = st.integers(0, len(told.events) - 1)
    cuts = data.draw(st.sets(places, min_size=1, max_size=30))
    assert play(told, cuts) == unbroken


# The bytes ------------------------------------------------------------------------------------

_LEAVES = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.floats(allow_nan=False),
    st.text(),
    st.sampled_from([*Quality, *ChannelKind]),
    st.builds(Channel, st.text(), st.sampled_from([None, *ChannelKind]), st.none()),
    st.builds(SenseTrack, st.none() | st.floats(allow_nan=False), st.integers()),
)
_KEYS = st.text() | st.integers() | st.tuples(st.text(), st.integers())
_VALUES = st.recursive(
    _LEAVES,
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.lists(inner, max_size=4).map(tuple)
        | st.lists(inner, max_size=4).map(lambda items: deque(items, 7))
        | st.dictionaries(_KEYS, inner, max_size=4)
    ),
    max_leaves=20,
)


@given(_VALUES)
def test_every_plain_value_comes_back_as_it_was(value: object) -> None:
    found = decode(encode(value, VERSION), VERSION)
    assert found == value
    assert repr(found) == repr(value), "types, signs of zero and orders too"


@given(st.sets(st.text()), st.frozensets(st.integers()))
def test_sets_come_back_and_are_always_the_same_bytes(
    words: set[str], numbers: frozenset[int]
) -> None:
    found = decode(encode([words, numbers], VERSION), VERSION)
    assert found == [words, numbers]
    assert type(found[1]) is frozenset
    again = set(words)
    assert encode([again, numbers], VERSION) == encode([words, numbers], VERSION)


@pytest.mark.parametrize("number", [float("inf"), float("-inf"), -0.0, 5e-324, 0.1 + 0.2])
def test_numbers_come_back_to_the_last_bit(number: float) -> None:
    assert repr(decode(encode(number, VERSION), VERSION)) == repr(number)
    assert np.isnan(decode(encode(float("nan"), VERSION), VERSION))


@pytest.mark.parametrize("dtype", ["<f8", "<i8", "|b1", "<f4"])
def test_arrays_come_back_writable_and_exact(dtype: str) -> None:
    array = (np.arange(24).reshape(2, 3, 4) / 7).astype(dtype)[:, ::2]
    found = decode(encode(array, VERSION), VERSION)
    assert found.dtype == array.dtype
    assert np.array_equal(found, array)
    found[0, 0, 0] = 1


@pytest.mark.parametrize("value", [object(), lambda: 1, np.random.default_rng(1), b"bytes"])
def test_what_is_not_plain_is_refused_by_name(value: object) -> None:
    with pytest.raises(TypeError, match="a checkpoint cannot hold"):
        encode([value], VERSION)


def test_another_version_is_refused() -> None:
    with pytest.raises(CheckpointError, match="version 1 test; this is format 2, version 2 test"):
        decode(encode(1, VERSION), "2 test")


def forged(state: object, **changes: object) -> bytes:
    document = {"format": FORMAT, "version": VERSION, "state": state} | changes
    return zlib.compress(json.dumps(document).encode())


@pytest.mark.parametrize(
    "state",
    [
        {"$": "object", "class": "subprocess:Popen", "fields": {}},
        {"$": "object", "class": "service.store.database:Store", "fields": {}},
        {"$": "object", "class": "service.judge.judge:no_such", "fields": {}},
        {"$": "object", "class": "service.judge.nothing:Shop", "fields": {}},
        {"$": "object", "class": "service.judge.judge:UNPROVEN", "fields": {}},
        {"$": "object", "class": "service.judge.shop:Channel", "fields": {"name": "a"}},
        {"$": "model", "class": "service.judge.shop:Channel", "value": {}},
        {"$": "enum", "class": "service.readings:Quality", "value": "perfect"},
        {"$": "enum", "class": "service.judge.shop:Channel", "value": "x"},
        {"$": "pickle", "data": "gASVAAAA"},
        {"$": "array", "dtype": "|O", "shape": [1], "data": "AAAAAAAAAAA="},
        {"$": "array", "dtype": "<f8", "shape": [3], "data": "AAAAAAAAAAA="},
        {"no tag": 1},
    ],
)
def test_only_our_own_plain_classes_are_made(state: object) -> None:
    with pytest.raises(CheckpointError):
        decode(forged(state), VERSION)


@pytest.mark.parametrize("data", [b"", b"\0" * 50, b"{}", zlib.compress(b"{"), zlib.compress(b"7")])
def test_rubbish_is_refused(data: bytes) -> None:
    with pytest.raises(CheckpointError):
        decode(data, VERSION)


@given(st.data())
def test_a_damaged_byte_never_makes_another_state(data: st.DataObject) -> None:
    """Adler-32 of RFC 1950 covers the text; deflate and the header catch the rest."""
    whole = encode(JudgeState(shop=Shop(next_part_id=12)), VERSION)
    at = data.draw(st.integers(0, len(whole) - 1))
    flip = data.draw(st.integers(1, 255))
    damaged = whole[:at] + bytes([whole[at] ^ flip]) + whole[at + 1 :]
    try:
        found = decode(damaged, VERSION)
    except CheckpointError:
        return
    assert encode(found, VERSION) == whole, "the damage did not touch what is read"
