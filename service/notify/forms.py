"""Alarms, verdicts and test notices as JSON, for whoever is told by a machine.

Keys are those of ``/api/v1/bench``; times are RFC 3339 UTC to the millisecond.
"""

from __future__ import annotations

import datetime
import json
from dataclasses import dataclass

from service.judge.events import AlarmChange, VerdictChange

TRIAL_TEXT = "Test notice: no alarm, somebody tries whether this arrives."


@dataclass(frozen=True, slots=True)
class TrialNotice:
    """What is sent when somebody tries an outlet.

    Attributes:
        at_us: When it was asked for [µs UTC].
        text: One sentence that cannot be taken for an alarm.
    """

    at_us: int
    text: str = TRIAL_TEXT


def alarm_json(change: AlarmChange) -> dict[str, object]:
    """An alarm as on the bench, with the time of the change."""
    return {
        "id": change.alarm_id,
        "kind": change.kind,
        "part_id": change.part_id,
        "channel": change.channel,
        "state": change.state,
        "since": rfc3339(change.since_us),
        "at": rfc3339(change.at_us),
        "text": change.text,
    }


def verdict_json(change: VerdictChange) -> dict[str, object]:
    """A heat's verdicts."""
    return {
        "heat_id": change.heat_id,
        "phase": change.phase,
        "verdict": change.verdict,
        "heat": change.heat,
        "purge": change.purge,
        "at": rfc3339(change.at_us),
        "text": change.text,
    }


def trial_json(notice: TrialNotice) -> dict[str, object]:
    """A test notice."""
    return {"at": rfc3339(notice.at_us), "text": notice.text}


def encoded(body: dict[str, object]) -> bytes:
    """JSON as sent: UTF-8, never NaN."""
    return json.dumps(body, ensure_ascii=False, allow_nan=False).encode()


def rfc3339(t_us: int) -> str:
    """Microseconds UTC as RFC 3339, to the millisecond."""
    seconds, micros = divmod(t_us, 1_000_000)
    at = datetime.datetime.fromtimestamp(seconds, datetime.UTC)
    return f"{at:%Y-%m-%dT%H:%M:%S}.{micros // 1000:03d}Z"
