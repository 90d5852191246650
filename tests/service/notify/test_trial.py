"""Trying an outlet: a test notice that nobody takes for an alarm, and what became of it."""

from __future__ import annotations

import os
import sys
import threading
import tty
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from service.config import NotifyConfig
from service.config.notify import EmailConfig, WebhookConfig
from service.judge.events import Outcome
from service.notify.forms import TrialNotice
from service.notify.notifier import notifier_for
from service.notify.outlet import Change, Outlet, TellFailed
from service.notify.serial_line import SerialLine
from service.notify.sounder import Sounder

Alarm = Callable[..., Outcome]
Wait = Callable[[Callable[[], bool], str], None]
NOTICE = TrialNotice(1_764_000_000_250_000)


class Held(Outlet):
    """Tells when it is let; notes everything in order."""

    def __init__(self, fails: int = 0) -> None:
        super().__init__("held", "held", (30.0,))
        self.fails = fails
        self.did: list[str] = []
        self.go = threading.Event()
        self.go.set()

    def deliver(self, change: Change) -> None:
        self.did.append("alarm")
        self.go.wait(30)
        if self.fails:
            self.fails -= 1
            raise TellFailed("not now")

    def deliver_trial(self, notice: TrialNotice) -> str:
        self.did.append("trial")
        if self.fails == -1:
            raise ValueError("a fault of ours")
        return "went"


def trial_state(outlet: Outlet) -> str | None:
    trial = outlet.status().trial
    return None if trial is None else trial.state


def test_an_alarm_comes_before_a_trial(alarm: Alarm, wait_until: Wait) -> None:
    outlet = Held()
    outlet.try_out(NOTICE)
    outlet.hear(alarm(1))
    outlet.hear(alarm(2))
    outlet.start()
    wait_until(lambda: trial_state(outlet) == "told", "the trial")
    assert outlet.did == ["alarm", "alarm", "trial"]
    assert outlet.stop(10.0)


def test_a_trial_does_not_wait_for_the_pause_between_attempts(
    alarm: Alarm, wait_until: Wait
) -> None:
    outlet = Held(fails=1)
    outlet.start()
    outlet.hear(alarm())
    wait_until(lambda: outlet.status().working is False, "the failed attempt")
    outlet.try_out(NOTICE)
    wait_until(lambda: trial_state(outlet) == "told", "the trial")
    assert outlet.did == ["alarm", "trial"]
    assert outlet.status().working, "it has just been seen to work"
    assert outlet.stop(10.0)


def test_one_that_waits_is_not_asked_for_twice(alarm: Alarm, wait_until: Wait) -> None:
    outlet = Held()
    outlet.go.clear()
    outlet.start()
    outlet.hear(alarm())
    wait_until(lambda: outlet.did == ["alarm"], "the alarm")
    for _ in range(3):
        outlet.try_out(NOTICE)
    assert trial_state(outlet) == "waiting"
    outlet.go.set()
    wait_until(lambda: trial_state(outlet) == "told", "the trial")
    assert outlet.did == ["alarm", "trial"]
    assert outlet.stop(10.0)


def test_a_fault_of_ours_is_told_and_the_outlet_goes_on(
    alarm: Alarm, wait_until: Wait, caplog: pytest.LogCaptureFixture
) -> None:
    outlet = Held(fails=-1)
    outlet.start()
    outlet.try_out(NOTICE)
    wait_until(lambda: trial_state(outlet) == "failed", "the trial")
    assert outlet.status().trial.text == "ValueError: a fault of ours"
    outlet.fails = 0
    outlet.hear(alarm())
    wait_until(lambda: outlet.status().told == 1, "the alarm")
    assert outlet.stop(10.0)


def test_one_that_nobody_will_send_any_more_has_failed(alarm: Alarm, wait_until: Wait) -> None:
    outlet = Held()
    outlet.go.clear()
    outlet.start()
    outlet.hear(alarm())
    wait_until(lambda: outlet.did == ["alarm"], "the alarm")
    outlet.try_out(NOTICE)
    outlet.stop(0.0)
    outlet.go.set()
    wait_until(lambda: not outlet.status().running, "the end")
    assert trial_state(outlet) == "failed"
    assert outlet.did == ["alarm"]


@pytest.mark.parametrize(
    ("code", "state", "words"),
    [("", "told", "has run"), ("raise SystemExit(3)", "failed", "ended with code 3")],
)
def test_the_sounder_sounds_once_and_not_as_an_alarm(
    code: str, state: str, words: str, tmp_path: Path, wait_until: Wait
) -> None:
    book = tmp_path / "book"
    note = f"import os; open({str(book)!r}, 'a').write(os.environ['HEATWINDOW_ALARM_KIND'] + ';')"
    outlet = Sounder([sys.executable, "-c", f"{note}\n{code}"], 0.05, 30.0)
    outlet.start()
    for _ in range(2):
        outlet.try_out(NOTICE)
        wait_until(lambda: trial_state(outlet) == state, "the trial")
        assert words in outlet.status().trial.text
    assert outlet.stop(10.0)
    assert set(book.read_text().split(";")) == {"test", ""}


def test_the_serial_line_says_test(wait_until: Wait) -> None:
    master, slave = os.openpty()
    tty.setraw(slave)
    outlet = SerialLine(os.ttyname(slave), 9600)
    outlet.start()
    outlet.try_out(NOTICE)
    wait_until(lambda: trial_state(outlet) == "told", "the trial")
    assert os.read(master, 1000) == (
        b"16:00:00Z TEST Test notice: no alarm, somebody tries whether this arrives.\r\n"
    )
    assert outlet.stop(10.0)
    os.close(master)
    os.close(slave)


def test_every_configured_outlet_is_there_by_its_key() -> None:
    published: list[str] = []

    def publish(topic: str, payload: bytes, **_: Any) -> bool:
        published.append(topic)
        return True

    wanted = NotifyConfig(
        sounder=["true"],
        serial_port="/dev/null",
        mqtt_topic="a",
        webhook=WebhookConfig(url="https://relay.example/x"),
        email=EmailConfig(host="mail.example", sender="a@b.example", recipients=["c@d.example"]),
    )
    notifier = notifier_for(wanted, publish)
    keys = [status.key for status in notifier.status()]
    assert keys == ["sounder", "serial", "mqtt", "webhook", "email"]
    assert not notifier.try_out("lamp", NOTICE)
    assert notifier.try_out("mqtt", NOTICE)
    assert [trial_state(outlet) for outlet in notifier.outlets].count("waiting") == 1
