"""What can be made to go wrong in the demo, each at a sensible moment of the story.

======================  ===============================================================
fault                   what happens
======================  ===============================================================
``open-thermocouple``   the junction beside the first casting's joint parts in the
                        middle of the purge and is replaced a minute later
``kinked-hose``         the first casting's hose stays kinked for two minutes and a half:
                        the valve is open, nothing flows
``dead-broker``         the broker is killed while the first casting is purged, and comes
                        back
``unplugged-node``      the serial node loses its plug after the first pass, and gets it back
======================  ===============================================================
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal, Protocol, get_args

from service.demo.pacing import Pacing
from service.demo.shop import SimulatedShop

FaultName = Literal["open-thermocouple", "kinked-hose", "dead-broker", "unplugged-node"]
FAULTS: tuple[FaultName, ...] = get_args(FaultName)

Moment = Literal["soaking", "purging", "between passes", "cooling"]

KINK_S = 150.0
BROKEN_PROBE_S = 60.0
UNPLUGGED_S = 45.0
BROKER_AWAY_S = 60.0
AWAY_REAL_S = 4.0
"""A link is away at least so long by the real clock, whose seconds its peers count [s]."""


class Pluggable(Protocol):
    """A node with a plug."""

    def plug_in(self) -> None:
        """Back again."""

    def unplug(self) -> None:
        """Gone."""


class Killable(Protocol):
    """A broker that can be killed and started again."""

    def start(self) -> None:
        """Up, and answering."""

    def kill(self) -> None:
        """Gone, as in a crash."""


class FaultScript:
    """Carries out one fault, or none.

    Args:
        name: Which; ``None`` for a day without.
        shop: For what happens to hoses and probes.
        node: The serial node.
        broker: The broker.
        pacing: When things end again.
        tell: Gets a sentence at the beginning and the end of the fault.
    """

    def __init__(
        self,
        name: FaultName | None,
        *,
        shop: SimulatedShop,
        node: Pluggable,
        broker: Killable,
        pacing: Pacing,
        tell: Callable[[str], None],
    ) -> None:
        self.name = name
        self._shop = shop
        self._node = node
        self._broker = broker
        self._pacing = pacing
        self._tell = tell

    @property
    def kink_s(self) -> float | None:
        """How long the hose stays kinked [shop s]; ``None`` for the ordinary short stall."""
        return KINK_S if self.name == "kinked-hose" else None

    def at(self, moment: Moment, number: int = 1) -> None:
        """The story has come to this moment with this casting."""
        if number != 1:
            return
        match self.name, moment:
            case "open-thermocouple", "purging":
                self._break_probe()
            case "dead-broker", "purging":
                self._kill_broker()
            case "unplugged-node", "between passes":
                self._unplug_node()

    def _break_probe(self) -> None:
        self._tell("FAULT begins: the thermocouple beside the joint is open.")
        self._shop.break_joint_probe(1, True)

        def mend() -> None:
            self._shop.break_joint_probe(1, False)
            self._tell("FAULT ends: a new thermocouple is clamped on.")

        self._pacing.later(BROKEN_PROBE_S, mend)

    def _kill_broker(self) -> None:
        self._tell("FAULT begins: the broker is killed.")
        self._broker.kill()

        def restart() -> None:
            self._broker.start()
            self._tell("FAULT ends: the broker is up again.")

        self._pacing.later(max(BROKER_AWAY_S, AWAY_REAL_S * self._pacing.speed), restart)

    def _unplug_node(self) -> None:
        self._tell("FAULT begins: the bench node is unplugged.")
        self._node.unplug()

        def plug() -> None:
            self._node.plug_in()
            self._tell("FAULT ends: the bench node is plugged in again.")

        self._pacing.later(max(UNPLUGGED_S, AWAY_REAL_S * self._pacing.speed), plug)
