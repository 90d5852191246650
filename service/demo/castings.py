"""The two jobs of the demo: what the millwright's shop has in the oven today."""

from __future__ import annotations

from dataclasses import dataclass, field

from service.demo.nodes import BENCH_NODE, OVEN_NODE


@dataclass(frozen=True, slots=True)
class Job:
    """One casting as the welder describes it on the page.

    Attributes:
        number: Station in the simulated shop.
        facts: As ``PartFacts``; the second casting's area was never measured.
        limits: As ``Limits``; preheat and cooling for pearlitic ductile iron are common
            practice, no source; the oxygen limits are this shop's own procedure.
        channels: Channel name to what it measures.
        argon_l_min: Purge flow before the root, and while welding.
        passes: How many.
        pass_s: How long each takes [shop s].
    """

    number: int
    facts: dict[str, object]
    limits: dict[str, float]
    channels: dict[str, str]
    argon_l_min: tuple[float, float]
    passes: int
    pass_s: float
    shared: dict[str, str] = field(default_factory=dict)
    """Channels of the node that belong to no part."""

    @property
    def name(self) -> str:
        """What the shop calls it."""
        return str(self.facts["name"])


PUMP_ENGINE = Job(
    number=1,
    facts={
        "name": "Pump engine manifold",
        "metal": "ductile iron",
        "mass_kg": 6.0,
        "area_m2": 0.13,
        "cavity_volume_l": 1.1,
        "hose_volume_l": 0.3,
    },
    limits={
        "preheat_min_c": 200.0,
        "interpass_max_c": 320.0,
        "cooling_max_c_per_h": 450.0,
        "oxygen_max_ppm": 500.0,
    },
    channels={
        f"{BENCH_NODE}flange": "thermocouple",
        f"{BENCH_NODE}joint": "thermocouple",
        f"{BENCH_NODE}argon": "gas flow",
    },
    argon_l_min=(16.0, 9.0),
    passes=3,
    pass_s=50.0,
    shared={
        f"{BENCH_NODE}air": "ambient",
        f"{BENCH_NODE}arc": "arc",
        f"{BENCH_NODE}next": "button",
    },
)

SAWMILL_ENGINE = Job(
    number=2,
    facts={
        "name": "Sawmill engine manifold",
        "metal": "ductile iron",
        "mass_kg": 9.4,
        "cavity_volume_l": 2.0,
        "hose_volume_l": 0.4,
    },
    limits={
        "preheat_min_c": 200.0,
        "interpass_max_c": 310.0,
        "cooling_max_c_per_h": 450.0,
        "oxygen_max_ppm": 100.0,
    },
    channels={
        f"{OVEN_NODE}flange": "thermocouple",
        f"{OVEN_NODE}joint": "thermocouple",
        f"{OVEN_NODE}argon": "gas flow",
        f"{OVEN_NODE}oxygen": "oxygen",
    },
    argon_l_min=(18.0, 9.0),
    passes=2,
    pass_s=70.0,
    shared={f"{OVEN_NODE}room": "room oxygen"},
)
