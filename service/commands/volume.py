"""``heatwindow volume``: how much a cavity holds, from its pieces."""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from typing import Any

from service.commands.errors import BadInput
from service.procedure.pieces import (
    BAKE_DRY,
    CAUTION,
    FORMS,
    BadPiece,
    holds_water,
    piece_l,
    total_l,
)


def volume_of(pieces: Sequence[str]) -> float:
    """Litres of all pieces together.

    Raises:
        BadInput: A piece is not understood, or nothing is left.
    """
    try:
        return total_l(pieces)
    except BadPiece as error:
        raise BadInput(str(error)) from error


def add_volume(subparsers: argparse._SubParsersAction[Any]) -> None:
    """Register the subcommand; its handler returns the exit code."""
    forms = "\n".join(f"  {form:<28}{meaning}" for form, meaning in FORMS.items())
    parser = subparsers.add_parser(
        "volume",
        help="how much a cavity holds, from its pieces",
        description="Adds up what a cavity holds from its pieces. A piece is one of:\n" + forms,
        epilog=BAKE_DRY,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("piece", nargs="+", metavar="PIECE", help='such as "pipe 2 x 300"')
    parser.add_argument("--json", action="store_true", help="print JSON")
    parser.set_defaults(run=run_volume)


def run_volume(arguments: argparse.Namespace) -> int:
    """Run ``heatwindow volume``."""
    total = volume_of(arguments.piece)
    if arguments.json:
        parts = [{"piece": piece, "volume_l": piece_l(piece)} for piece in arguments.piece]
        print(json.dumps({"volume_l": total, "pieces": parts}, allow_nan=False))
        return 0
    for piece in arguments.piece:
        print(f"{piece:<32}{piece_l(piece):>9.3f} l")
    print(f"{'together':<32}{total:>9.3f} l")
    if any(holds_water(piece) for piece in arguments.piece):
        print(BAKE_DRY)
    print(CAUTION)
    return 0
