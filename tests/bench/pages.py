"""What the pages cost and how late they are: real chromium, dead pages, an idle shop.

Used by ``suite.py``. Needs mosquitto and chromium.
"""

from __future__ import annotations

import http.client
import json
import os
import socket
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path

import flask
import waitress
from intake import CHANNELS, cpu_s, mqtt_shop, resident_kb, warm_up
from playwright.sync_api import sync_playwright

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "browser"))

from screenshots import CHROMIUM, FLAGS

from tests.field.bench_parts import Mosquitto, Publisher, free_port, wait_until
from tests.field.service_process import ServiceProcess

WATCH = """
() => {
  window.shown = [];
  const look = () => {
    const text = document.querySelector('.panel .degrees span').textContent;
    if (!shown.length || shown[shown.length - 1][0] !== text) shown.push([text, Date.now()]);
  };
  look();
  new MutationObserver(look).observe(document.body,
    { subtree: true, childList: true, characterData: true });
}
"""

NODES = 2

Late = list[float]


def _publish_all(publisher: Publisher, value_c: float) -> None:
    """A new value on every channel, so that the coldest is new too."""
    pack = [{"n": f"bench/{n}", "u": "Cel", "v": value_c} for n in range(CHANNELS)]
    publisher.client.publish("bench/x", json.dumps(pack).encode(), 1)


def publish_to_text(folder: Path, count: int) -> Late:
    """From just before ``publish`` until the text stands on the page [ms], in rising order.

    A page of its own in chromium that asks every half second, as it ships; the publishes fall
    anywhere within that half second. The values go down by a degree, as metal does.
    """
    broker = Mosquitto(folder)
    broker.start()
    shop = mqtt_shop(folder, broker)
    publisher = Publisher(broker.port)
    sent: dict[str, float] = {}
    try:
        shop.start()
        warm_up(shop, publisher)
        for second in range(20):  # long enough for the probes to have settled
            _publish_all(publisher, 300.0 - 0.1 * second)
            time.sleep(0.8)
        with sync_playwright() as play:
            browser = play.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
            page = browser.new_page()
            page.goto(f"http://127.0.0.1:{shop.port}/")
            page.wait_for_selector("body[data-link='live']")
            page.wait_for_selector(".panel .degrees span")
            page.evaluate(WATCH)
            for number in range(count):
                value = 297 - number
                sent[str(value)] = time.time()
                _publish_all(publisher, value)
                page.wait_for_timeout(1000 + 137 * number % 500)
            shown = {text: at_ms / 1000 for text, at_ms in page.evaluate("window.shown")}
            browser.close()
    finally:
        publisher.close()
        shop.end()
        broker.kill()
    missing = [text for text in sent if text not in shown]
    if missing:
        raise SystemExit(f"never shown on the page: {missing}")
    return sorted(1000 * (shown[text] - at_s) for text, at_s in sent.items())


def idle(folder: Path, seconds: float, heat: bool) -> tuple[float, float]:
    """Percent of one core and resident megabytes of the service.

    Eight channels at 4 Hz each, in packs of four from either of two nodes, one page open in
    chromium; with or without an open heat that has a forecast of all of them.
    """
    broker = Mosquitto(folder)
    broker.start()
    shop = mqtt_shop(folder, broker)
    publisher = Publisher(broker.port)
    stop = threading.Event()

    def publish() -> None:
        number = 0
        while not stop.wait(0.25 / NODES):
            node, value_c = number % NODES, round(300 - 0.01 * number, 2)
            records = [
                {"n": f"bench/{channel}", "u": "Cel", "v": value_c}
                for channel in range(node, CHANNELS, NODES)
            ]
            marks = {"boot": f"node{node}", "seq": number}
            records[0] = marks | records[0]
            publisher.client.publish("bench/x", json.dumps(records).encode(), 1)
            number += 1

    thread = threading.Thread(target=publish)
    try:
        shop.start()
        if heat:
            warm_up(shop, publisher)
        thread.start()
        with sync_playwright() as play:
            browser = play.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
            page = browser.new_page()
            page.goto(f"http://127.0.0.1:{shop.port}/")
            page.wait_for_selector("body[data-link='live']")
            time.sleep(15)
            assert shop.process is not None
            before_s = cpu_s(shop.process.pid)
            time.sleep(seconds)
            used_s = cpu_s(shop.process.pid) - before_s
            resident_mb = resident_kb(shop.process.pid) / 1024
            browser.close()
    finally:
        stop.set()
        if thread.ident is not None:
            thread.join()
        publisher.close()
        shop.end()
        broker.kill()
    return 100 * used_s / seconds, resident_mb


def _ask_often(port: int, path: str, seconds: float, late: Late) -> None:
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
    end_s = time.monotonic() + seconds
    while (turn_s := time.monotonic()) < end_s:
        begun_s = time.perf_counter()
        connection.request("GET", path)
        connection.getresponse().read()
        late.append(1000 * (time.perf_counter() - begun_s))
        time.sleep(max(0.0, turn_s + 0.5 - time.monotonic()))
    connection.close()


def _dead_page(port: int, path: str, number: int) -> socket.socket:
    """A page whose tablet has gone: it asked for something and takes no answer, or stopped in the
    midst of asking."""
    page = socket.create_connection(("127.0.0.1", port))
    page.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 1024)
    whole = f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n".encode()
    page.sendall(whole * 50 if number % 2 else whole[:-10])
    return page


def twenty_pages(port: int, path: str, seconds: float) -> Late:
    """Answers to ten live pages beside ten dead ones [ms], in rising order."""
    dead = [_dead_page(port, path, number) for number in range(10)]
    late: Late = []
    live = [
        threading.Thread(target=_ask_often, args=(port, path, seconds, late)) for _ in range(10)
    ]
    for each in live:
        each.start()
        time.sleep(0.05)
    for each in live:
        each.join()
    for page in dead:
        page.close()
    return sorted(late)


def plain_answers(body: bytes, measure: Callable[[int], Late]) -> Late:
    """The floor: the same bytes from a Flask function that does nothing, served the same way."""
    app = flask.Flask("floor")
    app.add_url_rule("/", "floor", lambda: flask.Response(body, mimetype="application/json"))
    port = free_port()
    child = os.fork()
    if not child:
        waitress.serve(app, host="127.0.0.1", port=port, threads=8, _quiet=True)
        os._exit(0)
    try:
        wait_until(lambda: _answers(port), "the plain answer")
        return measure(port)
    finally:
        os.kill(child, 15)
        os.waitpid(child, 0)


def _answers(port: int) -> bool:
    try:
        socket.create_connection(("127.0.0.1", port), timeout=1).close()
    except OSError:
        return False
    return True


def bench_body(shop: ServiceProcess) -> bytes:
    return json.dumps(shop.bench()).encode()
