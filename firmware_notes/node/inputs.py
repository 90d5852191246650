"""What the node measures. Every input has ``channels`` (name and unit each) and ``poll``.

``poll(now_ms, put)`` is called every few milliseconds; ``put(which, state, value, at_ms)`` keeps a
sample of the input's own channel number ``which``.
"""

import time
from array import array

from amplifiers import SLOPE_MV_PER_K
from noise import ArcFilter
from ring import FAULT, FAULTS, NUMBER, SWITCH

RANGE, NO_ANSWER = FAULTS.index("out-of-range"), FAULTS.index("no-answer")


class Every:
    """Says when it is time again; what was missed is not made up for."""

    def __init__(self, every_ms: int) -> None:
        self.every_ms = every_ms
        self._due_ms = None

    def due(self, now_ms: int) -> bool:
        """Whether it is time, once for each time."""
        if self._due_ms is None:
            self._due_ms = now_ms + self.every_ms
            return False
        if now_ms < self._due_ms:
            return False
        self._due_ms += self.every_ms
        if self._due_ms <= now_ms:
            self._due_ms = now_ms + self.every_ms
        return True


class Thermocouple:
    """One probe on an amplifier, read several times for each value told.

    Args:
        chip: Driver with ``read``.
        settings: Its table of the config file.
    """

    FRAMES = 4

    def __init__(self, chip: object, settings: dict) -> None:
        self._chip = chip
        self._filter = ArcFilter()
        self._slope = SLOPE_MV_PER_K[settings["type"]] if settings.get("emf") else None
        self.channels = [(settings["name"], "Cel" if self._slope is None else "mV")]
        if settings["cold_junction"]:
            self.channels.append((settings["cold_junction"], "Cel"))
        self._told = Every(settings["every_ms"])
        self._frame = Every(settings["every_ms"] // self.FRAMES)

    @property
    def dropped(self) -> int:
        """Frames left out as arc noise since power-up."""
        return self._filter.dropped

    def poll(self, now_ms: int, put: object) -> None:
        """Read a frame or tell a value, if it is time."""
        if self._frame.due(now_ms):
            frame = self._chip.read(now_ms)
            if frame is not None:
                self._filter.add(frame)
        if not self._told.due(now_ms):
            return
        frame = self._filter.take()
        if frame is None:
            return
        hot_c, cold_c, fault = frame
        if fault is not None:
            for which in range(len(self.channels)):
                put(which, FAULT, FAULTS.index(fault), now_ms)
            return
        if self._slope is None:
            put(0, NUMBER, hot_c, now_ms)
        else:
            put(0, NUMBER, self._slope * (hot_c - cold_c), now_ms)
        if len(self.channels) > 1:
            put(1, NUMBER, cold_c, now_ms)


class PulseFlow:
    """A flow meter that gives a pulse for so much gas.

    Args:
        pin: Input with interrupts.
        settings: Its table of the config file.
    """

    def __init__(self, pin: object, settings: dict) -> None:
        self.channels = [(settings["name"], "l/s")]
        self._per_l = settings["pulses_per_l"]
        self._told = Every(settings["every_ms"])
        self._pulses = 0
        self._before = 0
        self._before_ms = None
        self._pin = pin
        listen(pin, self._pulse, pin.IRQ_RISING)

    def _pulse(self, _pin: object) -> None:
        # May run inside an interrupt: no memory is taken here.
        self._pulses = (self._pulses + 1) & 0x3FFF_FFFF

    def poll(self, now_ms: int, put: object) -> None:
        """Tell the flow since the last time."""
        if self._before_ms is None:
            self._before, self._before_ms = self._pulses, now_ms
        if self._told.due(now_ms):
            pulses = self._pulses
            counted = (pulses - self._before) & 0x3FFF_FFFF
            elapsed_ms = now_ms - self._before_ms
            self._before, self._before_ms = pulses, now_ms
            put(0, NUMBER, counted * 1000 / (self._per_l * elapsed_ms), now_ms)


class Analog:
    """A voltage that stands for something: ``value = (volts - zero_v) * per_v``.

    A voltage outside ``valid_v`` is no measurement: with a sensor that never goes down to 0 V a
    torn wire shows. With a ``step`` above 0 the value is looked at often and told at once when it
    has moved so far since it was last told: an arc is struck between two seconds.

    Args:
        adc: ``machine.ADC``.
        settings: Its table of the config file.
    """

    READINGS = 16
    LOOK_MS = 50

    def __init__(self, adc: object, settings: dict) -> None:
        self.channels = [(settings["name"], settings["unit"])]
        self._adc = adc
        self._s = settings
        self._every = Every(settings["every_ms"])
        self._look = Every(self.LOOK_MS)
        self._told = None

    def poll(self, now_ms: int, put: object) -> None:
        """Tell the value, if it is time or if it has moved."""
        due = self._every.due(now_ms)
        step = self._s["step"]
        if not due and not (step and self._look.due(now_ms)):
            return
        state, value = self._measure()
        if due or self._moved(state, value, step):
            self._told = (state, value)
            put(0, state, value, now_ms)

    def _moved(self, state: int, value: float, step: float) -> bool:
        if self._told is None:
            return True
        told_state, told = self._told
        return state != told_state or (state == NUMBER and abs(value - told) >= step)

    def _measure(self) -> tuple:
        try:
            total = sum([self._adc.read_u16() for _ in range(self.READINGS)])
        except OSError:
            return FAULT, NO_ANSWER
        s = self._s
        volts = total / (self.READINGS * 65535) * s["full_scale_v"]
        low_v, high_v = s["valid_v"]
        if not low_v <= volts <= high_v:
            return FAULT, RANGE
        return NUMBER, (volts - s["zero_v"]) * s["per_v"]


class Switch:
    """A button or any other contact: each change with its own time, and its state now and then.

    The interrupt notes the edges, so that a press is not missed while something else takes long.
    A contact bounces: a level counts once it has stood for ``SETTLE_MS``, from its first edge.

    Args:
        pin: Input with interrupts.
        settings: Its table of the config file.
        clock: The board's time.
    """

    EDGES = 16
    SETTLE_MS = 10

    def __init__(self, pin: object, settings: dict, clock: object) -> None:
        self.channels = [(settings["name"], "")]
        self._pin = pin
        self._on = settings["on"]
        self._clock = clock
        self._told = Every(settings["every_ms"])
        self._ticks = array("i", [0] * self.EDGES)
        self._levels = bytearray(self.EDGES)
        self._in = 0
        self._out = 0
        self._level = self._newest = pin() == self._on
        self._since_ms = 0
        listen(pin, self._edge, pin.IRQ_RISING | pin.IRQ_FALLING)

    def _edge(self, pin: object) -> None:
        # May run inside an interrupt: no memory is taken here.
        place = self._in
        self._ticks[place] = time.ticks_ms()
        self._levels[place] = pin()
        self._in = (place + 1) % self.EDGES

    def poll(self, now_ms: int, put: object) -> None:
        """Tell changes, and the state when it is time."""
        while self._out != self._in:
            place = self._out
            age_ms = time.ticks_diff(time.ticks_ms(), self._ticks[place])
            level = self._levels[place] == self._on
            self._out = (place + 1) % self.EDGES
            self._take(self._clock.now() - age_ms, level, put)
        self._take(now_ms, self._pin() == self._on, put)
        if self._newest == self._level and self._told.due(now_ms):
            put(0, SWITCH, int(self._level), now_ms)

    def _take(self, at_ms: int, level: bool, put: object) -> None:
        if self._newest != self._level and at_ms - self._since_ms >= self.SETTLE_MS:
            self._level = self._newest
            put(0, SWITCH, int(self._level), self._since_ms)
        if level != self._newest:
            self._newest, self._since_ms = level, at_ms


def listen(pin: object, handler: object, edges: int) -> None:
    """Have a function called at each edge, in the interrupt itself where the board can."""
    try:
        pin.irq(handler, edges, hard=True)
    except TypeError:
        pin.irq(handler, edges)
