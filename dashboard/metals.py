"""The API for what is usual: ranges by casting metal, and checks for an iron nobody knows.

Suggestions to begin from, each with its source. Reading them changes nothing.
"""

from __future__ import annotations

from dataclasses import asdict

from flask import Blueprint, Response

from dashboard.answers import json_answer
from service.procedure.iron_checks import CHECKS
from service.procedure.metals import DEFERS_TO, RANGES

metals = Blueprint("metals", __name__)


@metals.get("/api/v1/metals")
def usual() -> Response:
    """Every row with where it comes from and how well it is known."""
    rows = [
        asdict(row) | {"metal": metal, "source": row.shown_source} for metal, row in RANGES.items()
    ]
    checks = [asdict(check) for check in CHECKS]
    return json_answer({"defers_to": DEFERS_TO, "metals": rows, "checks": checks})
