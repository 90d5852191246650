"""A board that plays the states a page must be able to show: no service behind it, only answers.

Used by the browser tests and by ``screenshots.py``. The answers have the shape of
``service.judge.outlook``; ``tests/dashboard`` holds them against ``service/openapi.json``.
"""

from __future__ import annotations

import json
import math
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from dashboard.wiring import (
    AdoptedPort,
    History,
    HistoryPoint,
    Metric,
    Notice,
    UnusedPort,
    Wiring,
)
from service.config.pin import PinRefused
from service.judge.actions import OperatorAction
from service.judge.events import Refused
from service.procedure.learnt_words import learnt_json
from service.procedure.lessons import Learnt, Lesson, Quantity, learnt_from
from service.procedure.plan_ask import PlanRefused
from service.records.gather import UnknownHeat
from service.records.repeat import Repeat

NOW_US = int(datetime(2026, 3, 3, 9, 41, 7, tzinfo=UTC).timestamp() * 1e6)


def utc(us: int) -> str:
    moment = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=us)
    return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def spread(p05: float, p50: float, p95: float | None) -> dict[str, float | None]:
    return {"p05": p05, "p50": p50, "p95": p95}


def window(closes=None, opens=None, reason=None) -> dict[str, Any]:
    return {"closes_in_s": closes, "opens_in_s": opens, "reason": reason}


def channel(name: str, kind: str | None, value: float | None, unit: str, **more: Any) -> dict:
    base = {
        "name": name,
        "kind": kind,
        "kind_guess": None,
        "value": value,
        "unit": unit,
        "quality": "good",
        "reason": None,
        "age_s": 0.4,
        "part_id": None,
        "thermocouple": None,
        "cold_junction": None,
        "emf_mv": None,
        "calibration": None,
    }
    return base | more


def alarm(number: int, kind: str, text: str, ago_s: float, **more: Any) -> dict[str, Any]:
    base = {
        "id": number,
        "kind": kind,
        "part_id": 1,
        "channel": None,
        "state": "unacknowledged",
        "since": utc(NOW_US - int(ago_s * 1e6)),
        "text": text,
    }
    return base | more


def passed(began_min: float, ended_min: float | None) -> dict[str, str | None]:
    """A pass by minutes ago."""
    ended = None if ended_min is None else utc(NOW_US - int(ended_min * 60e6))
    return {"began_at": utc(NOW_US - int(began_min * 60e6)), "ended_at": ended}


NO_HEAT = {
    "heat_id": None,
    "phase": "none",
    "verdict": "unknown",
    "heat": {
        "verdict": "unknown",
        "reasons": ["no heat is running"],
        "temperature_c": None,
        "rate_c_per_h": None,
        "gradient_k": None,
        "losses": None,
        "later": None,
        "window": window(reason="no heat is running"),
    },
    "purge": {
        "verdict": "unknown",
        "reasons": ["no heat is running"],
        "oxygen_ppm": None,
        "clear": False,
        "clear_in_s": None,
        "basis": "not judged",
        "running": False,
        "flow_l_min": None,
        "used_l": 0.0,
    },
    "next": "No heat is running.",
    "pass_running": False,
    "passes": 0,
    "heat_began_at": None,
}


def part(number: int, name: str, **more: Any) -> dict[str, Any]:
    base = {
        "id": number,
        "name": name,
        "metal": "ductile iron",
        "mass_kg": 6.2,
        "area_m2": None,
        "cavity_volume_l": 2.4,
        "hose_volume_l": 0.3,
        "limits": {
            "preheat_min_c": 250.0,
            "interpass_max_c": 350.0,
            "cooling_max_c_per_h": 100.0,
            "oxygen_max_ppm": 50.0,
        },
    }
    return base | NO_HEAT | more


def purge(verdict: str, reason: str, **more: Any) -> dict[str, Any]:
    base = {
        "verdict": verdict,
        "reasons": [reason],
        "oxygen_ppm": spread(1850, 2600, 3900),
        "clear": False,
        "clear_in_s": None,
        "basis": "flow",
        "running": True,
        "flow_l_min": 10.2,
        "used_l": 21.4,
    }
    return base | more


def heat(
    verdict: str, reason: str, c: float | None, rate: float | None, shut: dict
) -> dict[str, Any]:
    return {
        "verdict": verdict,
        "reasons": [reason],
        "temperature_c": c,
        "rate_c_per_h": rate,
        "gradient_k": None,
        "losses": None,
        "later": None,
        "window": shut,
    }


SAWMILL = "Sawmill engine, rear manifold"
PUMP = "Pump engine manifold"

READY = part(
    1,
    SAWMILL,
    heat_id=4,
    phase="bench",
    verdict="ready",
    heat=heat(
        "ready",
        "318 °C is between its limits, for at least 6:20",
        318.4,
        -612.0,
        window(closes=spread(380, 446, 528)),
    )
    | {
        "gradient_k": 8.5,
        "losses": {
            "total_w": 556.0,
            "air_w": 171.0,
            "radiation_w": 316.0,
            "argon_w": 43.0,
            "contact_w": 26.0,
        },
    },
    purge=purge(
        "ready",
        "clear below 50 ppm (estimated from flow, at most 38 ppm oxygen)",
        oxygen_ppm=spread(14, 22, 38),
        clear=True,
        clear_in_s=spread(0, 0, 0),
        used_l=43.7,
    ),
    next="Start now: the window holds for at least 6:20.",
    passes=2,
    pass_times=[passed(7.0, 6.4), passed(4.6, 3.9)],
    heat_began_at=utc(NOW_US - 58 * 60_000_000),
)

WAIT = part(
    1,
    SAWMILL,
    heat_id=4,
    phase="bench",
    verdict="wait",
    heat=heat(
        "ready",
        "334 °C is between its limits, for at least 7:40",
        334.1,
        -705.0,
        window(closes=spread(460, 540, 655)),
    ),
    purge=purge(
        "wait",
        "purge not clear: about 2:50, at most 4:05",
        clear_in_s=spread(128, 170, 245),
    ),
    next="Wait 2:50 for the purge: the window holds until 7:40.",
    heat_began_at=utc(NOW_US - 52 * 60_000_000),
)

INTERPASS = part(
    2,
    PUMP,
    metal="iron, unknown",
    heat_id=5,
    phase="bench",
    verdict="wait",
    heat=heat(
        "wait",
        "371 °C is above interpass 350 °C: 1:50 until below",
        371.2,
        -820.0,
        window(closes=spread(560, 660, None), opens=spread(85, 110, 150)),
    ),
    purge=purge(
        "unknown",
        "not judged: no oxygen limit is set",
        basis="not judged",
        running=False,
        oxygen_ppm=None,
        flow_l_min=None,
        used_l=0.0,
    ),
    limits={
        "preheat_min_c": 250.0,
        "interpass_max_c": 350.0,
        "cooling_max_c_per_h": None,
        "oxygen_max_ppm": None,
    },
    next="371 °C is above interpass 350 °C: 1:50 until below.",
    passes=3,
    heat_began_at=utc(NOW_US - 40 * 60_000_000),
)

STOP = part(
    1,
    SAWMILL,
    heat_id=4,
    phase="bench",
    verdict="stop",
    heat=heat(
        "ready",
        "welding at 301 °C, for at least 3:10",
        301.0,
        -540.0,
        window(closes=spread(190, 240, 310)),
    ),
    purge=purge(
        "stop",
        "purge lost: stop, the root is open to air",
        oxygen_ppm=spread(900, 2100, 8800),
        flow_l_min=0.4,
        used_l=61.2,
    ),
    next="Purge lost: stop, the root is open to air.",
    pass_running=True,
    passes=3,
    pass_times=[passed(7.0, 6.4), passed(4.6, 3.9), passed(0.6, None)],
    heat_began_at=utc(NOW_US - 64 * 60_000_000),
)

CARRIED = (
    "on the way from the oven, probe unplugged: probably 322 to 361 °C until a settled probe speaks"
)

UNKNOWN = part(
    1,
    SAWMILL,
    heat_id=4,
    phase="carry",
    verdict="unknown",
    heat=heat(
        "unknown",
        CARRIED,
        None,
        None,
        window(reason="no settled probe"),
    ),
    purge=purge(
        "wait",
        "the purge has not been started",
        running=False,
        oxygen_ppm=None,
        flow_l_min=None,
        used_l=0.0,
    ),
    next=f"{CARRIED[:1].upper()}{CARRIED[1:]}.",
    heat_began_at=utc(NOW_US - 46 * 60_000_000),
)

SLOW = part(
    2,
    PUMP,
    heat_id=5,
    phase="slow cool",
    verdict="wait",
    heat=heat("wait", "slow cool at 214 °C, cooling 88 °C/h", 214.0, -88.0, window())
    | {
        "later": {
            "what": "safe to touch",
            "in_s": spread(12000, 14400, 18000),
            "text": "safe to touch in about 4 h 00 min, at most 5 h 00 min (below 43 °C)",
        }
    },
    purge=purge(
        "unknown",
        "not judged: the purge was ended on purpose",
        basis="not judged",
        running=False,
        oxygen_ppm=None,
        flow_l_min=None,
    ),
    next="Slow cool at 214 °C, cooling 88 °C/h.",
    passes=6,
    heat_began_at=utc(NOW_US - 140 * 60_000_000),
)

FITTED = [
    channel("bench/joint-left", "thermocouple", 318.4, "Cel", part_id=1),
    channel("bench/joint-right", "thermocouple", 326.9, "Cel", part_id=1),
    channel("bench/argon", "gas flow", 10.2, "l/min", part_id=1),
    channel("pump/joint", "thermocouple", 371.2, "Cel", part_id=2),
    channel("shop/air", "ambient", 18.6, "Cel"),
]
MIXED = [
    channel("serial/tc-3", None, 21.4, "Cel", kind_guess="thermocouple"),
    channel("bench/oxygen", None, 208_400.0, "ppm", kind_guess="oxygen"),
    channel(
        "oven/tc-1",
        "thermocouple",
        None,
        "Cel",
        quality="bad",
        reason="open circuit: the thermocouple or its plug",
        part_id=1,
    ),
    channel(
        "bench/bottle",
        "bottle pressure",
        8.4e6,
        "Pa",
        quality="stale",
        reason="silent for 48 s",
        age_s=48.0,
    ),
    channel(
        "bench/joint-right",
        "thermocouple",
        612.0,
        "Cel",
        quality="suspect",
        reason="jumped by 290 °C in 0.5 s",
        part_id=1,
    ),
    channel(
        "pump/joint",
        "thermocouple",
        188.0,
        "Cel",
        quality="settling",
        reason="warming up on the part",
        part_id=2,
    ),
    channel("bench/arc", "arc", 0.0, "on/off", part_id=1),
    channel(
        "board/emf-1",
        "thermocouple",
        331.2,
        "Cel",
        part_id=2,
        thermocouple="K",
        cold_junction="board/terminals",
        emf_mv=12.3512,
    ),
    channel("board/terminals", "cold junction", 26.4, "Cel"),
    *FITTED[2:3],
]
ARGON = {
    "bottle_volume_l": 50.0,
    "left_l": 5210.0,
    "left_min": 286.0,
    "basis": "counted",
    "reason": None,
    "purge_l_min": 10.2,
    "torch_l_min": 8.0,
    "used_purge_l": 44.0,
    "used_torch_l": 16.0,
    "since": "2026-03-03T08:00:00.000Z",
}
LINKS = [
    {
        "name": "serial /dev/ttyACM0",
        "kind": "serial",
        "state": "open",
        "data_age_s": 0.2,
        "rejected": {"syntax": 3, "unit": 0},
        "last_reject": "'frst' is not name=value unit",
        "resets": 1,
        "sums_ignored": 4,
    },
    {
        "name": "mqtt localhost:1883",
        "kind": "mqtt",
        "state": "subscribed",
        "data_age_s": 0.4,
        "rejected": {},
        "nodes": [
            {
                "topic": "heatwindow/nodes/pump/status",
                "says": "offline",
                "age_s": 12.0,
                "kept_by_broker": False,
            }
        ],
    },
]


def outlet(key: str, name: str, **more: Any) -> dict[str, Any]:
    base = {
        "key": key,
        "name": name,
        "running": True,
        "working": True,
        "told": 3,
        "failed": 0,
        "dropped": 0,
        "waiting": 0,
        "last_error": None,
        "trial": None,
    }
    return base | more


OUTLETS = [
    outlet("sounder", "sounder"),
    outlet("webhook", "webhook", working=None, told=0),
    outlet(
        "email",
        "e-mail",
        working=False,
        failed=2,
        dropped=1,
        waiting=4,
        last_error="mail.mill.example port 587: connection refused",
    ),
]


def answer(
    *parts: dict, channels=None, alarms=(), room=(), recording=True, **more: Any
) -> dict[str, Any]:
    return {
        "at": utc(NOW_US),
        "recording": recording,
        "parts": list(parts),
        "channels": FITTED if channels is None else channels,
        "room": list(room),
        "alarms": list(alarms),
        **more,
    }


TURN = {
    "heat_id": 4,
    "text": f"{SAWMILL} first: its window holds for 6:34.",
    "order": [
        {"heat_id": 4, "part_id": 1, "what": "weld"},
        {"heat_id": 5, "part_id": 2, "what": "weld soon"},
    ],
    "take_out": None,
    "take_out_in_s": None,
    "take_out_why": None,
}

PURGE_LOST = alarm(
    31,
    "purge lost",
    f"{SAWMILL}: purge lost: the root is open to air, stop",
    9,
)
ALARMS = [
    PURGE_LOST,
    alarm(
        30,
        "sensor fault",
        "oven/tc-1: open circuit: the thermocouple or its plug",
        95,
        channel="oven/tc-1",
    ),
    alarm(
        29,
        "above interpass",
        f"{PUMP}: 371 °C is above interpass 350 °C: let it cool",
        240,
        part_id=2,
        state="acknowledged",
    ),
    alarm(
        27,
        "below preheat",
        f"{SAWMILL}: 247 °C is below preheat 250 °C: re-heat",
        900,
        state="returned",
    ),
]


def air(standing: str, percent: float | None, **more: Any) -> dict[str, Any]:
    base = {
        "channel": "shop/air-oxygen",
        "oxygen_percent": percent,
        "standing": standing,
        "reason": None,
        "age_s": 0.6,
    }
    return base | more


THIN_AIR = alarm(
    40,
    "room oxygen",
    "shop/air-oxygen: 19.4 % oxygen, below 19.5 %: out into fresh air, ventilate",
    12,
    part_id=None,
    channel="shop/air-oxygen",
)

MANY = [
    *ALARMS,
    alarm(28, "below preheat", f"{PUMP}: 241 °C is below preheat 250 °C: re-heat", 31, part_id=2),
    alarm(
        32,
        "purge lost",
        f"{PUMP}: purge lost: look at bottle and hose",
        4,
        part_id=2,
    ),
    alarm(
        33,
        "no data",
        "no data from pump/joint: silent for 12 s",
        12,
        part_id=2,
        channel="pump/joint",
    ),
    alarm(34, "not recording", "readings are not being recorded: disk full", 66, part_id=None),
]

STATES: dict[str, dict[str, Any]] = {
    "ready": answer(READY),
    "wait": answer(WAIT),
    "stop": answer(STOP, alarms=[PURGE_LOST]),
    "unknown": answer(UNKNOWN),
    "two": answer(READY, INTERPASS, turn=TURN),
    "slow": answer(WAIT, SLOW),
    "alarm": answer(STOP, INTERPASS, alarms=ALARMS, recording=False),
    "many": answer(STOP, INTERPASS, alarms=MANY, recording=False),
    "seen": answer(READY, alarms=[ALARMS[2]]),
    "over": answer(READY, alarms=[ALARMS[3], ALARMS[2]]),
    "empty": answer(channels=[]),
    "heard": answer(channels=MIXED[:2]),
    "made": answer(part(1, "Casting 1", metal="iron, unknown"), channels=FITTED[:2]),
    "idle": answer(part(1, SAWMILL), part(2, PUMP, metal="iron, unknown")),
    "sensors": answer(READY, INTERPASS, argon=ARGON, channels=MIXED),
    "aired": answer(READY, room=[air("normal", 20.9)]),
    "thin": answer(STOP, alarms=[PURGE_LOST, THIN_AIR], room=[air("low", 19.46)]),
    "airless": answer(WAIT, room=[air("unknown", None, reason="silent for 7 s", age_s=7.0)]),
}


SET_ASIDE = Notice(
    3,
    NOW_US - 40_000_000,
    "The database was damaged (file is not a database) and has been set aside as "
    "/var/lib/heatwindow/shop.db.damaged-20260303T094027Z. A fresh one was begun: parts, heats "
    "and readings from before are only in the old file and in backups.",
)


@dataclass(frozen=True)
class Posting:
    body: bytes
    etag: str
    posted_at: float


@dataclass(frozen=True)
class Result:
    seq: int
    part_id: int | None
    heat_id: int | None
    recorded: bool = True


class Hands:
    """One PIN and the devices that know it."""

    def __init__(self) -> None:
        self.pin: str | None = "246810"
        self.tokens: list[str] = []

    def is_set(self) -> bool:
        return self.pin is not None

    def sign_in(self, pin: str) -> str:
        if pin != self.pin:
            raise PinRefused("that is not the PIN")
        self.tokens.append(f"token-{len(self.tokens)}")
        return self.tokens[-1]

    def knows(self, token: str) -> bool:
        return token in self.tokens

    def sign_out(self, token: str) -> None:
        self.tokens.remove(token)


class EmptyShelf:
    """No heat is on record; tests of records put a real one in its place."""

    def heats(self) -> list[dict[str, Any]]:
        return []

    def find(self, wanted: Any) -> dict[str, Any]:
        return {"heats": [], "next": None}

    def record(self, heat_id: int) -> dict[str, Any]:
        raise UnknownHeat(heat_id, [])


SPACE = {
    "used_bytes": 412_000_000,
    "free_bytes": 61_200_000_000,
    "readings_a_day": 345_600.0,
    "years_left": 3.1,
    "text": "412.0 MB used, 61.2 GB free; at this rate the disk lasts 3.1 years",
}


class LateShelf:
    """Whatever shelf the board has when it is asked: a test may put another one in its place."""

    def __init__(self, board: ScriptedBoard) -> None:
        self._board = board

    def __getattr__(self, name: str) -> Any:
        return getattr(self._board.shelf, name)


class EmptyDesk:
    """No photo is there, and none is taken."""

    def photo(self, _sha256: str) -> None:
        return None

    def photos(self, _heat_id: int | None, _part_id: int | None) -> list[dict[str, object]]:
        return []

    def why_no_colour(self, _heat_id: int) -> str | None:
        return "The colour scale is for stainless, never for iron."

    def add_photo(self, *_: object) -> None:
        raise Refused("There is no heat.")


class EmptyResults:
    """Nobody has said what came of any heat."""

    def of_list(self, heats: Sequence[Mapping[str, Any]], wanted: str | None = None) -> list[dict]:
        return [{**each, "outcome": None, "work": None} for each in heats]

    def work(self) -> dict[str, object]:
        return {"heats": [], "parts": []}

    def work_csv(self, _by: str) -> str:
        return "heat\r\n"


class Late:
    """Whatever the board has under a name when it is asked."""

    def __init__(self, board: ScriptedBoard, what: str) -> None:
        self._board, self._what = board, what

    def __getattr__(self, name: str) -> Any:
        return getattr(getattr(self._board, self._what), name)


class ScriptedLessons:
    """Nothing taught any part; or, if ``taught``, three heats each."""

    def __init__(self) -> None:
        self.taught = False
        self.forgotten: list[dict[str, Any]] = []
        self.again: Callable[..., Repeat] | None = None

    def lessons(self, part_id: int) -> Mapping[Quantity, Learnt]:
        if not self.taught:
            return {}
        away = {each["quantity"] for each in self.forgotten}
        return learnt_from(each for each in TAUGHT if each.quantity not in away)

    def learnt(self, part_id: int) -> Mapping[str, object]:
        learnt = self.lessons(part_id)
        return {
            "part_id": part_id,
            "heat_ids": [4, 6, 9] if self.taught else [],
            "learnt": [learnt_json(each, "ductile iron") for each in learnt.values()],
            "forgotten": self.forgotten,
            "forecasts": {"done": 1.0, "of_heats": 10, "sums": [] if not learnt else SUMS},
        }

    def repeat(self, heat_id: int, **how: float) -> Repeat:
        if self.again is None:
            raise PlanRefused(f"heat {heat_id} had no pass: there is nothing to repeat")
        return self.again(heat_id, **how)


TAUGHT = [
    Lesson(heat_id, quantity, value * factor, sd, low, high)
    for heat_id, factor in ((4, 0.97), (6, 1.05), (9, 1.01))
    for quantity, value, sd, low, high in (
        ("loss bare", 0.41, 0.04, 214.0, 371.0),
        ("loss under cover", 0.016, 0.05, 62.0, 288.0),
        ("cavity volume", 1.4, 0.10, 9.8, 12.2),
        ("oven time", 42.0, 0.05, 21.0, 200.0),
    )
]
SUMS = [
    {
        "subject": "window closes", "share": 0.5, "event_between": False, "forecasts": 3,
        "heats": 3, "off_by": 0.03, "too_long_by": -0.012, "held": 3,
    },
    {
        "subject": "window closes", "share": 0.5, "event_between": True, "forecasts": 2,
        "heats": 2, "off_by": 0.21, "too_long_by": -0.21, "held": 0,
    },
]  # fmt: skip


class ScriptedBoard:
    """Answers what it is told to; keeps every action; can hang and can refuse."""

    def __init__(self, state: str = "empty", ticking: bool = False) -> None:
        self._lock = threading.Lock()
        self.bench: dict[str, Any] = STATES[state]
        self.acted: list[dict[str, Any]] = []
        self.refuse: str | None = None
        self.hung_at: float | None = None
        self.told: list[Notice] = []
        self.on_act: Callable[[OperatorAction], None] | None = None
        self.gap = False
        self.outlets: list[dict[str, Any]] = []
        self.unused: list[UnusedPort] = []
        self.adopted: list[AdoptedPort] = []
        self.hands = Hands()
        self.shelf: Any = EmptyShelf()
        self.desk: Any = EmptyDesk()
        self.results: Any = EmptyResults()
        self.lessons = ScriptedLessons()
        self.procedures: list[dict[str, Any]] = []
        self.ticking = ticking
        self._began = time.monotonic()

    def show(self, state: str | Mapping[str, Any]) -> None:
        with self._lock:
            self.bench = STATES[state] if isinstance(state, str) else dict(state)

    def now_us(self) -> int:
        shift = (time.monotonic() - self._began) * 1e6 if self.ticking else 0
        return NOW_US + int(shift)

    def latest(self) -> Posting:
        with self._lock:
            bench = self.bench | {"at": utc(self.now_us())}
        body = json.dumps(bench, allow_nan=False).encode()
        etag = f"{hash(body) & 0xFFFFFFFF:x}"
        return Posting(body, etag, self.hung_at or time.monotonic())

    def act(self, action: OperatorAction) -> Result:
        if self.refuse is not None:
            raise Refused(self.refuse)
        self.acted.append(action.model_dump(exclude={"token"}))
        if self.on_act is not None:
            self.on_act(action)
        part_id = getattr(action, "part_id", None)
        if action.kind == "create part":
            part_id = 1 + len([a for a in self.acted if a["kind"] == "create part"])
        return Result(len(self.acted), part_id, getattr(action, "heat_id", None))

    def adopt_port(self, port: AdoptedPort) -> None:
        if self.refuse is not None:
            raise Refused(self.refuse)
        self.unused = [each for each in self.unused if each.name != port.port]
        self.adopted.append(port)

    def release_port(self, name: str) -> None:
        if self.refuse is not None:
            raise Refused(self.refuse)
        self.adopted = [each for each in self.adopted if each.port != name]
        self.unused.append(UnusedPort(name, "/dev/ttyUSB0", "bench board"))

    def notice_seen(self, notice_id: int) -> bool:
        if self.refuse is not None:
            raise Refused(self.refuse)
        left = [notice for notice in self.told if notice.id != notice_id]
        found = len(left) < len(self.told)
        self.told = left
        return found

    def try_outlet(self, key: str) -> bool:
        """The notice stays on its way until the test says what became of it."""
        found = [each for each in self.outlets if each["key"] == key]
        for each in found:
            each["trial"] = {"at": utc(NOW_US), "state": "waiting", "text": "on its way"}
        return bool(found)

    def history(self, name: str, start_us: int, end_us: int, points: int) -> History | None:
        if all(c["name"] != name for c in self.bench["channels"]):
            return None
        step = max((end_us - start_us) // points, 1_000_000)
        found = [HistoryPoint(t, *_past(name, t)) for t in range(start_us, end_us, step)]
        return History("l/min" if name.endswith("argon") else "Cel", found)

    def wiring(self) -> Wiring:
        return Wiring(
            latest=self.latest,
            act=self.act,
            history=self.history,
            health=lambda: (True, {"store": "open", "links": LINKS, "space": SPACE}),
            metrics=lambda: [Metric("heatwindow_readings", "counter", "Readings.", [({}, 3.0)])],
            notices=lambda: self.told,
            notice_seen=self.notice_seen,
            now_us=self.now_us,
            outlets=lambda: self.outlets,
            try_outlet=self.try_outlet,
            unused_ports=lambda: self.unused,
            adopted_ports=lambda: self.adopted,
            adopt_port=self.adopt_port,
            release_port=self.release_port,
            hands=self.hands,
            shelf=LateShelf(self),
            desk=Late(self, "desk"),
            results=Late(self, "results"),
            lessons=self.lessons,
            procedures=lambda: self.procedures,
        )


def _past(name: str, t_us: int) -> tuple[float | None, float | None]:
    """A casting's trip: soak at 400 °C, carried with the probe out, then on the bench."""
    minutes = (t_us - NOW_US) / 60e6
    if name.endswith("argon"):
        flow = (
            0.0 if minutes < -5.2 or -3.1 < minutes < -2.4 else 10.2 + 0.15 * math.sin(minutes * 9)
        )
        return flow, flow
    if name.startswith("shop"):
        return 18.6, 18.7
    shift = {"bench/joint-right": 8.5, "pump/joint": 53.0}.get(name, 0.0)
    if -9.4 < minutes < -8.1:
        return None, None
    if minutes < -9.4:
        c = 392 - 150 * math.exp((minutes + 70) / -18) + shift / 3
    else:
        c = 318.4 + shift + 70 * (math.exp(-(minutes) / 7.5) - 1) / (math.exp(8.1 / 7.5) - 1)
        for at in (-6.4, -3.9):
            if minutes > at:
                c += 16 * math.exp(-(minutes - at) / 1.1) - 16 * math.exp(at / 1.1) * 0
    return c - 0.4, c + 0.4
