"""A heat is planned by taps: the oven's setting, how it goes, and what to do where none will do."""

from __future__ import annotations

import copy
import re

import pytest
from playwright.sync_api import expect

from service.procedure.plan_ask import PlanAsk, Stage
from service.records.repeat import Repeat

pytestmark = pytest.mark.chromium


def test_a_heat_is_planned_by_taps(opened, board, answers):
    part = copy.deepcopy(answers.READY)
    part |= {"mass_kg": 9.0, "area_m2": 0.15, "thickest_mm": 30.0}
    part["limits"] |= {"preheat_min_c": 200.0, "interpass_max_c": 600.0}
    board.show(answers.answer(part))
    page = opened("#plan", width=390, height=844)
    expect(page.locator("[data-action='choose planned']")).to_contain_text(part["name"])
    expect(page.locator("#field-plan_preheat_min_c")).to_have_value("200")
    expect(page.locator("#field-plan_thickest_mm")).to_have_value("30")
    page.locator("#field-plan_fit_up").fill("1")
    page.locator("#field-plan_purge").fill("1.5")
    with page.expect_request("**/api/v1/plan") as request:
        page.click("[data-action='plan']")
    body = request.value.post_data_json
    assert body["metal"] == part["metal"]
    assert [each["kind"] for each in body["stages"]] == ["carry", "fit-up", "purge", "pass"]
    answer = page.locator(".plan-answer")
    expect(answer.locator(".plan-set")).to_have_text(re.compile(r"^Oven \d{3} °C$"))
    expect(answer.locator("tbody tr")).to_have_count(5)
    expect(answer).to_contain_text("qualified procedure")
    page.click("[data-action='cover fit-up']")
    page.locator("#field-plan_passes").fill("2")
    with page.expect_request("**/api/v1/plan") as request:
        page.click("[data-action='plan']")
    stages = request.value.post_data_json["stages"]
    assert [each["kind"] for each in stages[3:]] == ["pass", "pause", "pass"]
    assert stages[1]["covered"]
    assert board.acted == []


def test_a_plan_that_cannot_be_says_what_would_do(opened, board, answers):
    board.show(answers.answer(answers.READY))
    page = opened("#plan")
    page.locator("#field-plan_oven_max_c").fill("300")
    page.locator("#field-plan_fit_up").fill("20")
    page.click("[data-action='plan']")
    expect(page.locator(".plan-set")).to_have_text("No setting will do")
    expect(page.locator(".plan-answer")).to_contain_text("300 °C is its most")


def test_without_a_preheat_minimum_nothing_is_planned(opened, board):
    board.show("empty")
    page = opened("#plan")
    expect(page.locator("[data-action='choose planned']")).to_contain_text("nothing is known")
    page.click("[data-action='plan']")
    expect(page.locator("#plan .form-foot .fault")).to_contain_text("Set the preheat minimum first")
    page.locator("#field-plan_preheat_min_c").fill("5000")
    page.click("[data-action='plan']")
    expect(page.locator("[data-field='plan_preheat_min_c'] .fault")).to_contain_text("5000")
    expect(page.locator(".plan-answer")).to_be_hidden()


def test_what_heats_taught_is_shown_set_aside_and_taken_back(opened, board, answers):
    board.lessons.taught = True
    board.show(answers.answer(answers.READY))
    page = opened("#plan", width=390, height=844)
    taught = page.locator("#plan .taught")
    bare = taught.locator("[data-quantity='loss bare']")
    expect(bare).to_contain_text(re.compile(r"Loss bare on the bench: \d+(\.\d+)? K/min"))
    expect(bare).to_contain_text("Seen from 214 °C to 371 °C, 3 heats")
    expect(taught).to_contain_text("Window, half way: 3 heats, off by 3 % in the middle; 3 of 3")
    expect(taught).to_contain_text("with an arc or a move in between: 2 heats, off by 21 %")
    width = page.evaluate("document.documentElement.scrollWidth")
    assert width <= 390

    away = {"quantity": "loss bare", "at": "2026-03-03T09:41:07Z", "by": "Ada"}
    board.on_act = lambda _action: board.lessons.forgotten.append(away)
    bare.locator("[data-action='forget learnt']").click()
    expect(bare).to_contain_text("by Ada: only later heats count")
    board.on_act = lambda _action: board.lessons.forgotten.clear()
    bare.locator("[data-action='take back']").click()
    expect(bare).to_contain_text("Loss bare on the bench: ")
    kinds = [(each["kind"], each["quantity"], each["take_back"]) for each in board.acted]
    assert kinds == [("forget learnt", "loss bare", False), ("forget learnt", "loss bare", True)]


def test_a_heat_is_repeated_by_one_press_or_refused_with_its_reason(opened, board, answers):
    board.lessons.taught = True
    board.show(answers.answer(answers.READY | {"heat_id": None}))
    page = opened("#plan")
    press = page.locator(".taught [data-action='repeat heat']").first
    expect(press).to_have_text("Repeat heat 9")
    stages = (Stage("carry", 1.0), Stage("fit-up", 2.0), Stage("pass", 1.0))
    ask = PlanAsk("ductile iron", 180.0, stages, 6.0, 0.15, learnt=board.lessons.lessons(1))
    board.lessons.again = lambda heat_id, **_how: Repeat(heat_id, 1, ask, 190.0, True, 20.0)
    press.click()
    expect(page.locator(".plan-set")).to_have_text("No setting will do")
    expect(page.locator(".plan-answer")).to_contain_text("such heats would keep the joint above")
    board.lessons.again = lambda heat_id, **_how: Repeat(heat_id, 1, ask, 380.0, True, 20.0)
    with page.expect_request("**/api/v1/plan") as request:
        press.click()
    assert request.value.post_data_json["repeat_heat"] == 9
    expect(page.locator(".plan-set")).to_have_text("Oven 380 °C")
    expect(page.locator(".plan-answer")).to_contain_text(
        "Heat 9 once more: the oven was set to 380 °C"
    )
    page.click("[data-action='begin planned']")
    expect(page.locator("#toasts, .toast").first).to_be_visible()
    begun = {"kind": "begin heat", "part_id": 1, "phase": "oven", "oven_set_c": 380.0}
    assert board.acted[0].items() >= begun.items()
    page.evaluate("location.hash = '#plan/repeat/6'")
    expect(page.locator(".plan-answer")).to_contain_text("Heat 6 once more")
