"""Frames of the common thermocouple amplifier chips, decoded with their fault bits.

MAX31855, 32 bits, most significant first (datasheet, tables 2 to 5):

=========  =====================================================
bits       meaning
=========  =====================================================
D31..D18   temperature, signed 14 bits, 0.25 °C
D17        always 0
D16        1: any fault
D15..D4    cold junction, signed 12 bits, 0.0625 °C
D3         always 0
D2         1: short to supply
D1         1: short to ground
D0         1: open circuit
=========  =====================================================

MAX31856, registers 0A to 0F read in one go, six bytes:

=========  =====================================================
register   meaning
=========  =====================================================
0A, 0B     cold junction, signed 14 bits, 0.015625 °C, two low bits 0 (from memory)
0C..0E     temperature, signed 19 bits, 0.0078125 °C, five low bits unused
0F         faults: 80 cold junction out of range, 40 thermocouple out of range, 20/10 cold
           junction above/below its threshold, 08/04 thermocouple above/below its threshold,
           02 input voltage out of range, 01 open circuit
=========  =====================================================

A frame of all zeros or all ones is a dead chip or a broken wire, not 0 °C.
"""

from __future__ import annotations

from dataclasses import dataclass

from service.physics.thermocouple import compensated_c

MAX31855_MV_PER_K: dict[str, float] = {
    "K": 0.041276,
    "J": 0.057953,
    "N": 0.036256,
    "T": 0.05218,
    "E": 0.076373,
    "R": 0.010506,
    "S": 0.009587,
}
"""The one slope the MAX31855 takes for each type [mV/K] (datasheet table 1, from memory)."""


class BadFrame(ValueError):
    """Bytes that are not a frame of the chip; the message says why."""


@dataclass(frozen=True, slots=True)
class AmplifierReading:
    """What a frame says.

    Attributes:
        temperature_c: Hot junction [°C]; ``None`` when a fault voids it.
        cold_junction_c: Chip's own temperature [°C]; ``None`` when a fault voids it.
        faults: Fault names as sent in SenML ``vs``: ``open-circuit``, ``short-to-ground``,
            ``short-to-supply``, ``out-of-range``.
        thresholds: Alarm thresholds of the chip that are passed; they void nothing.
    """

    temperature_c: float | None
    cold_junction_c: float | None
    faults: tuple[str, ...] = ()
    thresholds: tuple[str, ...] = ()


def decode_max31855(frame: bytes) -> AmplifierReading:
    """Decode the four bytes of a MAX31855.

    Args:
        frame: Four bytes, first byte D31..D24.

    Raises:
        BadFrame: Not four bytes; all zeros or ones; a bit that is always 0 is 1; or fault bits
            that contradict each other.
    """
    _whole(frame, 4, "MAX31855")
    word = int.from_bytes(frame, "big")
    if word & 0x0002_0008:
        raise BadFrame(f"MAX31855 frame {word:08X}: a bit that is always 0 is 1")
    named = ((1, "open-circuit"), (2, "short-to-ground"), (4, "short-to-supply"))
    faults = tuple(name for bit, name in named if word & bit)
    if bool(word & 0x0001_0000) != bool(faults):
        raise BadFrame(f"MAX31855 frame {word:08X}: fault flag and fault bits disagree")
    cold_junction_c = _signed(word >> 4, 12) * 0.0625
    temperature_c = None if faults else _signed(word >> 18, 14) * 0.25
    return AmplifierReading(temperature_c, cold_junction_c, faults)


def decode_max31856(registers: bytes) -> AmplifierReading:
    """Decode registers 0A to 0F of a MAX31856.

    Args:
        registers: Six bytes in order of address.

    Raises:
        BadFrame: Not six bytes, or all zeros or ones.
    """
    _whole(registers, 6, "MAX31856")
    cold_junction_c = _signed(int.from_bytes(registers[0:2], "big"), 16) / 256.0
    temperature_c = _signed(int.from_bytes(registers[2:5], "big") >> 5, 19) * 0.0078125
    status = registers[5]
    faults = []
    if status & 0x01:
        faults.append("open-circuit")
    if status & 0xC2:
        faults.append("out-of-range")
    named = (
        (0x20, "cold junction high"),
        (0x10, "cold junction low"),
        (0x08, "thermocouple high"),
        (0x04, "thermocouple low"),
    )
    return AmplifierReading(
        None if faults else temperature_c,
        None if status & 0x80 else cold_junction_c,
        tuple(faults),
        tuple(name for bit, name in named if status & bit),
    )


def relinearised_max31855(letter: str, reading: AmplifierReading) -> float:
    """What ITS-90 makes of a MAX31855 reading [°C]: the chip takes the wire to be straight.

    The chip reports T = V/slope + T_cold; undone, V = slope·(T − T_cold), then ITS-90 with the
    cold junction added as EMF.

    Args:
        letter: Type the chip was made for, a key of ``MAX31855_MV_PER_K``.
        reading: A reading without fault.

    Raises:
        ValueError: Unknown type, a reading with a fault, or a voltage outside the type's range.
    """
    slope = MAX31855_MV_PER_K.get(letter)
    if slope is None:
        known = ", ".join(MAX31855_MV_PER_K)
        raise ValueError(f"there is no MAX31855 for type {letter!r}; there is one for {known}")
    if reading.temperature_c is None or reading.cold_junction_c is None:
        raise ValueError(f"a reading with a fault ({', '.join(reading.faults)}) has no temperature")
    volts_mv = slope * (reading.temperature_c - reading.cold_junction_c)
    return compensated_c(letter, volts_mv, reading.cold_junction_c)


def _whole(frame: bytes, length: int, chip: str) -> None:
    if len(frame) != length:
        raise BadFrame(f"{chip} frame has {len(frame)} bytes, not {length}")
    if not any(frame):
        raise BadFrame(f"{chip} frame is all zeros: a dead chip or a broken wire")
    if all(byte == 0xFF for byte in frame):
        raise BadFrame(f"{chip} frame is all ones: no chip answers")


def _signed(bits: int, width: int) -> int:
    value = bits & ((1 << width) - 1)
    return value - (1 << width) if value >> (width - 1) else value
