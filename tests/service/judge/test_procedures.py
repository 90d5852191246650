"""Procedures: versions that never change, what a part and a heat go by, steps that are ticked."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from service.judge import actions as act
from service.judge.checkpoint import decode, encode
from service.judge.events import Acted, Refused
from service.judge.judge import Judge
from service.judge.procedure_actions import ProcedureFacts, ProcedureSoak
from service.tickets import numbered

HOT = {
    "name": "pump manifold, hot",
    "limits": {"preheat_min_c": 260.0, "interpass_max_c": 330.0, "carry_max_s": 120.0},
    "steps": ("weld the sub-assembly out", "tack the flange"),
    "cautions": ("bake oil out first",),
}


def write(number=0, after=0, token=None, by="the welder", **changed):
    facts = ProcedureFacts.model_validate(HOT | changed)
    return act.WriteProcedure(
        procedure_id=number, after_version=after, facts=facts, by=by, token=token
    )


def use(number=1, version=1, part_id=1, **more):
    return act.UseProcedure(part_id=part_id, procedure_id=number, version=version, **more)


def do(stage, action):
    """As the collector does it: numbered, then judged."""
    return stage.act(numbered(action, stage.judge.shop))


@pytest.fixture
def shop(stage):
    stage.part(limits=act.Limits(oxygen_max_ppm=50.0))
    do(stage, write())
    return stage


def test_nothing_but_a_name_is_required_and_nothing_is_filled_in(stage):
    do(stage, act.WriteProcedure(facts=ProcedureFacts(name="new")))
    assert stage.judge.shop.procedures[1][0].limits == act.Limits().model_dump()
    stage.part()
    do(stage, use())
    part = stage.bench_part()
    assert part["procedure"]["name"] == "new"
    assert part["limits"]["preheat_min_c"] is None
    assert part["purge"]["basis"] == "not judged"


def test_using_a_procedure_makes_its_limits_the_parts(shop):
    do(shop, use())
    part = shop.bench_part()
    assert part["limits"]["preheat_min_c"] == 260.0
    assert part["limits"]["oxygen_max_ppm"] is None, "absent in the procedure is absent"
    assert part["procedure"]["own_limits"] is False
    journalled = shop.events[-1].action
    assert journalled.limits == act.Limits(**HOT["limits"]), "the journal is complete in itself"
    shop.act(act.SetLimits(part_id=1, limits=act.Limits(preheat_min_c=200.0)))
    part = shop.bench_part()
    assert part["limits"]["preheat_min_c"] == 200.0
    assert part["procedure"]["own_limits"] is True
    do(shop, act.UseProcedure(part_id=1))
    assert shop.bench_part()["procedure"] is None
    assert shop.bench_part()["limits"]["preheat_min_c"] == 200.0, "without one they stay"


def test_a_later_version_touches_neither_part_nor_heat(shop):
    do(shop, use())
    do(shop, act.BeginHeat(part_id=1))
    do(shop, write(1, 1, limits={"preheat_min_c": 300.0}, steps=("another",)))
    told = shop.bench_part()
    assert told["limits"]["preheat_min_c"] == 260.0
    assert (told["procedure"]["version"], told["procedure"]["newest"]) == (1, 2)
    assert [step["text"] for step in told["procedure"]["steps"]] == list(HOT["steps"])
    with pytest.raises(Refused, match="is in a heat, which keeps"):
        do(shop, use(version=2))
    shop.act(act.EndHeat(heat_id=1))
    do(shop, use(version=2))
    do(shop, act.BeginHeat(part_id=1))
    heats = shop.judge.shop.heats
    assert [heats[number].procedure_version for number in (1, 2)] == [1, 2]


def test_steps_are_ticked_and_ticks_taken_back(shop):
    do(shop, use())
    do(shop, act.BeginHeat(part_id=1))
    tick = act.TickStep(heat_id=1, number=2, by="apprentice", token="t")
    shop.act(tick)
    shop.act(tick)  # the same tap once more
    step = shop.bench_part()["procedure"]["steps"][1]
    assert step["by"] == "apprentice"
    assert step["ticked_at"].endswith("Z")
    with pytest.raises(Refused, match="Step 2 is ticked already"):
        shop.act(act.TickStep(heat_id=1, number=2))
    shop.act(act.TakeBackTick(heat_id=1, number=2))
    assert shop.bench_part()["procedure"]["steps"][1]["ticked_at"] is None
    with pytest.raises(Refused, match="Step 2 is not ticked"):
        shop.act(act.TakeBackTick(heat_id=1, number=2))
    with pytest.raises(Refused, match="no step 3: the procedure has 2"):
        shop.act(act.TickStep(heat_id=1, number=3))
    shop.act(act.EndHeat(heat_id=1))
    with pytest.raises(Refused, match="has ended"):
        shop.act(act.TickStep(heat_id=1, number=1))


def test_a_heat_without_a_procedure_has_no_steps(shop):
    do(shop, act.BeginHeat(part_id=1))
    assert shop.bench_part()["procedure"] is None
    with pytest.raises(Refused, match="without a procedure that has steps"):
        shop.act(act.TickStep(heat_id=1, number=1))


@pytest.mark.parametrize(
    ("action", "why"),
    [
        (write(7, 1), "There is no procedure 7"),
        (write(1, 0), "has a version 1 by now, and this was written after version 0"),
        (write(), "Another procedure is called pump manifold, hot already"),
        (use(2), "There is no procedure 2"),
        (use(1, 2), "has no version 2: the newest is 1"),
        (use(part_id=9), "There is no part 9"),
        (use(limits=act.Limits()), "not the limits of pump manifold, hot, version 1"),
    ],
)
def test_what_cannot_be_is_refused_in_a_sentence(shop, action, why):
    before = encode(shop.judge.shop, "1")
    with pytest.raises(Refused, match=why):
        do(shop, action)
    assert encode(shop.judge.shop, "1") == before


@pytest.mark.parametrize(
    ("field", "value", "why"),
    [
        ("soak", {}, "say minutes or min_per_25_mm"),
        ("soak", {"minutes": 5, "band": {"low_c": 300, "high_c": 200}}, "high_c 200 must be above"),
        ("sources", {"preheat": {"source": "x", "known": "read"}}, "'preheat' is none of"),
        (
            "sources",
            {"gradient_max_k": {"source": "x", "known": "read"}},
            "gradient_max_k has a source but no value",
        ),
        ("sources", {"limits.preheat_min_c": {"source": "", "known": "read"}}, "at least 1"),
        ("heating", [{"max_c_per_h": 0}], "greater than 0"),
        ("steps", [""], "at least 1"),
    ],
)
def test_a_procedure_that_says_nonsense_is_told_what_is_wrong(field, value, why):
    with pytest.raises(ValidationError, match=why):
        ProcedureFacts.model_validate(HOT | {field: value})


def test_a_soak_goes_by_time_or_thickness():
    assert ProcedureSoak(minutes=30).needed_min(None) == 30
    by_thickness = ProcedureSoak(min_per_25_mm=60)
    assert by_thickness.needed_min(20.0) == 48  # 60 min for 25 mm
    assert by_thickness.needed_min(None) is None, "not known, not guessed"


def test_sources_stand_beside_the_values():
    source = {"source": "handbook", "known": "read"}
    facts = ProcedureFacts.model_validate(HOT | {"sources": {"limits.preheat_min_c": source}})
    assert facts.sources["limits.preheat_min_c"].known == "read"


LIMITS = st.builds(
    act.Limits,
    preheat_min_c=st.none() | st.floats(100, 200),
    interpass_max_c=st.none() | st.floats(201, 400),
    oxygen_max_ppm=st.none() | st.floats(1, 500),
)
DEEDS = st.lists(
    st.one_of(
        st.tuples(st.just("write"), LIMITS, st.integers(0, 3)),
        st.tuples(st.just("use"), st.integers(1, 2), st.integers(1, 3)),
        st.tuples(st.just("limits"), LIMITS, st.just(0)),
        st.tuples(st.just("begin"), st.just(0), st.just(0)),
        st.tuples(st.just("tick"), st.integers(1, 3), st.just(0)),
        st.tuples(st.just("back"), st.integers(1, 3), st.just(0)),
        st.tuples(st.just("end"), st.just(0), st.just(0)),
    ),
    max_size=25,
)


def _action(deed, shop, place):
    kind, first, second = deed
    heat = shop.next_heat_id - 1 or 1
    token = f"tap {place}"
    match kind:
        case "write":
            number = 0 if second == 0 else 1
            known = len(shop.procedures.get(number, []))
            after = max(0, known + (second == 3))  # now and then a version too late
            steps = tuple(f"step {place} {n}" for n in range(second))
            name = f"no {number} of {len(shop.procedures)}"
            facts = ProcedureFacts(name=name, limits=first, steps=steps)
            return act.WriteProcedure(
                procedure_id=number, after_version=after, facts=facts, token=token
            )
        case "use":
            return use(first, second, token=token)
        case "limits":
            return act.SetLimits(part_id=1, limits=first, token=token)
        case "begin":
            return act.BeginHeat(part_id=1, token=token)
        case "tick":
            return act.TickStep(heat_id=heat, number=first, token=token)
        case "back":
            return act.TakeBackTick(heat_id=heat, number=first, token=token)
    return act.EndHeat(heat_id=heat, token=token)


@settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],  # it makes a new stage each time
)
@given(deeds=DEEDS)
def test_whatever_is_done(new_stage, deeds):
    """Versions and what a heat began with never change; a tap sent again does nothing; a replay
    and a checkpoint give the same shop."""
    stage = new_stage()
    stage.part()
    shop = stage.judge.shop
    versions, began = {}, {}
    for place, deed in enumerate(deeds):
        stage.now_us += 1_000_000
        sent = _action(deed, shop, place)
        try:
            do(stage, sent)
        except Refused:
            stage.events.pop()
            continue
        once = encode(shop, "1")
        do(stage, sent)
        assert encode(shop, "1") == once
        for number, known in shop.procedures.items():
            for at, version in enumerate(known, 1):
                assert versions.setdefault((number, at), encode(version, "1")) == encode(
                    version, "1"
                )
        for heat in shop.heats.values():
            held = heat.procedure_id, heat.procedure_version
            assert began.setdefault(heat.id, held) == held
    again = Judge()
    for event in stage.events:
        assert isinstance(event, Acted)
        again.step(event)
    assert encode(again.shop, "1") == encode(shop, "1")
    assert decode(encode(shop, "1"), "1").procedures == shop.procedures
