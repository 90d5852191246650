"""Amplifier frames against the datasheets' tables and a captured frame."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.physics.thermocouple import meter_mv
from service.wire.amplifier import (
    MAX31855_MV_PER_K,
    AmplifierReading,
    BadFrame,
    decode_max31855,
    decode_max31856,
    relinearised_max31855,
)


@pytest.mark.parametrize(
    ("word", "temperature_c", "cold_junction_c"),
    # Assembled from the codes of the datasheet's tables 4 and 5.
    [
        (0x64001900, 1600.00, 25.0),
        (0x3E801900, 1000.00, 25.0),
        (0x064C6490, 100.75, 100.5625),
        (0xFFFCFFF0, -0.25, -0.0625),
        (0xF060C900, -250.00, -55.0),
        # A user's captured frame on a maker's forum.
        (0x01501790, 21.0, 23.5625),
    ],
)
def test_max31855(word: int, temperature_c: float, cold_junction_c: float) -> None:
    reading = decode_max31855(word.to_bytes(4, "big"))
    assert reading == AmplifierReading(temperature_c, cold_junction_c)


@pytest.mark.parametrize(
    ("word", "fault"),
    [
        (0x00011901, "open-circuit"),
        (0x00011902, "short-to-ground"),
        (0x00011904, "short-to-supply"),
    ],
)
def test_max31855_faults_void_the_temperature(word: int, fault: str) -> None:
    reading = decode_max31855(word.to_bytes(4, "big"))
    assert reading == AmplifierReading(None, 25.0, (fault,))


@pytest.mark.parametrize(
    ("frame", "said"),
    [
        (bytes(4), "all zeros"),
        (b"\xff" * 4, "all ones"),
        (bytes.fromhex("640019"), "3 bytes, not 4"),
        (bytes.fromhex("6400190000"), "5 bytes, not 4"),
        (bytes.fromhex("64001908"), "always 0"),
        (bytes.fromhex("64021900"), "always 0"),
        (bytes.fromhex("64011900"), "disagree"),
        (bytes.fromhex("64001901"), "disagree"),
    ],
)
def test_max31855_bad_frames(frame: bytes, said: str) -> None:
    with pytest.raises(BadFrame, match=said):
        decode_max31855(frame)


@pytest.mark.parametrize(
    ("code", "temperature_c"),
    # From the register weights, datasheet page with registers 0C to 0E.
    [
        ("640000", 1600.0),
        ("3E8000", 1000.0),
        ("15E420", 350.2578125),
        ("019000", 25.0),
        ("FFFF00", -0.0625),
        ("FFF000", -1.0),
        ("F06000", -250.0),
    ],
)
def test_max31856_temperature(code: str, temperature_c: float) -> None:
    reading = decode_max31856(bytes.fromhex("1900" + code + "00"))
    assert reading == AmplifierReading(temperature_c, 25.0)


@pytest.mark.parametrize(
    ("code", "cold_junction_c"),
    [("7F00", 127.0), ("1900", 25.0), ("FFFC", -0.015625), ("EC00", -20.0), ("C900", -55.0)],
)
def test_max31856_cold_junction(code: str, cold_junction_c: float) -> None:
    reading = decode_max31856(bytes.fromhex(code + "019000" + "00"))
    assert reading.cold_junction_c == cold_junction_c


@pytest.mark.parametrize(
    ("status", "faults", "thresholds"),
    [
        (0x01, ("open-circuit",), ()),
        (0x02, ("out-of-range",), ()),
        (0x40, ("out-of-range",), ()),
        (0x80, ("out-of-range",), ()),
        (0x20, (), ("cold junction high",)),
        (0x10, (), ("cold junction low",)),
        (0x08, (), ("thermocouple high",)),
        (0x04, (), ("thermocouple low",)),
        (0x49, ("open-circuit", "out-of-range"), ("thermocouple high",)),
    ],
)
def test_max31856_faults(status: int, faults: tuple[str, ...], thresholds: tuple[str, ...]) -> None:
    reading = decode_max31856(bytes.fromhex("1900" + "15E420") + bytes([status]))
    assert reading.faults == faults
    assert reading.thresholds == thresholds
    assert (reading.temperature_c is None) == bool(faults)
    assert (reading.cold_junction_c is None) == bool(status & 0x80)


@pytest.mark.parametrize("frame", [bytes(6), b"\xff" * 6, bytes(5), b"\x19\x00" * 4])
def test_max31856_bad_frames(frame: bytes) -> None:
    with pytest.raises(BadFrame):
        decode_max31856(frame)


@given(st.binary(min_size=0, max_size=8))
def test_any_bytes_give_a_reading_or_a_refusal(data: bytes) -> None:
    for decode in (decode_max31855, decode_max31856):
        try:
            reading = decode(data)
        except BadFrame:
            continue
        assert (reading.temperature_c is None) == bool(reading.faults)


@given(
    hot=st.integers(-1000, 5480),
    cold=st.integers(-640, 1360),
)
def test_max31855_there_and_back(hot: int, cold: int) -> None:
    word = ((hot & 0x3FFF) << 18) | ((cold & 0xFFF) << 4)
    if word == 0:
        return
    reading = decode_max31855(word.to_bytes(4, "big"))
    assert reading == AmplifierReading(hot * 0.25, cold * 0.0625)


@pytest.mark.parametrize("letter", MAX31855_MV_PER_K)
def test_relinearised_recovers_the_true_temperature(letter: str) -> None:
    hot_c, cold_c = 350.0, 25.0
    shown_c = cold_c + meter_mv(letter, hot_c, cold_c) / MAX31855_MV_PER_K[letter]
    reading = AmplifierReading(round(shown_c * 4) / 4, cold_c)
    # A quarter of a degree of the chip's is more on a wire flatter here than its one slope.
    assert relinearised_max31855(letter, reading) == pytest.approx(hot_c, abs=0.25)


def test_relinearised_refusals() -> None:
    with pytest.raises(ValueError, match="no MAX31855 for type 'B'"):
        relinearised_max31855("B", AmplifierReading(20.0, 20.0))
    with pytest.raises(ValueError, match="open-circuit"):
        relinearised_max31855("K", AmplifierReading(None, 20.0, ("open-circuit",)))
