"""RFC 8428 (SenML): its rules and the example packs of its section 5.1.

Source: J. Jennings et al., "Sensor Measurement Lists (SenML)", RFC 8428, 2018. The packs below
are the RFC's published examples; expected values are worked from its text, and example 5.1.3
against the RFC's own resolved form in 5.1.4.
"""

from __future__ import annotations

import json

import pytest

from service.wire.pack import RejectCause
from service.wire.resolve import resolve_text
from service.wire.senml import decode_pack


def measured(text: str) -> list[tuple[str, str | None, float | None]]:
    pack = decode_pack(text.encode())
    return [(each.name, each.unit, each.value) for each in pack.measurements]


def test_5_1_1_single_data_point() -> None:
    text = '[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]'
    assert measured(text) == [("urn:dev:ow:10e2073a01080063", "Cel", 23.1)]
    measurement = decode_pack(text.encode()).measurements[0]
    assert measurement.time_us is None
    assert measurement.offset_us == 0  # "approximately now"


def test_5_1_2_multiple_data_points() -> None:
    text = """[
      {"bn":"urn:dev:ow:10e2073a01080063:","n":"voltage","u":"V","v":120.1},
      {"n":"current","u":"A","v":1.2}
    ]"""
    assert measured(text) == [
        ("urn:dev:ow:10e2073a01080063:voltage", "mV", 120_100.0),
        ("urn:dev:ow:10e2073a01080063:current", "A", 1.2),
    ]


def test_5_1_2_times_of_the_previous_five_seconds() -> None:
    """ "current at Tue Jun 8 18:01:16.001 UTC 2010 and at each second for the previous 5"."""
    text = """[
      {"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,
       "bu":"A","bver":5,
       "n":"voltage","u":"V","v":120.1},
      {"n":"current","t":-5,"v":1.2},
      {"n":"current","t":-4,"v":1.3},
      {"n":"current","t":-3,"v":1.4},
      {"n":"current","t":-2,"v":1.5},
      {"n":"current","t":-1,"v":1.6},
      {"n":"current","v":1.7}
    ]"""
    pack = decode_pack(text.encode())
    assert not pack.rejects
    last_us = 1_276_020_076_001_000  # date -u -d '2010-06-08 18:01:16' +%s gives 1276020076
    assert [each.time_us for each in pack.measurements] == [
        last_us,
        *(last_us - back_s * 1_000_000 for back_s in (5, 4, 3, 2, 1, 0)),
    ]
    assert [each.value for each in pack.measurements[1:]] == [1.2, 1.3, 1.4, 1.5, 1.6, 1.7]
    assert {each.unit for each in pack.measurements[1:]} == {"A"}


MULTIPLE_MEASUREMENTS = """[
  {"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,
   "bu":"%RH","v":20},
  {"u":"lon","v":24.30621},
  {"u":"lat","v":60.07965},
  {"t":60,"v":20.3},
  {"u":"lon","t":60,"v":24.30622},
  {"u":"lat","t":60,"v":60.07965},
  {"t":120,"v":20.7},
  {"u":"lon","t":120,"v":24.30623},
  {"u":"lat","t":120,"v":60.07966},
  {"u":"%EL","t":150,"v":98},
  {"t":180,"v":21.2},
  {"u":"lon","t":180,"v":24.30628},
  {"u":"lat","t":180,"v":60.07967}
]"""

RESOLVED = """[
  {"n":"urn:dev:ow:10e2073a01080063","u":"%RH","t":1.320067464e+09,"v":20},
  {"n":"urn:dev:ow:10e2073a01080063","u":"lon","t":1.320067464e+09,"v":24.30621},
  {"n":"urn:dev:ow:10e2073a01080063","u":"lat","t":1.320067464e+09,"v":60.07965},
  {"n":"urn:dev:ow:10e2073a01080063","u":"%RH","t":1.320067524e+09,"v":20.3},
  {"n":"urn:dev:ow:10e2073a01080063","u":"lon","t":1.320067524e+09,"v":24.30622},
  {"n":"urn:dev:ow:10e2073a01080063","u":"lat","t":1.320067524e+09,"v":60.07965},
  {"n":"urn:dev:ow:10e2073a01080063","u":"%RH","t":1.320067584e+09,"v":20.7},
  {"n":"urn:dev:ow:10e2073a01080063","u":"lon","t":1.320067584e+09,"v":24.30623},
  {"n":"urn:dev:ow:10e2073a01080063","u":"lat","t":1.320067584e+09,"v":60.07966},
  {"n":"urn:dev:ow:10e2073a01080063","u":"%EL","t":1.320067614e+09,"v":98},
  {"n":"urn:dev:ow:10e2073a01080063","u":"%RH","t":1.320067644e+09,"v":21.2},
  {"n":"urn:dev:ow:10e2073a01080063","u":"lon","t":1.320067644e+09,"v":24.30628},
  {"n":"urn:dev:ow:10e2073a01080063","u":"lat","t":1.320067644e+09,"v":60.07967}
]"""


def test_5_1_3_resolves_to_5_1_4() -> None:
    resolved = resolve_text(MULTIPLE_MEASUREMENTS)
    assert not resolved.rejects
    expected = [
        (record["n"], record["u"], round(record["t"] * 1e6), record["v"])
        for record in json.loads(RESOLVED)
    ]
    found = [(each.name, each.unit, each.time_us, each.value) for each in resolved.records]
    assert found == expected
    assert resolve_text(RESOLVED).records == resolved.records


def test_5_1_3_holds_no_unit_of_this_shop() -> None:
    pack = decode_pack(MULTIPLE_MEASUREMENTS.encode())
    assert not pack.measurements
    assert [each.cause for each in pack.rejects] == [RejectCause.UNIT] * 13


def test_5_1_5_multiple_data_types() -> None:
    text = """[
      {"bn":"urn:dev:ow:10e2073a01080063:","n":"temp","u":"Cel","v":23.1},
      {"n":"label","vs":"Machine Room"},
      {"n":"open","vb":false},
      {"n":"nfv-reader","vd":"aGkgCg"}
    ]"""
    pack = decode_pack(text.encode())
    base = "urn:dev:ow:10e2073a01080063:"
    assert measured(text) == [
        (base + "temp", "Cel", 23.1),
        (base + "label", None, None),
        (base + "open", "on/off", 0.0),
    ]
    assert pack.measurements[1].reason == "Machine Room"
    assert [each.cause for each in pack.rejects] == [RejectCause.LABEL]  # vd is no measurement


def test_5_1_6_base_name_replaced_and_base_time_kept() -> None:
    """ "the last record would use the Base Name from the 3rd record but the Base Time from the
    first record"."""
    text = """[
      {"bn":"2001:db8::2/","bt":1.320078429e+09,
       "n":"temperature","u":"Cel","v":25.2},
      {"n":"humidity","u":"%RH","v":30},
      {"bn":"2001:db8::1/","n":"temperature","u":"Cel","v":12.3},
      {"n":"humidity","u":"%RH","v":67}
    ]"""
    records = resolve_text(text).records
    assert [each.name for each in records] == [
        "2001:db8::2/temperature",
        "2001:db8::2/humidity",
        "2001:db8::1/temperature",
        "2001:db8::1/humidity",
    ]
    assert {each.time_us for each in records} == {1_320_078_429_000_000}


def test_5_1_7_a_record_of_base_fields_only_is_no_fault() -> None:
    text = """[
      {"bn":"urn:dev:ow:10e2073a01080063:"},
      {"n":"temp","u":"Cel","v":23.1},
      {"n":"heat","u":"/","v":1},
      {"n":"fan","u":"/","v":0}
    ]"""
    assert not decode_pack(text.encode()).rejects
    assert measured(text) == [
        ("urn:dev:ow:10e2073a01080063:temp", "Cel", 23.1),
        ("urn:dev:ow:10e2073a01080063:heat", "ppm", 1e6),
        ("urn:dev:ow:10e2073a01080063:fan", "ppm", 0.0),
    ]


def test_5_1_7_tenths_of_a_second() -> None:
    text = """[
      {"bt":1.320078429e+09,"bu":"/","n":"2001:db8::3","v":0.5},
      {"n":"2001:db8::4","v":0.5},
      {"n":"2001:db8::3","t":0.1,"v":0},
      {"n":"2001:db8::4","t":0.1,"v":0}
    ]"""
    times_us = [each.time_us for each in decode_pack(text.encode()).measurements]
    assert times_us == [1_320_078_429_000_000] * 2 + [1_320_078_429_100_000] * 2


@pytest.mark.parametrize(
    ("time_s", "time_us", "offset_us"),
    [
        (0, None, 0),
        (-5, None, -5_000_000),
        (268_435_455, None, 268_435_455_000_000),
        (268_435_456, 268_435_456_000_000, 0),  # 1978-07-04 21:24:16 UTC, the smallest absolute
    ],
)
def test_4_5_3_where_relative_times_end(time_s: float, time_us: int, offset_us: int) -> None:
    text = f'[{{"n":"a","u":"Cel","v":1,"t":{time_s}}}]'
    measurement = decode_pack(text.encode()).measurements[0]
    assert (measurement.time_us, measurement.offset_us) == (time_us, offset_us)


def test_4_5_3_base_time_and_time_are_added_before_they_are_told_apart() -> None:
    text = '[{"bn":"a","u":"Cel","v":1,"bt":268435450,"t":10},{"u":"Cel","v":2,"t":-10}]'
    first, second = decode_pack(text.encode()).measurements
    assert first.time_us == 268_435_460_000_000
    assert second.offset_us == 268_435_440_000_000


def test_4_5_4_base_value_is_added_and_a_missing_one_is_zero() -> None:
    text = '[{"bn":"a","bu":"Cel","bv":100,"v":1.5},{"v":-2},{"t":0},{"bv":0,"v":3}]'
    assert [value for _, _, value in measured(text)] == [101.5, 98, 100, 3]


def test_4_2_exactly_one_value_unless_there_is_a_sum() -> None:
    text = """[{"n":"a","u":"A","v":1,"vb":true},{"n":"b","u":"A"},{"n":"c","u":"A","s":3},
      {"n":"d","u":"A","v":2,"s":3}]"""
    pack = decode_pack(text.encode())
    assert [each.name for each in pack.measurements] == ["d"]
    assert [each.cause for each in pack.rejects] == [RejectCause.LABEL] * 2
    assert pack.sums_ignored == 2


def test_4_1_a_base_sum_makes_a_sum_of_every_record_from_there_on() -> None:
    text = '[{"n":"a","u":"A","v":1},{"bs":5,"n":"b","u":"A","v":2},{"n":"c","u":"A"},{"bs":0}]'
    pack = decode_pack(text.encode())
    assert [each.name for each in pack.measurements] == ["a", "b"]
    assert (pack.sums_ignored, pack.rejects) == (2, [])


def test_4_4_unknown_fields_are_ignored_unless_they_must_be_understood() -> None:
    text = """[{"n":"a","u":"A","v":1,"colour":"red","x":{"y":[1]}},{"n":"b","u":"A","v":2,"x_":0},
      {"n":"c","u":"A","v":3}]"""
    pack = decode_pack(text.encode())
    assert [each.name for each in pack.measurements] == ["a", "c"]
    assert [each.cause for each in pack.rejects] == [RejectCause.LABEL]


def test_4_4_a_base_field_that_must_be_understood_spoils_all_records_after_it() -> None:
    text = '[{"n":"a","u":"A","v":1},{"bx_":5,"n":"b","u":"A","v":2},{"n":"c","u":"A","v":3}]'
    pack = decode_pack(text.encode())
    assert [each.name for each in pack.measurements] == ["a"]
    assert len(pack.rejects) == 2


@pytest.mark.parametrize(("version", "used"), [(10, True), (5, True), (11, False), (26, True)])
def test_4_4_a_newer_version_must_not_be_used(version: int, used: bool) -> None:
    """26 is version 10 with the secondary units of RFC 8798 (RFC 9100 section 3)."""
    text = f'[{{"n":"a","u":"A","v":1}},{{"bver":{version},"n":"b","u":"A","v":2}}]'
    assert len(measured(text)) == (2 if used else 0)


def test_4_4_one_version_in_a_pack() -> None:
    text = '[{"bver":5,"n":"a","u":"A","v":1},{"bver":10,"n":"b","u":"A","v":2}]'
    assert measured(text) == []


@pytest.mark.parametrize(
    ("name", "allowed"),
    [
        ("2001:db8::2/temperature", True),
        ("urn:dev:mac:0024befffe804ff1_x.y-z", True),
        ("0", True),
        ("", False),
        ("_a", False),
        (":a", False),
        ("-a", False),
        ("a b", False),
        ("a?b", False),
        ("ä", False),
        ("a\\n", False),
    ],
)
def test_4_5_1_characters_of_a_name(name: str, allowed: bool) -> None:
    pack = decode_pack(f'[{{"n":"{name}","u":"A","v":1}}]'.encode())
    assert bool(pack.measurements) is allowed
    assert [each.cause for each in pack.rejects] == ([] if allowed else [RejectCause.LABEL])


def test_4_5_1_only_the_joined_name_counts() -> None:
    assert measured('[{"bn":"node","n":"_1","u":"A","v":1}]') == [("node_1", "A", 1.0)]


@pytest.mark.parametrize("form", ["utf-16", "utf-32", "utf-8-sig"])
def test_5_only_utf_8(form: str) -> None:
    text = '[{"n":"a","u":"A","v":1}]'
    pack = decode_pack(text.encode(form))
    assert not pack.measurements
    assert [each.cause for each in pack.rejects] == [RejectCause.SYNTAX]


def test_5_doubles_are_read_in_full() -> None:
    assert measured('[{"n":"a","u":"A","v":1.7976931348623157e308}]')[0][2] == (
        1.7976931348623157e308
    )
    assert (
        measured('[{"n":"a","u":"A","v":1.1},{"n":"a","u":"A","v":1.10}]')[0]
        == measured('[{"n":"a","u":"A","v":1.10}]')[0]
    )


@pytest.mark.parametrize("text", ["{}", "[]", "1", "null", '"a"', "[1]", "[[]]", "", "[{]"])
def test_5_a_pack_is_an_array_of_objects(text: str) -> None:
    pack = decode_pack(text.encode())
    assert not pack.measurements
    assert [each.cause for each in pack.rejects] == [RejectCause.SYNTAX]
