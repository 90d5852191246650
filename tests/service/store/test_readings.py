"""Readings: each kept exactly once, whatever its time, and given back exactly as it arrived."""

from __future__ import annotations

import random
import shutil
import tempfile
from collections.abc import Sequence
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.readings import Quality, Reading
from service.store.database import Store
from service.store.entries import Arrived
from service.store.marker import RENEW_SEQ, RENEW_US

HOUR_US = 3_600_000_000


def keep(store: Store, readings: Sequence[Reading]):
    return store.write_side.keeper.keep([Arrived(tuple(readings))])


def test_a_reading_is_one_row_that_other_programs_can_read(store, shop, rows):
    keep(store, [shop.reading(612.25, t_us=shop.mono_us - 5000, timed=True)])
    assert rows(
        "SELECT channel.name, unit.name, quality.name, value, t_us, delay_us, seq, reason"
        " FROM reading JOIN channel ON channel.id = channel_id"
        " JOIN unit ON unit.id = reading.unit_id JOIN quality ON quality.code = quality"
    ) == [("TC1", "Cel", "good", 612.25, shop.mono_us - 6000, 6000, 1, None)]


def test_bad_suspect_and_very_old_readings_are_rows_too(store, shop):
    items = [
        shop.reading(None, reason="open-circuit", unit=None),
        shop.reading(85.0, quality=Quality.SUSPECT, reason="isolated 85"),
        shop.reading(2000.0, quality=Quality.BAD, reason="out-of-range"),
        shop.reading(20.0, t_us=0, timed=True),
        shop.reading(20.0, t_us=-5, timed=True),
        shop.reading(20.0, t_us=shop.mono_us + 1000 * HOUR_US, timed=True),
    ]
    counts = keep(store, items)
    assert (counts.new, counts.duplicates) == (6, 0)
    assert list(store.readings()) == items


def test_infinity_is_kept_and_nan_becomes_no_value(store, shop):
    endless = shop.reading(float("inf"), quality=Quality.BAD, reason="out-of-range")
    none = shop.reading(float("nan"), quality=Quality.BAD)
    keep(store, [endless, none])
    assert list(store.readings()) == [
        endless,
        none._replace(value=None, reason="not a number"),
    ]


def test_a_second_delivery_is_recognised(store, shop):
    first = [shop.reading(float(i), t_us=shop.mono_us + i, timed=True) for i in range(10)]
    again = [
        r._replace(seq=r.seq + 100, arrived_us=r.arrived_us + 9, mono_us=r.mono_us + 9)
        for r in first
    ]
    assert keep(store, first).new == 10
    counts = keep(store, again)
    assert (counts.new, counts.duplicates, counts.moved) == (0, 10, 0)
    assert list(store.readings()) == first


def test_a_second_delivery_of_a_fault_is_recognised(store, shop):
    first = shop.reading(None, timed=True)
    again = shop.reading(None, timed=True, t_us=first.t_us)
    keep(store, [first])
    assert keep(store, [again]).duplicates == 1


def test_a_second_delivery_within_one_batch_is_recognised(store, shop):
    first = shop.reading(7.0, timed=True)
    again = shop.reading(7.0, timed=True, t_us=first.t_us)
    counts = keep(store, [first, again])
    assert (counts.new, counts.duplicates) == (1, 1)


def test_different_values_at_one_instant_are_all_kept_and_stay_single(store, shop):
    t_us = shop.mono_us
    items = [shop.reading(float(i), t_us=t_us, timed=True) for i in range(5)]
    counts = keep(store, items)
    assert (counts.new, counts.duplicates, counts.moved) == (5, 0, 4)
    kept = list(store.readings())
    assert kept == [r._replace(t_us=t_us + i) for i, r in enumerate(items)]
    # All of them delivered again, in another order, together and one by one:
    again = [r._replace(seq=r.seq + 100) for r in items]
    random.Random(1).shuffle(again)
    assert keep(store, again).duplicates == 5
    assert sum(keep(store, [r]).duplicates for r in again) == 5
    assert list(store.readings()) == kept


def test_the_same_value_in_another_unit_is_another_reading(store, shop):
    one = shop.reading(5.0, unit="Cel", timed=True)
    other = shop.reading(5.0, unit="mV", timed=True, t_us=one.t_us)
    assert keep(store, [one, other]).moved == 1


def test_two_readings_without_times_are_two_readings(store, shop):
    one = shop.reading(5.0)
    other = shop.reading(5.0, t_us=one.t_us)
    counts = keep(store, [one, other])
    assert (counts.new, counts.moved) == (2, 1)
    # ... and the very same ones again, as out of a spool, are not.
    assert keep(store, [one, other]).duplicates == 2


def test_a_source_whose_clock_stands_still_loses_nothing(store, shop):
    t_us = 946_684_800_000_000
    items = [shop.reading(float(i), t_us=t_us, timed=True) for i in range(1200)]
    for start in range(0, 1200, 50):
        keep(store, items[start : start + 50])
    assert [r.value for r in store.readings()] == [r.value for r in items]
    store.write_side.keeper._rows.forget()
    assert keep(store, [shop.reading(0.0, t_us=t_us, timed=True)]).duplicates == 1


def test_a_channel_may_change_its_unit(store, shop, rows):
    items = [shop.reading(1.0, unit=unit) for unit in (None, "mV", "Cel", None, "furlong")]
    keep(store, items)
    assert list(store.readings()) == items
    assert rows("SELECT unit.name FROM channel JOIN unit ON unit.id = unit_id") == [("furlong",)]


def test_names_may_be_anything(store, shop):
    names = ["Krümmer/1", "'; DROP TABLE reading; --", "=1+1", "x" * 200, "焊"]
    items = [shop.reading(1.0, channel=name) for name in names]
    keep(store, items)
    assert list(store.readings()) == items
    assert store.channel_names() == sorted(names)


def test_a_number_too_large_for_the_table_is_put_aside_and_hurts_no_other(store, shop, rows):
    items = [shop.reading(1.0), shop.reading(2.0, t_us=2**70, timed=True), shop.reading(3.0)]
    assert keep(store, items).new == 2
    assert [r.value for r in store.readings()] == [1.0, 3.0]
    ((body, why),) = rows("SELECT body, why FROM misfit")
    assert str(2**70) in body
    assert "too large" in why
    assert store.write_side.keeper.misfits == 1


def test_any_stretch_of_the_order_can_be_read(store, shop):
    items = []
    for _ in range(3):
        items += [shop.reading(float(i)) for i in range(RENEW_SEQ // 2 + 7)]
        shop.mono_us += 2 * RENEW_US
        items += [shop.reading(1.0, t_us=7 + shop.seq, timed=True)]
    keep(store, items)
    for low, high in [(1, None), (5, 9), (2000, 5000), (len(items), None), (len(items) + 1, None)]:
        expected = [r for r in items if low <= r.seq and (high is None or r.seq <= high)]
        assert list(store.readings(low, high)) == expected


def test_the_wall_clock_may_be_set_either_way(store, shop):
    items = []
    for offset_us in (0, HOUR_US, -HOUR_US, 0, 20 * 365 * 24 * HOUR_US):
        shop.offset_us = offset_us
        items += shop.readings(5)
    keep(store, items)
    assert list(store.readings()) == items
    assert store.last_mono_us() == items[-1].mono_us
    assert store.next_seq() == items[-1].seq + 1


def test_readings_handed_over_out_of_turn_come_back_in_order(store, shop):
    items = shop.readings(20)
    shop.offset_us = 77
    items += shop.readings(20)
    late = [items.pop(30), items.pop(3)]
    # One whose offset belongs to neither neighbour: only a fault of ours could make it.
    odd = late[1]._replace(arrived_us=late[1].arrived_us + 5)
    keep(store, items)
    keep(store, [late[0], odd])
    keep(store, shop.readings(3))
    found = list(store.readings())
    assert [r.seq for r in found] == list(range(1, 44))
    assert found[3] == odd
    assert found[30] == late[0]


def test_after_a_rollback_nothing_is_remembered_that_is_not_there(store, shop, locked, rows):
    keep(store, [shop.reading(1.0)])
    fresh = [shop.reading(2.0, channel="new", unit="new unit"), shop.reading(3.0, unit="mV")]
    with locked(), pytest.raises(Exception, match="locked"):
        keep(store, fresh)
    shop.offset_us = 5
    more = [*fresh, shop.reading(4.0, channel="new", unit="new unit")]
    keep(store, more)
    assert list(store.readings(2)) == more


def test_nothing_reads_the_whole_table(store, shop, asked):
    for _ in range(3):
        keep(store, [*shop.readings(50), shop.reading(1.0, t_us=9, timed=True)])
        store.write_side.keeper._fresh = False
        store.write_side.keeper._roll_at_s = 0.0
    twice = shop.reading(5.0, timed=True)
    keep(store, [twice, twice._replace(value=6.0, seq=twice.seq + 1)])
    keep(store, [twice._replace(seq=3, arrived_us=twice.arrived_us + 5)])
    list(store.readings(20, 90))
    store.next_seq()
    store.history("TC1", shop.mono_us - HOUR_US, shop.mono_us, 10)
    store.history("TC1", shop.mono_us - HOUR_US, shop.mono_us, 10_000)
    assert len(asked) > 15
    assert [plan for plan in asked if "SCAN reading" in plan] == []


def qualities():
    return st.sampled_from(
        [
            (Quality.GOOD, None),
            (Quality.SUSPECT, "jump"),
            (Quality.BAD, "open-circuit"),
            (Quality.BAD, "out-of-range"),
        ]
    )


@st.composite
def lives(draw):
    """Some runs of the service: readings in order of arrival, cut into batches and restarts."""
    seq, mono_us, used = 1, 1_700_000_000_000_000, set()
    batches: list[tuple[bool, list[Reading]]] = []
    for _ in range(draw(st.integers(1, 5))):
        offset_us = draw(st.sampled_from([0, 0, 1, -HOUR_US, 50 * HOUR_US]))
        batch = []
        for _ in range(draw(st.integers(0, 12))):
            seq += draw(st.sampled_from([1, 1, 1, 2, RENEW_SEQ]))
            mono_us += draw(st.sampled_from([0, 1, 1000, 1_000_000, RENEW_US]))
            arrived_us = mono_us + offset_us
            delay_us = draw(
                st.one_of(
                    st.sampled_from([0, 1, -1, 10_000_000, 10_000_001, -10_000_001]),
                    st.integers(-(2**40), 2**50),
                )
            )
            channel = draw(st.sampled_from(["TC1", "TC2", "flow"]))
            t_us = arrived_us - delay_us
            if (channel, t_us) in used:
                continue
            used.add((channel, t_us))
            quality, reason = draw(qualities())
            batch.append(
                Reading(
                    channel=channel,
                    unit=draw(st.sampled_from([None, "Cel", "l/min", "odd"])),
                    value=draw(st.one_of(st.none(), st.floats(allow_nan=False))),
                    quality=quality,
                    reason=reason,
                    t_us=t_us,
                    arrived_us=arrived_us,
                    mono_us=mono_us,
                    seq=seq,
                    timed=draw(st.booleans()),
                )
            )
        batches.append((draw(st.booleans()), batch))
    low = draw(st.integers(0, seq + 1))
    return batches, low, draw(st.one_of(st.none(), st.integers(low, seq + 2)))


@settings(max_examples=40, deadline=None)
@given(lives())
def test_what_went_in_comes_out_in_order_and_exactly(template, life):
    batches, low, high = life
    with tempfile.TemporaryDirectory() as folder:
        path = shutil.copy(template, Path(folder) / "shop.db")
        store = Store.open(f"sqlite:///{path}")
        for restart, batch in batches:
            keep(store, batch)
            if restart:
                store.close()
                store = Store.open(f"sqlite:///{path}")
        everything = [reading for _, batch in batches for reading in batch]
        assert list(store.readings()) == everything
        assert list(store.readings(low, high)) == [
            r for r in everything if low <= r.seq and (high is None or r.seq <= high)
        ]
        assert store.next_seq() == max((r.seq for r in everything), default=0) + 1
        assert store.last_mono_us() == max((r.mono_us for r in everything), default=0)
        store.close()
