"""Whose turn it is among several castings: one sentence, and a word aloud when it changes."""

from __future__ import annotations

import copy
import time

import pytest
from playwright.sync_api import expect

pytestmark = pytest.mark.chromium

VOICE = """
window.spoken = [];
Object.defineProperty(window, 'speechSynthesis', { value: {
  getVoices: () => [{ lang: 'en' }],
  speak: (speech) => {
    spoken.push(speech.text);
    setTimeout(() => speech.dispatchEvent(new Event('end')));
  },
  cancel: () => {},
} });
"""


def test_it_is_shown_said_when_it_changes_and_not_kept_when_nothing_is_heard(
    opened, board, answers
):
    two = copy.deepcopy(answers.STATES["two"])
    page = opened(script=VOICE)
    turn = page.locator("#turn")
    expect(turn).to_be_hidden()  # one casting has nobody to give way to
    page.click("[data-action='sound']")
    page.wait_for_selector("body[data-sound='on']")
    board.show(two)
    expect(turn).to_contain_text("Sawmill engine, rear manifold first: its window holds for 6:34.")
    expect(turn).to_contain_text("Advice only")

    other = copy.deepcopy(two)
    other["parts"][1]["verdict"] = "ready"
    other["turn"] |= {"heat_id": 5, "text": "Pump manifold first: it is ready."}
    other["turn"]["order"] = [
        {"heat_id": 5, "part_id": 2, "what": "weld"},
        {"heat_id": 4, "part_id": 1, "what": "weld"},
    ]
    board.show(other)
    page.wait_for_function("() => spoken.length === 1")
    name = other["parts"][1]["name"]
    assert page.evaluate("spoken[0]").startswith(f"{name} first: ready.")

    nobody = copy.deepcopy(other)
    nobody["turn"] |= {"heat_id": None, "text": "Nobody's turn yet."}
    board.show(nobody)
    expect(turn).to_contain_text("Nobody's turn yet.")
    out = copy.deepcopy(nobody)
    out["turn"] |= {"take_out": 4, "take_out_in_s": {"p05": 0, "p50": 0, "p95": 0}}
    board.show(out)
    page.wait_for_function("() => spoken.length === 2")
    assert page.evaluate("spoken[1]").endswith("is hot and soaked: take it out.")

    board.hung_at = time.monotonic() - 60
    expect(turn).to_contain_text("Not known: the service is not heard.", timeout=20_000)
    assert page.evaluate("spoken.filter((each) => each.includes('first')).length") == 1
