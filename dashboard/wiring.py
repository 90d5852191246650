"""What the pages may reach: a handful of functions, handed in by whoever starts the service.

The dashboard holds no thread of the service, no SQL and no physics. Everything it shows comes
through these; a test hands in its own.
"""

from __future__ import annotations

import ipaddress
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal, Protocol

from service.judge.actions import AddPhoto, OperatorAction
from service.judge.outcome_actions import MediaType
from service.procedure.lessons import Learnt, Quantity
from service.records.desk import Of
from service.records.events_over import Place
from service.records.finding import Wanted
from service.records.repeat import Repeat


class Posting(Protocol):
    """One bench answer, ready to be sent (``service.board.Posting`` is one)."""

    @property
    def body(self) -> bytes:
        """The JSON as sent."""

    @property
    def etag(self) -> str:
        """Changes when what is shown changes; without quotes."""

    @property
    def posted_at(self) -> float:
        """``time.monotonic()`` when it was posted [s, real]."""


class ActResult(Protocol):
    """What became of an operator's action (``service.collector.ActResult`` is one)."""

    @property
    def seq(self) -> int:
        """Its place in the order of everything the judge was given."""

    @property
    def part_id(self) -> int | None:
        """The part it made or concerns."""

    @property
    def heat_id(self) -> int | None:
        """The heat it made or concerns."""

    @property
    def recorded(self) -> bool:
        """It is safely in the journal, not only in force."""


@dataclass(frozen=True, slots=True)
class HistoryPoint:
    """One stretch of a channel's past.

    Attributes:
        t_us: Where the stretch begins [µs UTC].
        low: Least good value in it, in the channel's unit; ``None`` where there was none.
        high: Greatest good value in it; ``None`` exactly when ``low`` is.
    """

    t_us: int
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class History:
    """A channel's past, thinned so that peaks are kept and gaps stay gaps.

    Attributes:
        unit: Unit of ``low`` and ``high``; ``None`` when the channel has only ever sent faults.
        points: In order of time, no two at the same ``t_us``.
    """

    unit: str | None
    points: Sequence[HistoryPoint]


@dataclass(frozen=True, slots=True)
class Metric:
    """One figure about the service itself, for ``GET /metrics``.

    Attributes:
        name: OpenMetrics name without the ``_total`` of counters, unit last.
        kind: "gauge" or "counter".
        text: One sentence of help.
        samples: Value by labels; a counter's value never falls while the service runs.
    """

    name: str
    kind: Literal["gauge", "counter"]
    text: str
    samples: Sequence[tuple[Mapping[str, str], float]]


@dataclass(frozen=True, slots=True)
class Notice:
    """Something somebody must be told about the records.

    Attributes:
        id: For ``Wiring.notice_seen``; 0 for one that stays until its cause is gone.
        at_us: When it came up [µs UTC].
        text: What, where, and what to do.
    """

    id: int
    at_us: int
    text: str


@dataclass(frozen=True, slots=True)
class UnusedPort:
    """A serial port of the service's machine that nobody reads.

    Attributes:
        name: By which it is found again after replugging.
        device: What the system calls it today.
        description: What it says of itself.
    """

    name: str
    device: str
    description: str


@dataclass(frozen=True, slots=True)
class AdoptedPort:
    """A serial port that is read because somebody said so on the page or with ``check``.

    Attributes:
        port: Its name.
        baud: Line speed [bit/s].
        profile: What its lines carry, as in the config.
    """

    port: str
    baud: int
    profile: str


class Hands(Protocol):
    """Which devices on the network may change things (``service.config.pin.PinKeeper`` is one)."""

    def is_set(self) -> bool:
        """There is a PIN."""

    def sign_in(self, pin: str) -> str:
        """A token for a device that knows the PIN; raises ``service.config.pin.PinRefused``."""

    def knows(self, token: str) -> bool:
        """The token is good."""

    def sign_out(self, token: str) -> None:
        """The token is good no more."""


class Desk(Protocol):
    """What is said of heats on record (``service.records.desk.Desk`` is one); see there."""

    def add_photo(
        self, data: bytes, of: Of, caption: str | None, by: str | None, token: str | None
    ) -> tuple[AddPhoto, ActResult]:
        """Keep a photo and say what it is of."""

    def photo(self, sha256: str) -> tuple[bytes, MediaType] | None:
        """A photo's bytes and type."""

    def photos(self, heat_id: int | None, part_id: int | None) -> Sequence[Mapping[str, object]]:
        """Those of a heat or a part."""

    def why_no_colour(self, heat_id: int) -> str | None:
        """Why a root may not be graded by colour."""


class Results(Protocol):
    """What came of heats and what they took (``service.records.results.Results`` is one)."""

    def of_list(
        self, heats: Sequence[Mapping[str, object]], wanted: str | None = None
    ) -> Sequence[Mapping[str, object]]:
        """Heats with their outcome and work, those of one outcome."""

    def work(self) -> Mapping[str, object]:
        """What heats took, one by one and by part."""

    def work_csv(self, by: Literal["heat", "part"]) -> str:
        """The same as a table."""


class Shelf(Protocol):
    """Every heat on record (``service.records.shelf.Shelf`` is one); see there."""

    def heats(self) -> Sequence[Mapping[str, object]]:
        """The newest heats, newest first."""

    def record(self, heat_id: int) -> Mapping[str, object]:
        """One heat with its figures."""

    def chart(self, heat_id: int) -> str:
        """Its chart as SVG."""

    def find(self, wanted: Wanted) -> Mapping[str, object]:
        """Heats that fit, a page of them."""

    def events(
        self, within_us: tuple[int, int], after: Place | None, most: int
    ) -> Mapping[str, object]:
        """What happened between two times [µs UTC], a page of it."""

    def lines(
        self, heat_id: int, within_us: tuple[int, int] | None, points: int
    ) -> Mapping[str, object]:
        """Its channels as lines, over all of it or a stretch [µs UTC], in about so many steps."""

    def said(self, heat_id: int) -> tuple[float, Mapping[str, object] | None]:
        """What was said at any moment of it: how much of that is worked out, and all of it."""

    def compared(
        self, heat_ids: Sequence[int], align: Literal["oven exit", "first pass", "clock"]
    ) -> Sequence[Mapping[str, object]]:
        """Heats side by side with their figures."""

    def compare_chart(
        self, heat_ids: Sequence[int], align: Literal["oven exit", "first pass", "clock"]
    ) -> str:
        """The same heats as one chart, SVG."""

    def report(self, heat_id: int, paper: Literal["A4", "Letter"]) -> bytes:
        """Its report as PDF."""

    def package(self, heat_id: int) -> bytes:
        """The whole heat as JSON."""

    def table(self, heat_id: int) -> bytes:
        """Its readings as CSV."""


class Lessons(Protocol):
    """What heats taught (``service.records.lessons_shelf.LessonsShelf`` is one); see there."""

    def learnt(self, part_id: int) -> Mapping[str, object]:
        """What a part's heats taught, as told."""

    def lessons(self, part_id: int) -> Mapping[Quantity, Learnt]:
        """The same for a plan."""

    def repeat(
        self, heat_id: int, *, oven_max_c: float, ambient_c: float, confidence: float, arc_w: float
    ) -> Repeat:
        """A heat as a plan; raises ``service.procedure.plan_ask.PlanRefused``."""


@dataclass(frozen=True, slots=True)
class Wiring:
    """The functions behind the pages. All may be called from several threads at once.

    Attributes:
        latest: The board's latest posting, ``None`` before the first.
        act: Do what an operator asks; raises ``service.judge.events.Refused``.
        history: ``(channel, start_us, end_us, points)`` to the channel's past between two times
            [µs UTC] in at most ``points`` stretches; ``None`` for an unknown channel.
        health: Whether every worker makes progress, and the details as a JSON object. Its
            ``links`` are shown with the sensors: ``name``, ``state``, ``data_age_s`` and, by
            cause, the numbers of measurements ``rejected``.
        metrics: Figures about the service.
        notices: What must be told about the records and has not been read yet, oldest first.
        notice_seen: Somebody has read the notice of this id; ``False`` when there is none such.
            Raises ``service.judge.events.Refused`` when that cannot be kept now.
        now_us: The shop's clock [µs UTC].
        outlets: How each way of telling is doing, as JSON objects.
        try_outlet: Send a test notice by the outlet of this key; returns at once, ``False`` when
            there is none such. What became of it then stands in ``outlets``.
        unused_ports: Serial ports that could be read.
        adopted_ports: Those that are read beside the config's.
        adopt_port: Read a port, now and after every start. Raises
            ``service.judge.events.Refused``.
        release_port: Read an adopted port no more. Raises ``service.judge.events.Refused``.
        hands: Who may change things from the network.
        shelf: Every heat on record.
        desk: What is said of heats on record, and photos.
        results: What came of heats and what they took.
        lessons: What they taught.
        procedures: Every procedure with its versions, as JSON objects. Raises
            ``service.store.errors.StoreError``.
    """

    latest: Callable[[], Posting | None]
    act: Callable[[OperatorAction], ActResult]
    history: Callable[[str, int, int, int], History | None]
    health: Callable[[], tuple[bool, Mapping[str, object]]]
    metrics: Callable[[], Iterable[Metric]]
    notices: Callable[[], Sequence[Notice]]
    notice_seen: Callable[[int], bool]
    now_us: Callable[[], int]
    outlets: Callable[[], Sequence[Mapping[str, object]]]
    try_outlet: Callable[[str], bool]
    unused_ports: Callable[[], Sequence[UnusedPort]]
    adopted_ports: Callable[[], Sequence[AdoptedPort]]
    adopt_port: Callable[[AdoptedPort], None]
    release_port: Callable[[str], None]
    hands: Hands
    shelf: Shelf
    desk: Desk
    results: Results
    lessons: Lessons
    procedures: Callable[[], Sequence[Mapping[str, object]]]


@dataclass(frozen=True, slots=True)
class Doors:
    """Who is let in.

    Attributes:
        hosts: Host names, without port, under which the service answers. A page on any other
            name that points here (DNS rebinding) is turned away.
        any_address: A bare IP address is answered too. Rebinding needs a name, so this opens
            nothing to it.
    """

    hosts: frozenset[str] = field(
        default_factory=lambda: frozenset({"localhost", "127.0.0.1", "::1"})
    )
    any_address: bool = False

    def admit(self, name: str) -> bool:
        """Whether the service answers under this name."""
        if name in self.hosts:
            return True
        if not self.any_address:
            return False
        try:
            ipaddress.ip_address(name)
        except ValueError:
            return False
        return True
