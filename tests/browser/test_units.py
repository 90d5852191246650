"""Units of this device: what is shown changes, what is kept and sent does not.

Conversions: NIST SP 811 (2008), B.8: t/°C = (t/°F − 32)/1.8, and 1 ft³ = 28.316 846 592 L.
"""

from __future__ import annotations

import copy

import pytest
from playwright.sync_api import expect

pytestmark = pytest.mark.chromium

ELSEWHERE = "localStorage.setItem('units', JSON.stringify(['fahrenheit', 'cubic feet']))"


def test_units_are_chosen_by_taps_and_stay_chosen(opened, board, answers):
    board.show(answers.answer(answers.READY))
    page = opened()
    shown_c = float(page.locator("[data-slot='temperature']").inner_text())
    page.click("[data-tab='setup']")
    expect(page.locator("#setup")).to_contain_text("at this rate the disk lasts 3.1 years.")
    page.click("[data-action='show temperature'][data-value='fahrenheit']")
    page.wait_for_selector(
        "[data-action='show temperature'][data-value='fahrenheit'][aria-pressed='true']"
    )
    page.click("[data-action='show flow'][data-value='cubic feet']")
    page.wait_for_selector(
        "[data-action='show flow'][data-value='cubic feet'][aria-pressed='true']"
    )
    page.click("[data-tab='bench']")
    panel = page.locator(".panel")
    shown_f = float(panel.locator("[data-slot='temperature']").inner_text())
    assert shown_f == pytest.approx(shown_c * 1.8 + 32, abs=1)
    flow = panel.locator("[data-slot='flow']").inner_text()
    kept = answers.READY["purge"]["flow_l_min"]
    assert flow.endswith(" ft³/h")
    assert float(flow.split()[0]) == pytest.approx(kept * 60 / 28.316846592, abs=0.06)
    for view, place in (("bench", "bench"), ("sensors", "sensors"), ("setup", "parts")):
        page.click(f"[data-tab='{view}']")
        expect(page.locator(f"#{place}")).to_contain_text("°F")
        text = page.locator(f"#{place}").inner_text()
        assert "°C" not in text
        assert "L/min" not in text


def test_a_limit_does_not_change_by_being_shown_in_another_unit(opened, board, answers):
    part = copy.deepcopy(answers.READY)
    part["limits"] |= {"preheat_min_c": 203.7, "interpass_max_c": 333.3}
    board.show(answers.answer(part))
    page = opened("#parts", script=ELSEWHERE)
    page.click("#parts [data-action='edit part']")
    low = page.locator("#field-preheat_min_c")
    assert float(low.input_value()) == pytest.approx(203.7 * 1.8 + 32, abs=0.1)
    expect(page.locator("#field-preheat_min_c-unit")).to_have_text("°F")
    page.locator("#field-interpass_max_c").fill("500")
    page.click("[data-action='save part']")
    page.wait_for_selector("dialog:not([open])", state="attached")
    said = next(each for each in board.acted if each["kind"] == "set limits")
    assert said["limits"]["preheat_min_c"] == 203.7
    assert said["limits"]["interpass_max_c"] == 260.0


def test_a_figure_out_of_range_is_told_in_the_unit_that_was_typed(opened, board, answers):
    board.show(answers.answer(answers.READY))
    page = opened("#parts", script=ELSEWHERE)
    page.click("#parts [data-action='edit part']")
    page.locator("#field-preheat_min_c").fill("9000")
    page.click("[data-action='save part']")
    fault = page.locator("[data-field='preheat_min_c'] .fault")
    expect(fault).to_contain_text("9000")
    expect(fault).to_contain_text("2552 °F")
    assert board.acted == []


SENTENCES = {
    "243 °C is within its limits": "469 °F is within its limits",
    "probably 310 to 330 °C until a settled probe speaks": (
        "probably 590 to 626 °F until a settled probe speaks"
    ),
    "joint by hand: 204 °C, ± 5 K by now": "joint by hand: 399 °F, ± 9 °F by now",
    "cools 60 °C/h, faster than 50 °C/h": "cools 108 °F/h, faster than 90 °F/h",
    "flow fallen from 8.0 to 2.1 l/min": "flow fallen from 17 to 4 ft³/h",
    "-10.5 °C at once": "13.1 °F at once",
    "pass 3 of 12 Kelvin Street, 4 L": "pass 3 of 12 Kelvin Street, 4 L",
}


def test_figures_in_sentences_of_the_service_follow(opened):
    page = opened(script=ELSEWHERE)
    address = page.evaluate(
        "performance.getEntriesByType('resource').find((e) => e.name.endsWith('/units.js')).name"
    )
    told = page.evaluate(
        "([address, texts]) => import(address).then((units) => texts.map(units.said))",
        [address, list(SENTENCES)],
    )
    assert told == list(SENTENCES.values())
