"""What is seen: both themes, three widths, nothing cut off, everything large enough for gloves."""

from __future__ import annotations

import pytest

pytestmark = pytest.mark.chromium

WIDTHS = [390, 1024, 1920]
HEIGHT = {390: 844, 1024: 768, 1920: 1080}

# Controls that a person can hit now: on top at their own middle once scrolled to, not only there.
TARGETS = """() => {
  const found = [];
  for (const e of document.querySelectorAll('button, a[href], input')) {
    if (!e.checkVisibility() || e.classList.contains('skip')) continue;
    if (document.querySelector('dialog[open]') && !e.closest('dialog')) continue;
    const b = e.getBoundingClientRect();
    const name = e.textContent.trim() || e.id;
    const sticky = Boolean(e.closest('.bar, .sheet-head, .form-foot'));
    const [top, bottom] = [b.top + scrollY, b.bottom + scrollY];
    found.push({ name, left: b.left, top, right: b.right, bottom, sticky });
  }
  return found;
}"""


def sideways(page) -> int:
    """How far the page, or the open sheet, can be scrolled sideways [px]."""
    return page.evaluate(
        """() => [document.documentElement, document.getElementById('sheet')]
             .reduce((most, e) => Math.max(most, e.scrollWidth - e.clientWidth), 0)"""
    )


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("width", WIDTHS)
def test_every_state_fits(opened, board, width, theme, answers):
    page = opened(width=width, height=HEIGHT[width], color_scheme=theme)
    paper = page.evaluate("getComputedStyle(document.body).backgroundColor")
    assert (paper == "rgb(255, 255, 255)") == (theme == "light")
    for name in [
        "ready",
        "wait",
        "stop",
        "unknown",
        "two",
        "slow",
        "alarm",
        "many",
        "over",
        "aired",
        "thin",
        "airless",
        "empty",
        "idle",
    ]:
        board.show(name)
        wait_for(page, board.bench)
        assert sideways(page) == 0, name
        for part in board.bench["parts"]:
            if part["heat_id"] is None:
                continue
            panel = page.locator(f".panel[data-part-id='{part['id']}']")
            assert panel.get_attribute("data-verdict") == part["verdict"]
            word = panel.locator(".word")
            assert word.inner_text().lower() == part["verdict"]
            size = word.evaluate("e => parseFloat(getComputedStyle(e).fontSize)")
            assert size == largest(panel), name
            # The word is not cut off by its own slab.
            assert word.evaluate("e => e.scrollWidth <= e.clientWidth + 1"), name


def wait_for(page, bench) -> None:
    """Until the page shows this answer: the same heats with the same verdicts, and its alarms."""
    heats = {str(p["id"]): p["verdict"] for p in bench["parts"] if p["heat_id"] is not None}
    page.wait_for_function(
        """([heats, alarms, parts]) => {
          const panels = [...document.querySelectorAll('.panel')];
          const shown = Object.fromEntries(
            panels.map((e) => [e.dataset.partId, e.dataset.verdict]));
          return JSON.stringify(shown) === JSON.stringify(heats)
            && Number(document.getElementById('alarms').dataset.count) === alarms
            && document.querySelectorAll('#waiting .row').length === parts;
        }""",
        arg=[heats, len(bench["alarms"]), len(bench["parts"]) - len(heats)],
    )


def largest(panel) -> float:
    """The largest type in a panel [px]."""
    return panel.evaluate(
        """(panel) => {
          const speaks = (e) => [...e.childNodes].some(
            (n) => n.nodeType === 3 && n.data.trim());
          const said = [...panel.querySelectorAll('*')]
            .filter((e) => e.checkVisibility() && speaks(e));
          return Math.max(...said.map((e) => parseFloat(getComputedStyle(e).fontSize)));
        }"""
    )


@pytest.mark.parametrize(
    "name", ["ready", "stop", "slow", "alarm", "many", "seen", "over", "aired", "thin"]
)
def test_the_verdict_stays_in_the_upper_part_of_a_tablet(opened, board, name):
    """However many alarms there are; 45 % of the screen is our own bar, no source."""
    board.show(name)
    page = opened()
    wait_for(page, board.bench)
    for word in page.locator(".word").all():
        box = word.bounding_box()
        assert box["y"] + box["height"] <= 0.45 * HEIGHT[1024]


PLACES = [
    ("ready", "bench", None),
    ("alarm", "bench", None),
    ("many", "bench", "[data-action='all alarms']"),
    ("empty", "bench", None),
    ("idle", "bench", None),
    ("sensors", "sensors", None),
    ("thin", "bench", None),
    ("two", "plan", None),
    ("two", "setup", None),
    ("two", "setup", "#parts [data-action='new part']"),
    ("heard", "sensors", "[data-action='choose kind']"),
    ("ready", "bench", "[data-action='sound']"),
]


@pytest.mark.parametrize("width", WIDTHS)
def test_targets_suit_a_glove(opened, board, width):
    """56 px and 12 px apart: common practice for gloved hands, no source."""
    page = opened(width=width, height=HEIGHT[width])
    for state, view, tap in PLACES:
        board.show(state)
        page.click(f"[data-tab='{view}']")
        if view == "bench":
            wait_for(page, board.bench)
        page.wait_for_selector(f"#{view} >> visible=true")
        if tap:
            page.click(tap)
            page.wait_for_selector("dialog[open]")
        assert sideways(page) == 0, (state, view, tap)
        check_targets(page.evaluate(TARGETS))
        if tap:
            page.click("[data-action='close sheet']")


def check_targets(targets: list[dict]) -> None:
    assert len(targets) > 3
    for target in targets:
        assert target["right"] - target["left"] >= 55.5, target
        assert target["bottom"] - target["top"] >= 55.5, target
    for i, one in enumerate(targets):
        for other in targets[i + 1 :]:
            if one["sticky"] == other["sticky"]:
                assert apart(one, other) >= 11.5, (one, other)


def apart(one: dict, other: dict) -> float:
    """The gap between two boxes [px], along the axis on which they are further apart."""
    sideways_px = max(one["left"], other["left"]) - min(one["right"], other["right"])
    down_px = max(one["top"], other["top"]) - min(one["bottom"], other["bottom"])
    return max(sideways_px, down_px)


def test_theme_is_kept(opened):
    page = opened(color_scheme="light")
    page.click("#theme")
    page.click("#theme")
    assert page.evaluate("document.documentElement.dataset.theme") == "dark"
    page.reload()
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(20, 23, 26)"


def test_names_are_never_markup(opened, board, answers):
    trick = "<img src=x onerror=document.title='had'>"
    part = answers.READY | {"name": trick, "next": trick}
    channels = [answers.channel(trick, "thermocouple", 300.0, "Cel", part_id=1)]
    alarms = [answers.alarm(9, "no data", trick, 4)]
    board.show(answers.answer(part, channels=channels, alarms=alarms))
    page = opened()
    assert page.locator(".panel h2").inner_text() == trick
    assert page.locator(".alarm-text").inner_text() == trick
    page.goto(page.url + "#sensors")
    assert page.locator(".channel h2").inner_text() == trick
    assert page.locator("main img").count() == 0
    assert page.title() != "had"


def test_a_verdict_nobody_knows_is_doubt(opened, board, answers):
    board.show(answers.answer(answers.READY | {"verdict": "splendid"}))
    page = opened()
    assert page.locator(".panel").get_attribute("data-verdict") == "unknown"


def test_the_strip_chart_is_drawn(opened, served):
    page = opened()
    page.wait_for_function(
        """() => {
          const c = document.querySelector('.strip canvas');
          const { data } = c.getContext('2d').getImageData(0, 0, c.width, c.height);
          let dark = 0;
          for (let i = 0; i < data.length; i += 4) if (data[i + 3] > 200 && data[i] < 60) dark += 1;
          return dark > 1500;
        }"""
    )
    for span in ["60", "heat", "20"]:
        page.click(f"[data-span='{span}']")
        assert page.locator(f"[data-span='{span}']").get_attribute("aria-pressed") == "true"


FORMATS = [
    ("range", {"p05": 0, "p50": 0, "p95": 0}, "now"),
    ("range", {"p05": 41, "p50": 50, "p95": 68}, "40–70 s"),
    ("range", {"p05": 40, "p50": 90, "p95": 200}, "40 s to 4 min"),
    ("range", {"p05": 380, "p50": 446, "p95": 528}, "6–9 min"),
    ("range", {"p05": 360, "p50": 360, "p95": 360}, "6 min"),
    ("range", {"p05": 380, "p50": 446, "p95": None}, "at least 6 min"),
    ("range", {"p05": 5000, "p50": 7000, "p95": 9000}, "1.3–2.5 h"),
    ("duration", 0.2, "0 s"),
    ("duration", 119, "119 s"),
    ("duration", 200, "3 min"),
    ("integer", -612, "−612"),
    ("integer", None, "–"),
]


def test_ranges_never_say_too_much(opened):
    """Early ends are rounded down, late ends up, so a shown range holds the real one."""
    page = opened(locale="en-GB")
    for name, given, wanted in FORMATS:
        said = page.evaluate(
            """async ([name, given]) => {
              const address = document.querySelector('link[href$="format.js"]').href;
              return (await import(address))[name](given);
            }""",
            [name, given],
        )
        assert said == wanted, (name, given)
