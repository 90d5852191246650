"""``heatwindow run`` on a fast clock: ``python -m tests.field.fast_service CONFIG SPEED``.

The same service put together by the same code; only the injected clock differs.
"""

from __future__ import annotations

import sys
from pathlib import Path

from service.clock import SystemClock
from service.commands.assembly import start_service
from service.commands.run import log_to_stderr
from service.commands.signals import stop_on_signals
from service.config import load


def main() -> int:
    config, speed = load(Path(sys.argv[1])), float(sys.argv[2])
    log_to_stderr()
    with stop_on_signals() as stop:
        running = start_service(config, SystemClock(speed))
        stop.wait()
        return 0 if running.stop() else 1


if __name__ == "__main__":
    sys.exit(main())
