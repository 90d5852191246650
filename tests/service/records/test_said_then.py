"""What was said at any past moment of a heat, and what came of it."""

from __future__ import annotations

import json

import pytest

from service.judge import actions as act
from service.records.package import decode, encode
from service.records.packing import pack
from service.records.said_then import Said, said_then, step_s, what_came
from service.records.said_worker import Sayings
from service.store.database import Store
from service.store.errors import StoreError
from tests.field.bench_parts import wait_until
from tests.field.recorded_heat import START_US, Recorder, record_heat


@pytest.fixture(scope="module")
def shown():
    """What the live judge showed of the part, by the shop's time."""
    return {}


@pytest.fixture(scope="module")
def store(tmp_path_factory, shown):
    path = tmp_path_factory.mktemp("said") / "shop.db"

    def watch(judge, now_us):
        for part in judge.bench()["parts"]:
            if part["heat_id"] == 1:
                shown[now_us] = json.dumps(part)

    record_heat(path, again=True, watch=watch)
    store = Store.open_to_read(f"sqlite:///{path}")
    yield store
    store.close()


def test_it_is_what_the_page_showed_then_to_the_letter(store, shown):
    package = decode(encode(pack(store, 1)))  # as it would be handed over
    every_s = step_s(package)
    assert every_s == 2
    shares = []
    said = list(said_then(package, every_s, shares.append))
    assert len(said) > 450
    for each in said:
        assert json.dumps(each.part) == shown[each.mono_us], each.mono_us
    assert {each.part["phase"] for each in said} == {"oven", "carry", "bench", "slow cool"}
    assert any(each.part["heat"]["window"]["closes_in_s"] for each in said)
    assert shares == sorted(shares)
    assert 0 < shares[0] < 0.1
    assert shares[-1] > 0.95


def test_while_the_service_was_away_nothing_was_said(tmp_path):
    store = Store.open(f"sqlite:///{tmp_path / 'shop.db'}")
    shop = Recorder(store)
    shop.act(act.ServiceStarted(version="0.1", offset_us=0))
    limits = act.Limits(preheat_min_c=100)
    shop.act(act.CreatePart(part_id=1, facts=act.PartFacts(name="flange"), limits=limits))
    shop.act(act.AdoptChannel(channel="tc1", channel_kind="thermocouple"))
    shop.act(act.AssignChannel(channel="tc1", part_id=1))
    shop.sources = {"tc1": lambda second: 300 - second * 0.1}
    shop.act(act.BeginHeat(heat_id=1, part_id=1, phase="bench"))
    shop.run(60)
    away_us = shop.now_us
    shop.now_us += 600_000_000
    shop.act(act.ServiceStarted(version="0.1", offset_us=0))
    back_us = shop.now_us
    shop.run(60)
    shop.act(act.EndHeat(heat_id=1))
    shop.write()
    times_us = [each.mono_us for each in said_then(pack(store, 1), 2)]
    store.close()
    assert not [each for each in times_us if away_us < each < back_us]
    assert sum(each <= away_us for each in times_us) > 25
    assert sum(each >= back_us for each in times_us) > 25


def moment(at_s, temperature_c, closes=None, phase="bench", passes=0):
    """As much of a part as is asked for; ``closes``: p05 and p95 [s]."""
    spread = None if closes is None else {"p05": closes[0], "p50": 0, "p95": closes[1]}
    window = {"closes_in_s": spread, "opens_in_s": None, "reason": None}
    return Said(
        START_US + round(at_s * 1e6),
        {
            "phase": phase,
            "passes": passes,
            "limits": {"preheat_min_c": 200},
            "heat": {"temperature_c": temperature_c, "window": window},
        },
    )


def came(*moments):
    return what_came(moments)[0]


@pytest.mark.parametrize(
    ("closes", "held"),
    [((5, 15), True), ((10, 15), True), ((11, 15), False), ((2, 9), False), ((5, None), True)],
)
def test_a_window_that_closed_did_so_in_its_range_or_not(closes, held):
    after = moment(10, 199)
    assert came(moment(0, 220, closes), moment(5, 210), after) == {
        "what": "closed", "in_s": 10.0, "held": held,
    }  # fmt: skip


def test_what_comes_first_is_told():
    first = moment(0, 220, (30, 60))
    arc = came(first, moment(5, 215, passes=1), moment(90, 190, passes=1))
    assert arc == {"what": "pass", "in_s": 5.0, "held": None}
    moved = came(first, moment(20, 210), moment(25, 205, phase="slow cool"))
    assert moved == {"what": "moved", "in_s": 25.0, "held": None}
    assert came(first, moment(40, 210)) == {"what": "ended", "in_s": 40.0, "held": None}
    # Open for longer than was said: that is known even if it was covered then.
    late = came(first, moment(50, 212), moment(70, 210), moment(80, 208, phase="slow cool"))
    assert late == {"what": "moved", "in_s": 80.0, "held": False}


def test_where_nothing_was_promised_nothing_came_of_it():
    assert came(moment(0, 220), moment(5, 190)) is None
    assert came(moment(0, 190, (0, 5)), moment(5, 185)) is None  # below already
    assert what_came([]) == []
    unread = moment(5, None)
    assert came(moment(0, 220, (5, 15)), unread, moment(10, 190))["what"] == "closed"


def answered(sayings, heat_id):
    """Asked as a page does, until it is all there."""
    found = []

    def there():
        done, answer = sayings.ask(heat_id, open_heat=False)
        assert 0 <= done <= 1
        found.append(answer)
        return answer is not None

    wait_until(there, "the heat judged again", 180)
    return found[-1]


def test_it_is_worked_out_in_a_process_of_its_own(store):
    sayings = Sayings(f"sqlite:///{store.path}")
    answer = answered(sayings, 2)
    assert answer["every_s"] == 1
    assert {each["phase"] for each in answer["said"]} == {"oven", "bench"}
    assert sayings.ask(2, open_heat=False) == (1.0, answer)  # kept


def test_what_went_wrong_is_said_and_may_be_tried_again(store):
    sayings = Sayings(f"sqlite:///{store.path}")
    for _ in range(2):
        with pytest.raises(StoreError, match=r"heat 99 could not be judged again: .*no heat 99"):
            answered(sayings, 99)
