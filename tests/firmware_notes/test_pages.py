"""What holds for every page: links, blocks, the node's config as the pages tell it, the drawing."""

from __future__ import annotations

import json
import re
import runpy
import shlex
import xml.etree.ElementTree as ET
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest

from service.commands.main import build_parser
from service.config import load
from service.judge import arc, sense
from service.readings import ChannelKind
from service.wire.senml import decode_line
from tests.firmware_notes.decoded import rows_of
from tests.firmware_notes.pages import NOTES, PAGES, Block, blocks, links, section, tables, words

LANGUAGES = {"senml", "lines", "toml", "json", "sh"}
OTHER_PROGRAMS = {
    "python3",
    "mpremote",
    "mosquitto_passwd",
    "systemctl",
    "tee",
    "printf",
    "mkdir",
} | {"openssl"}
"""Besides our own; ``sudo`` before any of them."""
PAGE_LINES_MOST = 260
NODE = NOTES / "node"


def test_the_pages_are_there() -> None:
    assert {"README.md", "thermocouples.md", "meters.md", "wire_format.md"} <= set(PAGES)


@pytest.mark.parametrize("page", PAGES)
def test_every_link_leads_somewhere(page: str) -> None:
    for target in links(page):
        assert "://" not in target, "the notes need no network"
        path, _, anchor = target.partition("#")
        assert not anchor
        assert (NOTES / path).is_file(), f"{page} links to {target}"


def test_every_page_is_reached_from_the_first() -> None:
    seen, waiting = set(), ["README.md"]
    while waiting:
        page = waiting.pop()
        if page not in seen:
            seen.add(page)
            waiting += [target for target in links(page) if target in PAGES]
    assert seen == set(PAGES)


@pytest.mark.parametrize("page", PAGES)
def test_every_page_is_short(page: str) -> None:
    assert len((NOTES / page).read_text(encoding="utf-8").splitlines()) <= PAGE_LINES_MOST


@pytest.mark.parametrize("page", PAGES)
def test_every_page_has_its_fences_closed_and_no_indented_code(page: str) -> None:
    text = (NOTES / page).read_text(encoding="utf-8")
    assert text.count("```") == 2 * len([each for each in blocks() if each.page == page])
    assert not re.search(r"^ {4}\S", text, re.MULTILINE)


@pytest.mark.parametrize("block", blocks(), ids=str)
def test_every_block_has_a_language_that_is_tried(block: Block) -> None:
    assert block.language in LANGUAGES


@pytest.mark.parametrize("block", blocks("senml"), ids=str)
def test_every_pack_is_decoded_as_its_table_says(block: Block) -> None:
    read = [row for line in block.lines for row in rows_of(decode_line(line.encode()))]
    assert read == block.table


@pytest.mark.parametrize("block", blocks("toml"), ids=str)
def test_every_config_is_accepted(block: Block, tmp_path: Path) -> None:
    for name in re.findall(r'^\w+_file = "([^"]+)"', block.text, re.MULTILINE):
        (tmp_path / name).write_text("secret\n")
    file = tmp_path / "shop.toml"
    file.write_text(block.text, encoding="utf-8")
    load(file)


def commands() -> list[list[str]]:
    """Every command of the shell blocks, pipes taken apart, ``sudo`` taken off."""
    found: list[list[str]] = []
    for block in blocks("sh"):
        for line in block.lines:
            for piece in line.split(" | "):
                given = shlex.split(piece)
                found.append(given[1:] if given[0] == "sudo" else given)
    return found


@pytest.mark.parametrize("command", commands(), ids=" ".join)
def test_every_command_is_understood(command: list[str]) -> None:
    program, *arguments = command
    if program != "heatwindow":
        assert program in OTHER_PROGRAMS
        return
    given = build_parser(arguments[0]).parse_args(arguments)
    assert callable(given.run)


# --- the node ------------------------------------------------------------------------------------


def checked(settings: dict[str, Any]) -> dict[str, Any]:
    program = runpy.run_path(str(NODE / "settings.py"))
    found = program["check"](settings, "config.json")
    assert isinstance(found, dict)
    return found


def shipped() -> dict[str, Any]:
    found = json.loads((NODE / "config.json").read_text(encoding="utf-8"))
    assert isinstance(found, dict)
    return found


def test_the_pins_are_those_of_the_shipped_config() -> None:
    settings = shipped()
    inputs = [
        [each["name"], each["kind"], str(each.get("select", each.get("pin")))]
        for each in settings["inputs"]
    ]
    others = [
        ["lamp", "output", str(settings["lamp"])],
        ["sounder", "output", str(settings["sounder"])],
        ["stay_out", "switch", str(settings["stay_out"])],
    ]
    assert tables(section("README.md", "2. Wire it"))[0] == inputs + others
    spi = settings["spi"]
    told = f"SPI: clock {spi['sck']}, to the chips {spi['mosi']}, from the chips {spi['miso']}"
    assert told in words("README.md")


@pytest.mark.parametrize("block", blocks("json"), ids=str)
def test_every_change_of_the_nodes_config_is_accepted_by_the_node(block: Block) -> None:
    checked(shipped() | json.loads(block.text))


def test_the_keys_the_page_names_are_keys_of_the_nodes_config() -> None:
    program = runpy.run_path(str(NODE / "settings.py"))
    inputs = [key for kind in program["KINDS"].values() for key in kind]
    known = {*program["TOP"], *inputs}
    for page, keys in {
        "README.md": {"node", "name", "emf", "cold_junction", "stay_out", "alarm_lines"}
        | {"time_host", "buffer_samples"},
        "meters.md": {"pulses_per_l", "per_v"},
    }.items():
        for key in keys:
            assert key in known
            assert re.search(rf"[`\"]{key}[`\"]", words(page)), f"{page} does not name {key}"


def test_the_channels_named_are_those_the_shipped_config_sends() -> None:
    settings = shipped()
    sent = []
    for each in settings["inputs"]:
        sent.append(f"{settings['node']}/{each['name']}")
        if each.get("cold_junction"):
            sent.append(f"{settings['node']}/{each['cold_junction']}")
    named = tables(section("README.md", "5. Name the channels, once"))[0]
    assert [name for name, _ in named] == sent
    assert {kind for _, kind in named} <= {kind.value for kind in ChannelKind}


def test_what_must_be_seen_is_what_the_service_says() -> None:
    said = words("README.md")
    assert f'"{sense._FAULT_WORDS["open-circuit"]}"' in said
    assert f"more than {arc.ON_A:g} A while it burns, less than {arc.OFF_A:g} A after" in said


# --- the drawing ---------------------------------------------------------------------------------

SVG = "{http://www.w3.org/2000/svg}"


def test_the_drawing_is_whole_and_our_own() -> None:
    root = ET.parse(NOTES / "wiring.svg").getroot()
    assert root.tag == f"{SVG}svg"
    assert root.find(f"{SVG}title") is not None
    assert root.find(f"{SVG}desc") is not None
    assert not list(root.iter(f"{SVG}image"))
    drawn = " ".join(text.text or "" for text in root.iter(f"{SVG}text"))
    for piece in ("amplifier 1", "flow", "oxygen cell", "current sensor", "next", "lamp", "horn"):
        assert piece in drawn
    for piece in ("USB", "Wi-Fi", "broker (MQTT)", "isolated", "grinding dust"):
        assert piece in drawn


def test_the_drawing_has_both_themes() -> None:
    text = (NOTES / "wiring.svg").read_text(encoding="utf-8")
    light, dark = re.findall(r"svg \{([^}]*)\}", text)
    names = re.compile(r"(--\w+): (#[0-9a-f]{6})")
    assert dict(names.findall(light)).keys() == dict(names.findall(dark)).keys()
    for theme in (dict(names.findall(light)), dict(names.findall(dark))):
        for name in ("--ink", "--soft", "--hot", "--gas", "--weld"):
            for ground in ("--paper", "--zone"):
                assert contrast(theme[name], theme[ground]) >= 4.5, f"{name} on {ground}"


def contrast(one: str, other: str) -> float:
    """Contrast ratio (WCAG 2.1, success criterion 1.4.3 and its definitions)."""
    bright, dim = sorted((luminance(one), luminance(other)), reverse=True)
    return (bright + 0.05) / (dim + 0.05)


def luminance(colour: str) -> float:
    shares = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    linear = [s / 12.92 if s <= 0.04045 else ((s + 0.055) / 1.055) ** 2.4 for s in shares]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def measured(scheme: str) -> tuple[list[tuple[str, float, float, float, float]], str]:
    """Where each word of the drawing stands, and the colour of its paper."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        browser = play.chromium.launch(
            executable_path="/usr/bin/chromium", args=["--no-sandbox", "--headless=new"]
        )
        page = browser.new_page(color_scheme=scheme)  # type: ignore[arg-type]
        page.goto((NOTES / "wiring.svg").as_uri())
        boxes = page.evaluate(
            "[...document.querySelectorAll('text')].map(t => { const b = t.getBBox();"
            " return [t.textContent, b.x, b.y, b.x + b.width, b.y + b.height]; })"
        )
        paper = page.evaluate("getComputedStyle(document.querySelector('.paper')).fill")
        browser.close()
    return boxes, paper


@pytest.mark.chromium
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_word_of_the_drawing_lies_on_another(scheme: str) -> None:
    """Measured in a real browser, whose letters are as wide as they are."""
    # In a thread of its own: only one loop of the driver may run in each.
    with ThreadPoolExecutor(1) as thread:
        boxes, paper = thread.submit(measured, scheme).result()
    assert paper == ("rgb(255, 255, 255)" if scheme == "light" else "rgb(20, 24, 29)")
    assert len(boxes) > 40
    for place, (text, left, top, right, bottom) in enumerate(boxes):
        assert 0 <= left < right <= 1240, text
        assert 0 <= top < bottom <= 930, text
        for other, left2, top2, right2, bottom2 in boxes[place + 1 :]:
            apart = right <= left2 or right2 <= left or bottom <= top2 + 3 or bottom2 <= top + 3
            assert apart, f"{text!r} lies on {other!r}"
