"""The host sounder with a real program: a script that writes down that it ran."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from service.judge.events import Outcome
from service.notify.sounder import Sounder

Alarm = Callable[..., Outcome]
Wait = Callable[[Callable[[], bool], str], None]


class Bell:
    """A sounder program and what it wrote down."""

    def __init__(self, folder: Path) -> None:
        self.book = folder / "book"
        self.pids = folder / "pids"
        self.script = folder / "bell.py"
        self.book.touch()
        self.pids.touch()

    def argv(self, then: str = "") -> list[str]:
        """A program that notes its alarm, and then does something."""
        self.script.write_text(
            "import os, sys, time, subprocess\n"
            f"open({str(self.pids)!r}, 'a').write(f'{{os.getpid()}}\\n')\n"
            "said = [os.environ[f'HEATWINDOW_ALARM_{x}'] for x in ('KIND', 'TEXT')]\n"
            "said += sys.argv[1:]\n"
            f"open({str(self.book)!r}, 'a').write('|'.join(said) + '\\n')\n"
            f"{then}\n",
            encoding="utf-8",
        )
        return [sys.executable, str(self.script), "loud; rm -rf $HOME", "*"]

    def rung(self) -> list[str]:
        return self.book.read_text(encoding="utf-8").splitlines()

    def running(self) -> list[int]:
        found = []
        for pid in self.pids.read_text(encoding="utf-8").split():
            try:
                os.kill(int(pid), 0)
                state = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0]
            except (ProcessLookupError, FileNotFoundError):
                continue
            if state != "Z":
                found.append(int(pid))
        return found


@pytest.fixture
def bell(tmp_path: Path) -> Bell:
    return Bell(tmp_path)


@pytest.fixture
def start() -> Iterator[Callable[..., Sounder]]:
    sounders: list[Sounder] = []

    def make(argv: list[str], every_s: float = 0.2, timeout_s: float = 30.0) -> Sounder:
        sounder = Sounder(argv, every_s, timeout_s)
        sounders.append(sounder)
        sounder.start()
        return sounder

    yield make
    for sounder in sounders:
        assert sounder.stop(10.0)


def test_it_rings_with_the_alarm_and_without_a_shell(
    bell: Bell, start: Callable[..., Sounder], alarm: Alarm, wait_until: Wait
) -> None:
    sounder = start(bell.argv(), every_s=3600.0)
    sounder.hear(alarm())
    wait_until(lambda: len(bell.rung()) == 1, "the bell")
    assert bell.rung() == [
        "purge lost|Pump engine manifold at 210 °C: no argon is flowing|loud; rm -rf $HOME|*"
    ]
    wait_until(lambda: sounder.status().told == 1, "the count")
    assert sounder.status().last_error is None


def test_it_rings_again_until_acknowledged(
    bell: Bell, start: Callable[..., Sounder], alarm: Alarm, wait_until: Wait
) -> None:
    sounder = start(bell.argv())
    sounder.hear(alarm(1))
    sounder.hear(alarm(2))
    wait_until(lambda: len(bell.rung()) >= 4, "four rings")
    sounder.hear(alarm(1, "acknowledged"))
    before = len(bell.rung())
    wait_until(lambda: len(bell.rung()) >= before + 2, "two more for the other alarm")
    sounder.hear(alarm(2, "returned"))
    sounder.hear(alarm(2, "normal"))
    wait_until(lambda: not bell.running(), "silence")
    told = sounder.status().told
    # A new alarm is the proof that nothing else was waiting to ring in between.
    sounder.hear(alarm(3))
    wait_until(lambda: sounder.status().told > told, "the next alarm")


def test_an_acknowledgement_ends_the_sound_in_the_middle(
    bell: Bell, start: Callable[..., Sounder], alarm: Alarm, wait_until: Wait
) -> None:
    child = "subprocess.run([sys.executable, '-c', 'import time; time.sleep(600)'])"
    sounder = start(bell.argv(child), every_s=3600.0)
    sounder.hear(alarm())
    wait_until(lambda: len(bell.running()) == 1, "the sound")
    sounder.hear(alarm(state="acknowledged"))
    wait_until(lambda: not bell.running(), "silence")
    assert sounder.status().failed == 0


def test_an_alarm_that_went_by_itself_is_still_heard_once(
    bell: Bell, start: Callable[..., Sounder], alarm: Alarm, wait_until: Wait
) -> None:
    sounder = Sounder(bell.argv(), 0.2, 30.0)
    sounder.hear(alarm())
    sounder.hear(alarm(state="returned"))
    sounder.start()
    wait_until(lambda: len(bell.rung()) == 1, "the bell")
    sounder.stop(10.0)
    assert len(bell.rung()) == 1


def test_an_alarm_acknowledged_before_its_turn_is_silent(
    bell: Bell, start: Callable[..., Sounder], alarm: Alarm, wait_until: Wait
) -> None:
    sounder = Sounder(bell.argv(), 3600.0, 30.0)
    sounder.hear(alarm(1))
    sounder.hear(alarm(1, "acknowledged"))
    sounder.hear(alarm(2))
    sounder.start()
    wait_until(lambda: sounder.status().told == 1, "the second alarm")
    sounder.stop(10.0)
    assert len(bell.rung()) == 1


def test_one_that_worsens_speaks_again(
    bell: Bell, start: Callable[..., Sounder], alarm: Alarm, wait_until: Wait
) -> None:
    sounder = start(bell.argv(), every_s=3600.0)
    sounder.hear(alarm())
    wait_until(lambda: sounder.status().told == 1, "the bell")
    sounder.hear(alarm(state="acknowledged"))
    sounder.hear(alarm(state="unacknowledged", speak=True))
    wait_until(lambda: sounder.status().told == 2, "the bell again")


def test_a_program_that_hangs_is_ended_and_named(
    bell: Bell, start: Callable[..., Sounder], alarm: Alarm, wait_until: Wait
) -> None:
    import_signal = "import signal; signal.signal(signal.SIGTERM, signal.SIG_IGN); time.sleep(600)"
    sounder = start(bell.argv(import_signal), every_s=3600.0, timeout_s=0.5)
    sounder.hear(alarm())
    wait_until(lambda: sounder.status().failed == 1, "the failure")
    assert "was ended after 0.5 s" in str(sounder.status().last_error)
    assert not sounder.status().working
    assert bell.running() == []


@pytest.mark.parametrize(
    ("argv", "words"),
    [
        (["/no/such/program"], "cannot be run"),
        ([sys.executable, "-c", "raise SystemExit(3)"], "ended with code 3"),
    ],
)
def test_a_program_that_fails_is_named_and_tried_again(
    argv: list[str],
    words: str,
    start: Callable[..., Sounder],
    alarm: Alarm,
    wait_until: Wait,
) -> None:
    sounder = start(argv)
    sounder.hear(alarm())
    wait_until(lambda: sounder.status().failed >= 2, "two attempts")
    assert words in str(sounder.status().last_error)
    assert sounder.status().running


def test_stopping_ends_a_running_sound(bell: Bell, alarm: Alarm, wait_until: Wait) -> None:
    sounder = Sounder(bell.argv("time.sleep(600)"), 3600.0, 600.0)
    sounder.start()
    sounder.hear(alarm())
    wait_until(lambda: len(bell.running()) == 1, "the sound")
    assert sounder.stop(10.0)
    assert bell.running() == []
