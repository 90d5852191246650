"""BokehJS for the chart of a record, served from the installed package.

The package's Python side is never imported: the page makes the chart itself, and a service that
nobody asks for a record carries nothing of it. The files are read and packed when they are first
asked for.
"""

from __future__ import annotations

import gzip
from functools import lru_cache
from importlib.metadata import PackageNotFoundError, distribution

from flask import Blueprint, Response

from dashboard.assets import packed
from dashboard.problems import Problem

bokeh_files = Blueprint("bokeh_files", __name__)

PACKAGE = "bokeh"
PLACE = "bokeh/server/static/js"
SCRIPTS = ("bokeh.min.js", "bokeh-api.min.js")
"""In the order in which a page needs them."""


class NotInstalled(Exception):
    """The package or one of its files is not there."""


def addresses() -> list[str]:
    """Where a page finds the scripts; they change with the version."""
    return [f"/bokeh/{_version()}/{name}" for name in SCRIPTS]


def _version() -> str:
    try:
        return distribution(PACKAGE).version
    except PackageNotFoundError:
        # The page then asks for what is not there, is told so, and draws the plain chart.
        return "none"


@lru_cache(maxsize=len(SCRIPTS))
def _read(name: str) -> tuple[bytes, bytes]:
    """A script as it is and packed."""
    try:
        body = distribution(PACKAGE).locate_file(f"{PLACE}/{name}").read_bytes()  # type: ignore[attr-defined]
    except (PackageNotFoundError, OSError) as error:
        raise NotInstalled(str(error)) from error
    return body, gzip.compress(body, mtime=0)


@bokeh_files.get("/bokeh/<version>/<name>")
def send(version: str, name: str) -> Response:
    """One of them."""
    if name not in SCRIPTS:
        raise Problem(404, "not-found", f"There is no script {name!r} here.")
    if version != _version():
        raise Problem(404, "not-found", f"There is no version {version!r} of Bokeh here.")
    try:
        body, ready = _read(name)
    except NotInstalled:
        raise Problem(
            404, "not-installed", f"{name} cannot be read: install the package {PACKAGE} anew."
        ) from None
    answer = packed(body, "text/javascript; charset=utf-8", ready)
    answer.headers["Cache-Control"] = "public, max-age=31536000, immutable"
    return answer
