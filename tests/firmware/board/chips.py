"""The two amplifier chips, bit by bit, as their datasheets have them."""


class Chip:
    """What both have in common: a temperature that may ramp, faults, and ways to be broken."""

    def __init__(self):
        self.mode = "ok"
        self.writes = 0
        self._celsius = 25.0
        self._k_per_s = 0.0
        self._from_ms = 0
        self._cold_c = 25.0
        self._fault = 0
        self._next = []

    def set(self, command, now_ms):
        """From the test: any of the keys."""
        self._celsius = command.get("temperature_c", self._celsius)
        if "temperature_c" in command:
            self._from_ms = now_ms
            self._k_per_s = command.get("k_per_s", 0.0)
        self._cold_c = command.get("cold_c", self._cold_c)
        self._fault = command.get("fault", self._fault)
        self._next = command.get("next", self._next)
        self.mode = command.get("mode", self.mode)
        if command.get("shock"):
            self.power_up()

    def power_up(self):
        """Its settings are those of the factory."""

    def now(self, now_ms):
        """Temperature, fault bits and, if the frame is torn, its bytes."""
        celsius = self._celsius + self._k_per_s * (now_ms - self._from_ms) / 1000
        if not self._next:
            return celsius, self._fault, None
        torn = self._next.pop(0)
        raw = torn.get("raw")
        return (
            torn.get("temperature_c", celsius),
            torn.get("fault", 0),
            None
            if raw is None
            else bytes([int(raw[i : i + 2], 16) for i in range(0, len(raw), 2)]),
        )


class Chip55(Chip):
    """MAX31855: 32 bits, no settings, clock phase 0."""

    phase = 0

    def exchange(self, out, now_ms):
        """What it answers to bytes."""
        celsius, fault, raw = self.now(now_ms)
        if raw is None:
            word = (int(celsius / 0.25) & 0x3FFF) << 18 | (int(self._cold_c / 0.0625) & 0xFFF) << 4
            if fault:
                word |= 0x10000 | fault
            raw = bytes([word >> shift & 0xFF for shift in (24, 16, 8, 0)])
        return (raw + bytes(len(out)))[: len(out)]


class Chip56(Chip):
    """MAX31856: sixteen registers, converts once it is told to, clock phase 1."""

    phase = 1
    FIRST_MS = 185

    def __init__(self):
        super().__init__()
        self.power_up()

    def power_up(self):
        self.registers = bytearray(
            b"\x00\x03\xff\x7f\xc0\x7f\xff\x80\x00\x00\x00\x00\x00\x00\x00\x00"
        )
        self._begun_ms = None

    def exchange(self, out, now_ms):
        """What it answers to bytes: an address, and then what to write or anything."""
        place = out[0] & 0x7F
        if out[0] & 0x80:
            self.writes += 1
            for byte in out[1:]:
                self.registers[place] = byte
                place += 1
            converts = self.registers[0] & 0x80
            self.registers[0] &= ~0x02 & 0xFF  # clearing is done at once
            self._begun_ms = now_ms if converts else None
            return bytes(len(out))
        raw = self._convert(now_ms)
        registers = bytes(self.registers) if raw is None else raw
        return (b"\xff" + registers[place:] + bytes(len(out)))[: len(out)]

    def _convert(self, now_ms):
        if self._begun_ms is None or now_ms - self._begun_ms < self.FIRST_MS:
            return None
        celsius, fault, raw = self.now(now_ms)
        hot = (int(celsius * 128) & 0x7FFFF) << 5
        cold = int(self._cold_c * 64) << 2 & 0xFFFF
        values = (cold >> 8, cold & 0xFF, hot >> 16, hot >> 8 & 0xFF, hot & 0xFF, fault)
        for place, byte in enumerate(values):
            self.registers[10 + place] = byte
        return raw


KINDS = {"max31855": Chip55, "max31856": Chip56}
