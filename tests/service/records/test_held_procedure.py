"""What a record says of the procedure that its heat began with; limits worked out by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest

from service.judge.procedure_actions import ProcedureFacts
from service.records.gather import gather
from service.records.heat_record import Gradient, Rate, Soak
from service.records.held_procedure import not_as_procedure, soak_band_c
from service.records.procedure_record import HeldProcedure, StepRecord
from service.records.record_json import record_json

FACTS = ProcedureFacts.model_validate(
    {
        "name": "hot",
        "soak": {"min_per_25_mm": 60, "band": {"high_c": 350}},
        "heating": [{"max_c_per_h": 100, "phase": "oven", "band": {"low_c": 100}}],
        "cooling": [{"max_c_per_h": 50, "phase": "slow cool"}],
        "gradient_max_k": 50,
        "steps": ["tack", "weld out"],
    }
)


def held(facts=FACTS):
    steps = StepRecord(1, "tack", 1_790_000_000_000_000, "Ada"), StepRecord(2, "out", None, None)
    return HeldProcedure(3, 2, facts, steps)


def rate(phase, low_c, up=None, down=None):
    return Rate("tc1", phase, low_c, low_c + 100.0, 10.0, 0.0, up, down, 300.0)


@pytest.fixture
def record(kept):
    """A real record, its figures replaced by those that a test has worked out."""
    plain = gather(kept, 1)
    figures = replace(
        plain.figures,
        soak=Soak(200.0, 350.0, 47 * 60.0, 47 * 60.0, None),
        rates=(
            rate("oven", 0.0, up=300.0),  # not all of this band is above 100 °C
            rate("oven", 100.0, up=130.0),
            rate("oven", 200.0, up=170.0),
            rate("slow cool", 200.0, down=-49.0),
            rate("bench", 200.0, down=-900.0),
        ),
        gradients=(Gradient("oven", 0, 61.0, "tc2", "tc1"), Gradient("bench", 0, 49.0, "a", "b")),
    )
    facts = plain.facts.model_copy(update={"thickest_mm": 20.0})  # 60 min for 25 mm: 48 min
    return replace(plain, facts=facts, figures=figures, procedure=held())


def test_what_was_not_as_it_says_is_told_once_each(record):
    soak, heating, gradient, step = not_as_procedure(record)
    assert soak == "The longest soak was 47.0 min; the procedure asks for 48 min."
    assert "heated at up to 170 °C/h between 200 and 300 °C" in heating
    assert "up to 61 K hotter than tc2, more than the procedure's 50 K" in gradient
    assert step == "Step 2 of the procedure was not ticked: out"


def test_what_cannot_be_checked_is_said(record):
    unknown = record.facts.model_copy(update={"thickest_mm": None})
    assert "thickest section is not known" in next(not_as_procedure(replace(record, facts=unknown)))
    unread = replace(record, figures=replace(record.figures, soak=None))
    assert "cannot be shown from the readings" in next(not_as_procedure(unread))


def test_a_record_names_the_procedure_and_its_version(record):
    told = record_json(record)["procedure"]
    assert (told["id"], told["version"], told["name"]) == (3, 2, "hot")
    assert told["steps"][0]["ticked_at"].endswith("Z")
    assert told["steps"][1]["ticked_at"] is None


def test_without_one_nothing_is_asked(kept):
    plain = gather(kept, 1)
    assert plain.procedure is None
    assert list(not_as_procedure(plain)) == []
    assert record_json(plain)["procedure"] is None


def test_the_soak_has_the_band_of_the_procedure():
    assert soak_band_c(held(), 200.0, 330.0) == (200.0, 350.0)
    assert soak_band_c(None, 200.0, 330.0) == (200.0, 330.0)
