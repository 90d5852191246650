"""The API for what came of heats: the list that is searched by it, photos, and what heats took."""

from __future__ import annotations

from typing import Annotated

from flask import Blueprint, Response, request
from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator
from werkzeug.exceptions import RequestEntityTooLarge

from dashboard.answers import json_answer, wiring
from dashboard.hands import check_action
from dashboard.problems import Problem, faults, shown
from dashboard.records import found
from service.judge.action_base import Name
from service.judge.events import Refused
from service.judge.outcome_actions import PHOTO_MOST_BYTES, PhotoOf, check_belongs
from service.records.colour_scale import SAMPLE_PPM
from service.records.desk import Of
from service.records.results import WANTED
from service.store.errors import StoreError
from service.store.photos import SUFFIXES, NoPhoto, NoRoom
from service.wire.picture import NotAPicture

outcomes = Blueprint("outcomes", __name__)

PHOTO_KINDS = ("image/jpeg", "image/png", "application/octet-stream")
"""What a browser calls a picture; what it really is its bytes tell."""
PHOTO_POLICY = "default-src 'none'; sandbox; frame-ancestors 'none'"
"""Whatever a file might turn out to be for some browser, it runs nothing and belongs to nobody."""


class PhotoQuestion(BaseModel):
    """What an uploaded photo is of; the body is the file itself, which has no name here."""

    model_config = ConfigDict(extra="forbid")

    of: PhotoOf
    part_id: Annotated[int, Field(ge=1, lt=1 << 31)] | None = None
    heat_id: Annotated[int, Field(ge=1, lt=1 << 31)] | None = None
    caption: Annotated[str, Field(min_length=1, max_length=200)] | None = None
    by: Name | None = None
    token: Annotated[str, Field(max_length=64)] | None = None

    @model_validator(mode="after")
    def _of_one_thing(self) -> PhotoQuestion:
        check_belongs(self.of, self.part_id, self.heat_id)
        return self


@outcomes.get("/api/v1/heats")
def heats() -> Response:
    """The newest heats, newest first, with what came of them; those of one outcome, if asked."""
    wanted = request.args.get("outcome")
    if wanted is not None and wanted not in WANTED:
        raise Problem(
            422, "bad-outcome", f"outcome {shown(wanted)!r} is not one of {', '.join(WANTED)}."
        )
    listed = found(wiring().shelf.heats)
    return json_answer({"heats": found(lambda: wiring().results.of_list(listed, wanted))})


@outcomes.get("/api/v1/heats/<int:heat_id>/colour")
def colour(heat_id: int) -> Response:
    """Whether the root of a heat may be graded by colour, and the scale."""
    refused = found(lambda: wiring().desk.why_no_colour(heat_id))
    return json_answer({"refused": refused, "sample_ppm": list(SAMPLE_PPM)})


@outcomes.post("/api/v1/photos")
def add_photo() -> Response:
    """Keep a photo of a part or of a heat; the body is the file."""
    check_action(PHOTO_KINDS)
    try:
        asked = PhotoQuestion.model_validate(request.args.to_dict())
    except ValidationError as error:
        wrong = faults(error)
        raise Problem(
            422, "bad-photo", "; ".join(f"{f['field']}: {f['message']}" for f in wrong), wrong
        ) from None
    data = _body()
    try:
        of = Of(asked.of, asked.part_id, asked.heat_id)
        action, done = wiring().desk.add_photo(data, of, asked.caption, asked.by, asked.token)
    except NotAPicture as error:
        raise Problem(422, "bad-photo", f"The photo was not kept: {error}.") from None
    except Refused as refusal:
        raise Problem(409, "refused", str(refusal)) from None
    except NoRoom as error:
        raise Problem(507, "no-room", f"{str(error)[:1].upper()}{str(error)[1:]}.") from None
    except StoreError as error:
        raise Problem(503, "no-records", str(error), headers={"Retry-After": "5"}) from None
    said = action.model_dump(exclude={"kind", "token"})
    return json_answer({**said, "seq": done.seq, "recorded": done.recorded})


def _body() -> bytes:
    request.max_content_length = PHOTO_MOST_BYTES
    try:
        data = request.get_data()
    except RequestEntityTooLarge:
        raise Problem(
            413,
            "too-large",
            f"The photo has {(request.content_length or 0) / 1e6:.1f} MB; at most "
            f"{PHOTO_MOST_BYTES / 1e6:.0f} MB are taken. Let the camera take a smaller one.",
        ) from None
    if not data:
        raise Problem(422, "bad-photo", "The photo is empty: no byte came.")
    return data


@outcomes.get("/api/v1/photos")
def photos() -> Response:
    """The photos of a heat or of a part."""
    numbers: dict[str, int | None] = {}
    for name in ("heat_id", "part_id"):
        text = request.args.get(name)
        if text is not None and not (text.isascii() and text.isdigit() and len(text) <= 9):
            raise Problem(422, "bad-number", f"{name} {shown(text)!r} is not a number.")
        numbers[name] = None if text is None else int(text)
    if all(each is None for each in numbers.values()):
        raise Problem(422, "bad-number", "Say heat_id, part_id or both.")
    told = found(lambda: wiring().desk.photos(numbers["heat_id"], numbers["part_id"]))
    return json_answer({"photos": told})


@outcomes.get("/api/v1/photos/<sha256>")
def photo(sha256: str) -> Response:
    """The picture itself."""
    try:
        kept = wiring().desk.photo(sha256)
    except NoPhoto as error:
        raise Problem(410, "photo-gone", f"{str(error)[:1].upper()}{str(error)[1:]}.") from None
    except StoreError as error:
        raise Problem(503, "no-records", str(error), headers={"Retry-After": "5"}) from None
    if kept is None:
        raise Problem(404, "no-photo", f"No record names a photo {shown(sha256)!r}.")
    data, media_type = kept
    answer = Response(data, content_type=media_type)
    answer.headers["Content-Security-Policy"] = PHOTO_POLICY
    name = f"photo-{sha256[:12]}{SUFFIXES[media_type]}"
    answer.headers["Content-Disposition"] = f'inline; filename="{name}"'
    # Its name says what is in it: it can never be another one.
    answer.headers["Cache-Control"] = "private, max-age=31536000, immutable"
    return answer


@outcomes.get("/api/v1/work")
def work() -> Response:
    """What heats that are over took, one by one and by part."""
    return json_answer(found(wiring().results.work))


@outcomes.get("/api/v1/work.csv")
def work_table() -> Response:
    """The same as a table, a row for each heat or each part."""
    by = request.args.get("by", "heat")
    if by not in ("heat", "part"):
        raise Problem(422, "bad-by", f"by {shown(by)!r} is not one of heat, part.")
    text = found(lambda: wiring().results.work_csv("part" if by == "part" else "heat"))
    answer = Response(text.encode(), content_type="text/csv; charset=utf-8")
    answer.headers["Content-Disposition"] = f'attachment; filename="work-by-{by}.csv"'
    answer.headers["Cache-Control"] = "no-store"
    return answer
