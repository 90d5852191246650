"""``heatwindow demo``: a simulated shop on real wires, read by the ordinary service.

The first line on standard output is the page's address; each further line is a step of the
story with the shop time since the start, for whoever watches or tests.
"""

from __future__ import annotations

import argparse
import logging
import os
import sys
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from service.commands.check import config_from
from service.commands.errors import BadInput, CommandError
from service.commands.run import log_to_stderr, say
from service.commands.signals import stop_on_signals
from service.demo.faults import FAULTS

if TYPE_CHECKING:
    from service.demo.pacing import Pacing
    from service.demo.story import Story

SPEED_MIN, SPEED_MAX = 1.0, 60.0


def add_demo(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add ``demo`` to the command line."""
    parser = subparsers.add_parser(
        "demo", help="start a simulated shop with two castings and show it on the page"
    )
    parser.add_argument(
        "--port", type=_port, default=8080, metavar="N", help="of the page; 0 takes any free one"
    )
    parser.add_argument(
        "--speed",
        type=_speed,
        default=1.0,
        metavar="X",
        help=f"shop seconds per second, {SPEED_MIN:g} to {SPEED_MAX:g}",
    )
    parser.add_argument("--fault", choices=FAULTS, help="let this go wrong on the way")
    parser.add_argument(
        "--data", type=Path, metavar="DIR", help="keep the database there; absent: a fresh one"
    )
    parser.add_argument(
        "--broker", choices=("mosquitto", "amqtt"), help="absent: mosquitto if it is installed"
    )
    parser.set_defaults(run=run_demo)


def _port(text: str) -> int:
    port = int(text) if text.isdecimal() else -1
    if not 0 <= port <= 65535:
        raise argparse.ArgumentTypeError(f"{text!r} is not a port from 0 to 65535")
    return port


def _speed(text: str) -> float:
    try:
        speed = float(text)
    except ValueError:
        speed = float("nan")
    if not SPEED_MIN <= speed <= SPEED_MAX:
        raise argparse.ArgumentTypeError(
            f"{text!r} is not a pace from {SPEED_MIN:g} to {SPEED_MAX:g}"
        )
    return speed


def run_demo(given: argparse.Namespace) -> int:
    """Run the demo until told to stop; 0 after a clean stop."""
    if sys.platform == "win32":
        raise CommandError("the demo needs pseudo-terminals, which Windows has not")
    log_to_stderr(logging.WARNING)
    with stop_on_signals() as stop, _data_folder(given.data) as folder:
        return _play(given, folder, stop)


@contextmanager
def _data_folder(wanted: Path | None) -> Iterator[Path]:
    """The folder asked for, or a temporary one that goes with the demo."""
    if wanted is None:
        with tempfile.TemporaryDirectory(prefix="heatwindow-demo-") as name:
            yield Path(name)
        return
    try:
        wanted.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise BadInput(f"--data {wanted}: {(error.strerror or str(error)).lower()}") from error
    if not os.access(wanted, os.W_OK | os.X_OK):
        raise BadInput(f"--data {wanted}: no right to write there")
    yield wanted.resolve()


def _play(given: argparse.Namespace, folder: Path, stop: threading.Event) -> int:
    # What the demo needs is not needed to read its command line.
    from service.clock import SystemClock  # noqa: PLC0415
    from service.commands.assembly import start_service  # noqa: PLC0415
    from service.demo.broker import BrokerFailed  # noqa: PLC0415
    from service.demo.pacing import Pacing  # noqa: PLC0415
    from service.demo.rig import Rig  # noqa: PLC0415

    clock = SystemClock(given.speed)
    rig = Rig(folder, clock, given.broker)
    try:
        rig.start()
        running = start_service(config_from(rig.write_config(given.port)), clock)
    except BrokerFailed as error:
        rig.stop()
        raise CommandError(str(error)) from error
    except BaseException:
        rig.stop()
        raise
    try:
        say(running.address)
        pacing = Pacing(clock, stop)

        def tell(text: str) -> None:
            minutes, seconds = divmod(int(pacing.now_s - pacing.start_s), 60)
            say(f"{minutes:02d}:{seconds:02d}  {text}")

        tell(f"MQTT by {rig.broker.kind} on port {rig.broker.port}, pace {given.speed:g}.")
        failure = _tell_story(rig.story(running.address, pacing, given.fault, tell), pacing)
    finally:
        # The service first: it must not see its links die as if something were wrong.
        clean = running.stop()
        rig.stop()
    if failure is not None:
        raise CommandError(f"the story broke off: {failure}") from failure
    if rig.engine.failure is not None:
        raise CommandError(f"the simulated shop stopped: {rig.engine.failure}")
    if not clean:
        raise CommandError("not everything ended in time; the log says what")
    return 0


def _tell_story(story: Story, pacing: Pacing) -> Exception | None:
    """Play until told to stop. What breaks the story off is told at once and returned at the
    end; the page stays up meanwhile, since it shows what went wrong best."""
    from service.demo.broker import BrokerFailed  # noqa: PLC0415
    from service.demo.pacing import StoryEnded  # noqa: PLC0415
    from service.demo.page import TapRefused  # noqa: PLC0415

    failure: Exception | None = None
    try:
        try:
            story.play()
        except (TapRefused, TimeoutError, BrokerFailed) as error:
            failure = error
            logging.getLogger(__name__).error("the story broke off: %s", error)
            pacing.wait_for_stop()
    except StoryEnded:
        pass
    return failure
