"""A little fuzzing on every run of the tests; millions of inputs are a command."""

from __future__ import annotations

import json
import logging
import random
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.field import fuzz
from tests.field.fuzz import Mutator, Tally, begin_worker, feed, run_block
from tests.field.fuzz_targets import Target, hold, targets


@pytest.fixture
def quick_alarm(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    before = signal.getsignal(signal.SIGALRM)
    begin_worker()
    logging.disable(logging.NOTSET)
    monkeypatch.setattr(fuzz, "HANG_S", 0.05)
    yield
    signal.signal(signal.SIGALRM, before)


def test_the_command_finds_nothing_and_reaches_everything(tmp_path: Path) -> None:
    out = tmp_path / "report.json"
    command = [sys.executable, fuzz.__file__, "--seed=20261125", "--inputs=12000", f"--out={out}"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=170, check=False)
    report = json.loads(out.read_text())
    assert (done.returncode, report["findings"]) == (0, []), done.stderr
    assert (report["seed"], report["inputs"]) == (20261125, 12_000)
    assert report["commit"]
    reached = {name for name, tally in report["tallies"].items() if tally["refused"]}
    assert reached == set(targets(tmp_path)), "every reader was given something it refused"


def test_sound_input_is_taken_by_every_reader(tmp_path: Path) -> None:
    for name, target in targets(tmp_path).items():
        if name != "pin file":  # whoever has no PIN is refused, whatever the file says
            assert "taken" in {target.feed(seed) for seed in target.seeds}, name


def test_the_same_seed_feeds_the_same() -> None:
    first, again = run_block(7, 3, 300), run_block(7, 3, 300)
    assert [(t.taken, t.refused) for t in first.tallies.values()] == [
        (t.taken, t.refused) for t in again.tallies.values()
    ]


def _slips(data: bytes) -> str:
    hold(b"1" in data, "a one is gone")
    return "taken"


def _hangs(_data: bytes) -> str:
    while True:
        pass


@pytest.mark.usefixtures("quick_alarm")
@pytest.mark.parametrize(("reader", "says"), [(_slips, "a one is gone"), (_hangs, "no answer")])
def test_what_slips_or_hangs_is_found(reader, says: str) -> None:
    """The fuzzer itself must be able to fail."""
    target, maker = Target(reader, (b"1111",), (b"2",), 1), Mutator(random.Random(1))
    found = [
        feed(target, maker.make(target), Tally()) for _ in range(3 if reader is _hangs else 99)
    ]
    assert any(says in what for what in found if what)
