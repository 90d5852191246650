"""What surrounds the node in a test: pins, chips, voltages, the network, and time itself.

Runs inside the node's own MicroPython. The test sends commands as JSON lines over a socket; each
is answered with one line. Time passes as it does outside until a command asks for a stretch of it
to be skipped: then every pause of the node takes no real time at all, until the stretch is over.
"""

import json
import os
import select
import socket
import sys

import chips
import utime

TICKS = 1 << 30
"""Where a board's tick counter wraps [ms]."""
FIRST_TICKS = TICKS - 7_000
"""So that every test of more than seven seconds goes through a wrap."""
UNSET_MS = 1_609_459_200_000
"""2021-01-01: the date of a board that nobody has told one."""
FAST_STEP_MS = 20
WATCHDOG_BIT = 70
RESET = 71


class World:
    """Everything outside the node."""

    def __init__(self):
        self._began_ms = utime.ticks_ms()
        self._skipped_ms = 0
        self._skip_until_ms = None
        self._skip_id = None
        self._rounds = 0
        given = json.loads(os.getenv("BOARD_WORLD"))
        self._true_ms = given["true_utc_ms"]
        self._utc_ms = self._true_ms if given["clock_set"] else UNSET_MS
        self._clock_set = given["clock_set"]
        self.wlan = given["wlan"]
        self.time_server = given["time_server"]
        self.joined_with = None
        self.levels = {}
        self.handlers = {}
        self.volts = {}
        self.chips = {}
        self.pulse_hz = {}
        self._pulse_part = {}
        self._due = []
        self.uart = b""
        self.watchdog_ms = None
        self.fed_ms = 0
        self.date_asked = 0
        self._passed_ms = 0
        for command in given["commands"]:
            self._do(command)
        self._socket = socket.socket()
        self._socket.connect(socket.getaddrinfo("127.0.0.1", given["port"])[0][-1])
        self._poll = select.poll()
        self._poll.register(self._socket, select.POLLIN)

    # Time --------------------------------------------------------------------------------------

    def now_ms(self):
        """Since power-up [ms]."""
        return utime.ticks_diff(utime.ticks_ms(), self._began_ms) + self._skipped_ms

    def utc_ms(self):
        """What the board's clock shows [ms since 1970]."""
        return self._utc_ms + self.now_ms()

    def set_date(self):
        """As the time server does: to the second."""
        self.date_asked += 1
        if not (self.wlan and self.time_server):
            raise OSError(110)
        true_ms = self._true_ms + self.now_ms()
        self._utc_ms = true_ms // 1000 * 1000 - self.now_ms()

    def pause(self, ms):
        """The node waits."""
        if self._skip_until_ms is None:
            utime.sleep_ms(ms)
        else:
            self._skipped_ms += max(ms, FAST_STEP_MS)
            if self.now_ms() >= self._skip_until_ms:
                self._skip_until_ms = None
                self._answer({"id": self._skip_id})
        self._pass_time()
        self._rounds += 1
        if self._skip_until_ms is None or self._rounds % 100 == 0:
            self._serve()

    def hang(self):
        """Something never comes back."""
        while True:
            utime.sleep_ms(1)
            self._skipped_ms += 100
            self._watch()

    def _pass_time(self):
        now_ms = self.now_ms()
        elapsed_ms, self._passed_ms = now_ms - self._passed_ms, now_ms
        for pin, hz in self.pulse_hz.items():
            part = self._pulse_part.get(pin, 0) + hz * elapsed_ms
            for _ in range(int(part // 1000)):
                self.handlers[pin][0](None)
            self._pulse_part[pin] = part % 1000
        for at_ms, pin, level in [each for each in self._due if each[0] <= now_ms]:
            self._due.remove((at_ms, pin, level))
            self.set_level(pin, level)
        self._watch()

    def _watch(self):
        if self.watchdog_ms is not None and self.now_ms() - self.fed_ms > self.watchdog_ms:
            sys.exit(WATCHDOG_BIT)

    # Pins --------------------------------------------------------------------------------------

    def set_level(self, pin, level):
        """From outside; calls whoever listens to that edge."""
        before = self.levels.get(pin, 1)
        self.levels[pin] = level
        handler, edges = self.handlers.get(pin, (None, 0))
        if handler is not None and level != before and edges & (1 if level else 2):
            handler(lambda: self.levels[pin])

    # Commands ----------------------------------------------------------------------------------

    def _serve(self):
        while self._poll.poll(0):
            line = self._socket.readline()
            if not line:
                sys.exit(0)  # the test is over
            command = json.loads(line)
            found = self._do(command)
            if found is not None:
                found["id"] = command["id"]
                self._answer(found)

    def _answer(self, body):
        self._socket.write(json.dumps(body) + "\n")

    def _do(self, command):
        what = command["do"]
        if what == "skip":
            self._skip_until_ms = self.now_ms() + command["ms"]
            self._skip_id = command["id"]
            return None
        if what == "chip":
            self._chip(command)
        elif what == "pin":
            self.set_level(command["pin"], command["level"])
        elif what == "press":
            now_ms = self.now_ms()
            for place, after_ms in enumerate(command["edges_ms"]):
                self._due.append((now_ms + after_ms, command["pin"], place % 2))
        elif what == "volts":
            self.volts[command["pin"]] = command["volts"]
        elif what == "pulses":
            self.pulse_hz[command["pin"]] = command["hz"]
        elif what == "wlan":
            self.wlan = command["up"]
            self.time_server = command.get("time_server", self.time_server)
        elif what == "uart":
            self.uart += command["text"].encode()
        elif what == "look":
            return {
                "now_ms": self.now_ms(),
                "utc_ms": self.utc_ms(),
                "levels": {str(pin): level for pin, level in self.levels.items()},
                "joined_with": self.joined_with,
                "starts": {str(pin): chip.writes for pin, chip in self.chips.items()},
            }
        else:
            raise ValueError(what)
        return {}

    def _chip(self, command):
        pin = command["select"]
        if pin not in self.chips:
            self.chips[pin] = chips.KINDS[command["kind"]]()
        self.chips[pin].set(command, self.now_ms())


_world = []


def world():
    """The one there is."""
    if not _world:
        _world.append(World())
    return _world[0]
