"""A short mixed campaign on every run of the tests; the long one is a command."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from tests.field import campaign
from tests.field.campaign_checks import count_stream, stream_faults
from tests.field.campaign_world import BASE_S, STEP_S, Said

MINUTES = 14.0


@pytest.mark.mosquitto
def test_nothing_promised_is_broken_and_the_command_says_what_it_did(tmp_path: Path) -> None:
    out = tmp_path / "campaign.json"
    done = subprocess.run(
        [
            sys.executable,
            campaign.__file__,
            "--seed=20261125",
            f"--hours={MINUTES / 60}",
            "--kills=1",
            "--pause-s=2",
            f"--out={out}",
        ],
        capture_output=True,
        text=True,
        timeout=170,
        check=False,
    )
    assert done.returncode == 0, done.stdout[-3000:] + done.stderr[-3000:]
    report = json.loads(out.read_text())
    assert (report["seed"], report["faults"]) == (20261125, [])
    assert report["commit"]
    assert report["hours"] >= MINUTES / 60
    assert report["sigkills"] >= 1
    assert sum(report["did"].values()) > report["sigkills"], "other faults too"
    assert report["looks_ready"] > 0, "never ready proves nothing"
    for name, counts in report["streams"].items():
        assert counts["sent"] > 50, name


def test_losses_repeats_and_changes_are_found() -> None:
    """The campaign itself must be able to fail."""

    def row(number: int, value: float | None = None) -> tuple[int, float]:
        return round((BASE_S + number * STEP_S) * 1e6), float(number if value is None else value)

    sound = [row(number) for number in range(5)]
    assert stream_faults("s", count_stream(sound, 5, set())) == []
    assert stream_faults("s", count_stream(sound[:4], 5, {4})) == []
    for rows in (sound[:4], [*sound, row(2)], [*sound[:4], row(4, 4.5)], [*sound, row(3, 9)]):
        (fault,) = stream_faults("s", count_stream(rows, 5, set()))
        assert fault.startswith("s: ")


def test_the_age_of_what_was_said() -> None:
    said = Said([10.0, 20.0])
    assert said.age_s(9.0) == float("inf")
    assert (said.age_s(10.0), said.age_s(19.0), said.age_s(25.0)) == (0.0, 9.0, 5.0)
