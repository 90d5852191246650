"""The form of a part: usual figures with their source, set only when asked for; borrowed sizes."""

from __future__ import annotations

import copy
import re

import pytest
from playwright.sync_api import expect

pytestmark = pytest.mark.chromium


def test_usual_figures_stand_beside_their_source_and_are_set_only_when_asked(opened, board):
    board.show("idle")
    page = opened("#parts", width=390, height=844)
    page.click("#parts [data-action='new part']")
    guide = page.locator(".metal-guide")
    expect(guide).to_contain_text("Usual for iron, unknown")
    expect(guide).to_contain_text("common practice, no source")
    expect(guide).to_contain_text("qualified procedure")
    for field in ("preheat_min_c", "interpass_max_c"):
        expect(page.locator(f"#field-{field}")).to_have_value("")
    checks = guide.locator("details")
    expect(checks).to_have_count(4)
    checks.first.locator("summary").click()
    expect(checks.first).to_contain_text("Does not tell: Grey from ductile iron")
    assert checks.first.locator("summary").bounding_box()["height"] >= 56
    page.click(".tile[data-action='metal'][data-value='ductile iron']")
    expect(guide).to_contain_text("AWS A5.15")
    expect(guide.locator("details")).to_have_count(0)
    page.click("[data-action='take usual']")
    expect(page.locator("#field-preheat_min_c")).to_have_value("150")
    expect(page.locator("#field-interpass_max_c")).to_have_value("")
    page.click("[data-action='choose method'][data-value='cold']")
    expect(guide).to_contain_text("short beads")
    expect(guide).to_contain_text("Cold method: common practice, no source.")
    expect(page.locator("[data-action='take usual']")).to_contain_text("60 °C")
    assert board.acted == []
    page.click("[data-action='choose cavity_known'][data-value='by eye']")
    page.click("[data-action='choose cavity_known'][data-value='by eye']")
    page.fill("#field-filler", " nickel-iron rod ")
    page.click("[data-action='save part']")
    page.get_by_text(re.compile(r"^Casting \d is saved")).wait_for()
    made = board.acted[0]["facts"]
    assert made["filler"] == "nickel-iron rod"
    assert made["method"] == "cold"
    assert all(made[name] is None for name in ("joining_metal", "cavity_known", "thickest_mm"))
    assert board.acted[0]["limits"]["preheat_min_c"] == 150.0


def test_a_part_takes_its_size_from_one_that_is_like_it(opened, board, answers):
    other = copy.deepcopy(answers.READY) | {"mass_kg": 9.0, "area_m2": 0.15, "joint_wall_mm": 6.0}
    board.show(answers.answer(other))
    page = opened("#parts")
    row = page.locator(f"#parts [data-part-id='{other['id']}']")
    expect(row).to_be_visible()
    page.click("#parts [data-action='new part']")
    page.click("[data-action='like part']")
    expect(page.locator("#field-mass_kg")).to_have_value("9")
    tile = page.locator("[data-action='choose size_known'][data-value='like another part']")
    expect(tile).to_have_attribute("aria-pressed", "true")
    page.click("[data-action='save part']")
    page.get_by_text(re.compile(r"^Casting \d is saved")).wait_for()
    made = board.acted[0]["facts"]
    assert (made["mass_kg"], made["area_m2"]) == (9.0, 0.15)
    assert made["size_known"] == "like another part"


def test_where_preheat_is_measured_stands_with_the_part(opened, board, answers):
    """ISO 13916:2025: A = 4 t, at most 50 mm; over 50 mm thick 75 mm every way."""
    thin = copy.deepcopy(answers.READY) | {"preheat_measured_mm": 24.0}
    board.show(answers.answer(thin))
    page = opened("#parts")
    expect(page.locator("#parts .row-words")).to_contain_text(re.compile("24 mm from the groove"))
    board.show(answers.answer(thin | {"preheat_measured_mm": 75.0}))
    expect(page.locator("#parts .row-words")).to_contain_text("at least 75 mm every way")


def test_the_form_works_without_the_guide(opened, board):
    board.show("idle")
    page = opened("#parts")
    page.route("**/api/v1/metals", lambda route: route.fulfill(status=204))
    page.click("#parts [data-action='new part']")
    expect(page.locator(".metal-guide")).to_contain_text("cannot be shown now")
    page.click("[data-action='save part']")
    page.get_by_text(re.compile(r"^Casting \d is saved")).wait_for()


def test_a_changed_limit_is_kept_with_who_says_so(opened, board, answers):
    board.show(answers.answer(answers.READY))
    page = opened("#parts")
    page.click("#parts [data-action='edit part']")
    page.fill("#field-preheat_min_c", "275")
    page.fill("#field-by", "night shift")
    page.click("[data-action='save part']")
    page.get_by_text("is saved").wait_for()
    (action,) = board.acted
    assert (action["kind"], action["by"]) == ("set limits", "night shift")
    assert action["limits"]["preheat_min_c"] == 275.0


def test_the_cavity_is_worked_out_from_its_pieces(opened, board):
    """2 inch schedule 10S holds 2.355 l a metre (fluids package)."""
    board.show("two")
    page = opened(width=390)
    page.locator("[data-action='edit part']:visible").first.click()
    page.click("[data-action='work out volume']")
    page.click("[data-action='piece size'][data-value='2']")
    page.click("[data-action='add piece']")
    expect(page.locator(".metal-guide .fault:visible").last).to_have_text("Length is missing.")
    page.fill("#field-piece-length", "1000")
    page.click("[data-action='add piece']")
    expect(page.locator("[data-action='take volume']")).to_have_text("Take 2.355 L for this part")
    page.click("[data-action='piece kind'][data-value='cone']")
    page.fill("#field-piece-large", "60")
    page.fill("#field-piece-small", "30")
    page.fill("#field-piece-length", "80")
    page.click("[data-action='add piece']")
    expect(page.locator("[data-action='drop piece']")).to_have_count(2)
    page.locator("[data-action='drop piece']").last.click()
    page.click("[data-action='take volume']")
    assert page.input_value("#field-cavity_volume_l") == "2.36"
    worked_out = page.locator("[data-action='choose cavity_known'][data-value='worked out']")
    expect(worked_out).to_have_attribute("aria-pressed", "true")
