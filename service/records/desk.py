"""What is said of heats on record: looked at against the records before it becomes an action.

The judge takes these actions as they are, so that a replay never turns on what lies in a database
or on a disk. What can be wrong with them is found here, before they get their place in the order.
"""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from sqlalchemy import func, select

from service.judge.actions import (
    AddPhoto,
    ChangePart,
    CreatePart,
    DropPhoto,
    OperatorAction,
    PartFacts,
    SayOutcome,
    any_action,
)
from service.judge.events import Refused
from service.judge.outcome_actions import MediaType, PhotoOf
from service.readings import ChannelKind
from service.records.colour_scale import why_not
from service.records.gather import clock_of, gather
from service.records.heat_readings import histories_of
from service.records.heat_record import HeatRecord
from service.records.outcomes import photo_json, photos_of
from service.store.database import Store
from service.store.history import POINTS_MAX
from service.store.photos import PhotoFolder, taken
from service.store.schema import heat, journal, part
from service.store.schema_outcome import photo
from service.tickets import ActResult

PHOTOS_MOST = 12
PHOTOS_MOST_BYTES = 48_000_000
"""Of one part, and of one heat: all of them go into the file of a heat that is handed over."""


@dataclass(frozen=True, slots=True)
class Of:
    """What a photo is of: a part (``of`` is part), or a heat (root, heat)."""

    of: PhotoOf
    part_id: int | None
    heat_id: int | None


class Desk:
    """Takes what is said of heats on record, and photos.

    Args:
        act: What puts an action into the order (``service.collector.Collector.act``).
        store: It may be in use by a running service.
    """

    def __init__(self, act: Callable[[OperatorAction], ActResult], store: Store) -> None:
        self._act, self._store = act, store
        self._photos = PhotoFolder(store.path)
        self._one_at_a_time = threading.Lock()

    def act(self, action: OperatorAction) -> ActResult:
        """Do what an operator asks.

        Raises:
            Refused: It cannot be done, or does not fit the records; one sentence.
            StoreError: The records cannot be read.
        """
        if not isinstance(action, SayOutcome | AddPhoto | DropPhoto):
            return self._act(action)
        with self._one_at_a_time:
            if isinstance(action, SayOutcome):
                self._check_outcome(action)
            elif isinstance(action, AddPhoto):
                self._check_added(action)
            elif not self._shown(Of(action.of, action.part_id, action.heat_id), action.sha256):
                raise Refused("There is no such photo that could be dropped.")
            return self._act(action)

    # --- photos ---------------------------------------------------------------------------------

    def add_photo(
        self, data: bytes, of: Of, caption: str | None, by: str | None, token: str | None
    ) -> tuple[AddPhoto, ActResult]:
        """Keep a photo and say what it is of.

        Raises:
            Refused: There is no such part or heat, or it has photos enough.
            service.wire.picture.NotAPicture: It is no whole JPEG or PNG.
            service.store.photos.NoRoom: The disk cannot take it.
            StoreError: It cannot be kept, or the records cannot be read.
        """
        self._check_there(of)
        picture = taken(data)
        with self._one_at_a_time:
            sha256 = hashlib.sha256(picture.data).hexdigest()
            self._check_number(of, sha256, len(picture.data))
            kept = self._photos.keep(picture)
            action = AddPhoto(
                sha256=kept.sha256,
                size_bytes=kept.size_bytes,
                media_type=kept.media_type,
                of=of.of,
                part_id=of.part_id,
                heat_id=of.heat_id,
                caption=caption,
                by=by,
                token=token,
            )
            return action, self._act(action)

    def photo(self, sha256: str) -> tuple[bytes, MediaType] | None:
        """A photo's bytes and type; ``None``: no record has ever named it.

        Raises:
            service.store.photos.NoPhoto: Its file is not there or damaged.
            StoreError: The records cannot be read.
        """
        with self._store.connect() as connection:
            found: MediaType | None = connection.execute(
                select(photo.c.media_type).where(photo.c.sha256 == sha256).limit(1)
            ).scalar()
        return None if found is None else (self._photos.read(sha256, found), found)

    def photos(self, heat_id: int | None, part_id: int | None) -> list[dict[str, Any]]:
        """Those of a heat or a part (``Photo`` in openapi.json).

        Raises:
            StoreError: The records cannot be read.
        """
        with self._store.connect() as connection:
            return [photo_json(each) for each in photos_of(connection, heat_id, part_id)]

    def _check_there(self, of: Of) -> None:
        table, number, name = (
            (part, of.part_id, "part") if of.of == "part" else (heat, of.heat_id, "heat")
        )
        with self._store.connect() as connection:
            if connection.execute(select(table.c.id).where(table.c.id == number)).first() is None:
                raise Refused(f"There is no {name} {number}.")

    def _check_number(self, of: Of, sha256: str, size_bytes: int) -> None:
        """The same picture again is none more."""
        with self._store.connect() as connection:
            count, total = connection.execute(
                select(func.count(), func.coalesce(func.sum(photo.c.size_bytes), 0)).where(
                    photo.c.part_id == of.part_id,
                    photo.c.heat_id == of.heat_id,
                    photo.c.sha256 != sha256,
                )
            ).one()
        if count >= PHOTOS_MOST or total + size_bytes > PHOTOS_MOST_BYTES:
            name = f"part {of.part_id}" if of.of == "part" else f"heat {of.heat_id}"
            raise Refused(
                f"There are {count} photos of {name}, {total / 1e6:.1f} MB; at most {PHOTOS_MOST} "
                f"and {PHOTOS_MOST_BYTES / 1e6:.0f} MB are kept of each, dropped ones included."
            )

    def _check_added(self, action: AddPhoto) -> None:
        file = self._photos.file_of(action.sha256, action.media_type)
        if not file.is_file() or file.stat().st_size != action.size_bytes:
            raise Refused("There is no such file: send the photo itself to /api/v1/photos.")
        of = Of(action.of, action.part_id, action.heat_id)
        self._check_there(of)
        self._check_number(of, action.sha256, action.size_bytes)

    def _shown(self, of: Of, sha256: str) -> bool:
        with self._store.connect() as connection:
            shown = photos_of(connection, of.heat_id, of.part_id)
        return any(each.sha256 == sha256 and each.of == of.of for each in shown)

    # --- outcome --------------------------------------------------------------------------------

    def _check_outcome(self, action: SayOutcome) -> None:
        of = Of("root", None, action.heat_id)
        self._check_there(of)
        if action.root_photo is not None and not self._shown(of, action.root_photo):
            raise Refused(f"Heat {action.heat_id} has no such photo of its root: add it first.")
        if action.oxygen_colour is not None:
            reason = self.why_no_colour(action.heat_id)
            if reason is not None:
                raise Refused(reason)

    def why_no_colour(self, heat_id: int) -> str | None:
        """Why the colour scale is not for this heat's root; ``None``: it is.

        Raises:
            service.records.gather.UnknownHeat: There is no such heat.
            StoreError: The records cannot be read.
        """
        record = gather(self._store, heat_id)
        in_oven = any(each.phase == "oven" for each in record.phases)
        return why_not(
            self._facts_now(record), record.limits, in_oven, self._hottest_before_c(record)
        )

    def _facts_now(self, record: HeatRecord) -> PartFacts:
        """What is known of the part today: it may have been said after the heat."""
        with self._store.connect() as connection:
            rows = connection.execute(
                select(journal.c.body)
                .where(journal.c.kind.in_(("create part", "change part")))
                .order_by(journal.c.seq.desc())
            ).scalars()
            for body in rows:
                action = any_action.validate_json(body)
                if isinstance(action, CreatePart | ChangePart) and action.part_id == record.part_id:
                    return action.facts
        return record.facts

    def _hottest_before_c(self, record: HeatRecord) -> float | None:
        """The highest good reading before the first pass, and in the oven at any time [°C]."""
        probes = [
            each.name
            for each in record.channels
            if each.of_part and each.kind == ChannelKind.THERMOCOUPLE
        ]
        first_us = record.passes[0].begun_us if record.passes else record.to_us
        spans = [(each.from_us, each.to_us) for each in record.phases if each.phase == "oven"]
        clock = clock_of(self._store, record.heat_id)
        highs: list[float] = []
        for from_us, to_us in [(record.begun_us, first_us), *spans]:
            end_us = max(to_us, from_us + 1_000_000)
            points = min(max((end_us - from_us) // 1_000_000, 1), POINTS_MAX)
            for found in histories_of(
                self._store, probes, clock, (from_us, end_us), points
            ).values():
                highs += [step.high for step in found.steps if step.good and step.high is not None]
        return max(highs, default=None)
