"""Thermocouple amplifiers on SPI, with every way in which they can be wrong.

A frame is ``(temperature_c, cold_junction_c, fault)``; a fault is one of ``ring.FAULTS``, and the
values beside it are ``None``. Frames: the chips' datasheets, as in the service's own decoder
(``service/wire/amplifier.py``), against which these functions are tested.

A frame of all zeros or all ones is a dead chip or a broken wire. An electric shock can also reset
the MAX31856 without a word: it then no longer converts and its registers read 0 °C. So its
settings are read back with every frame.
"""

TYPES = "BEJKNRST"
"""Place in it: the MAX31856's code of a thermocouple type (register 1, low four bits)."""
SLOPE_MV_PER_K = {
    "K": 0.041276,
    "J": 0.057953,
    "N": 0.036256,
    "T": 0.05218,
    "E": 0.076373,
    "R": 0.010506,
    "S": 0.009587,
}
"""The one slope the MAX31855 takes for each type [mV/K] (datasheet table 1, from memory)."""

_CONVERT, _OPEN_TEST, _CLEAR, _50_HZ = 0x80, 0x10, 0x02, 0x01  # bits of register 0
_WRITE = 0x80
FIRST_CONVERSION_MS = 300
"""The MAX31856's first conversion after its settings takes up to 185 ms (datasheet, from
memory)."""


def signed(bits: int, width: int) -> int:
    """The low ``width`` bits as a two's complement number."""
    bits &= (1 << width) - 1
    return bits - (1 << width) if bits >> (width - 1) else bits


def whole(frame: bytes) -> bool:
    """Whether it can be a frame: neither all zeros nor all ones."""
    return any(frame) and not all(byte == 0xFF for byte in frame)


def decode_max31855(frame: bytes) -> tuple:
    """Four bytes, most significant first."""
    word = frame[0] << 24 | frame[1] << 16 | frame[2] << 8 | frame[3]
    bits = word & 0x7
    if not whole(frame) or word & 0x0002_0008 or bool(word & 0x0001_0000) != bool(bits):
        return None, None, "amplifier-silent"
    if bits:
        name = "open-circuit" if bits & 1 else "short-to-ground" if bits & 2 else "short-to-supply"
        return None, None, name
    return signed(word >> 18, 14) * 0.25, signed(word >> 4, 12) * 0.0625, None


def decode_max31856(registers: bytes) -> tuple:
    """Six bytes, registers 0A to 0F."""
    if not whole(registers):
        return None, None, "amplifier-silent"
    status = registers[5]
    if status & 0x01:
        return None, None, "open-circuit"
    if status & 0xC2:
        return None, None, "out-of-range"
    cold_c = signed(registers[0] << 8 | registers[1], 16) / 256
    bits = (registers[2] << 16 | registers[3] << 8 | registers[4]) >> 5
    return signed(bits, 19) * 0.0078125, cold_c, None


class Bus:
    """One SPI bus with several chips, each with its own select pin and clock phase.

    Args:
        spi: A ``machine.SPI``.
    """

    BAUD = 1_000_000

    def __init__(self, spi: object) -> None:
        self._spi = spi
        self._phase = None

    def restart(self) -> None:
        """Set the bus up anew before the next transfer."""
        self._phase = None

    def transfer(self, select: object, phase: int, out: bytes) -> bytearray:
        """Send bytes and return what came back meanwhile."""
        if phase != self._phase:
            self._spi.init(baudrate=self.BAUD, polarity=0, phase=phase)
            self._phase = phase
        back = bytearray(len(out))
        select(0)
        self._spi.write_readinto(out, back)
        select(1)
        return back


class Max31855:
    """Talks at all times and has no settings.

    Args:
        bus: Its bus.
        select: Its select pin, an output that is now 1.
    """

    def __init__(self, bus: Bus, select: object) -> None:
        self._bus = bus
        self._select = select

    def read(self, _now_ms: int) -> tuple | None:
        """One frame."""
        frame = decode_max31855(self._bus.transfer(self._select, 0, bytes(4)))
        if frame[2] == "amplifier-silent":
            self._bus.restart()
        return frame


class Max31856:
    """Converts on its own once it has its settings, which are checked with every frame.

    Args:
        bus: Its bus.
        select: Its select pin, an output that is now 1.
        letter: Thermocouple type.
        mains_hz: 50 or 60, filtered out.
    """

    def __init__(self, bus: Bus, select: object, letter: str, mains_hz: int) -> None:
        self._bus = bus
        self._select = select
        self._settings = (
            _CONVERT | _OPEN_TEST | (_50_HZ if mains_hz == 50 else 0),
            TYPES.index(letter),
        )
        self._ready_ms = None
        self.starts = 0
        """How often it was given its settings."""

    def read(self, now_ms: int) -> tuple | None:
        """One frame; ``None`` while its first conversion is not done."""
        if self._ready_ms is None:
            self._start(now_ms)
        if now_ms < self._ready_ms:
            return None
        registers = self._bus.transfer(self._select, 1, bytes(17))[1:]  # from register 0 on
        if not whole(registers):
            fault = "amplifier-silent"
        elif (registers[0] & ~_CLEAR & 0xFF, registers[1] & 0x7F) != self._settings:
            fault = "amplifier-reset"
        else:
            return decode_max31856(registers[10:16])
        self._bus.restart()
        self._start(now_ms)
        return None, None, fault

    def _start(self, now_ms: int) -> None:
        first, second = self._settings
        for value in (first & _50_HZ, first | _CLEAR):  # the filter is set while it stands still
            self._bus.transfer(self._select, 1, bytes((_WRITE, value, second)))
        self._ready_ms = now_ms + FIRST_CONVERSION_MS
        self.starts += 1
