"""Who may change things: whoever is at the machine itself, and devices that have shown the PIN.

Everybody who is let in by ``guard`` may look. A device that signs in gets a cookie that no script
can read and no other site can make it send; it stays signed in, as the tablet at the bench must.
"""

from __future__ import annotations

import ipaddress

from flask import Blueprint, Response, current_app, request
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from dashboard.answers import json_answer, wiring
from dashboard.guard import JSON, check_sender, scheme
from dashboard.problems import Problem, faults
from service.config.pin import PinRefused

hands = Blueprint("hands", __name__)

COOKIE = "heatwindow-hand"
KEPT_S = 400 * 86_400
"""The longest that browsers keep a cookie (RFC 6265bis, section 5.5: 400 days)."""
FORWARDED = ("Forwarded", "X-Forwarded-For", "Via", "X-Real-IP")


def at_the_machine() -> bool:
    """The request comes from this machine, and nobody has passed it on."""
    if any(name in request.headers for name in FORWARDED):
        return False
    try:
        return ipaddress.ip_address(request.remote_addr or "").is_loopback
    except ValueError:
        return False


def may_act() -> bool:
    """Whether the sender may change things."""
    token = request.cookies.get(COOKIE, "")
    return at_the_machine() or (token != "" and wiring().hands.knows(token))


def check_action(kinds: tuple[str, ...] = JSON) -> None:
    """Refuse an action that our own page did not send, or whose sender may only look.

    Args:
        kinds: Content types that are taken, as in ``check_sender``.

    Raises:
        Problem: 403 and 415 as ``check_sender``; 401 from a device that has not shown the PIN.
    """
    check_sender(kinds)
    if not may_act():
        raise Problem(
            401,
            "viewing-only",
            "This device may only look. Sign in with the operator's PIN to change things."
            if wiring().hands.is_set()
            else "This device may only look: no PIN is set on the machine.",
            headers={"WWW-Authenticate": "Heatwindow-PIN"},
        )


class _SignIn(BaseModel):
    model_config = ConfigDict(extra="forbid")

    pin: str = Field(max_length=64)


@hands.get("/api/v1/hand")
def hand() -> Response:
    """Whether the sender may change things, and whether a PIN would help."""
    return json_answer({"may_act": may_act(), "pin_set": wiring().hands.is_set()})


@hands.post("/api/v1/sign-in")
def sign_in() -> Response:
    """Show the PIN; the answer brings the cookie."""
    check_sender()
    try:
        asked = _SignIn.model_validate_json(request.get_data())
    except ValidationError as error:
        # What was typed is not sent back: it may be the PIN with a slip in it.
        found = [fault | {"value": ""} for fault in faults(error)]
        raise Problem(422, "bad-pin", 'A sign-in is {"pin": "..."}.', found) from None
    try:
        token = wiring().hands.sign_in(asked.pin)
    except PinRefused as refusal:
        if refusal.wait_s > 0:
            wait = {"Retry-After": str(round(refusal.wait_s) + 1)}
            raise Problem(429, "too-soon", f"{refusal}.", headers=wait) from None
        raise Problem(403, "refused", f"{refusal}.") from None
    except OSError as error:
        raise Problem(503, "not-kept", f"The sign-in cannot be kept: {error.strerror}.") from None
    answer = json_answer({"may_act": True, "pin_set": True})
    answer.set_cookie(
        COOKIE,
        token,
        max_age=KEPT_S,
        secure=scheme() == "https",
        httponly=True,
        samesite="Strict",
    )
    current_app.logger.info("a device at %s has signed in", request.remote_addr)
    return answer


@hands.post("/api/v1/sign-out")
def sign_out() -> Response:
    """Forget this device."""
    check_sender()
    token = request.cookies.get(COOKIE, "")
    if token:
        try:
            wiring().hands.sign_out(token)
        except OSError as error:
            text = f"The sign-out cannot be kept: {error.strerror}."
            raise Problem(503, "not-kept", text) from None
    answer = json_answer({"may_act": at_the_machine(), "pin_set": wiring().hands.is_set()})
    answer.delete_cookie(COOKIE, httponly=True, samesite="Strict")
    return answer
