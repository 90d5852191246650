"""What came of a heat, said later and revised later, and the photos that go with it."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

from service.judge.action_base import BaseAction, Name

Cracked = Literal["none seen", "seen cold", "seen by dye", "seen in service"]
"""Whether a crack was seen, and how. "None seen" never says that none is there."""

RootInside = Literal["bright", "tinted", "dull grey", "crusted"]
"""How the root looks from inside, in four words of our own: metal as it was; thin colours; a
matt skin; a rough burnt crust (the trade says sugared)."""

Penetration = Literal["all round", "in places", "none", "too much"]
"""Whether the root came through, as seen from inside."""

PhotoOf = Literal["part", "root", "heat"]
"""What a photo shows: the part as it is, the root of a heat, or anything else of a heat."""

MediaType = Literal["image/jpeg", "image/png"]
Sha256 = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
Millimetres = Annotated[float, Field(gt=0, le=10_000, allow_inf_nan=False)]

PHOTO_MOST_BYTES = 12_000_000
"""Size of one photo: a telephone's picture of 12 to 16 megapixels has 3 to 8 MB."""
DIMENSIONS_MOST = 20


class Dimension(BaseModel):
    """One measure of the part before and after the heat [mm]; one of the two may be missing."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    name: Name
    before_mm: Millimetres | None = None
    after_mm: Millimetres | None = None

    @model_validator(mode="after")
    def _measured(self) -> Dimension:
        if self.before_mm is None and self.after_mm is None:
            raise ValueError(f"{self.name}: say before_mm, after_mm or both")
        return self


class SayOutcome(BaseAction):
    """What came of a heat, as seen now. The newest saying holds as a whole; earlier ones stay.

    One that says nothing takes back what was said before. It never says that a weld is sound.

    Attributes:
        cracked: Whether and how a crack was seen; absent: nobody has looked.
        root: How the root looks from inside.
        root_photo: The photo of it, by its SHA-256; added before with ``add photo``.
        oxygen_colour: Step of the ten-step colour scale of AWS D18.2 that the root of a stainless
            tube comes nearest to, 1 the brightest. Refused for anything that may have been tinted
            otherwise (``service.records.colour_scale``).
        penetration: Whether the root came through.
        dimensions: Measured before and after.
        text: In the shop's own words.
        by: Who says so.
    """

    kind: Literal["say outcome"] = "say outcome"
    heat_id: Annotated[int, Field(ge=1)]
    cracked: Cracked | None = None
    root: RootInside | None = None
    root_photo: Sha256 | None = None
    oxygen_colour: Annotated[int, Field(ge=1, le=10)] | None = None
    penetration: Penetration | None = None
    dimensions: Annotated[tuple[Dimension, ...], Field(max_length=DIMENSIONS_MOST)] = ()
    text: Annotated[str, Field(min_length=1, max_length=500)] | None = None
    by: Name | None = None

    @model_validator(mode="after")
    def _each_measure_once(self) -> SayOutcome:
        names = [each.name for each in self.dimensions]
        for name in names:
            if names.count(name) > 1:
                raise ValueError(f"dimensions: {name} stands there {names.count(name)} times")
        return self


class AddPhoto(BaseAction):
    """A photo that lies beside the database belongs to a part or to a heat.

    The service makes this action itself once the file is on the disk (``POST /api/v1/photos``).
    The same picture of the same thing again changes its caption, and brings it back if dropped.

    Attributes:
        sha256: Of the file as kept; also its name.
        size_bytes: Of the file.
        of: What it shows; a part's has ``part_id``, the others ``heat_id``.
        caption: In the shop's own words.
        by: Who adds it.
    """

    kind: Literal["add photo"] = "add photo"
    sha256: Sha256
    size_bytes: Annotated[int, Field(ge=1, le=PHOTO_MOST_BYTES)]
    media_type: MediaType
    of: PhotoOf
    part_id: Annotated[int, Field(ge=1)] | None = None
    heat_id: Annotated[int, Field(ge=1)] | None = None
    caption: Annotated[str, Field(min_length=1, max_length=200)] | None = None
    by: Name | None = None

    @model_validator(mode="after")
    def _of_one_thing(self) -> AddPhoto:
        check_belongs(self.of, self.part_id, self.heat_id)
        return self


class DropPhoto(BaseAction):
    """Show a photo no more. It is no deletion: the file stays, and so does what was said of it.

    Attributes:
        sha256: Which.
        of, part_id, heat_id: Of what, as it was added.
        by: Who says so.
    """

    kind: Literal["drop photo"] = "drop photo"
    sha256: Sha256
    of: PhotoOf
    part_id: Annotated[int, Field(ge=1)] | None = None
    heat_id: Annotated[int, Field(ge=1)] | None = None
    by: Name | None = None

    @model_validator(mode="after")
    def _of_one_thing(self) -> DropPhoto:
        check_belongs(self.of, self.part_id, self.heat_id)
        return self


def check_belongs(of: PhotoOf, part_id: int | None, heat_id: int | None) -> None:
    """Raise ``ValueError`` unless a photo is of one thing, a part or a heat."""
    if (part_id is not None) != (of == "part") or (heat_id is not None) != (of != "part"):
        wanted = "part_id and no heat_id" if of == "part" else "heat_id and no part_id"
        raise ValueError(f"a photo of the {of} has {wanted}")
