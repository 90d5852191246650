"""What the heats of a part taught: made from their records, anew whenever it is asked.

Nothing is stored: the same readings and journal give the same lessons to the letter. Lessons of
ended heats are kept in memory, until something more is said of a part.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass, field

import numpy as np
from sqlalchemy import func, select

from service.judge.actions import BeginHeat, ForgetLearnt, any_action
from service.procedure.lessons import QUANTITIES, Learnt, Lesson, Quantity, learnt_from
from service.readings import ChannelKind
from service.records.gather import FINEST_US, clock_of, gather, read_histories
from service.records.heat_cavity import cavity
from service.records.heat_losses import joint_curve, losses
from service.records.heat_oven import door_c, oven
from service.records.heat_record import HeatRecord
from service.records.series import Grid, lay_out
from service.store.database import Store
from service.store.history import POINTS_MAX
from service.store.schema import heat, journal

HEATS_MOST = 50
"""The newest heats of a part that count."""
KEPT = 400
CORRECTS = (
    "correct phase",
    "correct pass",
    "change part",
    "calibrate channel",
    "set limits",
    "use procedure",
)
"""Said later, these may change what a heat that is over has taught."""


@dataclass(frozen=True, slots=True)
class Taught:
    """One heat's lessons, and what a plan that repeats it needs.

    Attributes:
        door_c: What the joint had at the oven's door [°C].
        set_c: What the oven was set to, as said.
    """

    record: HeatRecord
    lessons: tuple[Lesson, ...]
    door_c: float | None
    set_c: float | None
    flow_l_min: float | None


@dataclass(frozen=True, slots=True)
class Forgotten:
    """When a part's lessons of a quantity were last set aside, and by whom."""

    quantity: Quantity
    at_us: int
    by: str | None


@dataclass(frozen=True, slots=True)
class PartTaught:
    """What a part's heats taught.

    Attributes:
        lessons: Those that count.
        forgotten: What was set aside; lessons of heats that began before do not count.
    """

    part_id: int
    learnt: dict[Quantity, Learnt]
    lessons: tuple[Lesson, ...]
    forgotten: tuple[Forgotten, ...]
    heat_ids: tuple[int, ...]


@dataclass(slots=True)
class Teaching:
    """Of one database; may be asked from several threads."""

    store: Store
    _lock: threading.Lock = field(default_factory=threading.Lock)
    _kept: dict[tuple[int, int], Taught] = field(default_factory=dict)

    def heat(self, heat_id: int) -> Taught:
        """What one heat taught.

        Raises:
            UnknownHeat: There is none of that number.
            StoreError: The database cannot be read.
        """
        with self._lock:
            key = heat_id, self._said_seq()
            found = self._kept.get(key)
            if found is None:
                found = taught_by(self.store, heat_id)
                if found.record.ended_us is not None:
                    self._kept[key] = found
                while len(self._kept) > KEPT:
                    del self._kept[next(iter(self._kept))]
            return found

    def part(self, part_id: int) -> PartTaught:
        """What a part's heats taught; nothing for a part without ended heats."""
        with self.store.connect() as connection:
            asked = (
                select(heat.c.id, heat.c.begun_us)
                .where(heat.c.part_id == part_id, heat.c.ended_us.is_not(None))
                .order_by(heat.c.id.desc())
                .limit(HEATS_MOST)
            )
            rows = list(reversed(connection.execute(asked).all()))
            begun = {row.id: row.begun_us for row in rows}
        forgotten = forgets(self.store, part_id)
        since = {each.quantity: each.at_us for each in forgotten}
        lessons = tuple(
            lesson
            for heat_id, begun_us in begun.items()
            for lesson in self.heat(heat_id).lessons
            if begun_us >= since.get(lesson.quantity, 0)
        )
        return PartTaught(part_id, learnt_from(lessons), lessons, forgotten, tuple(begun))

    def _said_seq(self) -> int:
        with self.store.connect() as connection:
            query = select(func.max(journal.c.seq)).where(journal.c.kind.in_(CORRECTS))
            return connection.execute(query).scalar() or 0


def forgets(store: Store, part_id: int) -> tuple[Forgotten, ...]:
    """What is set aside now, by quantity: each "forget" counts until it is taken back."""
    standing: list[tuple[Quantity | None, int, str | None]] = []
    with store.connect() as connection:
        rows = connection.execute(
            select(journal).where(journal.c.kind == "forget learnt").order_by(journal.c.seq)
        ).all()
    for row in rows:
        action = any_action.validate_json(row.body)
        if not isinstance(action, ForgetLearnt) or action.part_id != part_id:
            continue
        if not action.take_back:
            standing.append((action.quantity, row.utc_us, action.by))
            continue
        said = [place for place, each in enumerate(standing) if each[0] == action.quantity]
        if said:
            del standing[said[-1]]
    newest: dict[Quantity, Forgotten] = {}
    for quantity, at_us, by in standing:
        for each in QUANTITIES if quantity is None else (quantity,):
            newest[each] = Forgotten(each, at_us, by)
    return tuple(newest[each] for each in QUANTITIES if each in newest)


def taught_by(store: Store, heat_id: int) -> Taught:
    """One heat's lessons, from its stored readings and journal.

    Raises:
        UnknownHeat: There is none of that number.
        StoreError: The database cannot be read.
    """
    record = gather(store, heat_id)
    clock = clock_of(store, heat_id)
    end_us = max(record.to_us, record.begun_us + FINEST_US)
    points = min(max((end_us - record.begun_us) // FINEST_US, 1), POINTS_MAX)

    def grid(kind: ChannelKind, *, of_part: bool = True) -> Grid:
        channels = [
            each for each in record.channels if each.kind == kind and each.of_part is of_part
        ]
        histories = read_histories(store, channels, clock, (record.begun_us, end_us), points)
        return lay_out(
            [histories[each.name] for each in channels],
            [each.spells for each in channels],
            record.to_us,
        )

    temps, flow = grid(ChannelKind.THERMOCOUPLE), grid(ChannelKind.GAS_FLOW)
    oxygen, air = grid(ChannelKind.OXYGEN), grid(ChannelKind.AMBIENT, of_part=False)
    curve = joint_curve(record, temps)
    set_c = _set_c(store, record)
    lessons: list[Lesson] = []
    if curve is not None:
        lessons += losses(record, curve, flow, _air_c(air))
        lessons += oven(record, curve, set_c)
    lessons += cavity(record, flow, oxygen)
    return Taught(
        record, tuple(lessons), None if curve is None else door_c(record, curve), set_c,
        _purge_flow(record, flow),
    )  # fmt: skip


def _air_c(air: Grid) -> float | None:
    values = air.values[~np.isnan(air.values)]
    return float(values.mean()) if values.size else None


def _set_c(store: Store, record: HeatRecord) -> float | None:
    with store.connect() as connection:
        body = connection.execute(
            select(journal.c.body).where(journal.c.seq == record.begun_seq)
        ).scalar()
    action = None if body is None else any_action.validate_json(body)
    return action.oven_set_c if isinstance(action, BeginHeat) else None


def _purge_flow(record: HeatRecord, flow: Grid) -> float | None:
    """What flowed through the purges, in the mean [l/min]; ``None``: none, or not measured."""
    if not flow.length or not record.purges:
        return None
    values = np.concatenate(
        [
            flow.values[:, flow.within(each.begun_us, each.ended_us or record.to_us)].ravel()
            for each in record.purges
        ]
    )
    told = values[values > 0]  # not where it is not known either
    return float(told.mean()) if told.size else None
