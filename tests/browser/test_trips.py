"""A trip on the page: what was seen without a tap, the way back, corrections and questions."""

from __future__ import annotations

import copy

import pytest
from playwright.sync_api import expect

pytestmark = pytest.mark.chromium


@pytest.fixture
def show(board, answers):
    """Shows the ready part with a trip of the given facts; more goes to the whole answer."""

    def do(more=None, **trip):
        part = copy.deepcopy(answers.READY) | (more or {})
        began = part["heat_began_at"]
        base = {
            "phase_origin": "tap",
            "phases": [
                {
                    "number": 1, "phase": "oven", "began_at": began, "origin": "tap",
                    "corrected": False,
                },
                {
                    "number": 2, "phase": "bench", "began_at": began, "origin": "readings",
                    "corrected": False,
                },
            ],
            "last_step": None,
            "next_step": {"kind": "begin pass", "phase": None},
            "arc": "out",
            "arc_doubt": None,
            "arc_s": None,
            "tacks": 0,
            "last_arc_s": None,
            "covered_after_s": None,
        }  # fmt: skip
        questions = trip.pop("questions", [])
        board.show(answers.answer(part | {"trip": base | trip}, questions=questions))

    return do


def step(number, kind, origin, phase=None):
    at = "2026-03-03T10:00:00.000Z"
    return {"number": number, "kind": kind, "phase": phase, "origin": origin, "at": at}


def test_a_step_seen_in_the_readings_is_told_and_can_be_taken_back(opened, board, show):
    show()
    page = opened()
    expect(page.locator("#toasts .toast")).to_have_count(0)
    show(phase_origin="readings", last_step=step(3, "move part", "readings", "bench"))
    toast = page.locator("#toasts .toast")
    expect(toast).to_contain_text("Bench, seen in the readings")
    expect(page.locator(".who p")).to_contain_text("seen in the readings")
    toast.locator("[data-action='undo']").click()
    page.get_by_text("Undone").wait_for()
    assert board.acted == [{"kind": "undo step", "heat_id": 4, "number": 3}]


def test_a_step_of_this_page_is_not_told_twice(opened, show):
    show()
    page = opened()
    show(last_step=step(3, "begin pass", "tap"))
    page.wait_for_timeout(1200)
    expect(page.locator("#toasts .toast")).to_have_count(0)


def test_one_tap_is_the_next_step_with_a_way_back(opened, board, show):
    show(next_step={"kind": "begin purge", "phase": None})
    page = opened()
    first = page.locator("[data-slot='deed-pass']")
    expect(first).to_have_attribute("data-action", "begin purge")
    expect(page.locator("[data-action='begin purge']")).to_have_count(1)
    expect(page.locator("[data-slot='deed-more']")).to_have_attribute("data-action", "begin pass")
    first.click()
    toast = page.locator("#toasts .toast")
    expect(toast).to_contain_text("Purge begun")
    show(last_step=step(2, "begin purge", "tap"))
    page.wait_for_timeout(700)
    toast.locator("[data-action='undo']").click()
    page.get_by_text("Undone").wait_for()
    assert [each["kind"] for each in board.acted] == ["begin purge", "undo step"]
    assert board.acted[1]["number"] == 2


def test_what_cannot_be_taken_back_any_more_says_so(opened, board, show):
    show()
    page = opened()
    page.locator("[data-slot='deed-pass']").click()
    show(last_step=step(3, "end pass", "readings"))
    page.wait_for_timeout(700)
    page.locator("#toasts .toast", has_text="begun").locator("[data-action='undo']").click()
    expect(page.locator("[data-toast='bad']")).to_contain_text("Correct the phase instead")
    assert [each["kind"] for each in board.acted] == ["begin pass"]


def test_the_cover_clock_runs_in_sight_and_is_spoken(opened, show):
    show(last_arc_s=58.0, arc_s=245.0, tacks=1)
    page = opened()
    expect(page.locator(".since")).to_contain_text("Last arc 0:58 ago")
    expect(page.locator(".who p")).to_contain_text("1 pass, 1 tack · arc 4 min")
    page.locator("#sound").click()
    page.wait_for_selector("body[data-sound='on']")
    show(last_arc_s=60.5)
    page.wait_for_selector("body[data-played='cover']")
    show({"phase": "slow cool"}, covered_after_s=95.0, next_step=None)
    expect(page.locator(".since")).to_contain_text("covered 95 s after the last arc")


def test_a_question_is_answered_by_a_tap(opened, board, show):
    asked = {
        "id": 5, "kind": "arc", "channel": "arc", "since": "2026-03-03T10:00:00.000Z",
        "heat_ids": [4], "text": "An arc was struck: which part is meant?",
    }  # fmt: skip
    show(arc="unknown", arc_doubt="arc shows an arc", questions=[asked])
    page = opened()
    question = page.locator(".question")
    expect(question).to_contain_text("which part is meant?")
    expect(question.locator("button")).to_have_count(2)
    question.locator("[data-heat-id='4']").click()
    page.get_by_text("Said: ").wait_for()
    assert board.acted == [{"kind": "answer question", "question_id": 5, "heat_id": 4}]
    show()
    expect(page.locator("#questions")).to_be_hidden()


def test_a_phase_is_corrected_by_taps(opened, board, show):
    show()
    page = opened()
    page.click("[data-action='correct phase']")
    sheet = page.locator("#sheet")
    expect(sheet).to_contain_text("The readings stay as they are")
    expect(sheet.locator("[data-value='2']")).to_contain_text("seen in the readings")
    sheet.locator("[data-value='1']").click()
    expect(sheet.locator("[data-action='never phase']")).to_have_count(0)
    sheet.locator("[data-action='close sheet']").click()
    for tap in (
        "[data-action='was phase'][data-value='carry']",
        "[data-action='never phase']",
        "[data-action='began phase'][data-value='-60']",
    ):
        page.click("[data-action='correct phase']")
        sheet.locator("[data-value='2']").click()
        sheet.locator(tap).click()
        page.wait_for_selector("dialog:not([open])", state="attached")
    was, never, began = board.acted
    assert {each["number"] for each in board.acted} == {2}
    assert was["phase"] == "carry"
    assert never["never"]
    assert began["began_us"] > 0


def test_a_pass_is_corrected_by_taps(opened, board, show):
    began, ended = "2026-03-03T10:00:00.000Z", "2026-03-03T10:00:40.000Z"
    done = {
        "number": 1, "began_at": began, "ended_at": ended, "arc_s": None, "tack": False,
        "origin": "readings", "corrected": False,
    }  # fmt: skip
    running = done | {"number": 2, "began_at": "2026-03-03T10:02:00.000Z", "ended_at": None}
    show({"pass_times": [done, running], "passes": 2, "pass_running": True})
    page = opened()
    sheet = page.locator("#sheet")
    page.click("[data-action='correct phase']")
    expect(sheet.locator("[data-action='choose pass']")).to_have_count(2)
    sheet.locator("[data-action='choose pass'][data-value='2']").click()
    expect(sheet.locator("[data-action='never pass']")).to_have_count(0)
    sheet.locator("[data-action='close sheet']").click()
    for tap in ("began pass'][data-value='-10", "ended pass'][data-value='60", "never pass"):
        page.click("[data-action='correct phase']")
        sheet.locator("[data-action='choose pass'][data-value='1']").click()
        sheet.locator(f"[data-action='{tap}']").click()
        page.wait_for_selector("dialog:not([open])", state="attached")
    assert {(each["kind"], each["number"]) for each in board.acted} == {("correct pass", 1)}
    earlier, longer, never = board.acted
    assert longer["ended_us"] - earlier["began_us"] == 110_000_000
    assert never["never"]


def test_which_side_governs_is_answered_by_a_tap(opened, board, answers):
    part = copy.deepcopy(answers.READY)
    words = "The tube may be at 150 °C at most, the casting needs 200 °C."
    part["limits"] |= {"tube_interpass_max_c": 150.0}
    in_force = {"preheat_min_c": None, "interpass_max_c": None, "conflict": words}
    part["limits"]["in_force"] = in_force | {"set_aside": None}
    board.show(answers.answer(part))
    page = opened("#parts")
    page.click("[data-action='governing side']")
    expect(page.locator("#sheet")).to_contain_text(words)
    page.click("[data-action='choose side'][data-value='casting']")
    page.wait_for_selector("dialog:not([open])", state="attached")
    (said,) = board.acted
    assert said["kind"] == "set limits"
    assert said["limits"]["governing_side"] == "casting"
    assert said["limits"]["tube_interpass_max_c"] == 150.0
    assert "in_force" not in said["limits"]


def test_buttons_of_a_trip_are_large_enough_for_gloves(opened, show):
    asked = {
        "id": 5, "kind": "next", "channel": "button", "since": "2026-03-03T10:00:00.000Z",
        "heat_ids": [4], "text": "The button was pressed: which part is meant?",
    }  # fmt: skip
    show(next_step={"kind": "move part", "phase": "slow cool"}, questions=[asked])
    page = opened(width=390, height=800)
    for place in (".question button", ".deeds button:not([hidden])"):
        for button in page.locator(place).all():
            box = button.bounding_box()
            assert box["height"] >= 56
            assert box["x"] >= 0
            assert box["x"] + box["width"] <= 390
