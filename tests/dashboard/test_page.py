"""The page as served: safe headers, nothing inline, nothing from elsewhere, every text present."""

from __future__ import annotations

import gzip
import json
import re
from html.parser import HTMLParser
from importlib.resources import files

import pytest

STATIC = files("dashboard").joinpath("static")
SCRIPTS = {path.name: path.read_text("utf-8") for path in STATIC.joinpath("js").iterdir()}
WORDS = json.loads(files("dashboard").joinpath("strings", "en.json").read_text("utf-8"))


class Markup(HTMLParser):
    """Collects tags with their attributes, and text inside script and style elements."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.inline: list[tuple[dict[str, str | None], str]] = []
        self._open: dict[str, str | None] | None = None
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        self._open = dict(attrs) if tag in ("script", "style") else None

    def handle_data(self, data):
        if self._open is not None and data.strip():
            self.inline.append((self._open, data))

    def handle_endtag(self, tag):
        self._open = None


@pytest.fixture
def markup(client) -> Markup:
    return Markup(client.get("/").data.decode())


def test_policy_forbids_everything_but_our_own(client):
    for path in ("/", "/api/v1/bench", "/nothing"):
        answer = client.get(path)
        policy = answer.headers["Content-Security-Policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert "frame-ancestors 'none'" in policy
        assert answer.headers["X-Content-Type-Options"] == "nosniff"
        assert answer.headers["Referrer-Policy"] == "no-referrer"
        assert "Access-Control-Allow-Origin" not in answer.headers


def test_nothing_inline(markup):
    assert all(attributes["type"] == "application/json" for attributes, _ in markup.inline)
    for _, attributes in markup.tags:
        assert "style" not in attributes
        assert not any(name.startswith("on") for name in attributes)


def test_everything_named_is_ours_and_is_served(client, markup):
    for tag, attributes in markup.tags:
        address = attributes.get("src") or (attributes.get("href") if tag != "a" else None)
        if not address or address.startswith("#"):
            continue
        assert address.startswith("/assets/"), address
        answer = client.get(address)
        assert answer.status_code == 200
        assert "immutable" in answer.headers["Cache-Control"]


def embedded(client) -> dict[str, str]:
    """The data inside the page, by id."""
    return {a["id"]: text for a, text in Markup(client.get("/").data.decode()).inline}


def test_the_latest_answer_is_in_the_page(client, board):
    data = embedded(client)
    assert json.loads(data["first"])["parts"] == board.bench["parts"]
    etag = client.get("/api/v1/bench").headers["ETag"]
    page = client.get("/")
    assert f"data-etag={etag}" in page.text
    assert page.headers["Cache-Control"] == "no-store"
    assert '<article class="panel first" data-verdict="ready">' in page.text


def test_an_old_answer_is_not_in_the_page(client, board):
    import time

    from dashboard.first import FRESH_S

    board.hung_at = time.monotonic() - FRESH_S - 0.1
    assert "first" not in embedded(client)
    assert "panel first" not in client.get("/").text


def test_no_name_ends_the_data_or_becomes_markup(client, board, states):
    ready = states["ready"]["parts"][0]
    trick = "</script><script src=//elsewhere.example></script><!--<script>&amp;\u2028"
    board.show(states["ready"] | {"parts": [ready | {"name": trick, "verdict": "splendid"}]})
    page = client.get("/").text
    assert "<script src=//" not in page
    assert json.loads(embedded(client)["first"])["parts"][0]["name"] == trick
    assert '<article class="panel first" data-verdict="unknown">' in page


def test_modules_fetched_first_are_those_the_bench_needs(client):
    """One that is missing costs a round trip; one too many, bytes."""
    needed, queue = set(), ["main"]
    while queue:
        name = queue.pop()
        if name not in needed:
            needed.add(name)
            queue += re.findall(r"""from "\./(\w+)\.js";""", SCRIPTS[f"{name}.js"])
    assert set(json.loads(embedded(client)["modules"])) == needed


def test_every_import_is_served(client):
    page = client.get("/").data.decode()
    digest = re.search(r'data-page="(\w+)"', page)
    assert digest is not None
    for name, text in SCRIPTS.items():
        for wanted in re.findall(r"""(?:from|import\()\s*["'`]\./([\w.]+)["'`]""", text):
            assert wanted in SCRIPTS, f"{name} imports {wanted}"
            assert client.get(f"/assets/{digest[1]}/js/{wanted}").status_code == 200


def alike(page: bytes) -> bytes:
    """A page without what is each answer's own."""
    return re.sub(rb'nonce="[^"]+"', b"", page)


def test_compressed_for_who_asks(client):
    """RFC 9110, 8.4.1.3 and 12.5.3: gzip only when it is acceptable, and Vary says so."""
    plain = client.get("/")
    packed = client.get("/", headers={"Accept-Encoding": "br, gzip"})
    assert "Content-Encoding" not in plain.headers
    assert packed.headers["Content-Encoding"] == "gzip"
    assert packed.headers["Vary"] == plain.headers["Vary"] == "Accept-Encoding"
    assert alike(gzip.decompress(packed.data)) == alike(plain.data)
    refused = client.get("/", headers={"Accept-Encoding": "gzip;q=0, identity"})
    assert alike(refused.data) == alike(plain.data)
    address = re.search(r'"(/assets/\w+/app\.css)"', plain.text)
    assert address is not None
    style = client.get(address[1], headers={"Accept-Encoding": "gzip"})
    assert gzip.decompress(style.data) == client.get(address[1]).data


def test_assets_of_another_version_are_not_found(client):
    assert client.get("/assets/000000000000/app.css").status_code == 404


@pytest.mark.parametrize("path", ["../app.py", "js/../../app.py", "%2e%2e/app.py", "app.css/"])
def test_nothing_but_assets_is_served(client, path):
    page = client.get("/").data.decode()
    digest = page.split('data-page="')[1].split('"')[0]
    assert client.get(f"/assets/{digest}/{path}").status_code == 404


def test_no_address_elsewhere_in_any_file():
    for name, text in [
        *SCRIPTS.items(),
        ("app.css", STATIC.joinpath("app.css").read_text("utf-8")),
    ]:
        # The one allowed is a name space, which nothing ever asks for.
        assert "://" not in text.replace("http://www.w3.org/2000/svg", ""), name
        assert "innerHTML" not in text, name
        assert "eval(" not in text, name


def lookup(key: str) -> object:
    found: object = WORDS
    for step in key.split("."):
        found = found.get(step) if isinstance(found, dict) else None
    return found


def test_every_text_asked_for_exists():
    """Keys written out whole; those put together are seen by the browser tests."""
    asked = set()
    for text in SCRIPTS.values():
        asked |= set(re.findall(r"""\bt\("([\w.]+)\"""", text))
    assert len(asked) > 60
    assert [key for key in sorted(asked) if not isinstance(lookup(key), str)] == []


def test_every_word_of_the_judge_has_a_text():
    from typing import get_args

    from service.judge import actions, events
    from service.readings import ChannelKind

    assert set(get_args(events.AlarmKind)) == set(WORDS["alarm"]["kind"])
    assert set(get_args(events.Verdict)) == set(WORDS["verdict"])
    assert set(get_args(actions.Metal)) == set(WORDS["metal"])
    assert {kind.value for kind in ChannelKind} == set(WORDS["kind"]) == set(WORDS["kind_more"])
    assert set(get_args(actions.HeatPhase)) <= set(WORDS["phase"])


def test_wrong_page_tells_a_person_and_a_program(client):
    person = client.get("/nothing", headers={"Accept": "text/html,*/*;q=0.8"})
    assert person.status_code == 404
    assert person.mimetype == "text/html"
    program = client.get("/nothing")
    assert program.status_code == 404
    assert program.content_type == "application/problem+json"


def test_a_bug_is_told_without_its_insides(board):
    from dataclasses import replace

    from dashboard.app import create_app

    def broken():
        raise RuntimeError("secret path")

    client = create_app(replace(board.wiring(), latest=broken)).test_client()
    answer = client.get("/api/v1/bench")
    assert answer.status_code == 500
    assert answer.json["code"] == "internal"
    assert b"secret" not in answer.data
