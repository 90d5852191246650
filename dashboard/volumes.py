"""The API for what a cavity holds, added up from its pieces. Asking changes nothing."""

from __future__ import annotations

from flask import Blueprint, Response, request

from dashboard.answers import json_answer
from dashboard.problems import Problem, shown
from service.physics.geometry import GAUGE_WALL_MM, SCHEDULE_10S
from service.procedure.pieces import BAKE_DRY, CAUTION, BadPiece, holds_water, piece_l, total_l

volumes = Blueprint("volumes", __name__)

PIECES_MOST = 60
LONGEST_PIECE = 60


@volumes.get("/api/v1/volume")
def volume() -> Response:
    """What the pieces hold, each and together; without any only what sizes there are."""
    pieces = request.args.getlist("piece")
    if len(pieces) > PIECES_MOST:
        raise Problem(
            422, "bad-piece", f"{len(pieces)} pieces were given; at most {PIECES_MOST} are allowed."
        )
    long = next((each for each in pieces if len(each) > LONGEST_PIECE), None)
    if long is not None:
        raise Problem(
            422,
            "bad-piece",
            f"piece {shown(long)!r} has {len(long)} characters; {LONGEST_PIECE} are allowed.",
        )
    try:
        held = [{"piece": each, "volume_l": piece_l(each)} for each in pieces]
        together = total_l(pieces) if pieces else None
    except BadPiece as error:
        raise Problem(422, "bad-piece", f"{str(error)[:1].upper()}{str(error)[1:]}.") from None
    cautions = [BAKE_DRY] if any(holds_water(each) for each in pieces) else []
    return json_answer(
        {
            "volume_l": together,
            "pieces": held,
            "cautions": [*cautions, CAUTION],
            "pipe_sizes": list(SCHEDULE_10S),
            "gauges": sorted(GAUGE_WALL_MM),
        }
    )
