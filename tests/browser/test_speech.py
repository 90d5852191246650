"""What the voice says, when, and when it is silent."""

from __future__ import annotations

import copy

import pytest
from playwright.sync_api import expect

pytestmark = pytest.mark.chromium

LONG_MS = 20_000
"""How long a test waits for what must come; no measure of how fast it does."""


VOICE = """
window.spoken = [];
window.hushed = 0;
Object.defineProperty(window, 'speechSynthesis', { value: {
  getVoices: () => [{ lang: 'en' }],
  speak: (speech) => {
    spoken.push({ text: speech.text, lang: speech.lang, after: document.body.dataset.played });
    setTimeout(() => speech.dispatchEvent(new Event('end')));
  },
  cancel: () => { hushed += 1; },
} });
"""


@pytest.fixture
def speaking(opened):
    """A page in a browser with a voice."""
    return lambda **options: opened(script=VOICE, **options)


def played(page) -> None:
    page.evaluate("delete document.body.dataset.played")


def spoken(page, number: int) -> list[str]:
    page.wait_for_function("n => spoken.length >= n", arg=number, timeout=LONG_MS)
    return [each["text"] for each in page.evaluate("spoken")]


def test_an_alarm_is_spoken_after_its_chime(speaking, board, answers):
    page = speaking()
    page.click("[data-action='sound']")
    page.wait_for_selector("body[data-sound='on']")
    board.show("stop")
    assert spoken(page, 1) == ["Sawmill engine, rear manifold: purge lost."]
    assert page.evaluate("spoken[0]") == {
        "text": "Sawmill engine, rear manifold: purge lost.",
        "lang": "en",
        "after": "danger",
    }
    board.show("many")
    newer = spoken(page, 2)[1]
    assert newer == "Sawmill engine, rear manifold: purge lost. And 6 more."
    hushed = page.evaluate("hushed")
    board.show("ready")  # nothing calls any more
    page.wait_for_function("n => hushed > n", arg=hushed)


def test_speech_is_repeated_less_often_than_the_chime(speaking, board):
    board.show("stop")
    page = speaking()
    page.click("[data-action='sound']")
    chimes = page.evaluate(
        """() => new Promise((done) => {
          let chimes = 0;
          new MutationObserver(() => { if (++chimes === 3) done(spoken.length); })
            .observe(document.body, { attributes: true, attributeFilter: ['data-played'] });
        })"""
    )
    assert chimes == 1
    assert len(spoken(page, 2)) == 2


def test_becoming_ready_is_spoken_with_the_least_time(speaking, board):
    board.show("wait")
    page = speaking()
    page.click("[data-action='sound']")
    page.wait_for_selector("body[data-sound='on']")
    board.show("ready")
    said = ["Sawmill engine, rear manifold: ready. Window holds at least 6 minutes."]
    assert spoken(page, 1) == said


def test_nothing_is_spoken_while_sound_is_off(speaking, board):
    board.show("stop")
    page = speaking()
    page.wait_for_selector("#alarms [data-alarm-id='31']")
    assert page.get_attribute("body", "data-sound") == "blocked"
    assert page.evaluate("spoken") == []
    page.click("[data-action='sound']")
    assert len(spoken(page, 1)) == 1


def test_speech_can_be_turned_off_for_good(speaking, board):
    page = speaking()
    page.click("[data-action='sound']")
    page.wait_for_selector("body[data-sound='on']")
    page.click("[data-action='sound']")
    tile = page.locator("[data-action='speak']")
    tile.click()
    expect(tile).to_have_attribute("aria-pressed", "false")
    tile.click()
    assert spoken(page, 1) == ["Alarms are spoken like this."]
    tile.click()
    page.reload()
    page.wait_for_selector("body[data-link='live']")
    board.show("stop")
    page.mouse.click(5, 5)
    page.wait_for_selector("body[data-played='danger']", timeout=LONG_MS)
    played(page)
    page.wait_for_selector("body[data-played='danger']", timeout=LONG_MS)
    assert page.evaluate("spoken") == []


def test_a_browser_without_a_voice_says_so(opened):
    gone = "Object.defineProperty(window, 'speechSynthesis', { value: undefined });"
    page = opened(script=gone)
    page.click("[data-action='sound']")
    page.wait_for_selector("body[data-sound='on']")
    page.click("[data-action='sound']")
    expect(page.locator("dialog")).to_contain_text("no voice to speak with")
    assert page.locator("[data-action='speak']").count() == 0


def test_a_window_that_is_about_to_close_is_said_with_the_purge(speaking, board, answers):
    def left(p05: float) -> None:
        part = copy.deepcopy(answers.READY)
        part["heat"]["window"]["closes_in_s"] = {"p05": p05, "p50": p05 + 60, "p95": p05 + 120}
        part["purge"] |= {"clear": False, "verdict": "wait"}
        with page.expect_response(lambda answer: answer.url.endswith("/bench") and answer.ok):
            board.show(answers.answer(part))

    page = speaking()
    page.click("[data-action='sound']")
    page.wait_for_selector("body[data-sound='on']")
    left(400)
    left(295)
    said = "the window closes in {}, the purge is not clear."
    assert spoken(page, 1)[0].endswith(said.format("4 minutes"))
    left(290)
    left(110)
    assert spoken(page, 2)[1].endswith(said.format("110 seconds"))
    left(130)  # a forecast that wavers is no news
    left(115)
    left(500)  # a pass has put heat back
    left(118)
    assert spoken(page, 3)[2].endswith(said.format("110 seconds"))
