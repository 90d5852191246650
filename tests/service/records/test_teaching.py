"""What a recorded heat teaches: against the lump's own law, made anew to the letter, set aside."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import numpy as np
import pytest

from service.judge import actions as act
from service.procedure.learnt_words import learnt_json
from service.procedure.lessons import Lesson, learnt_from
from service.procedure.plan import plan_heat
from service.procedure.plan_ask import PlanAsk, PlanRefused, Stage
from service.records.repeat import repeat_of, stages_of
from service.records.teaching import Teaching, taught_by
from service.store.database import Store
from tests.field.recorded_heat import START_US, Recorder, record_heat

HOW = {"oven_max_c": 650.0, "ambient_c": 20.0, "confidence": 0.9}


def lump_k_min(at_c: float) -> float:
    """The recorded lump's loss: 24 K/min at 350 °C, falling as ΔT^1.3 (``recorded_heat.Lump``)."""
    return 24.0 * ((at_c - 20.0) / 330.0) ** 1.3


@pytest.fixture(scope="session")
def twice(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two heats of one part; the second has no pass."""
    path = tmp_path_factory.mktemp("twice") / "shop.db"
    record_heat(path, again=True)
    return path


@pytest.fixture
def store(twice: Path):
    found = Store.open_to_read(f"sqlite:///{twice}")
    yield found
    found.close()


def test_the_loss_is_the_lumps_own_where_it_was_seen(store: Store) -> None:
    learnt = Teaching(store).part(1).learnt
    bare = learnt_json(learnt["loss bare"], "ductile iron")
    assert bare["heat_ids"] == [1, 2]
    assert bare["value"]["p05"] < lump_k_min(bare["at_c"]) < bare["value"]["p95"]
    assert bare["value"]["p50"] == pytest.approx(lump_k_min(bare["at_c"]), rel=0.06)
    # The gas takes 8 W of 12 l/min at most off a lump that knows of no gas (own calculation).
    assert 240 < bare["seen"]["low"] < bare["seen"]["high"] < 310
    carried = learnt_json(learnt["loss carried"], "ductile iron")
    assert carried["value"]["p05"] < lump_k_min(carried["at_c"]) < carried["value"]["p95"]


def test_made_anew_it_is_the_same_to_the_letter(store: Store) -> None:
    first, again = Teaching(store), Teaching(store)
    for heat_id in (1, 2):
        assert taught_by(store, heat_id).lessons == first.heat(heat_id).lessons
    assert repr(first.part(1)) == repr(again.part(1)) == repr(first.part(1))


def test_a_heat_without_a_pass_is_not_repeated(store: Store) -> None:
    teaching = Teaching(store)
    with pytest.raises(PlanRefused, match="heat 2 had no pass"):
        stages_of(teaching.heat(2), 0.0)
    kinds = [(each.kind, each.argon_flow_l_min) for each in stages_of(teaching.heat(1), 500.0)]
    assert kinds == [
        ("carry", 0.0), ("fit-up", 0.0), ("purge", 12.0), ("pass", 12.0), ("pause", 12.0),
        ("pass", 12.0),
    ]  # fmt: skip


def test_a_repeat_is_what_was_and_checked_by_what_was_learnt(store: Store) -> None:
    again = repeat_of(Teaching(store), 1, **HOW)
    minutes = {each.kind: each.minutes for each in again.ask.stages}
    # 30 s of carry, 20 s of fit-up, 120 s of purge, as the recorder's script has them.
    assert (minutes["carry"], minutes["fit-up"], minutes["purge"]) == pytest.approx(
        (0.5, 1 / 3, 2.0), abs=0.02
    )
    assert not again.said
    assert again.set_c == pytest.approx(309, abs=3)
    assert set(again.ask.learnt) >= {"loss bare", "loss carried"}


def test_set_aside_later_heats_teach_anew(recorded: Path, tmp_path: Path) -> None:
    path = tmp_path / "shop.db"
    shutil.copy(recorded, path)
    store = Store.open(f"sqlite:///{path}")
    try:
        judge_seq = store.next_seq()
        shop = Recorder(store, now_us=START_US + 10_000_000_000, seq=judge_seq)
        shop.act(act.CreatePart(part_id=1, facts=act.PartFacts(name="m")))
        shop.entries.clear()  # the part is on record: only what follows is new
        for action in (
            act.ForgetLearnt(part_id=1, by="Ada"),
            act.ForgetLearnt(part_id=1, quantity="loss bare", by="Bo"),
        ):
            shop.act(action)
        shop.write()
        gone = Teaching(store).part(1)
        assert gone.learnt == {}
        by = {each.quantity: each.by for each in gone.forgotten}
        assert (by["loss bare"], by["cavity leak"]) == ("Bo", "Ada")
        shop.act(act.ForgetLearnt(part_id=1, take_back=True))
        shop.write()
        assert "loss bare" not in Teaching(store).part(1).learnt
        assert "loss carried" in Teaching(store).part(1).learnt
        shop.act(act.ForgetLearnt(part_id=1, quantity="loss bare", take_back=True))
        shop.write()
        assert "loss bare" in Teaching(store).part(1).learnt
    finally:
        store.close()


STAGES = (Stage("carry", 1.0), Stage("fit-up", 3.0), Stage("pass", 1.0))


def bare(low: float, high: float) -> dict:
    seen = [Lesson(n, "loss bare", 0.35 * f, 0.03, low, high) for n, f in ((1, 0.98), (2, 1.03))]
    return learnt_from(seen)


def test_beyond_its_range_nothing_learnt_is_applied_and_that_is_said() -> None:
    """Seen at 80 to 110 °C only, a plan at 200 to 300 °C is reckoned as without history."""
    ask = {"metal": "ductile iron", "preheat_min_c": 200.0, "stages": STAGES, "mass_kg": 6.0,
           "area_m2": 0.15}  # fmt: skip
    blind = plan_heat(PlanAsk(**ask))
    far = plan_heat(PlanAsk(**ask, learnt=bare(80.0, 110.0)))
    near = plan_heat(PlanAsk(**ask, learnt=bare(190.0, 350.0)))
    assert far.set_point_c == blind.set_point_c
    assert any("where no heat of it has been, above 132 °C" in text for text in far.why)
    assert near.set_point_c < blind.set_point_c
    assert not any("where no heat of it has been" in text for text in near.why)


def test_an_oven_that_lies_is_allowed_for() -> None:
    """It comes to rest 20 K below its setting: the setting is 20 K higher, and no less sure."""
    ask = {"metal": "ductile iron", "preheat_min_c": 200.0, "stages": STAGES, "mass_kg": 6.0,
           "area_m2": 0.15}  # fmt: skip
    seen = bare(150.0, 450.0)
    lies = [Lesson(n, "oven above its setting", -20.0 + n, 0.5, 20.0, 300.0) for n in (-1, 0, 1)]
    plain = plan_heat(PlanAsk(**ask, learnt=seen))
    lying = plan_heat(PlanAsk(**ask, learnt=seen | learnt_from(lies)))
    assert plain.set_point_c + 15 <= lying.set_point_c <= plain.set_point_c + 30
    assert any("20 K below the oven's setting" in text for text in lying.why)


def test_the_range_a_law_is_stretched_by_is_where_its_shape_is_known() -> None:
    """To 0.75 of the height over the air ΔT^1.25 and T⁴ fall apart; the share is known to 0.15."""
    for top_c in (200.0, 300.0, 400.0):
        end_c = 20 + 0.75 * (top_c - 20)
        convected = 0.75**1.25
        fourth = ((end_c + 273.15) ** 4 - 293.15**4) / ((top_c + 273.15) ** 4 - 293.15**4)
        assert 0.15 * abs(np.log(convected / fourth)) < 0.045
    (learnt,) = bare(200.0, 300.0).values()
    assert learnt.believed_c() == pytest.approx((155.0, 370.0))


def test_told_as_json(store: Store) -> None:
    learnt = Teaching(store).part(1).learnt
    told = [learnt_json(each, "ductile iron") for each in learnt.values()]
    assert json.loads(json.dumps(told, allow_nan=False)) == told
