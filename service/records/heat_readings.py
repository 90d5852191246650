"""Every reading of some channels during a heat, as it came and as it should have read.

A reading is found by when it was measured, however late it arrived. It is told in the channel's
unit inside the service; a thermocouple's voltage is told in degrees too, by its terminals' last
good reading before it, and both by the calibration of the reading's time.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from sqlalchemy import Connection, select

from service.judge.calibration import corrected
from service.judge.cold_junction import GATE_AGE_US, Junction
from service.judge.cold_junction import UNIT as EMF_UNIT
from service.records.run_clock import RunClock
from service.store.codes import QUALITY_OF
from service.store.database import Store
from service.store.history import History
from service.store.history_calibrated import Dated, read_calibrations
from service.store.history_steps import Step
from service.store.schema import GOOD, SUSPECT, channel, reading, unit


class Told(NamedTuple):
    """One reading.

    Attributes:
        run_us: When it was measured, by the heat's run clock [µs].
        t_us: The UTC it was stamped with [µs].
        raw, unit: As it came.
        corrected, corrected_unit: As it should have read; ``None`` where that is not known.
        quality, reason: As kept; ``reason`` also says why a voltage has no temperature.
    """

    run_us: int
    t_us: int
    channel: str
    raw: float | None
    unit: str | None
    corrected: float | None
    corrected_unit: str | None
    quality: str
    reason: str | None
    code: int


@dataclass(slots=True)
class _Correction:
    """How one channel's numbers become what they should have read."""

    name: str
    channel_id: int
    junction: Junction | None
    dated: Sequence[Dated]
    starts_us: list[int] = field(default_factory=list)

    def calibrated(self, value: float, t_us: int) -> float:
        place = bisect_right(self.starts_us, t_us) - 1
        checks = self.dated[place].checks if place >= 0 else ()
        return corrected(value, checks) if checks else value


def readings_of_heat(
    connection: Connection, names: Iterable[str], clock: RunClock, from_us: int, to_us: int
) -> Iterator[Told]:
    """Readings measured from ``from_us`` to ``to_us`` by the run clock, both included.

    Channel by channel, each in order of its stamps.
    """
    for name in names:
        how = _correction(connection, name)
        if how is None:
            continue
        terminals = _Terminals(connection, how.junction, clock, from_us, to_us)
        for row in _rows(connection, how.channel_id, clock, from_us, to_us):
            run_us = row.t_us - clock.offset_at(row.seq) + clock.last_us
            if from_us <= run_us <= to_us:
                yield _told(row, run_us, how, terminals)


def _correction(connection: Connection, name: str) -> _Correction | None:
    row = connection.execute(select(channel).where(channel.c.name == name)).first()
    if row is None:
        return None
    junction = None
    if row.thermocouple is not None:
        terminals = connection.execute(
            select(channel.c.name).where(channel.c.id == row.cold_junction_id)
        ).scalar_one()
        junction = Junction(row.thermocouple, terminals)
    dated = read_calibrations(connection, row.id)
    return _Correction(name, row.id, junction, dated, [each.from_us for each in dated])


def _rows(
    connection: Connection, channel_id: int, clock: RunClock, from_us: int, to_us: int
) -> Iterable[Any]:
    """Those that may lie within, by any offset the clock has had."""
    offsets_us = [each.offset_us - clock.last_us for each in clock.offsets]
    return connection.execute(
        select(reading, unit.c.name.label("unit_name"))
        .join(unit, unit.c.id == reading.c.unit_id)
        .where(
            reading.c.channel_id == channel_id,
            reading.c.t_us >= from_us + min(offsets_us),
            reading.c.t_us <= to_us + max(offsets_us),
        )
        .order_by(reading.c.t_us)
    ).all()


class _Terminals:
    """The cold junction's temperature at any moment of the heat."""

    def __init__(
        self,
        connection: Connection,
        junction: Junction | None,
        clock: RunClock,
        from_us: int,
        to_us: int,
    ) -> None:
        self._times_us: list[int] = []
        self._values_c: list[float] = []
        if junction is None:
            return
        early_us = from_us - GATE_AGE_US
        told = readings_of_heat(connection, [junction.channel], clock, early_us, to_us)
        for each in sorted(told):
            if each.code == GOOD and each.corrected is not None:
                self._times_us.append(each.run_us)
                self._values_c.append(each.corrected)

    def at(self, run_us: int) -> float | None:
        place = bisect_right(self._times_us, run_us) - 1
        if place < 0 or run_us - self._times_us[place] > GATE_AGE_US:
            return None
        return self._values_c[place]


def _told(row: Any, run_us: int, how: _Correction, terminals: _Terminals) -> Told:
    value, unit_name, reason = row.value, row.unit_name or None, row.reason
    told, told_unit = value, unit_name
    if how.junction is not None and unit_name == EMF_UNIT and value is not None:
        found = how.junction.temperature_c(value, terminals.at(run_us))
        told, told_unit = (None, "Cel") if isinstance(found, str) else (found, "Cel")
        reason = reason or (found if isinstance(found, str) else None)
    if told is not None:
        told = how.calibrated(told, row.t_us)
    quality = QUALITY_OF.get(row.quality)
    return Told(
        run_us,
        row.t_us,
        how.name,
        value,
        unit_name,
        told,
        told_unit,
        str(row.quality) if quality is None else quality.value,
        reason,
        row.quality,
    )


def as_history(told: Iterable[Told], name: str, start_us: int, end_us: int, points: int) -> History:
    """Readings summed up as ``Store.history`` does, but by the run clock."""
    step_us = max(1, -(-(end_us - start_us) // points))
    sums: dict[int, list[Told]] = {}
    unit_name: str | None = None
    for each in told:
        if start_us <= each.run_us < end_us:
            sums.setdefault((each.run_us - start_us) // step_us, []).append(each)
            unit_name = each.corrected_unit or unit_name
    steps = [_step(start_us + place * step_us, sums[place]) for place in sorted(sums)]
    return History(name, unit_name, start_us, end_us, step_us, steps)


def _step(t_us: int, told: Sequence[Told]) -> Step:
    good = [each.corrected for each in told if each.code == GOOD and each.corrected is not None]
    suspect = sum(each.code == SUSPECT for each in told)
    bad = len(told) - len(good) - suspect
    if not good:
        return Step(t_us, None, None, None, 0, suspect, bad)
    return Step(t_us, min(good), max(good), sum(good) / len(good), len(good), suspect, bad)


def histories_of(
    store: Store, names: Sequence[str], clock: RunClock, within_us: tuple[int, int], points: int
) -> dict[str, History]:
    """Channels over a stretch of the run clock [µs], in about so many steps.

    Where the wall clock was corrected they are summed up reading by reading, by the run clock.
    """
    from_us, to_us = within_us
    if not clock.bent(from_us):
        return {name: store.history(name, from_us, to_us, points) for name in names}
    with store.connect() as connection:
        return {
            name: as_history(
                readings_of_heat(connection, [name], clock, from_us, to_us),
                name, from_us, to_us, points,
            )
            for name in names
        }  # fmt: skip
