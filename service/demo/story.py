"""What happens in the demo: two castings, from the oven to under the blanket.

Only hands and taps are scripted. What the page then says is whatever the service makes of the
readings; the welder looks at it before every pass, as he should, and waits if it says wait. His
passes are found by the clamp on the work lead; with his hands full he steps on the button.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from service.demo.castings import PUMP_ENGINE, SAWMILL_ENGINE, Job
from service.demo.faults import FaultScript
from service.demo.pacing import Pacing
from service.demo.page import Page
from service.demo.shop import SimulatedShop

Tell = Callable[[str], None]

OVEN_S = 30.0
"""The last of the soak before the first casting is carried [shop s]."""
CARRY_S = 12.0
STALL_AFTER_S = 16.0
"""Into the purge, the hose gets stepped on [shop s]."""
STALL_S = 8.0
TURNED_DOWN_S = 6.0
"""Torch in hand, hood down [shop s]."""
PATIENCE_S = 900.0
"""How long the welder waits for ready before giving the part up [shop s]."""
COLD_C = 43.0
"""Cold enough to touch for 8 h and longer: ISO 13732-1, from memory."""


NOTICED_S = 60.0
"""The clamp shows the arc, and the button the foot, within seconds; later means broken [shop s]."""


@dataclass(frozen=True, slots=True)
class Hands:
    """What the welder does besides tapping: he speaks, and steps on the button."""

    tell: Tell
    press: Callable[[], None]


class Story:
    """The welder.

    Args:
        shop: Where his hands are.
        page: Where his taps go.
        pacing: His time.
        faults: What goes wrong besides.
        hands: Gets each step in a sentence, and the button.
    """

    def __init__(
        self, shop: SimulatedShop, page: Page, pacing: Pacing, faults: FaultScript, hands: Hands
    ) -> None:
        self._shop = shop
        self._page = page
        self._pacing = pacing
        self._faults = faults
        self._tell = hands.tell
        self._press_button = hands.press

    def play(self) -> None:
        """From the oven to the blanket, one casting after the other; then only watching.

        Raises:
            StoryEnded: The demo is being stopped.
            TapRefused: The service refused something the story takes for granted.
        """
        self._wait_for_channels([PUMP_ENGINE, SAWMILL_ENGINE])
        self._end_old_heats()
        first, second = self._put_in_oven(PUMP_ENGINE), self._put_in_oven(SAWMILL_ENGINE)
        self._faults.at("soaking")
        self._pacing.pause(OVEN_S)
        self._weld(PUMP_ENGINE, first)
        self._weld(SAWMILL_ENGINE, second)
        self._tell("Both castings are under their blankets. The page stays up; stop with Ctrl-C.")
        for job, heat_id in ((PUMP_ENGINE, first), (SAWMILL_ENGINE, second)):
            self._end_when_cold(job, heat_id)
        self._pacing.wait_for_stop()

    # Setting up ----------------------------------------------------------------------------

    def _wait_for_channels(self, jobs: list[Job]) -> None:
        wanted = {name for job in jobs for name in (*job.channels, *job.shared)}
        if not self._pacing.wait_until(lambda: wanted <= self._channels(), 30 * self._pacing.speed):
            missing = ", ".join(sorted(wanted - self._channels()))
            raise TimeoutError(f"no reading of {missing} reached the page within 30 s")

    def _channels(self) -> set[str]:
        bench = self._page.bench()
        return set() if bench is None else {channel["name"] for channel in bench["channels"]}

    def _end_old_heats(self) -> None:
        """A database used before may hold heats that were never ended."""
        bench = self._page.bench()
        for part in [] if bench is None else bench["parts"]:
            if part["heat_id"] is None:
                continue
            if part["pass_running"]:
                self._page.tap("end pass", heat_id=part["heat_id"])
            self._page.tap("end heat", heat_id=part["heat_id"])

    def _put_in_oven(self, job: Job) -> int:
        """Describe the part on the page and begin its heat; the heat's id."""
        for channel, kind in {**job.channels, **job.shared}.items():
            self._page.tap("adopt channel", channel=channel, channel_kind=kind)
        made = self._page.tap("create part", facts=job.facts, limits=job.limits)
        part_id = made["part_id"]
        for channel in job.channels:
            self._page.tap("assign channel", channel=channel, part_id=part_id)
        begun = self._page.tap("begin heat", part_id=part_id, phase="oven")
        self._tell(f"{job.name}: in the oven, soaking.")
        return int(begun["heat_id"])

    # One casting ---------------------------------------------------------------------------

    def _weld(self, job: Job, heat_id: int) -> None:
        self._carry(job, heat_id)
        self._purge(job, heat_id)
        for number in range(1, job.passes + 1):
            if number == 2:
                self._faults.at("between passes", job.number)
            ready = self._wait_for_ready(job)
            if ready and number == 1:
                ready = self._turn_down(job)
            if not ready:
                self._tell(f"{job.name}: never ready within {PATIENCE_S:.0f} s; covered unwelded.")
                break
            self._lay(job, heat_id, number)
        self._cover(job, heat_id)

    def _turn_down(self, job: Job) -> bool:
        """Flushed clear: down to a slight pressure, so that the root is not blown out; then a
        look whether it is still ready (common practice, no source)."""
        self._shop.set_argon(job.number, job.argon_l_min[1])
        self._tell(f"{job.name}: purge turned down to {job.argon_l_min[1]:.0f} l/min.")
        # Half a real second at least: the page must have had time to say something else.
        self._pacing.pause(max(TURNED_DOWN_S, 0.5 * self._pacing.speed))
        return self._wait_for_ready(job)

    def _carry(self, job: Job, heat_id: int) -> None:
        self._page.tap("move part", heat_id=heat_id, phase="carry")
        self._shop.unplug_and_carry(job.number)
        self._tell(f"{job.name}: probes unplugged, carried to the bench.")
        self._pacing.pause(CARRY_S)
        self._shop.set_down(job.number)
        self._page.tap("move part", heat_id=heat_id, phase="bench")
        self._tell(f"{job.name}: on the bench, probes clamped on.")
        self._pacing.pause(5.0)

    def _purge(self, job: Job, heat_id: int) -> None:
        self._next(job, heat_id, lambda part: bool(part["purge"]["running"]))
        self._shop.set_argon(job.number, job.argon_l_min[0])
        self._tell(f"{job.name}: purge on, {job.argon_l_min[0]:.0f} l/min.")
        self._pacing.pause(STALL_AFTER_S)
        self._faults.at("purging", job.number)
        if job.number == 1:
            self._stall(job)

    def _stall(self, job: Job) -> None:
        """Somebody steps on the hose; with the fault of that name it stays so for long."""
        self._shop.kink_hose(job.number, True)
        self._tell(f"{job.name}: the purge stalls, the hose is kinked.")
        self._pacing.pause(self._faults.kink_s or STALL_S)
        self._shop.kink_hose(job.number, False)
        self._tell(f"{job.name}: the hose is free again.")

    def _wait_for_ready(self, job: Job) -> bool:
        ready = self._pacing.wait_until(lambda: self._verdict(job) == "ready", PATIENCE_S)
        if ready:
            self._tell(f"{job.name}: the page says ready.")
        return ready

    def _verdict(self, job: Job) -> str | None:
        part = self._part(job)
        return None if part is None else str(part["verdict"])

    def _part(self, job: Job) -> dict[str, Any] | None:
        """The newest part of that name on the page."""
        bench = self._page.bench()
        named = [] if bench is None else [p for p in bench["parts"] if p["name"] == job.name]
        return max(named, key=lambda part: int(part["id"]), default=None)

    def _next(self, job: Job, heat_id: int, done: Callable[[dict[str, Any]], bool]) -> None:
        """Step on the button; a tap does it if the page shows nothing of that."""
        self._press_button()
        if not self._seen(job, done):
            self._page.tap("next step", heat_id=heat_id)

    def _seen(self, job: Job, what: Callable[[dict[str, Any]], bool]) -> bool:
        """Whether the page comes to show it."""

        def shown() -> bool:
            part = self._part(job)
            return part is not None and what(part)

        return self._pacing.wait_until(shown, max(NOTICED_S, 2.0 * self._pacing.speed))

    def _lay(self, job: Job, heat_id: int, number: int) -> None:
        self._shop.arc(job.number, True)
        self._tell(f"{job.name}: pass {number}, arc on.")
        if not self._seen(job, lambda part: bool(part["pass_running"])):
            self._page.tap("begin pass", heat_id=heat_id)
        self._pacing.pause(job.pass_s)
        self._shop.arc(job.number, False)
        if not self._seen(job, lambda part: not part["pass_running"]):
            self._page.tap("end pass", heat_id=heat_id)
        self._tell(f"{job.name}: pass {number}, arc out.")

    def _cover(self, job: Job, heat_id: int) -> None:
        self._page.tap("end purge", heat_id=heat_id)
        self._shop.set_argon(job.number, 0.0)
        self._pacing.pause(15.0)
        self._shop.cover(job.number)
        if self._welded(job):
            self._next(job, heat_id, lambda part: part["phase"] == "slow cool")
        else:
            self._page.tap("move part", heat_id=heat_id, phase="slow cool")
        self._tell(f"{job.name}: blanket on, slow cool.")
        self._faults.at("cooling", job.number)

    def _welded(self, job: Job) -> bool:
        part = self._part(job)
        return part is not None and int(part["passes"]) > 0

    def _end_when_cold(self, job: Job, heat_id: int) -> None:
        """Look again every shop minute until it is cold, then end the heat."""

        def look() -> None:
            if self._shop.joint_c(job.number) > COLD_C:
                self._pacing.later(60.0, look)
                return
            self._page.tap("end heat", heat_id=heat_id)
            self._tell(f"{job.name}: cold, heat ended.")

        look()
