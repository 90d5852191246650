"""A scripted board behind the real app, asked through Flask's test client."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest
from flask.testing import FlaskClient

from dashboard.app import create_app


def _load(name: str, path: Path) -> ModuleType:
    """Test folders are no packages; the scripted board is shared with the browser tests."""
    if name in sys.modules:
        return sys.modules[name]
    spec = importlib.util.spec_from_file_location(name, path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


scripted = _load("scripted", Path(__file__).parents[1] / "browser" / "scripted.py")


@pytest.fixture
def states() -> dict:
    """Every scripted bench answer, by name."""
    return scripted.STATES


@pytest.fixture
def scripted_answers() -> ModuleType:
    """The scripted answers and what they are made of."""
    return scripted


@pytest.fixture
def board() -> object:
    return scripted.ScriptedBoard("ready")


@pytest.fixture
def notice() -> object:
    """A notice as the store gives it."""
    return scripted.SET_ASIDE


@pytest.fixture
def client(board) -> FlaskClient:
    return create_app(board.wiring()).test_client()


@pytest.fixture
def post(client):
    """Post an action as our own page does; headers may be changed or, with None, left out."""

    def send(body: object, **headers: str | None):
        base = {"X-Heatwindow": "page", "Content-Type": "application/json"}
        for name, value in headers.items():
            key = name.replace("_", "-")
            base.pop(key, None)
            if value is not None:
                base[key] = value
        if isinstance(body, bytes):
            return client.post("/api/v1/actions", data=body, headers=base)
        import json

        return client.post("/api/v1/actions", data=json.dumps(body), headers=base)

    return send
