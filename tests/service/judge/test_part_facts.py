"""What is known of a part: a name is enough, nothing is filled in, what is said stays as said."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from service.judge import actions as act
from service.judge import shop_rules
from service.judge.events import Stamp
from service.judge.shop import Shop

FACTS = st.builds(
    act.PartFacts,
    name=st.text(min_size=1, max_size=80),
    thickest_mm=st.none() | st.floats(0.1, 300),
    joint_wall_mm=st.none() | st.floats(0.1, 300),
    joining_metal=st.none() | st.text(min_size=1, max_size=80),
    filler=st.none() | st.text(min_size=1, max_size=80),
    method=st.sampled_from([None, "hot", "cold"]),
    size_known=st.sampled_from([None, "weighed and measured", "by eye", "like another part"]),
    cavity_known=st.sampled_from([None, "filled with water", "worked out", "by eye"]),
)


def stamp(seq: int) -> Stamp:
    return Stamp(seq=seq, mono_us=seq * 1_000_000, utc_us=seq * 1_000_000)


def said(shop: Shop, names: set[str]) -> dict[str, object]:
    return {name: getattr(shop.parts[1], name) for name in names}


def test_a_name_is_enough_and_nothing_is_filled_in():
    shop = Shop()
    shop_rules.apply(shop, stamp(1), act.CreatePart(part_id=1, facts=act.PartFacts(name="elbow")))
    known = said(shop, set(act.PartFacts.model_fields)) | said(shop, set(act.Limits.model_fields))
    assert known.pop("name") == "elbow"
    assert known.pop("metal") == "iron, unknown"
    assert known.pop("hose_volume_l") == 0.0
    assert set(known.values()) == {None}


@given(first=FACTS, second=FACTS)
def test_what_is_said_stands_exactly_and_comes_back_from_the_journal(first, second):
    shop = Shop()
    done: list[act.Action] = [
        act.CreatePart(part_id=1, facts=first),
        act.ChangePart(part_id=1, facts=second),
    ]
    for number, action in enumerate(done, 1):
        kept = act.any_action.validate_json(action.model_dump_json())
        assert kept == action
        shop_rules.apply(shop, stamp(number), kept)
    assert said(shop, set(act.PartFacts.model_fields)) == second.model_dump()


@given(first=FACTS, second=FACTS)
def test_the_same_token_twice_is_one_change(first, second):
    shop = Shop()
    shop_rules.apply(shop, stamp(1), act.CreatePart(part_id=1, facts=first))
    assert shop_rules.apply(shop, stamp(2), act.ChangePart(part_id=1, facts=second, token="x"))
    shop_rules.apply(shop, stamp(3), act.ChangePart(part_id=1, facts=first))
    repeated = act.ChangePart(part_id=1, facts=second, token="x")
    assert not shop_rules.apply(shop, stamp(4), repeated)
    assert said(shop, set(act.PartFacts.model_fields)) == first.model_dump()


def test_an_action_kept_before_these_facts_existed_is_still_read():
    old = b'{"kind":"create part","part_id":1,"facts":{"name":"elbow","mass_kg":2.0},"limits":{}}'
    action = act.any_action.validate_json(old)
    assert isinstance(action, act.CreatePart)
    assert action.facts.thickest_mm is None


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("thickest_mm", 0.0),
        ("thickest_mm", 301.0),
        ("thickest_mm", float("nan")),
        ("method", "warm"),
        ("filler", ""),
        ("joining_metal", "x" * 81),
        ("size_known", "guessed"),
        ("cavity_known", "guessed"),
    ],
)
def test_a_fact_outside_its_range_is_refused_by_name(name, value):
    with pytest.raises(ValidationError, match=name):
        act.PartFacts(name="elbow", **{name: value})
