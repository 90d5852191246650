"""Times of day as the API writes them: RFC 3339, UTC, ending in Z."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def to_rfc3339(t_us: int) -> str:
    """Microseconds since 1970-01-01 UTC to text, to the millisecond."""
    moment = EPOCH + timedelta(microseconds=t_us)
    return moment.isoformat(timespec="milliseconds").removesuffix("+00:00") + "Z"


def from_rfc3339(text: str) -> int:
    """Text with an offset or Z to microseconds since 1970-01-01 UTC.

    Raises:
        ValueError: Not a date and time, or without an offset; one clause saying which.
    """
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise ValueError("is not an RFC 3339 date and time like 2026-03-01T08:30:00Z") from None
    if moment.tzinfo is None:
        raise ValueError("has no offset from UTC: end it with Z, or with one like +01:00")
    try:
        return (moment - EPOCH) // timedelta(microseconds=1)
    except OverflowError:
        raise ValueError("is outside the years 1 to 9999 UTC") from None
