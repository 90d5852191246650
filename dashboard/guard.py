"""Who may ask, and what a browser may do with the answer.

A page of ours is the only one that may act. Another site open in the same browser can neither
read our answers (no CORS header is ever sent) nor act: an action needs the JSON content type and
a header of its own, which a foreign page cannot send without asking first, and we never say yes
to that. A foreign name that points at this machine (DNS rebinding) is turned away by ``Host``.
"""

from __future__ import annotations

from flask import Flask, Response, request

from dashboard.problems import Problem
from dashboard.wiring import Doors

ACTION_HEADER = "X-Heatwindow"
"""Sent by our own page with every action, with any value."""

CONTENT_SECURITY_POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self'",
        "connect-src 'self'",
        "worker-src 'self'",
        "manifest-src 'self'",
        "base-uri 'none'",
        "form-action 'none'",
        "frame-ancestors 'none'",
    )
)


def policy_with_nonce(nonce: str) -> str:
    """The policy of the page itself: style elements that carry this answer's nonce are allowed.

    BokehJS writes its styles into style elements of its own (thousands, so no list of digests
    will do); the page gives each the nonce, which nobody else can know. Inline scripts, ``eval``
    and style attributes stay forbidden.
    """
    styles = f"style-src 'self' 'nonce-{nonce}'"
    return CONTENT_SECURITY_POLICY.replace("style-src 'self'", styles)


HEADERS = {
    "Content-Security-Policy": CONTENT_SECURITY_POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=(), payment=(), usb=()",
}


def host_name(host: str) -> str:
    """The name in a ``Host`` header, without port and brackets, in lower case."""
    if host.startswith("["):
        return host[1:].partition("]")[0].lower()
    return host.partition(":")[0].lower()


def scheme() -> str:
    """``https`` when the browser came by TLS, to us or to the proxy that passes this on.

    A foreign page cannot send the proxy's header: it would have to ask us first, and we never say
    yes.
    """
    passed_on = request.headers.get("X-Forwarded-Proto", "")
    return "https" if passed_on.strip().lower() == "https" else request.scheme


def install(app: Flask, doors: Doors) -> None:
    """Check ``Host`` on every request and put the headers on every answer."""

    @app.before_request
    def _host() -> None:
        name = host_name(request.host)
        if not doors.admit(name):
            raise Problem(
                421,
                "foreign-host",
                f"This service does not answer under the name {name!r}; "
                f"it answers under {', '.join(sorted(doors.hosts))}.",
            )

    @app.after_request
    def _headers(answer: Response) -> Response:
        for name, value in HEADERS.items():
            answer.headers.setdefault(name, value)
        return answer


JSON = ("application/json",)


def check_sender(kinds: tuple[str, ...] = JSON) -> None:
    """Refuse what our own page did not send.

    Args:
        kinds: Content types that are taken. None of them may be one that a form can send
            (``text/plain``, ``multipart/form-data`` ...): a foreign page could send that unasked.

    Raises:
        Problem: 403 from another origin or without our header, 415 when it is of another type.
    """
    origin = request.headers.get("Origin")
    if origin is not None and origin != f"{scheme()}://{request.host}":
        raise Problem(403, "foreign-origin", f"Actions from {origin!r} are not accepted.")
    site = request.headers.get("Sec-Fetch-Site")
    if site not in (None, "same-origin", "none"):
        raise Problem(403, "foreign-origin", f"Actions from a {site!r} page are not accepted.")
    if ACTION_HEADER not in request.headers:
        raise Problem(
            403, "header-missing", f"An action needs the header {ACTION_HEADER} with any value."
        )
    if request.mimetype not in kinds:
        what = "An action" if kinds == JSON else "A photo"
        raise Problem(
            415,
            "not-json" if kinds == JSON else "not-a-photo",
            f"{what} is sent as {' or '.join(kinds)}, not as {request.mimetype or 'nothing'!r}.",
            headers={"Accept": ", ".join(kinds)},
        )
