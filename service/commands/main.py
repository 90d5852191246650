"""``heatwindow``: one command with subcommands.

Exit codes: 0 done, 1 failed, 2 wrong usage or bad input. Errors go to standard error as plain
sentences, never as a traceback. Only the module of the subcommand that was typed is imported,
so that ``heatwindow purge`` does not pay for a web server.

Each subcommand lives in ``service/commands/<name>.py`` and offers ``add_<name>(subparsers)``,
which adds its parser and sets ``run`` to a function ``(Namespace) -> int``.
"""

from __future__ import annotations

import argparse
import importlib
import os
import sys
from collections.abc import Sequence
from typing import Any, NoReturn

from service import __version__
from service.commands.errors import CommandError

COMMANDS: dict[str, str] = {
    "run": "start the service: read the sensors, judge, serve the page",
    "demo": "start a simulated shop with two castings and show it on the page",
    "check": "check a config and say what would open",
    "notify": "send a test notice by each configured outlet",
    "forecast": "how long until a logged part cools past a temperature",
    "purge": "when a logged purge is clear",
    "plan": "how hot the oven must be for a heat",
    "volume": "how much a cavity holds, from its pieces",
    "steel": "heat input, carbon equivalent, preheat and t8/5 of a ferritic steel",
    "metals": "what is usual for each casting metal, and who says so",
    "replay": "judge a recorded database again and compare",
    "report": "print the record of a heat as a PDF",
    "export": "write a heat as CSV, or whole as JSON",
    "import": "take in a heat, or another logger's CSV, into a database of its own",
    "work": "what heats took: hours, arc minutes, litres of argon, oven time",
    "retain": "throw away old readings by level, and say how long the disk lasts",
    "pin": "set the PIN that lets a device on the network change things",
    "backup": "copy the database and check the copy",
    "restore": "put a backup in the place of the database",
}
"""Subcommands in the order of ``--help``."""

MODULES = {"import": "take_in"}
"""Where a subcommand's module has another name: Python keeps this word for itself."""


class Parser(argparse.ArgumentParser):
    """An argument parser that complains in one sentence."""

    def error(self, message: str) -> NoReturn:
        sys.stderr.write(f"{self.prog}: {message}; see '{self.prog} --help'\n")
        raise SystemExit(2)


def build_parser(wanted: str | None) -> Parser:
    """The whole command line, with only the wanted subcommand fully there."""
    parser = Parser(
        prog="heatwindow",
        description="Says when a hot casting may be welded, and for how long.",
        epilog="It advises; the welder decides. Local codes and qualified practice come first.",
    )
    parser.add_argument("--version", action="version", version=f"heatwindow {__version__}")
    subparsers = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for name, purpose in COMMANDS.items():
        if name == wanted:
            place = MODULES.get(name, name)
            module = importlib.import_module(f"service.commands.{place}")
            getattr(module, f"add_{place}")(subparsers)
        else:
            subparsers.add_parser(name, help=purpose)
    return parser


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; the return value is the exit code."""
    arguments = list(sys.argv[1:] if argv is None else argv)
    wanted = next((text for text in arguments if not text.startswith("-")), None)
    try:
        given = build_parser(wanted).parse_args(arguments)
        code = int(given.run(given))
        sys.stdout.flush()  # here, where a reader that has gone is understood
        return code
    except SystemExit as end:
        return end.code if isinstance(end.code, int) else 1
    except CommandError as error:
        return complain(str(error), error.exit_code)
    except KeyboardInterrupt:
        return complain("interrupted", 1)
    except BrokenPipeError:
        # Whoever read our output has gone; nothing can be said to them any more, and the
        # interpreter must not try to flush into the closed pipe on its way out.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 1
    except Exception as error:  # noqa: BLE001 - the last line: a sentence instead of a traceback
        return complain(unexpected(error), 1)


def complain(text: str, exit_code: int) -> int:
    """Print a message to standard error, a line of it at a time."""
    for line in text.splitlines() or [""]:
        sys.stderr.write(f"heatwindow: {line}\n")
    return exit_code


def unexpected(error: BaseException) -> str:
    """A sentence for an error nobody foresaw, with the place it came from."""
    place: Any = error.__traceback__
    while place is not None and place.tb_next is not None:
        place = place.tb_next
    where = ""
    if place is not None:
        file = os.path.basename(place.tb_frame.f_code.co_filename)
        where = f" ({file}, line {place.tb_lineno})"
    return f"this is a fault in heatwindow: {type(error).__name__}: {error}{where}"


if __name__ == "__main__":
    sys.exit(main())
