"""Times of day as text."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def utc_text(utc_us: int) -> str:
    """RFC 3339 UTC to the millisecond."""
    moment = _EPOCH + timedelta(microseconds=utc_us)
    return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")
