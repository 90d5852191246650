"""``heatwindow run``: start the service and keep it until SIGTERM or Ctrl-C."""

from __future__ import annotations

import argparse
import gc
import logging
import sys
import time
from pathlib import Path

from service.commands.check import config_from
from service.commands.errors import CommandError
from service.commands.signals import stop_on_signals
from service.commands.supervisor import Supervisor
from service.config.pin import PinKeeper

LOOK_EVERY_S = 2.0
"""How often the file of adopted ports is looked at, which ``check`` may have changed, and the
supervisor told that all is well [s]."""


def add_run(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add ``run`` to the command line."""
    parser = subparsers.add_parser(
        "run", help="start the service: read the sensors, judge, serve the page"
    )
    parser.add_argument("--config", metavar="FILE", type=Path, help="TOML file; absent: defaults")
    parser.set_defaults(run=run_run)


def run_run(given: argparse.Namespace) -> int:
    """Run until told to stop; 0 after a clean stop."""
    config = config_from(given.config)
    # Imported only now, so that a wrong config is told at once.
    from service.clock import SystemClock  # noqa: PLC0415
    from service.commands.assembly import start_service  # noqa: PLC0415

    log_to_stderr()
    with stop_on_signals() as stop:
        if not config.dashboard.on_loopback:
            logging.getLogger(__name__).warning(
                "everybody on the network can look at the page at %s%s",
                config.dashboard.host,
                ""
                if PinKeeper(config.database_url).is_set()
                else "; nobody there can change anything until 'heatwindow pin' has set a PIN",
            )
        running = start_service(config, SystemClock())
        # What the start has made lives as long as the service: no collection need look at it.
        gc.freeze()
        try:
            say(running.address)
            supervisor = Supervisor(running.wellness.stuck)
            supervisor.ready(running.address)
            while not stop.wait(LOOK_EVERY_S):
                running.links.look()
                supervisor.alive()
            supervisor.stopping()
        finally:
            clean = running.stop()
    if not clean:
        raise CommandError("not everything ended in time; the log says what")
    return 0


def log_to_stderr(level: int = logging.INFO) -> None:
    """One line for each event, with UTC time as everywhere else."""
    formatter = logging.Formatter(
        "%(asctime)sZ %(levelname)s %(name)s: %(message)s", datefmt="%Y-%m-%dT%H:%M:%S"
    )
    formatter.converter = time.gmtime
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(formatter)
    logging.basicConfig(level=level, handlers=[handler])


def say(text: str) -> None:
    """A line on standard output, at once even into a pipe."""
    sys.stdout.write(f"{text}\n")
    sys.stdout.flush()
