"""The board's ``machine`` as far as the node uses it, wired to the test's world."""

import sys

from world import RESET, world

_world = world()


class Pin:
    """One pin."""

    IN, OUT = 0, 1
    PULL_UP = 1
    IRQ_RISING, IRQ_FALLING = 1, 2

    def __init__(self, number, mode=-1, pull=-1, value=None):
        self.number = number
        if value is not None:
            _world.levels[number] = value
        elif mode == self.IN and pull == self.PULL_UP and number not in _world.levels:
            _world.levels[number] = 1

    def __call__(self, level=None):
        if level is None:
            return _world.levels.get(self.number, 0)
        _world.levels[self.number] = level
        return None

    def irq(self, handler, trigger, hard=False):
        """Call a function at edges."""
        _world.handlers[self.number] = (handler, trigger)


class ADC:
    """A pin's voltage."""

    def __init__(self, pin):
        self._pin = pin.number

    def read_u16(self):
        """Of 3.3 V full scale."""
        return min(65535, max(0, int(_world.volts.get(self._pin, 0) / 3.3 * 65535)))


class SPI:
    """The bus: whichever chip is selected answers."""

    MOST_HZ = 5_000_000

    def __init__(self, number, baudrate, sck, mosi, miso):
        self._phase = 0

    def init(self, baudrate, polarity, phase):
        """Set it up."""
        assert baudrate <= self.MOST_HZ
        assert polarity == 0
        self._phase = phase

    def write_readinto(self, out, into):
        """One transfer."""
        selected = [chip for pin, chip in _world.chips.items() if _world.levels.get(pin) == 0]
        assert len(selected) < 2, "two chips talk at once"
        back = b"\xff" * len(out)
        if selected:
            chip = selected[0]
            if chip.mode == "hang":
                _world.hang()
            back = chip.exchange(bytes(out), _world.now_ms())
            if chip.mode in ("zeros", "ones"):
                back = (b"\x00" if chip.mode == "zeros" else b"\xff") * len(out)
            elif self._phase != chip.phase:  # every bit comes half a clock off
                word = int.from_bytes(back, "big") >> 1
                back = word.to_bytes(len(out), "big")
        into[:] = back


class UART:
    """A second serial port."""

    def __init__(self, number, baud, rx, tx):
        pass

    def any(self):
        """How much has come."""
        return len(_world.uart)

    def read(self):
        """All that has come."""
        data, _world.uart = _world.uart, b""
        return data or None


class WDT:
    """Bites when it is not fed."""

    def __init__(self, timeout):
        assert timeout <= 8388, "the longest some boards have"
        _world.watchdog_ms = timeout
        self.feed()

    def feed(self):
        """In time."""
        _world.fed_ms = _world.now_ms()


def reset():
    """Begin anew."""
    sys.exit(RESET)
