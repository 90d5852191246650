"""``heatwindow run`` as a real process: starts, answers, ends."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import urllib.request
from pathlib import Path

import pytest


@pytest.fixture
def config(tmp_path: Path) -> Path:
    file = tmp_path / "shop.toml"
    file.write_text("[store]\nurl = 'sqlite:///shop.db'\n[dashboard]\nport = 0\n", encoding="utf-8")
    return file


def started(config: Path) -> tuple[subprocess.Popen[str], str]:
    child = subprocess.Popen(
        [sys.executable, "-m", "service.commands.main", "run", "--config", str(config)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert child.stdout is not None
    return child, child.stdout.readline().strip()


def ended(child: subprocess.Popen[str]) -> tuple[int, str]:
    _, errors = child.communicate(timeout=60)
    return child.returncode, errors


@pytest.mark.parametrize("sort", [signal.SIGTERM, signal.SIGINT])
def test_it_serves_the_bench_and_ends_on_a_signal(config: Path, sort: signal.Signals) -> None:
    child, address = started(config)
    with urllib.request.urlopen(f"{address.rstrip('/')}/api/v1/bench", timeout=20) as answer:
        bench = json.load(answer)
    assert bench["parts"] == []
    assert bench["recording"] is True
    child.send_signal(sort)
    code, errors = ended(child)
    assert code == 0, errors
    assert "Traceback" not in errors
    assert (config.parent / "shop.db").exists()


def test_a_second_one_on_the_same_database_is_refused(config: Path) -> None:
    first, _ = started(config)
    second, address = started(config)
    code, errors = ended(second)
    first.terminate()
    assert ended(first)[0] == 0
    assert (code, address) == (1, "")
    assert "shop.db" in errors
    assert "Traceback" not in errors


def test_a_wrong_config_opens_nothing(tmp_path: Path) -> None:
    file = tmp_path / "shop.toml"
    file.write_text("[store]\nurl = 'sqlite:///shop.db'\nurll = 1\n", encoding="utf-8")
    child, _ = started(file)
    code, errors = ended(child)
    assert code == 2
    assert "store.urll" in errors
    assert not (tmp_path / "shop.db").exists()
