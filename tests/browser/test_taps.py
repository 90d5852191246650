"""Everything a tap can do."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

pytestmark = pytest.mark.chromium

LONG_MS = 20_000
"""How long a test waits for what must come; no measure of how fast it does."""


def test_a_heat_by_taps(opened, board, answers):
    page = opened()
    page.click("[data-action='begin pass']")
    page.click(".panel [data-action='move part'][data-phase='slow cool']")
    page.wait_for_selector("[data-toast] [data-action='undo']")
    page.click("[data-toast] [data-action='undo']")
    page.get_by_text("Undone").wait_for()
    page.click("[data-action='end purge']")
    page.click("[data-toast] [data-action='undo']")  # taken back: never sent
    board.show("stop")
    page.click("[data-action='end pass']")
    page.get_by_text("Pass ended").wait_for()
    assert board.acted == [
        {"kind": "begin pass", "heat_id": 4},
        {"kind": "move part", "heat_id": 4, "phase": "slow cool"},
        {"kind": "move part", "heat_id": 4, "phase": "bench"},
        {"kind": "end pass", "heat_id": 4},
    ]


def test_ending_a_heat_waits_for_second_thoughts(opened, board):
    page = opened()
    done = []
    board.on_act = done.append
    page.click("[data-action='end heat']")
    page.get_by_text("Ending the heat").wait_for()
    assert done == []
    page.get_by_text("Heat ended").wait_for(timeout=LONG_MS)
    assert board.acted == [{"kind": "end heat", "heat_id": 4}]


def test_large_button_follows_the_part(opened, board, answers):
    page = opened()
    for phase, action, to in [
        ("oven", "move part", "carry"),
        ("carry", "move part", "bench"),
        ("bench", "begin pass", None),
    ]:
        board.show(answers.answer(answers.READY | {"phase": phase}))
        page.wait_for_selector(f".panel[data-phase='{phase}']")
        button = page.locator(".deed-pass")
        assert button.get_attribute("data-action") == action
        assert button.get_attribute("data-phase") == to
    board.show(answers.answer(answers.READY | {"phase": "slow cool"}))
    page.wait_for_selector(".panel[data-phase='slow cool']")
    expect(page.locator(".deed-pass")).to_be_hidden()


def test_cautions_stand_where_they_apply(opened, board, answers):
    page = opened()
    mind = page.locator(".panel .mind")
    for phase, running, said, unsaid in [
        ("oven", False, ["too hot to touch", "Drain and dry"], ["Argon", "Fume", "carry"]),
        ("carry", True, ["Two people", "Argon takes the place of air"], ["Drain", "Fume"]),
        ("bench", True, ["EN 407", "Argon takes the place of air", "Fume"], ["Drain"]),
    ]:
        gas = answers.READY["purge"] | {"running": running}
        board.show(answers.answer(answers.READY | {"phase": phase, "purge": gas}))
        page.wait_for_selector(f".panel[data-phase='{phase}']")
        for words in said:
            expect(mind).to_contain_text(words)
        for words in unsaid:
            expect(mind).not_to_contain_text(words)
    expect(page.locator(".foot")).to_contain_text("never says that one is sound")


def test_refusal_stays_until_read(opened, board):
    board.refuse = "the pass is running already"
    page = opened()
    page.click("[data-action='begin pass']")
    bad = page.locator("[data-toast='bad']")
    expect(bad).to_contain_text("Not done: the pass is running already")
    bad.locator("[data-action='close']").click()
    expect(bad).to_have_count(0)


def test_first_run_by_taps_only(opened, board, answers):
    """From nothing to a running heat; the page leads, the keyboard is never needed."""
    board.show("empty")
    page = opened()
    expect(page.locator(".step[data-state='next']")).to_have_attribute("data-step", "plug")
    heard = answers.channel("bench/tc-1", None, 21.0, "Cel", kind_guess="thermocouple")
    board.show(answers.answer(channels=[heard]))
    page.click("[data-action='guide adopt']")
    page.click(".channel[data-channel='bench/tc-1'] [data-action='choose kind']")
    tile = page.locator(".tile[data-value='thermocouple']")
    expect(tile).to_contain_text("looks like thermocouple")
    page.click(".tile[data-value='thermocouple']")
    page.get_by_text("bench/tc-1 measures: thermocouple").wait_for()
    known = answers.channel("bench/tc-1", "thermocouple", 21.0, "Cel")
    board.show(answers.answer(channels=[known]))
    page.click("[data-tab='bench']")
    page.click("[data-action='guide part']")

    page.click("[data-action='suggest name'] >> nth=1")
    preheat = page.locator("[data-field='preheat_min_c']")
    preheat.locator("[data-action='round'][data-value='250']").click()
    preheat.locator("[data-action='step'][data-by='25']").click()
    preheat.locator("[data-action='step'][data-by='-5']").click()
    page.locator("[data-field='interpass_max_c'] [data-value='350']").click()
    page.locator("[data-field='oxygen_max_ppm'] [data-value='50']").click()
    page.locator("[data-field='cavity_volume_l'] [data-value='2']").click()
    page.click(".tile[data-action='metal'][data-value='ductile iron']")
    page.click(".tile[data-action='toggle sensor'][data-value='bench/tc-1']")
    page.click("[data-action='save part']")
    page.get_by_text("Casting 2 is saved").wait_for()
    assert [said(action) for action in board.acted] == [
        {
            "kind": "adopt channel",
            "channel": "bench/tc-1",
            "channel_kind": "thermocouple",
        },
        {
            "kind": "create part",
            "part_id": 0,
            "facts": {
                "name": "Casting 2",
                "metal": "ductile iron",
                "cavity_volume_l": 2.0,
                "hose_volume_l": 0.0,
            },
            "limits": {
                "preheat_min_c": 270.0,
                "interpass_max_c": 350.0,
                "oxygen_max_ppm": 50.0,
            },
        },
        {"kind": "assign channel", "channel": "bench/tc-1", "part_id": 2},
    ]
    board.show(answers.answer(answers.part(2, "Casting 2"), channels=[known | {"part_id": 2}]))
    page.click("[data-action='begin heat'][data-phase='oven']")
    page.get_by_text("Heat begun: Casting 2").wait_for()
    assert board.acted[-1] == {
        "kind": "begin heat",
        "heat_id": 0,
        "part_id": 2,
        "phase": "oven",
        "oven_set_c": None,
    }


def said(action):
    """An action without what it leaves open."""
    plain = {key: value for key, value in action.items() if value is not None}
    return {key: said(value) if isinstance(value, dict) else value for key, value in plain.items()}


def test_a_reading_by_hand_is_four_taps(opened, board):
    board.show("two")
    page = opened("#parts")
    page.click("#parts [data-part-id='1'] [data-action='by hand']")
    page.click(".tile[data-value='crayon melted']")
    page.locator("[data-field='by_hand'] [data-value='204']").click()
    page.click(".tile[data-action='enter reading'][data-value='flange']")
    page.get_by_text("Entered by hand").wait_for()
    (action,) = board.acted
    assert said(action) | {"token": ""} == {
        "kind": "enter reading", "part_id": 1, "method": "crayon melted", "value": 204.0,
        "place": "flange", "token": "",
    }  # fmt: skip
    assert not page.locator("#parts [data-part-id='1'] [data-action='governing side']").is_visible()


def test_changing_a_part_sends_only_what_changed(opened, board):
    board.show("two")
    page = opened("#parts")
    page.click("#parts [data-part-id='1'] [data-action='edit part']")
    page.click("[data-action='save part']")
    page.wait_for_selector("dialog:not([open])", state="attached")
    assert board.acted == []
    page.click("#parts [data-part-id='1'] [data-action='edit part']")
    page.locator("[data-field='cooling_max_c_per_h'] [data-action='not set']").click()
    page.click(".tile[data-value='bench/argon']")
    page.click("[data-action='save part']")
    page.wait_for_selector("dialog:not([open])", state="attached")
    assert [action["kind"] for action in board.acted] == ["set limits", "assign channel"]
    assert board.acted[0]["limits"]["cooling_max_c_per_h"] is None
    assert board.acted[1]["part_id"] is None


@pytest.mark.parametrize(
    ("field", "text", "said"),
    [
        ("preheat_min_c", "2000", "is not between -50 and 1400 °C"),
        ("preheat_min_c", "hot", "“hot” is not a number"),
        ("preheat_min_c", "350", "must be above preheat"),
        ("oxygen_max_ppm", "0", "is not above 0 and at most 209000 ppm"),
    ],
)
def test_bad_numbers_are_told_beside_the_field(opened, board, field, text, said):
    page = opened("#parts")
    page.click("#parts [data-action='edit part']")
    page.fill(f"#field-{field}", text)
    page.click("[data-action='save part']")
    page.get_by_text(said).first.wait_for()
    assert board.acted == []
    assert page.locator("dialog[open]").count() == 1


def test_refused_part_is_kept_in_the_form(opened, board):
    board.show("idle")
    board.refuse = "the list is full"
    page = opened("#parts")
    page.click("#parts [data-action='new part']")
    page.click("[data-action='save part']")
    page.get_by_text("Not done: the list is full").wait_for()
    assert page.input_value("#field-name") == "Casting 1"
    board.refuse = None
    page.click("[data-action='save part']")
    page.wait_for_selector("dialog:not([open])", state="attached")
    assert [action["kind"] for action in board.acted] == ["create part"]


def test_by_keyboard_only(opened, board):
    board.show("stop")
    page = opened()
    page.wait_for_selector(".alarm")
    for _ in range(30):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.dataset.action") == "acknowledge alarm":
            break
    page.keyboard.press("Enter")
    page.get_by_text("Acknowledged: Purge lost").wait_for()
    assert board.acted == [{"kind": "acknowledge alarm", "alarm_id": 31}]


def test_two_pages_see_the_same(opened, board):
    one, other = opened(), opened(width=390, height=844)
    board.show("stop")
    for page in (one, other):
        page.wait_for_selector(".panel[data-verdict='stop']")
        page.wait_for_selector(".alarm[data-alarm-id='31']")


def test_an_updated_service_brings_its_page(opened, served, board):
    page = opened()
    page.evaluate("window.before = true")
    page.route(
        "**/api/v1/bench",
        lambda route: route.fulfill(
            response=(answer := route.fetch()),
            headers=answer.headers | {"heatwindow-page": "another"},
        ),
        times=1,
    )
    board.show("wait")
    page.wait_for_function("() => window.before === undefined")
    page.wait_for_selector(".panel[data-verdict='wait']")


def test_the_rooms_air_is_in_sight_whatever_part_is_shown(opened, board, served):
    """Shown as what it is; too little is told before any casting; silence is never normal."""
    board.show("aired")
    page = opened()
    row = page.locator("#room .air")
    assert row.get_attribute("data-standing") == "normal"
    assert "20.9 % oxygen" in row.inner_text()
    assert "not a safety system" in row.inner_text()
    for scroll in ("scrollTo(0, 0)", "document.querySelector('.panel').scrollIntoView()"):
        page.evaluate(scroll)
        box = row.bounding_box()
        assert 0 < box["y"] < 768 - box["height"], "in sight without looking for it"
    board.show(board.bench | {"parts": []})
    page.wait_for_selector(".panel", state="detached")
    assert row.is_visible()
    board.show("thin")
    page.wait_for_selector("#room .air[data-standing='low']")
    assert "19.4 % oxygen" in row.inner_text(), "rounded away from the limit"
    assert page.locator("#alarms .alarm").get_attribute("data-kind") == "room oxygen"
    board.show("airless")
    page.wait_for_selector("#room .air[data-standing='unknown']")
    assert "silent for 7 s" in row.inner_text()
    assert "%" not in row.locator("b").inner_text()
    board.show("aired")
    page.wait_for_selector("#room .air[data-standing='normal']")
    served.stop()
    page.wait_for_selector("#room .air[data-standing='unknown']")
    assert "20.9" not in row.inner_text()


def test_a_standing_nobody_knows_is_doubt(opened, board, answers):
    board.show(answers.answer(room=[answers.air("splendid", 20.9)]))
    page = opened()
    assert page.locator("#room .air").get_attribute("data-standing") == "unknown"


def test_a_room_sensor_reads_in_percent_and_sits_on_no_part(opened, board, answers):
    name = "shop/air-oxygen"
    board.show(
        answers.answer(
            answers.READY, channels=[answers.channel(name, "room oxygen", 209_000.0, "ppm")]
        )
    )
    page = opened("#sensors")
    row = page.locator(f".channel[data-channel='{name}']")
    assert row.locator(".channel-value").inner_text() == "20.9 %"
    assert not row.locator("[data-action='choose part']").is_visible()


def test_each_outlet_can_be_tried_and_says_what_became_of_it(opened, board, answers):
    board.show("sensors")
    board.outlets = [dict(each) for each in answers.OUTLETS]
    page = opened("#setup")
    rows = page.locator("[data-outlet]")
    page.wait_for_selector("[data-outlet='email'][data-state='failing']")
    states = rows.evaluate_all("rows => rows.map((row) => [row.dataset.outlet, row.dataset.state])")
    assert states == [["sounder", "working"], ["webhook", "untried"], ["email", "failing"]]
    mail = page.locator("[data-outlet='email']")
    for words in ("connection refused", "4 waiting", "2 given up", "1 dropped"):
        assert words in mail.inner_text()
    mail.locator("[data-action='try outlet']").click()
    page.wait_for_selector("[data-outlet='email'] [data-trial='waiting']")
    assert "on its way" in mail.inner_text()
    at = answers.utc(answers.NOW_US)
    failed = {"at": at, "state": "failed", "text": "mail.mill.example refuses: 451 busy"}
    board.outlets[2]["trial"] = failed
    page.wait_for_selector("[data-outlet='email'] [data-trial='failed']")
    assert "did not go: mail.mill.example refuses: 451 busy" in mail.inner_text()
    mail.locator("[data-action='try outlet']").click()
    page.wait_for_selector("[data-outlet='email'] [data-trial='waiting']")
    told = {"at": at, "state": "told", "text": "mail.mill.example has taken it"}
    board.outlets[2] |= {"trial": told, "working": True}
    page.wait_for_selector("[data-outlet='email'][data-state='working'] [data-trial='told']")
    assert "went: mail.mill.example has taken it" in mail.inner_text()
    assert "Earlier: mail.mill.example port 587" in mail.inner_text()


def test_a_page_says_when_nobody_else_is_told(opened, board):
    board.show("sensors")
    page = opened("#setup")
    page.wait_for_selector(".outlets")
    assert "only pages like this one sound" in page.locator(".outlets").inner_text()


def test_where_the_heat_goes_is_told_largest_first(opened, board, answers):
    page = opened()
    line = page.locator("[data-slot='heat-losses']")
    expect(line).to_have_text("loses 556 W: radiation 57 %, air 31 %, argon 8 %, contact 5 %")
    board.show("wait")
    expect(line).to_be_hidden()


def test_what_the_part_is_waited_for_stands_with_its_heat(opened, board, answers):
    board.show("slow")
    page = opened()
    line = page.locator("[data-part-id='2'] [data-slot='heat-later']")
    expect(line).to_have_text("Safe to touch in about 4 h 00 min, at most 5 h 00 min (below 43 °C)")
    expect(page.locator("[data-part-id='1'] [data-slot='heat-later']")).to_be_hidden()
