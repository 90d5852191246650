"""Naming what is heard by taps alone: a bare voltage, and a serial port nobody reads."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from dashboard.wiring import AdoptedPort, UnusedPort

pytestmark = pytest.mark.chromium


def test_a_bare_voltage_is_asked_for_its_type_and_its_terminals(opened, board, answers):
    emf = answers.channel("board/emf", None, 10.0, "mV", emf_mv=10.0, kind_guess="thermocouple")
    terminals = answers.channel("board/terminals", None, 25.0, "Cel")
    probe = answers.channel("bench/joint", "thermocouple", 300.0, "Cel", part_id=1)
    board.show(answers.answer(channels=[emf, terminals, probe]))
    page = opened("#sensors")
    row = page.locator("[data-channel='board/emf']")
    expect(row).to_contain_text("a bare voltage")
    row.locator("[data-action='choose kind']").click()
    page.click("[data-action='adopt channel'][data-value='thermocouple']")
    page.click("[data-action='choose type'][data-value='N']")
    choices = page.locator("[data-action='choose terminals']")
    assert [each.get_attribute("data-value") for each in choices.all()] == ["board/terminals"]
    choices.first.click()
    page.get_by_text("board/emf measures: thermocouple").wait_for()
    assert board.acted == [
        {
            "kind": "adopt channel",
            "channel": "board/emf",
            "channel_kind": "thermocouple",
            "thermocouple": "N",
            "cold_junction": "board/terminals",
        }
    ]
    named = {"kind": "thermocouple", "thermocouple": "N", "cold_junction": "board/terminals"}
    board.show(answers.answer(channels=[emf | named | {"value": 331.2, "unit": "Cel"}, terminals]))
    expect(row).to_contain_text("331.2 °C")
    expect(row).to_contain_text("10 mV of type N, terminals measured by board/terminals")


def test_how_far_a_probe_sits_from_the_joint_is_said_by_a_tap(opened, board, answers):
    probe = answers.channel("bench/joint", "thermocouple", 300.0, "Cel", part_id=1)
    board.show(answers.answer(answers.READY, channels=[probe]))
    page = opened("#sensors")
    place = page.locator("[data-channel='bench/joint'] [data-action='choose distance']")
    expect(place).to_contain_text("Not said")
    place.click()
    page.click("[data-action='say distance'][data-value='50']")
    page.get_by_text("bench/joint: 50 mm from the groove").wait_for()
    (said,) = board.acted
    assert said == {
        "kind": "assign channel", "channel": "bench/joint", "part_id": 1, "from_joint_mm": 50,
    }  # fmt: skip
    board.show(answers.answer(answers.READY, channels=[probe | {"from_joint_mm": 50.0}]))
    expect(place).to_contain_text("50 mm")


def test_a_serial_port_is_taken_in_and_let_go(opened, board):
    board.unused = [UnusedPort("usb:1a86:7523:A7", "/dev/ttyUSB0", "bench board")]
    page = opened("#sensors")
    page.click("[data-action='adopt port']")
    page.click("[data-action='choose profile'][data-value='name=value']")
    page.click("[data-action='choose baud'][data-value='9600']")
    page.get_by_text("Reading bench board from now on").wait_for()
    assert board.adopted == [AdoptedPort("usb:1a86:7523:A7", 9600, "name=value")]
    expect(page.locator("[data-port='usb:1a86:7523:A7']")).to_contain_text("9600 baud")
    board.refuse = "the disk is full."
    page.click("[data-action='release port']")
    page.get_by_text("Not done: the disk is full.").wait_for()
    assert board.adopted
    board.refuse = None
    page.click("[data-action='release port']")
    page.get_by_text("usb:1a86:7523:A7 is read no more").wait_for()
    assert board.adopted == []


def test_a_channel_is_checked_against_something_known(opened, board, answers):
    probe = answers.channel("bench/joint", "thermocouple", 1.4, "Cel", part_id=1)
    board.show(answers.answer(channels=[probe]))
    page = opened("#sensors")
    page.click("[data-action='calibrate']")
    page.click("[data-action='take check']")
    page.get_by_text("Say first what it should read.").wait_for()
    should = page.locator("[data-field='should_read']")
    should.locator("[data-action='round'][data-value='0']").click()
    page.click("[data-action='take check']")
    board.show(answers.answer(channels=[probe | {"value": 101.0}]))
    expect(page.locator("[data-channel='bench/joint']")).to_contain_text("101.0 °C")
    should.locator("[data-action='round'][data-value='100']").click()
    page.click("[data-action='take check']")
    page.click("[data-action='valid days'][data-value='90']")
    page.fill("#field-note", "ice and boiling water")
    page.click("[data-action='calibrate channel']")
    page.get_by_text("bench/joint is corrected from now on").wait_for()
    (said,) = board.acted
    checks = [(each["reads"], each["true"], each["against"]) for each in said.pop("checks")]
    assert checks == [(1.4, 0.0, "known value"), (101.0, 100.0, "known value")]
    assert said == {
        "kind": "calibrate channel",
        "channel": "bench/joint",
        "scale": None,
        "valid_days": 90.0,
        "note": "ice and boiling water",
    }
    held = {
        "checks": [{"reads": 1.4, "true": 0.0}],
        "since": "2026-03-03T09:00:00.000Z",
        "due": "2026-03-02T09:00:00.000Z",
        "overdue": True,
        "note": "ice",
        "uncorrected": 22.8,
    }
    board.show(answers.answer(channels=[probe | {"value": 21.4, "calibration": held}]))
    expect(page.locator("[data-action='calibrate']")).to_contain_text("Overdue")
    page.click("[data-action='calibrate']")
    page.click("[data-action='drop check']")
    should.locator("[data-action='step'][data-by='0.5']").click()  # a round figure to start from
    page.click("[data-action='take check']")
    page.get_by_text("reads 22.8 °C").wait_for()  # what it reads by itself, not as corrected


def test_a_channel_is_checked_in_ice_in_boiling_water_and_beside_another(opened, board, answers):
    probe = answers.channel("bench/joint", "thermocouple", 0.8, "Cel", part_id=1)
    other = answers.channel("bench/reference", "thermocouple", 98.0, "Cel", part_id=1)
    board.show(answers.answer(channels=[probe, other]))
    page = opened("#sensors", width=390)
    page.click("[data-channel='bench/joint'] [data-action='calibrate']")
    page.click("[data-action='against'][data-value='ice point']")
    page.click("[data-action='take check']")
    page.get_by_text("reads 0.8 °C in melting ice").wait_for()
    board.show(answers.answer(channels=[probe | {"value": 99.1}, other]))
    expect(page.locator("[data-channel='bench/joint']")).to_contain_text("99.1 °C")
    page.click("[data-action='against'][data-value='boiling point']")
    page.click("[data-action='take check']")
    page.get_by_text("Say the air pressure or the altitude first.").wait_for()
    page.click("[data-field='pressure_hpa'] [data-action='round'][data-value='1000']")
    page.click("[data-field='most_off'] [data-action='round'][data-value='2']")
    page.click("[data-action='take check']")
    page.get_by_text("in boiling water at 1000 hPa").wait_for()
    board.show(answers.answer(channels=[probe | {"value": 151.0}, other | {"value": 150.0}]))
    expect(page.locator("[data-channel='bench/joint']")).to_contain_text("151.0 °C")
    page.click("[data-action='against'][data-value='beside']")
    page.click("[data-action='take check']")
    page.get_by_text("Choose the reference first").wait_for()
    page.click("[data-action='reference'][data-value='bench/reference']")
    page.click("[data-action='take check']")
    page.get_by_text("reads 151.0 °C where bench/reference reads 150.0 °C").wait_for()
    page.click("[data-action='calibrate channel']")
    page.get_by_text("bench/joint is corrected from now on").wait_for()
    checks = [
        {name: value for name, value in each.items() if value is not None}
        for each in board.acted[-1]["checks"]
    ]
    assert {"reads": 0.8, "against": "ice point"} in checks
    boiling = {"against": "boiling point", "pressure_pa": 100_000.0, "most_off": 2.0}
    assert {"reads": 99.1, **boiling} in checks
    beside = {"against": "beside", "beside": "bench/reference", "true": 150.0, "most_off": 2.0}
    assert {"reads": 151.0, **beside} in checks


def test_another_bottle_is_put_on_by_taps(opened, board):
    board.show("sensors")
    page = opened("#sensors")
    row = page.locator("[data-part='bottle']")
    expect(row).to_contain_text("5,210 L left, 4.8 h at this flow")
    expect(row).to_contain_text("used: 44 L purge, 16 L torch")
    row.locator("[data-action='new bottle']").click()
    page.click("[data-field='water_volume_l'] [data-action='not set']")
    page.click("[data-action='set bottle']")
    page.get_by_text("The bottle's own volume is needed.").wait_for()
    page.click("[data-field='water_volume_l'] [data-value='20']")
    page.click("[data-field='pressure_bar'] [data-value='200']")
    page.click("[data-action='set bottle']")
    page.get_by_text("Counted from now").wait_for()
    assert board.acted == [
        {
            "kind": "set bottle",
            "water_volume_l": 20.0,
            "pressure_pa": 20e6,
            "torch_flow_l_min": None,
        }
    ]


def test_how_far_a_probe_may_be_off_is_said_by_taps(opened, board, answers):
    (probe, *_) = answers.MIXED
    probe = probe | {"kind": "thermocouple", "error_floor_k": None}
    board.show(answers.answer(channels=[probe]))
    page = opened("#sensors", width=390)
    row = page.locator(".channel [data-action='say error']")
    expect(row).to_contain_text("Nobody has said")
    row.click()
    page.click("[data-action='probe letter'][data-value='K']")
    page.click("[data-action='rate probe']")
    expect(page.locator("#sheet .fault:visible")).to_contain_text("Type and class go together")
    page.click("[data-action='probe class'][data-value='IEC class 1']")
    page.fill("#field-drift_k_per_year", "2")
    page.click("[data-action='rate probe']")
    expect(page.locator("#sheet")).to_be_hidden()
    said = {key: value for key, value in board.acted[-1].items() if key != "token"}
    assert said == {
        "kind": "rate probe",
        "channel": probe["name"],
        "letter": "K",
        "tolerance_class": "IEC class 1",
        "drift_k_per_year": 2.0,
        "check_off_k": None,
    }
    board.show(answers.answer(channels=[probe | {"error_floor_k": 2.5}]))
    expect(row).to_contain_text("± 2.5 K, whatever it shows")
