"""A database that takes actions the way the collector gives them to the writer, with no judge."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

from PIL import Image

from service.judge import actions as act
from service.judge.events import Acted, Outcome, Stamp, TripChange
from service.readings import Quality, Reading
from service.records.desk import Desk
from service.records.gather import gather
from service.records.record_json import record_json
from service.store.database import Store
from service.store.entries import Arrived
from service.tickets import ActResult

START_US = 1_790_000_000_000_000


def jpeg(shade: int = 90, size: tuple[int, int] = (60, 40), quality: int = 75) -> bytes:
    """A photo as a telephone takes it, with the place where it was taken."""
    exif = Image.Exif()
    exif.get_ifd(0x8825).update({1: "N", 2: (52.0, 0.0, 0.0)})
    out = io.BytesIO()
    Image.new("RGB", size, (shade, 110, 70)).save(out, "JPEG", exif=exif, quality=quality)
    return out.getvalue()


class SaidShop:
    """Opens a database or makes it; ``desk`` takes what is said of its heats."""

    def __init__(self, path: Path) -> None:
        self.store = Store.open(f"sqlite:///{path}")
        self.desk = Desk(self.put, self.store)
        self.at_us = self.store.last_mono_us() or START_US

    def put(self, action: act.Action) -> ActResult:
        self.at_us += 60_000_000
        seq = self.store.next_seq()
        stamp = Stamp(seq, self.at_us, self.at_us)
        self.store.write_side.keeper.keep([Acted(stamp, action)])
        part_id = getattr(action, "part_id", None)
        return ActResult(seq, part_id, getattr(action, "heat_id", None), True)

    def facts(self, **changed: object) -> None:
        facts = gather(self.store, 1).facts.model_copy(update=changed)
        self.put(act.ChangePart(part_id=1, facts=facts, by="Ada"))

    def say(self, **said: object) -> None:
        self.desk.act(act.SayOutcome.model_validate({"heat_id": 1, "by": "Ada", **said}))

    def outcomes(self) -> list[dict[str, Any]]:
        found: list[dict[str, Any]] = record_json(gather(self.store, 1))["outcomes"]
        return found

    def read(self, channel: str, unit: str, value: float) -> None:
        self.at_us += 1_000_000
        at_us, seq = self.at_us, self.store.next_seq()
        reading = Reading(channel, unit, value, Quality.GOOD, None, at_us, at_us, at_us, seq)
        self.store.write_side.keeper.keep([Arrived((reading,))])

    def weld(self, heat_id: int, number: int, seconds: int) -> None:
        """A pass by taps, as the judge concludes it."""
        said = {"heat_id": heat_id, "number": number, "origin": "tap", "text": "", "by": None}
        for kind, begin_us in (("begin pass", 0), ("end pass", seconds * 1_000_000)):
            self.at_us += begin_us
            change = TripChange(
                kind=kind, since_us=self.at_us, at_us=self.at_us, mono_us=self.at_us,
                phase=None, undone=None, arc_us=None, **said,
            )  # fmt: skip
            self.store.write_side.keeper.keep([Outcome(trips=[change])])


def small_shop(path: Path, names: tuple[str, ...] = ("pump elbow", "saw manifold")) -> SaidShop:
    """A shop with a heat of each part: begun, welded for 45 s at 12 l/min by setting, ended."""
    shop = SaidShop(path)
    shop.put(act.ServiceStarted(version="0.1", offset_us=0))
    shop.put(act.SetBottle(water_volume_l=20, torch_flow_l_min=12))
    for place, name in enumerate(names, 1):
        facts = act.PartFacts(name=name, metal="cast austenitic stainless", joining_metal="304")
        shop.put(act.CreatePart(part_id=place, facts=facts))
        shop.put(act.AdoptChannel(channel=f"tc{place}", channel_kind="thermocouple"))
        shop.put(act.AssignChannel(channel=f"tc{place}", part_id=place))
        shop.put(act.BeginHeat(heat_id=place, part_id=place, phase="bench"))
        shop.read(f"tc{place}", "Cel", 22.0)
        shop.weld(place, 1, 45)
        shop.put(act.EndHeat(heat_id=place))
    return shop
