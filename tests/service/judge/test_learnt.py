"""What past heats taught reaches the next heat's forecasts, is set aside and comes back."""

from __future__ import annotations

from dataclasses import replace

import pytest

from service.judge import actions as act
from service.judge.checkpoint import decode, encode
from service.judge.events import Refused
from service.judge.learnt_actions import LearntLoss, LearntVolume
from service.physics.cooldown import Cooldown, CooldownPrior, PastLaw

TOLD = act.LearntTold(
    part_id=1,
    loss=LearntLoss(
        rate_k_s=0.8, at_c=350.0, radiative_share=0.65, low_c=180.0, high_c=420.0, heats=3
    ),
    volume_l=LearntVolume(p05=1.2, p50=1.4, p95=1.7),
)


def part(stage) -> None:
    stage.act(act.CreatePart(part_id=1, facts=act.PartFacts(name="manifold", metal="ductile iron")))
    for name, kind in (("tc1", "thermocouple"),):
        stage.act(act.AdoptChannel(channel=name, channel_kind=kind))
        stage.act(act.AssignChannel(channel=name, part_id=1))


def first_rate(stage) -> float:
    """What the model of a probe that has just begun at 300 °C expects [K/s]."""
    stage.sources["tc1"] = lambda _t: 300.0
    stage.act(act.BeginHeat(heat_id=stage.judge.shop.next_heat_id, part_id=1, phase="bench"))
    stage.run(3)
    (track,) = stage.judge.state.heats.values()
    model = track.cooling["tc1"].model
    prior = model.prior
    stage.act(act.EndHeat(heat_id=stage.judge.shop.next_heat_id - 1))
    return 0.0 if prior.past is None else prior.past.rate_k_s


def test_the_next_heat_starts_from_what_was_told(stage) -> None:
    part(stage)
    assert first_rate(stage) == 0.0
    stage.act(TOLD)
    assert first_rate(stage) == 0.8
    assert stage.judge.shop.parts[1].learnt_volume_l.p50 == 1.4


def test_set_aside_it_is_gone_until_told_anew(stage) -> None:
    part(stage)
    stage.act(TOLD)
    stage.act(act.ForgetLearnt(part_id=1, quantity="loss bare", by="Ada"))
    assert first_rate(stage) == 0.0
    assert stage.judge.shop.parts[1].learnt_volume_l is not None
    stage.act(act.ForgetLearnt(part_id=1, quantity="loss bare", take_back=True, by="Ada"))
    stage.act(TOLD)
    assert first_rate(stage) == 0.8
    stage.act(act.ForgetLearnt(part_id=1))
    assert stage.judge.shop.parts[1].learnt_volume_l is None
    assert first_rate(stage) == 0.0


def test_nothing_is_taken_back_that_nobody_set_aside(stage) -> None:
    part(stage)
    stage.act(act.ForgetLearnt(part_id=1, quantity="loss bare"))
    with pytest.raises(Refused, match="Nobody has set aside cavity volume of manifold"):
        stage.act(act.ForgetLearnt(part_id=1, quantity="cavity volume", take_back=True))
    with pytest.raises(Refused, match="Nobody has set aside everything"):
        stage.act(act.ForgetLearnt(part_id=1, take_back=True))
    with pytest.raises(Refused, match="There is no part 7"):
        stage.act(act.ForgetLearnt(part_id=7))
    with pytest.raises(Refused, match="There is no part 7"):
        stage.act(TOLD.model_copy(update={"part_id": 7}))


def test_beyond_its_range_the_law_says_nothing() -> None:
    """A reading 60 K above what was ever seen: the model answers as without history."""

    def answer(past: PastLaw | None) -> tuple[float, float]:
        fit = Cooldown(CooldownPrior("ductile iron", past=past))
        for t in range(4):
            fit.observe(float(t), 300.0 - 0.1 * t, 20.0)
        left = fit.until_below(200.0, 4.0).time_left_s
        return left.p05, left.p50

    law = PastLaw(0.8, 350.0, 0.65, 20.0)
    assert answer(replace(law, low_c=180.0, high_c=240.0)) == answer(None)
    assert answer(replace(law, low_c=180.0, high_c=340.0)) == answer(law) != answer(None)


def test_a_checkpoint_keeps_it(stage) -> None:
    part(stage)
    stage.act(TOLD)
    stage.act(act.ForgetLearnt(part_id=1, quantity="cavity leak"))
    again = decode(encode(stage.judge.state, "1"), "1")
    assert again.shop.parts[1] == stage.judge.shop.parts[1]


def test_journal_and_back() -> None:
    for action in (TOLD, act.ForgetLearnt(part_id=1, quantity="oven time", by="Ada")):
        assert act.any_action.validate_json(action.model_dump_json()) == action
