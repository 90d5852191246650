"""The small numbers that stand for channels, units and qualities in the rows of readings."""

from __future__ import annotations

from sqlalchemy import Connection, func, select

from service.readings import Quality
from service.store.schema import BAD, GOOD, SUSPECT, channel, unit

CODE_OF = {Quality.GOOD: GOOD, Quality.SUSPECT: SUSPECT, Quality.BAD: BAD}
QUALITY_OF = {code: quality for quality, code in CODE_OF.items()}

NO_UNIT = 0


class Codes:
    """Channel and unit ids by name, as the database has them; new ones are made on sight."""

    def __init__(self) -> None:
        self.ids: dict[tuple[str, str | None], tuple[int, int]] = {}
        """Channel id and unit id by name and unit, of every channel in its present unit."""
        self._channels: dict[str, int] = {}
        self._units: dict[str | None, int] = {}

    def load(self, connection: Connection) -> None:
        """Read all of them; also after a transaction that was rolled back."""
        self._units = {name or None: code for code, name in connection.execute(select(unit))}
        names = {code: name for name, code in self._units.items()}
        self._channels, self.ids = {}, {}
        for channel_id, name, unit_id in connection.execute(
            select(channel.c.id, channel.c.name, channel.c.unit_id)
        ):
            self._channels[name] = channel_id
            self.ids[name, names[unit_id]] = (channel_id, unit_id)

    def of(self, connection: Connection, name: str, unit_name: str | None) -> tuple[int, int]:
        """Channel id and unit id for a reading, made or changed if needed."""
        known = self.ids.get((name, unit_name))
        if known is not None:
            return known
        channel_id, unit_id = self._channels.get(name), self._unit_id(connection, unit_name)
        if channel_id is None:
            return self._new_channel(connection, name, unit_name), unit_id
        if unit_name is not None:
            connection.execute(
                channel.update().where(channel.c.id == channel_id).values(unit_id=unit_id)
            )
            self._forget_units(name)
            self.ids[name, unit_name] = (channel_id, unit_id)
        return channel_id, unit_id

    def channel_id(self, connection: Connection, name: str) -> int:
        """Id of a channel, which may not have sent anything yet."""
        known = self._channels.get(name)
        return known if known is not None else self._new_channel(connection, name, None)

    def _forget_units(self, name: str) -> None:
        for key in [key for key in self.ids if key[0] == name]:
            del self.ids[key]

    def _new_channel(self, connection: Connection, name: str, unit_name: str | None) -> int:
        unit_id = self._unit_id(connection, unit_name)
        channel_id: int = connection.execute(
            channel.insert().values(name=name, unit_id=unit_id).returning(channel.c.id)
        ).scalar_one()
        self._channels[name] = channel_id
        self.ids[name, unit_name] = (channel_id, unit_id)
        return channel_id

    def _unit_id(self, connection: Connection, name: str | None) -> int:
        code = self._units.get(name)
        if code is None:
            highest = connection.execute(select(func.max(unit.c.id))).scalar_one()
            code = int(highest) + 1
            connection.execute(unit.insert().values(id=code, name=name))
            self._units[name] = code
        return code
