"""A heat is planned by taps: the oven's setting, how it goes, and what to do where none will do."""

from __future__ import annotations

import copy
import re

import pytest
from playwright.sync_api import expect

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
