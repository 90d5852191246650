"""An intake that keeps what it is given."""

from __future__ import annotations

import threading
from collections.abc import Callable

import pytest

from service.readings import Measurement
from service.wire.pack import Pack


class KeepingIntake:
    """Stands where the collector does.

    ``fail_next`` makes it raise as a broken one would; with ``commits`` it acknowledges at once.
    """

    def __init__(self) -> None:
        self.packs: list[Pack] = []
        self.acks: list[Callable[[], None] | None] = []
        self.fail_next = 0
        self.commits = False
        self.arrived = threading.Condition()

    def __call__(self, link: str, pack: Pack, ack: Callable[[], None] | None) -> None:
        with self.arrived:
            if self.fail_next:
                self.fail_next -= 1
                raise RuntimeError("the intake is broken")
            self.packs.append(pack)
            self.acks.append(ack)
            self.arrived.notify_all()
        if self.commits and ack is not None:
            ack()

    def measurements(self) -> list[Measurement]:
        with self.arrived:
            return [each for pack in self.packs for each in pack.measurements]

    def values(self) -> list[float | None]:
        return [each.value for each in self.measurements()]

    def wait_for(self, count: int, deadline_s: float = 20.0) -> list[float | None]:
        """The values once there are ``count`` of them."""
        with self.arrived:
            enough = self.arrived.wait_for(
                lambda: sum(len(pack.measurements) for pack in self.packs) >= count, deadline_s
            )
        assert enough, f"{len(self.values())} of {count} measurements came: {self.values()[-5:]}"
        return self.values()


@pytest.fixture
def intake() -> KeepingIntake:
    return KeepingIntake()
