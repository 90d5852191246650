"""``heatwindow run`` on a fast clock: ``python -m tests.field.fast_service CONFIG SPEED``.

With the file of a ``SharedClock`` in the place of the speed it runs on that one.

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
from tests.field.shared_clock import SharedClock


def main() -> int:
    config, pace = load(Path(sys.argv[1])), sys.argv[2]
    clock = SharedClock(Path(pace)) if Path(pace).is_file() else SystemClock(float(pace))
    log_to_stderr()
    with stop_on_signals() as stop:
        running = start_service(config, clock)
        stop.wait()
        return 0 if running.stop() else 1


if __name__ == "__main__":
    sys.exit(main())
