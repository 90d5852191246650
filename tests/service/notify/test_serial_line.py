"""Text lines to a real pseudo-terminal."""

from __future__ import annotations

import os
import select
import tty
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.judge.events import AlarmChange, Outcome
from service.notify.outlet import PAUSES_S, QUEUE_LIMIT
from service.notify.serial_line import LINE_LIMIT, SerialLine, line_for

Alarm = Callable[..., Outcome]
Wait = Callable[[Callable[[], bool], str], None]


class Display:
    """The far end of a serial line."""

    def __init__(self, link: Path) -> None:
        self.link = link
        self.master, self.slave = os.openpty()
        tty.setraw(self.master)
        tty.setraw(self.slave)
        link.unlink(missing_ok=True)
        link.symlink_to(os.ttyname(self.slave))
        self._seen = b""

    def lines(self) -> list[bytes]:
        while select.select([self.master], [], [], 0)[0]:
            self._seen += os.read(self.master, 65536)
        return self._seen.split(b"\r\n")[:-1]

    def close(self) -> None:
        os.close(self.slave)
        os.close(self.master)


@pytest.fixture
def display(tmp_path: Path) -> Iterator[Display]:
    display = Display(tmp_path / "display")
    yield display
    display.close()


def test_each_change_is_a_line(
    display: Display, alarm: Alarm, verdict: Callable[[], Outcome], wait_until: Wait
) -> None:
    outlet = SerialLine(str(display.link), 9600)
    outlet.start()
    outlet.hear(verdict())  # not for this outlet
    for state in ("unacknowledged", "acknowledged", "returned", "normal"):
        outlet.hear(alarm(state=state))
    wait_until(lambda: len(display.lines()) == 4, "four lines")
    text = b"purge lost: Pump engine manifold at 210 C: no argon is flowing"
    assert display.lines() == [
        b"16:00:00Z RAISED " + text,
        b"16:00:00Z ACKNOWLEDGED " + text,
        b"16:00:00Z RETURNED " + text,
        b"16:00:00Z NORMAL " + text,
    ]
    assert outlet.stop(10.0)
    assert outlet.status().told == 4


@given(st.text(max_size=400))
def test_a_line_is_one_line_of_ascii_whatever_the_text(text: str) -> None:
    line = line_for(
        AlarmChange(1, "no data", None, None, "unacknowledged", 0, 0, 0, text, speak=True)
    )
    assert line.endswith(b"\r\n")
    assert b"\r" not in line[:-2]
    assert b"\n" not in line[:-2]
    assert len(line) <= LINE_LIMIT + 2
    line.decode("ascii")


def test_an_absent_port_is_named_and_what_comes_later_gets_through(
    tmp_path: Path, alarm: Alarm, wait_until: Wait
) -> None:
    link = tmp_path / "display"
    outlet = SerialLine(str(link), 9600, retry_s=0.01)
    outlet.start()
    wait_until(lambda: outlet.status().last_error is not None, "the failure to open")
    assert outlet.status().failed == 0
    outlet.hear(alarm(1))
    wait_until(
        lambda: outlet.status().failed == 1, f"giving up after {(len(PAUSES_S) + 1)} attempts"
    )
    assert "cannot be opened" in str(outlet.status().last_error)
    assert not outlet.status().working
    display = Display(link)
    outlet.hear(alarm(2))
    wait_until(lambda: len(display.lines()) == 1, "the second alarm")
    wait_until(lambda: outlet.status().working, "working again")
    assert outlet.stop(10.0)
    display.close()


def test_a_display_unplugged_and_plugged_in_again_works_again(
    display: Display, tmp_path: Path, alarm: Alarm, wait_until: Wait
) -> None:
    outlet = SerialLine(str(display.link), 9600, retry_s=0.01)
    outlet.start()
    outlet.hear(alarm(1))
    wait_until(lambda: outlet.status().told == 1, "the first line")
    os.close(display.master)
    display.master = os.open(os.devnull, os.O_RDONLY)
    outlet.hear(alarm(2))
    wait_until(lambda: outlet.status().failed >= 1 or outlet.status().told >= 2, "the second line")
    again = Display(tmp_path / "display")
    told = outlet.status().told
    outlet.hear(alarm(3))
    wait_until(lambda: outlet.status().told > told, "the third line")
    assert any(b"RAISED" in line for line in again.lines())
    assert outlet.stop(10.0)
    again.close()


def test_hearing_never_blocks_and_an_overflow_is_counted(tmp_path: Path, alarm: Alarm) -> None:
    outlet = SerialLine(str(tmp_path / "absent"), 9600)  # not started: nobody takes anything
    for number in range(QUEUE_LIMIT + 7):
        outlet.hear(alarm(number))
    status = outlet.status()
    assert (status.waiting, status.dropped, status.running) == (QUEUE_LIMIT, 7, False)
