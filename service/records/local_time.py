"""Times for people: the shop's clock on the wall, always with its offset from UTC.

In the hour that an autumn night has twice only the offset tells the two apart.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


class UnknownZone(ValueError):
    """No such time zone is known here."""


def zone_named(name: str | None) -> ZoneInfo | None:
    """A zone of the IANA database; ``None``: the one this machine is set to.

    Raises:
        UnknownZone: One sentence with the name and what is allowed.
    """
    if name is None:
        return None
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise UnknownZone(
            f"the time zone {name!r} is not known here; write an IANA name like Europe/Dublin or "
            "UTC, or leave it out for this machine's own"
        ) from error


def local(t_us: int, zone: ZoneInfo | None) -> datetime:
    """A moment [µs UTC] by the clock on the wall."""
    return (EPOCH + timedelta(microseconds=t_us)).astimezone(zone)


def local_text(t_us: int, zone: ZoneInfo | None) -> str:
    """Local date and time with offset to the microsecond, RFC 3339."""
    return local(t_us, zone).isoformat(timespec="microseconds")


def utc_text(t_us: int) -> str:
    """UTC to the microsecond, RFC 3339, ending in Z."""
    moment = EPOCH + timedelta(microseconds=t_us)
    return moment.isoformat(timespec="microseconds").removesuffix("+00:00") + "Z"


def clock_text(t_us: int, zone: ZoneInfo | None) -> str:
    """Local date, time to the second and offset, for print."""
    moment = local(t_us, zone)
    return f"{moment:%Y-%m-%d %H:%M:%S} {offset_text(moment)}"


def offset_text(moment: datetime) -> str:
    """Offset from UTC as ``+01:00``."""
    return moment.isoformat()[-6:]
