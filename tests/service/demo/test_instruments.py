"""The simulated instruments, and the packs they go out in, read by the service's own decoder."""

from __future__ import annotations

import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.demo.instruments import OPEN_CIRCUIT, FlowMeter, OxygenCell, Thermocouple
from service.demo.senml import pack, record
from service.wire.senml import decode_pack


def test_a_probe_has_come_63_percent_of_the_way_after_its_time_constant() -> None:
    """1 - 1/e, the definition of the time constant of a first-order lag."""
    probe = Thermocouple(lag_s=4.0, junction_c=20.0)
    for _ in range(8):
        probe.advance(0.5, 320.0)
    assert probe.junction_c == pytest.approx(20 + 300 * (1 - math.exp(-1)))


@given(st.floats(-50, 900), st.integers(0, 10_000))
def test_conversions_come_in_quarter_degrees(junction_c: float, seed: int) -> None:
    """D31:18 of the MAX31855's frame: 0.25 °C a step (its data sheet, table 2)."""
    value = Thermocouple(junction_c=junction_c).convert(random.Random(seed))
    assert isinstance(value, float)
    assert (value * 4).is_integer()
    assert abs(value - junction_c) < 3.0


def test_an_unplugged_or_broken_probe_reads_open() -> None:
    probe = Thermocouple(connected=False)
    assert probe.convert(random.Random(1)) == OPEN_CIRCUIT
    probe.clamp_on(21.0)
    assert probe.convert(random.Random(1)) != OPEN_CIRCUIT
    probe.broken = True
    assert probe.convert(random.Random(1)) == OPEN_CIRCUIT


@given(st.floats(0, 60), st.integers(0, 10_000))
def test_a_flow_meter_never_shows_less_than_nothing(flow_l_min: float, seed: int) -> None:
    shown = FlowMeter().convert(flow_l_min, random.Random(seed))
    assert shown >= 0.0
    assert shown == pytest.approx(flow_l_min * 1.01, abs=0.25)


def test_no_flow_reads_zero() -> None:
    assert FlowMeter().convert(0.0, random.Random(1)) == 0.0


def test_an_oxygen_cell_lags() -> None:
    cell = OxygenCell(lag_s=6.0)
    cell.advance(6.0, 0.0)
    assert cell.shown == pytest.approx(0.2095 / math.e)
    assert cell.convert(random.Random(1)) == pytest.approx(77_071, rel=0.1)


def test_packs_are_what_the_service_decodes() -> None:
    data = pack(
        "bench-node/",
        [
            record("flange", "Cel", 301.25),
            record("joint", "Cel", OPEN_CIRCUIT),
            record("argon", "l/s", 0.25),
            record("oxygen", "ppm", 77.0),
        ],
        boot="b1",
        seq=7,
        base_time_us=1_764_000_000_250_000,
    )
    found = decode_pack(data)
    assert found.rejects == []
    assert (found.boot, found.seq) == ("b1", 7)
    flange, joint, argon, oxygen = found.measurements
    assert (flange.name, flange.unit, flange.value) == ("bench-node/flange", "Cel", 301.25)
    assert (joint.name, joint.value, joint.reason) == ("bench-node/joint", None, "open-circuit")
    assert (argon.unit, argon.value) == ("l/min", pytest.approx(15.0))
    assert (oxygen.unit, oxygen.value) == ("ppm", 77.0)
    assert flange.time_us == pytest.approx(1_764_000_000_250_000, abs=1)


def test_a_pack_without_time_means_now() -> None:
    found = decode_pack(pack("a/", [record("b", "Cel", 1.0)], "b1", 0))
    assert found.measurements[0].time_us is None
