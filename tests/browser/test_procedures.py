"""Procedures on the page: written with their sources, chosen for a part, their steps ticked."""

from __future__ import annotations

import copy

import pytest
from playwright.sync_api import expect

from service.judge.procedure_actions import ProcedureFacts

pytestmark = pytest.mark.chromium


def kept(**facts):
    said = ProcedureFacts(name="pump, hot", steps=("tack", "weld out"), **facts)
    version = {
        "version": 1,
        "written_at": "2026-03-03T09:00:00Z",
        "by": "the welder",
        "heats": 2,
        "facts": said.model_dump(mode="json"),
    }
    return {"id": 1, "name": "pump, hot", "versions": [version]}


def test_a_procedure_is_written_with_sources_and_changed_by_a_new_version(opened, board):
    board.show("idle")
    page = opened("#setup", width=390, height=844)
    expect(page.locator("#procedures .empty")).to_contain_text("a name is enough to begin")
    page.click("[data-action='new procedure']")
    page.click("[data-action='save procedure']")
    expect(page.locator(".form-foot .fault")).to_have_text("A procedure needs a name.")
    page.fill("#field-procedure", "pump, hot")
    page.click("[data-action='usual metal'][data-value='ductile iron']")
    expect(page.locator("#field-procedure_preheat_min_c")).to_have_value("")
    page.click("[data-action='take usual']")
    expect(page.locator("#field-procedure_preheat_min_c")).to_have_value("150")
    expect(page.locator("[data-source='preheat_min_c']")).to_contain_text("AWS A5.15")
    page.fill("#field-steps", "tack\n\n weld out \n")
    page.fill("#field-procedure_carry_min", "2")
    source = {"source": "the foundry", "known": "the shop's own"}
    board.procedures = [kept(gradient_max_k=40.0, sources={"gradient_max_k": source})]
    page.click("[data-action='save procedure']")
    row = page.locator("#procedures .row")
    expect(row).to_contain_text("2 steps")
    (made,) = board.acted
    assert (made["procedure_id"], made["after_version"]) == (0, 0)
    facts = made["facts"]
    assert facts["limits"]["preheat_min_c"] == 150.0
    assert facts["limits"]["interpass_max_c"] is None, "nothing is filled in silently"
    assert facts["sources"]["limits.preheat_min_c"]["known"] == "read"
    assert facts["times"]["carry_min"] == 2.0
    assert list(facts["steps"]) == ["tack", "weld out"]
    row.locator("summary").click()
    expect(row).to_contain_text("by the welder; 2 heats began with it")
    row.locator("[data-action='edit procedure']").click()
    page.fill("#field-procedure_preheat_min_c", "200")
    page.click("[data-action='save procedure']")
    expect(page.locator("#sheet")).to_be_hidden()
    again = board.acted[1]
    assert (again["procedure_id"], again["after_version"]) == (1, 1)
    assert again["facts"]["gradient_max_k"] == 40.0
    assert list(again["facts"]["sources"]) == ["gradient_max_k"], "that figure was left alone"


def test_a_part_goes_by_a_procedure_and_its_steps_are_ticked(opened, board, answers):
    steps = [
        {"number": 1, "text": "tack", "ticked_at": "2026-03-03T09:41:00Z", "by": None},
        {"number": 2, "text": "weld out", "ticked_at": None, "by": None},
    ]
    held = {
        "id": 1,
        "version": 1,
        "newest": 2,
        "name": "pump, hot",
        "own_limits": True,
        "cautions": ["bake oil out first"],
        "steps": steps,
    }
    part = copy.deepcopy(answers.READY) | {"procedure": held}
    board.show(answers.answer(part))
    board.procedures = [kept()]
    page = opened(width=390, height=844)
    button = page.locator(".panel [data-action='steps']")
    expect(button).to_have_text("Steps: 1 of 2")
    button.click()
    expect(page.locator("#sheet")).to_contain_text("bake oil out first")
    ticks = page.locator("[data-action='tick step']")
    assert ticks.first.bounding_box()["height"] >= 56
    ticks.last.click()
    expect(ticks.last).to_have_attribute("aria-pressed", "true")
    ticks.first.click()
    expect(ticks.first).to_have_attribute("aria-pressed", "false")
    told = [(each["kind"], each["number"]) for each in board.acted]
    assert told == [("tick step", 2), ("take back tick", 1)]
    page.click("[data-action='close sheet']")
    page.goto(page.url.split("#")[0] + "#setup")
    row = page.locator("#parts .row")
    expect(row).to_contain_text("version 1, the newest is 2 · with limits of its own")
    row.locator("[data-action='choose procedure']").click()
    page.click("[data-action='use procedure'][data-value='1']")
    expect(page.locator("#sheet")).to_be_hidden()
    used = board.acted[-1]
    assert (used["kind"], used["procedure_id"], used["version"]) == ("use procedure", 1, 1)
