"""Heats side by side: where each has its zero, its line, its figures."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from service.records.compare import ALIGNMENTS, compared, compared_json, figures, oven_exit_us
from service.records.gather import gather
from service.records.heat_record import PhaseRecord
from service.records.traces import read_traces
from service.store.database import Store
from tests.field.recorded_heat import record_heat


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    path = tmp_path_factory.mktemp("compared") / "shop.db"
    record_heat(path, again=True)
    store = Store.open_to_read(f"sqlite:///{path}")
    yield store
    store.close()


def of(store, heat_id, align, zone=None):
    record = gather(store, heat_id)
    return compared(record, read_traces(store, record, 1200), align, zone)


def test_the_zero_is_a_moment_of_the_record(store):
    record = gather(store, 1)
    assert of(store, 1, "first pass").zero_us == record.passes[0].begun_us
    left = [each for each in record.phases if each.phase == "oven"]
    assert of(store, 1, "oven exit").zero_us == left[0].to_us


def test_a_line_is_the_coldest_probe_at_its_own_seconds(store):
    """Oracle: the readings themselves; the second probe of the story reads 9 K less."""
    heat = of(store, 1, "oven exit")
    record = heat.record
    history = store.history("tc2", record.begun_us, record.to_us, 5000)
    probe = {step.t_us: step.mean for step in history.steps if step.mean is not None}
    points = {at_s: value for run in heat.temperature for at_s, value in run}
    at_bench_s = [at_s for at_s in points if 120 < at_s < 200]
    assert len(at_bench_s) > 30
    for at_s in at_bench_s:
        t_us = heat.zero_us + round(at_s * 1e6)
        near = min(probe, key=lambda known: abs(known - t_us))
        assert points[at_s] == pytest.approx(probe[near], abs=1.0)
    # Before its zero a heat has a past: it was in the oven for 5.5 minutes.
    assert min(points) == pytest.approx(-330, abs=10)
    assert heat.flow
    assert heat.oxygen


def test_what_has_no_zero_says_why_and_has_no_line(store):
    heat = of(store, 2, "first pass")
    assert heat.zero_us is None
    assert heat.why == "no pass was welded in it"
    assert heat.temperature == heat.oxygen == heat.flow == ()
    told = compared_json(heat)
    assert told["zero_at"] is None
    assert told["figures"]["passes"] == 0
    assert of(store, 2, "oven exit").temperature
    bare = replace(gather(store, 1), phases=())
    assert compared(bare, read_traces(store, bare, 50), "oven exit", None).why == (
        "it was not seen leaving an oven"
    )


def test_the_exit_that_counts_is_the_last_one_before_the_first_arc(store):
    """Out, back into the oven, out again, welded, and back into the oven to cool down slowly."""
    record = gather(store, 1)
    arc_us = record.passes[0].begun_us
    names = ("oven", "bench", "oven", "bench", "oven", "slow cool")
    ends = [arc_us - 400, arc_us - 300, arc_us - 200, arc_us + 500, arc_us + 900, arc_us + 999]
    starts = [arc_us - 500, *ends[:-1]]
    phases = tuple(
        PhaseRecord(name, start, end, "tap", None)
        for name, start, end in zip(names, starts, ends, strict=True)
    )
    assert oven_exit_us(replace(record, phases=phases)) == arc_us - 200
    assert oven_exit_us(replace(record, phases=phases, passes=())) == arc_us + 900
    assert oven_exit_us(replace(record, phases=phases[:1])) is None


@pytest.mark.parametrize(
    ("begun", "midnight"),
    [
        # The night of 2026-03-29 has 23 hours in Dublin: noon is 11 hours after midnight.
        ("2026-03-29T11:00:00+00:00", "2026-03-29T00:00:00+00:00"),
        # That of 2026-10-25 has 25: 23:30 by the wall is 24.5 hours after midnight.
        ("2026-10-25T23:30:00+00:00", "2026-10-24T23:00:00+00:00"),
        ("2026-07-01T23:30:00+00:00", "2026-07-01T23:00:00+00:00"),
    ],
)
def test_the_clock_s_zero_is_midnight_on_the_wall(store, begun, midnight):
    """Dates of the changes: IANA time zone database, Europe/Dublin."""
    begun_us = round(datetime.fromisoformat(begun).timestamp()) * 1_000_000
    record = replace(gather(store, 1), begun_us=begun_us, to_us=begun_us + 60_000_000)
    traces = read_traces(store, record, 50)
    heat = compared(record, traces, "clock", ZoneInfo("Europe/Dublin"))
    assert datetime.fromtimestamp(heat.zero_us / 1e6, UTC) == datetime.fromisoformat(midnight)


def test_figures_are_those_of_the_record(store):
    """By the story: 330 s in the oven, 3 s and 30 s and 20 s and 120 s to the first arc."""
    told = figures(of(store, 1, "oven exit"))
    assert told["oven_s"] == pytest.approx(333, abs=2)
    assert told["exit_to_first_pass_s"] == pytest.approx(170, abs=2)
    assert told["passes"] == 2
    assert told["argon_l"] == pytest.approx(12 * (120 + 2 * 105) / 60, rel=0.05)
    record = gather(store, 1)
    assert told["first_pass_coldest_c"] == record.passes[0].coldest_c
    assert told["interpass_hottest_c"] == record.passes[1].hottest_c
    assert told["oxygen_high_ppm"] == max(each.oxygen_high_ppm for each in record.passes)
    assert told["bare_c_per_h"] < told["covered_c_per_h"] < 0
    assert told["oven_s"] == record.work.oven_s
    # By the taps, no arc channel watched; the first was corrected to end 2 s earlier.
    assert told["arc_s"] == pytest.approx(45 + 43, abs=0.5)
    bare = figures(compared(replace(record, phases=(), passes=(), work=None), *_nothing(store)))
    assert bare["oven_s"] is bare["exit_to_first_pass_s"] is bare["argon_l"] is None


def _nothing(store):
    return read_traces(store, gather(store, 1), 50), ALIGNMENTS[0], None
