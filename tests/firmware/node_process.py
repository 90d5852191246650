"""The reference node as a child process under MicroPython, in a world the test commands.

What the node runs is ``firmware_notes/node`` as it is copied to a board. What is not real is the
board: ``tests/firmware/board`` stands in for its pins, chips, network and clock, and lets hours
pass in seconds. The serial port is a pseudo-terminal and the broker a real one.
"""

from __future__ import annotations

import json
import os
import socket
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

from tests.field.bench_parts import DEADLINE_S, ScriptedPort

BOARD = Path(__file__).parent / "board"
MICROPYTHON = Path(sys.executable).parent / "micropython"
HEAP = "heapsize=512k"
"""Objects are twice as large as on a 32-bit board: this stands for 256 kB there."""
WATCHDOG_BIT = 70
RESET = 71

PORT2, FLANGE = 17, 20
ARGON, OXYGEN, ARC, NEXT = 6, 26, 27, 14
LAMP, SOUNDER = 15, 13


def example() -> dict[str, Any]:
    """The config file that lies beside the node."""
    return json.loads((BOARD.parents[2] / "firmware_notes/node/config.json").read_text())  # type: ignore[no-any-return]


def usual_world() -> list[dict[str, Any]]:
    """Everything in order: two probes at 312.5 and 300 °C, 12 l/min, 21 %, no arc, no press."""
    return [
        {"do": "chip", "select": PORT2, "kind": "max31856", "temperature_c": 312.5},
        {"do": "chip", "select": FLANGE, "kind": "max31855", "temperature_c": 300.0},
        {"do": "pulses", "pin": ARGON, "hz": 150},
        {"do": "volts", "pin": OXYGEN, "volts": 2.815},
        {"do": "volts", "pin": ARC, "volts": 1.65},
    ]


class NodeProcess:
    """One board.

    Args:
        folder: Where its config file and log live.
        config: The config file.
        port: The pseudo-terminal that is its USB serial port; absent: a file.
        clock_set: Whether somebody has set the board's clock.
        utc_s: The true time at power-up [s]; absent: now.
        wlan: Whether there is a wireless network.
        time_server: Whether there is somebody in it who knows the date.
    """

    def __init__(
        self,
        folder: Path,
        config: dict[str, Any],
        port: ScriptedPort | None = None,
        *,
        clock_set: bool = False,
        utc_s: float | None = None,
        wlan: bool = True,
        time_server: bool = False,
    ) -> None:
        self.folder = folder
        folder.mkdir(exist_ok=True)
        self.config = config
        self._port = port
        self._world = {"clock_set": clock_set, "wlan": wlan, "time_server": time_server}
        self._utc_s = utc_s
        self.process: subprocess.Popen[bytes] | None = None
        self._line: Any = None
        self._number = 0

    def start(self, *commands: dict[str, Any]) -> None:
        """Power on, into the usual world changed by commands."""
        (self.folder / "config.json").write_text(json.dumps(self.config))
        true_s = time.time() if self._utc_s is None else self._utc_s
        with socket.create_server(("127.0.0.1", 0)) as server:
            server.settimeout(DEADLINE_S)
            world = self._world | {
                "port": server.getsockname()[1],
                "true_utc_ms": int(true_s * 1000),
                "commands": [*usual_world(), *commands],
            }
            self._spawn(world)
            connection, _ = server.accept()
        connection.settimeout(120)
        self._line = connection.makefile("rw", encoding="utf-8", newline="\n")
        connection.close()

    def _spawn(self, world: dict[str, Any]) -> None:
        environment = os.environ | {"BOARD_WORLD": json.dumps(world)}
        command = [MICROPYTHON, "-X", HEAP, BOARD / "start.py"]
        with (self.folder / "errors.log").open("ab") as errors, self._output() as output:
            self.process = subprocess.Popen(
                command,
                cwd=self.folder,
                env=environment,
                stdin=subprocess.DEVNULL,
                stdout=output,
                stderr=errors,
            )

    def _output(self) -> Any:
        if self._port is None:
            return (self.folder / "output.log").open("ab")
        return os.fdopen(os.dup(self._port.near), "wb", buffering=0)

    def do(self, what: str, **fields: Any) -> dict[str, Any]:
        """One command to the world; its answer."""
        self._number += 1
        try:
            self._line.write(json.dumps({"do": what, "id": self._number, **fields}) + "\n")
            self._line.flush()
            line = self._line.readline()
        except ConnectionError:
            line = ""
        assert line, f"the node has ended: {self.log()[-3000:]}"
        answer = json.loads(line)
        assert answer["id"] == self._number
        return answer  # type: ignore[no-any-return]

    def skip(self, seconds: float) -> None:
        """Let so much of the node's time pass at once."""
        self.do("skip", ms=int(seconds * 1000))

    def chip(self, select: int, **fields: Any) -> None:
        """Change what an amplifier does."""
        self.do("chip", select=select, **fields)

    def level(self, pin: int) -> int:
        """What a pin shows at the moment."""
        return int(self.do("look")["levels"][str(pin)])

    def ended(self) -> int:
        """Wait for its own end; the exit code."""
        assert self.process is not None
        return self.process.wait(DEADLINE_S)

    def power_off(self) -> None:
        """In the middle of whatever it does."""
        if self.process is not None:
            self.process.kill()
            self.process.wait(DEADLINE_S)
            self.process = None
        if self._line is not None:
            self._line.close()
            self._line = None

    def log(self) -> str:
        """What it printed, and what MicroPython said of it."""
        files = [self.folder / "output.log", self.folder / "errors.log"]
        return "".join(file.read_text(errors="replace") for file in files if file.exists())
