"""What the shop accepts and what it refuses, with its sentence."""

from __future__ import annotations

from copy import deepcopy

import pytest
from pydantic import TypeAdapter

from service.judge.actions import Action, any_action
from service.judge.events import Refused, Stamp
from service.judge.shop import Shop, guess_kind
from service.judge.shop_rules import TOKENS_REMEMBERED, apply, check
from service.readings import ChannelKind


def do(shop, *actions):
    for action in actions:
        apply(shop, Stamp(1, 1000, 2000), any_action.validate_python(action))


def part(number=1, **more):
    return {"kind": "create part", "part_id": number, "facts": {"name": f"Part {number}"}, **more}


def adopt(name, kind):
    return {"kind": "adopt channel", "channel": name, "channel_kind": kind}


def heat(kind, **more):
    return {"kind": kind, "heat_id": 1, **more}


BEGUN = [part(), heat("begin heat", part_id=1)]
ON_BENCH = [*BEGUN, heat("move part", phase="bench")]
WELDING = [*ON_BENCH, heat("begin pass")]

REFUSED = [
    ([], part(0), "Part number 0"),
    ([part()], part(1), "Part number 1"),
    ([], {"kind": "change part", "part_id": 3, "facts": {"name": "x"}}, "no part 3"),
    ([], {"kind": "set limits", "part_id": 3, "limits": {}}, "no part 3"),
    ([], heat("begin heat", part_id=3), "no part 3"),
    ([part()], heat("begin heat", part_id=1) | {"heat_id": 0}, "Heat number 0"),
    (BEGUN, heat("begin heat", part_id=1) | {"heat_id": 2}, "already in a heat"),
    (
        [*BEGUN, part(2), heat("end heat")],
        heat("begin heat", part_id=2),
        "Heat number 1",
    ),
    ([part()], {"kind": "assign channel", "channel": "tc", "part_id": 1}, "Say first"),
    (
        [adopt("tc", "thermocouple")],
        {"kind": "assign channel", "channel": "tc", "part_id": 9},
        "no part 9",
    ),
    (
        [
            part(),
            adopt("f1", "gas flow"),
            adopt("f2", "gas flow"),
            {"kind": "assign channel", "channel": "f1", "part_id": 1},
        ],
        {"kind": "assign channel", "channel": "f2", "part_id": 1},
        "already has the gas flow channel f1",
    ),
    ([], heat("move part", phase="bench"), "no heat 1"),
    (BEGUN, heat("move part", phase="oven"), "already in the phase 'oven'"),
    (WELDING, heat("move part", phase="slow cool"), "pass is running"),
    (WELDING, heat("end heat"), "pass is running"),
    ([*BEGUN, heat("end heat")], heat("end heat"), "Heat 1 has ended"),
    ([*BEGUN, heat("end heat")], heat("begin purge"), "Heat 1 has ended"),
    ([*BEGUN, heat("begin purge")], heat("begin purge"), "already running"),
    (BEGUN, heat("end purge"), "No purge is running"),
    (BEGUN, heat("begin pass"), "in the phase 'oven'"),
    (WELDING, heat("begin pass"), "already running"),
    (ON_BENCH, heat("end pass"), "No pass is running"),
]


@pytest.mark.parametrize(("before", "action", "words"), REFUSED)
def test_refused_with_one_sentence_and_nothing_changed(before, action, words):
    shop = Shop()
    do(shop, *before)
    was = deepcopy(shop)
    with pytest.raises(Refused, match=words) as refusal:
        do(shop, action)
    assert shop == was
    sentence = str(refusal.value)
    assert sentence[0].isupper()
    assert sentence.endswith(".")


def test_a_whole_heat():
    shop = Shop()
    do(shop, *WELDING, heat("end pass"), heat("begin purge"), heat("end heat"))
    trip = shop.heats[1]
    assert trip.passes == 1
    assert not trip.pass_running
    assert not trip.purge_running, "ending the heat ends the purge"
    assert trip.ended_us == 1000
    assert shop.open_heats() == []
    do(shop, heat("begin heat", part_id=1) | {"heat_id": shop.next_heat_id})
    assert shop.heat_of(1).id == 2


def test_ids_are_never_offered_twice():
    shop = Shop()
    do(shop, part(7))
    assert shop.next_part_id == 8
    do(shop, heat("begin heat", part_id=7) | {"heat_id": 4}, heat("end heat") | {"heat_id": 4})
    assert shop.next_heat_id == 5


def test_the_same_token_is_one_action():
    shop = Shop()
    first = any_action.validate_python({**part(1), "token": "tap"})
    assert apply(shop, Stamp(1, 1, 1), first)
    again = any_action.validate_python({**part(2), "token": "tap"})
    assert not apply(shop, Stamp(2, 2, 2), again)
    assert shop.seen("tap") == 1
    assert list(shop.parts) == [1]


def test_a_refused_action_may_be_sent_again_with_its_token():
    shop = Shop()
    tap = {**heat("begin heat", part_id=1), "token": "t"}
    with pytest.raises(Refused):
        do(shop, tap)
    do(shop, part(), tap)
    assert shop.heat_of(1) is not None


def test_tokens_are_forgotten_in_the_end():
    shop = Shop()
    for number in range(TOKENS_REMEMBERED + 5):
        do(shop, {**adopt("tc", "thermocouple"), "token": str(number)})
    assert len(shop.tokens) == TOKENS_REMEMBERED
    assert shop.seen("0") is None
    assert shop.seen(str(TOKENS_REMEMBERED)) == 0


def test_old_heats_are_forgotten_but_never_open_ones():
    shop = Shop()
    do(shop, part(1), part(2), heat("begin heat", part_id=1))
    for number in range(2, 400):
        do(
            shop,
            {"kind": "begin heat", "part_id": 2, "heat_id": number},
            {"kind": "end heat", "heat_id": number},
        )
    assert shop.heat_of(1).id == 1
    assert len(shop.heats) < 210


@pytest.mark.parametrize(
    ("unit", "kind"),
    [
        ("Cel", ChannelKind.THERMOCOUPLE),
        ("l/min", ChannelKind.GAS_FLOW),
        ("ppm", ChannelKind.OXYGEN),
        ("Pa", ChannelKind.BOTTLE_PRESSURE),
        ("A", ChannelKind.ARC),
        ("on/off", ChannelKind.BUTTON),
        ("mV", ChannelKind.THERMOCOUPLE),
        (None, None),
    ],
)
def test_the_unit_hints_at_the_kind(unit, kind):
    assert guess_kind(unit) is kind


def test_every_action_has_a_rule_or_is_about_an_alarm_or_a_promise():
    kinds = {s["$ref"].split("/")[-1] for s in TypeAdapter(Action).json_schema()["oneOf"]}
    from service.judge.shop_rules import _RULES

    assert kinds - {rule.__name__ for rule in _RULES} == {
        "AcknowledgeAlarm",
        "SetBottle",  # the bottle is counted beside the shop
        "UpdateTimeTold",
    }


def test_check_changes_nothing():
    shop = Shop()
    do(shop, part())
    was = deepcopy(shop)
    check(shop, any_action.validate_python(heat("begin heat", part_id=1)))
    assert shop == was
