"""A short kill campaign on every run of the tests; the long one is a command."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from tests.field import kill_campaign
from tests.field.kill_campaign import Away, Campaign

pytestmark = [pytest.mark.mosquitto, pytest.mark.timeout(300)]


def test_nothing_promised_is_lost_by_kills(tmp_path: Path) -> None:
    report = Campaign(tmp_path, seed=20260303).run(4)
    assert report.faults == []
    assert report.timed.rows == report.timed.sent > 100
    assert report.marked.rows == report.marked.sent > 100
    assert report.serial.rows > 0.5 * report.serial.sent


def test_the_command_writes_its_report(tmp_path: Path) -> None:
    out = tmp_path / "report.json"
    done = subprocess.run(
        [
            sys.executable,
            kill_campaign.__file__,
            "--seed=7",
            "--kills=1",
            "--rate=50",
            f"--out={out}",
        ],
        capture_output=True,
        text=True,
        timeout=200,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    report = json.loads(out.read_text())
    assert (report["seed"], report["kills"], report["faults"]) == (7, 1, [])
    assert report["commit"]


def test_losses_that_no_kill_explains_are_found(tmp_path: Path) -> None:
    """The campaign itself must be able to fail."""
    campaign = Campaign(tmp_path, seed=1)
    campaign._aways = [Away(100.0, 103.0), Away(200.0, 204.0)]
    before, away, outside, longest_s = campaign._where_lost(
        [99.5, 101.0, 103.5, 197.0, 198.5, 205.0]
    )
    assert (before, away, outside, longest_s) == (2, 1, 3, 1.5)
