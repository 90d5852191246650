"""The node: reads its inputs on time, and sends what it has whenever it can."""

import time

import machine
from alarms import Alarms
from amplifiers import Bus, Max31855, Max31856
from clock import Clock
from inputs import Analog, PulseFlow, Switch, Thermocouple
from packs import Outbox
from ring import Ring

ROUND_MS = 5
"""Pause of each round; an input is never read later than by this and one round's work."""
SELECT_AT_REST = 1


class Node:
    """One board.

    Args:
        settings: Checked, from ``settings.load``.
    """

    def __init__(self, settings: dict) -> None:
        self._clock = Clock()
        self._ring = Ring(settings["buffer_samples"])
        self._inputs = make_inputs(settings, self._clock)
        channels = []
        self._puts = []
        for each in self._inputs:
            self._puts.append(self._putter(len(channels)))
            channels.extend(each.channels)
        self._outbox = Outbox(settings["node"], channels, self._ring, self._clock)
        lines = settings["alarm_lines"]
        self._uart = None
        if lines is not None:
            self._uart = machine.UART(lines["uart"], lines["baud"], rx=lines["rx"], tx=lines["tx"])
        self._wifi = None
        self._alarms = Alarms(
            _output(settings["lamp"]),
            _output(settings["sounder"]),
            needs_link=settings["mqtt"] is not None and lines is None,
        )
        self._link = self._make_link(settings)
        self._watchdog = None
        if settings["watchdog_ms"]:
            self._watchdog = machine.WDT(timeout=settings["watchdog_ms"])

    def run(self) -> None:
        """For ever."""
        while True:
            self.step()
            time.sleep_ms(ROUND_MS)

    def step(self) -> None:
        """One round; nothing in it waits."""
        now_ms = self._clock.now()
        noise = 0
        for place, each in enumerate(self._inputs):
            each.poll(now_ms, self._puts[place])
            noise += getattr(each, "dropped", 0)
        self._outbox.noise = noise
        if self._wifi is None:
            self._link.step(now_ms)
        else:
            self._link.step(now_ms, self._wifi.step(now_ms))
        if self._uart is not None and self._uart.any():
            self._alarms.take_bytes(self._uart.read() or b"")
        self._alarms.show(now_ms, self._link.linked)
        if self._watchdog is not None:
            self._watchdog.feed()

    def _make_link(self, settings: dict) -> object:
        if settings["mqtt"] is None:
            from usb import UsbLink  # noqa: PLC0415 - only what is used takes memory

            return UsbLink(self._outbox)
        from mqtt import MqttLink  # noqa: PLC0415
        from wifi import Wifi  # noqa: PLC0415

        self._wifi = Wifi(settings, self._clock)
        broker = settings["mqtt"]
        if settings["lamp"] is None and settings["sounder"] is None:
            broker["alarm_topic"] = ""  # nobody would see it, and not every broker allows it
        return MqttLink(settings["node"], broker, self._outbox, self._alarms.take_state)

    def _putter(self, first: int) -> object:
        ring = self._ring
        return lambda which, state, value, at_ms: ring.put(at_ms, first + which, state, value)


def make_inputs(settings: dict, clock: Clock) -> list:
    """The inputs of a config file."""
    bus = None
    if settings["spi"] is not None:
        spi = settings["spi"]
        pins = {key: machine.Pin(spi[key]) for key in ("sck", "mosi", "miso")}
        bus = Bus(machine.SPI(spi["id"], baudrate=Bus.BAUD, **pins))
    return [_make_input(each, bus, clock) for each in settings["inputs"]]


def _make_input(each: dict, bus: Bus | None, clock: Clock) -> object:
    kind = each["kind"]
    if kind in ("max31855", "max31856"):
        select = machine.Pin(each["select"], machine.Pin.OUT, value=SELECT_AT_REST)
        if kind == "max31855":
            return Thermocouple(Max31855(bus, select), each)
        return Thermocouple(Max31856(bus, select, each["type"], each["mains_hz"]), each)
    if kind == "analog":
        return Analog(machine.ADC(machine.Pin(each["pin"])), each)
    pin = machine.Pin(each["pin"], machine.Pin.IN, machine.Pin.PULL_UP)
    if kind == "pulse flow":
        return PulseFlow(pin, each)
    return Switch(pin, each, clock)


def _output(number: int | None) -> object:
    return None if number is None else machine.Pin(number, machine.Pin.OUT, value=0)
