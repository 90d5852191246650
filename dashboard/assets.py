"""Scripts, styles and marks, served under an address that changes when they do.

The address holds a digest of all of them, so a browser keeps them for good and an updated
service is noticed at once: the bench answer names the digest of its own page, and a page of
another one loads itself anew.
"""

from __future__ import annotations

import gzip
import hashlib
import json
from importlib.resources import files
from importlib.resources.abc import Traversable

from flask import Blueprint, Response, abort, request

_TYPES = {
    "css": "text/css; charset=utf-8",
    "js": "text/javascript; charset=utf-8",
    "svg": "image/svg+xml",
}


def packed(body: bytes, content_type: str, ready: bytes | None = None) -> Response:
    """An answer compressed for who can read it so: a bench tablet may be far from its access
    point. ``ready`` is the body compressed beforehand. Nothing secret is ever in it."""
    if request.accept_encodings.quality("gzip") > 0:
        answer = Response(ready or gzip.compress(body, 6), content_type=content_type)
        answer.headers["Content-Encoding"] = "gzip"
    else:
        answer = Response(body, content_type=content_type)
    answer.headers["Vary"] = "Accept-Encoding"
    return answer


class Assets:
    """All static files, read once: path to bytes."""

    def __init__(self) -> None:
        root = files("dashboard").joinpath("static")
        self._bodies: dict[str, bytes] = {}
        self._read(root, "")
        self._packed = {path: gzip.compress(body, mtime=0) for path, body in self._bodies.items()}
        self.strings: dict[str, object] = json.loads(
            files("dashboard").joinpath("strings", "en.json").read_text("utf-8")
        )
        whole = hashlib.sha256()
        for path, body in sorted(self._bodies.items()):
            whole.update(path.encode() + b"\0" + hashlib.sha256(body).digest())
        whole.update(json.dumps(self.strings, sort_keys=True).encode())
        for page in sorted(files("dashboard").joinpath("templates").iterdir(), key=str):
            whole.update(page.read_bytes())
        self.digest = whole.hexdigest()[:12]

    def _read(self, folder: Traversable, prefix: str) -> None:
        for entry in folder.iterdir():
            if entry.is_dir():
                self._read(entry, f"{prefix}{entry.name}/")
            elif entry.name.rpartition(".")[2] in _TYPES:
                self._bodies[prefix + entry.name] = entry.read_bytes()

    def address(self, path: str) -> str:
        """Where a page finds ``path``.

        Raises:
            KeyError: There is no such file: a page names one that is not shipped.
        """
        if path not in self._bodies:
            raise KeyError(path)
        return f"/assets/{self.digest}/{path}"

    def blueprint(self) -> Blueprint:
        """Serves the files; an address of another version is not found."""
        room = Blueprint("assets", __name__)

        @room.get("/assets/<digest>/<path:path>")
        def send(digest: str, path: str) -> Response:
            body = self._bodies.get(path)
            if body is None or digest != self.digest:
                abort(404)
            answer = packed(body, _TYPES[path.rpartition(".")[2]], self._packed.get(path))
            answer.headers["Cache-Control"] = "public, max-age=31536000, immutable"
            return answer

        return room
