"""The faults of the mixed campaign: each begins now and gives back what ends it.

A fault that needs a whole service (its process running, its port plugged in) looks first, because
another one may have begun before it in the same step.
"""

from __future__ import annotations

import signal
import socket
import threading
import time
from collections.abc import Callable
from typing import TYPE_CHECKING

from tests.field.bench_parts import wait_until
from tests.field.campaign_checks import hold_locked
from tests.field.campaign_world import FLOW, PROBES, TOPIC

if TYPE_CHECKING:
    from tests.field.campaign import Campaign

End = Callable[[], None] | None

DISK_ROOM_BYTES = 256 * 1024
STEPS_S = (-86_400, -3600, -60, -1, 0, 1, 60, 3600, 86_400)
GARBAGE = (
    b"\x00\xff\x13 garbage \xc3\n",
    b'[{"n":"half a line\n',
    b"x" * 100_000 + b"\n",
    b'[{"n":"serial/nan","u":"Cel","v":NaN}]\n',
    b"\n" * 200,
)


def sigkill(campaign: Campaign) -> End:
    campaign.kill_service()
    return None


def stop(campaign: Campaign) -> End:
    campaign.stop_service()
    return None


def frozen(campaign: Campaign) -> End:
    """The machine sleeps: its process stands still, and its time goes by at once."""
    process = campaign.service.process
    assert process is not None
    since_s = time.monotonic()
    campaign.watch.away = True
    process.send_signal(signal.SIGSTOP)
    asleep_s = campaign.chance.choice([30.0, 600.0, 7200.0])
    campaign.clock.let_pass(asleep_s)
    campaign.report.hours_asleep += asleep_s / 3600
    process.send_signal(signal.SIGCONT)
    # The first answer may still be the one from before it.
    asked_s = campaign.world.now_s()

    def awake() -> bool:
        if not campaign.answers():
            return False
        return campaign.watch.true_s(campaign.service.bench()["at"]) >= asked_s

    wait_until(awake, "an answer of after the sleep", 60)
    campaign.watch.away = False
    campaign.line_down(since_s)
    return None


def broker_killed(campaign: Campaign) -> End:
    campaign.kill_broker()
    return lambda: _broker_back(campaign)


def broker_stopped(campaign: Campaign) -> End:
    campaign.world.broker_reachable = False
    campaign.broker.stop()
    return lambda: _broker_back(campaign)


def _broker_back(campaign: Campaign) -> None:
    if campaign.broker.process is None:
        campaign.broker.start()
    campaign.world.broker_reachable = True


def broker_frozen(campaign: Campaign) -> End:
    if campaign.broker.process is None:
        return None
    campaign.world.broker_reachable = False
    campaign.broker.freeze()

    def end() -> None:
        if campaign.broker.process is not None:
            campaign.broker.thaw()
            campaign.world.broker_reachable = True

    return end


def unplugged(campaign: Campaign) -> End:
    with campaign.world.line:
        since_s = time.monotonic()
        campaign.port.write_what_fits(b'[{"n":"serial/probe","u":"Cel","v":99')
        campaign.port.unplug()

    def end() -> None:
        with campaign.world.line:
            campaign.port.plug_in()
        wait_until(campaign.line_open, "the line open after the plug", 60)
        campaign.line_down(since_s)

    return end


def garbage(campaign: Campaign) -> End:
    since_s = time.monotonic()
    with campaign.world.line:
        if campaign.port.plugged_in:
            campaign.port.write_what_fits(campaign.chance.choice(GARBAGE))
    for junk in (b"", b"[", b'[{"n":1}]', b"\xff" * 500, b'[{"n":"x","v":1e999}]'):
        campaign.world.publish_junk(f"{TOPIC}/junk", junk)
    # What does not fit into a full terminal is cut off anywhere, and spoils the line after it.
    campaign.line_down(since_s + 1.5)
    return None


def disk_full(campaign: Campaign) -> End:
    process = campaign.service.process
    campaign.service.fill_disk(DISK_ROOM_BYTES)

    def end() -> None:
        if campaign.service.process is process:
            campaign.service.fill_disk(None)

    return end


def database_locked(campaign: Campaign) -> End:
    halt = threading.Event()
    holder = threading.Thread(target=hold_locked, args=(campaign.service.database, halt))
    holder.start()

    def end() -> None:
        halt.set()
        holder.join()

    return end


def clock_set(campaign: Campaign) -> End:
    to_s = float(campaign.chance.choice(STEPS_S))
    before_us = campaign.clock.set_us()
    campaign.watch.set_us = (before_us, round(to_s * 1e6))
    campaign.clock.set_wall_clock(to_s)
    return None


def node_reset(campaign: Campaign) -> End:
    campaign.world.reset_node()
    return None


def _channel_fault(campaign: Campaign, names: tuple[str, ...], kinds: tuple[str, ...]) -> End:
    name = campaign.chance.choice(names)
    campaign.world.faulty[name] = campaign.chance.choice(kinds)
    return lambda: campaign.world.faulty.pop(name, None) and None


def probe_fault(campaign: Campaign) -> End:
    return _channel_fault(campaign, PROBES, ("open-circuit", "short-to-ground"))


def probe_silent(campaign: Campaign) -> End:
    return _channel_fault(campaign, PROBES, ("silent",))


def flow_lost(campaign: Campaign) -> End:
    return _channel_fault(campaign, (FLOW,), ("none",))


def flow_meter_silent(campaign: Campaign) -> End:
    return _channel_fault(campaign, (FLOW,), ("silent",))


def pages_half_dead(campaign: Campaign) -> End:
    """Twenty browsers that asked for half a page and went away without a word."""
    half = [socket.create_connection(("127.0.0.1", campaign.service.port)) for _ in range(20)]
    for each in half:
        each.sendall(b"GET /api/v1/bench HTTP/1.1\r\nHost: 127.0.0.1\r\n")

    def end() -> None:
        for each in half:
            each.close()

    return end


FAULTS: dict[str, Callable[[Campaign], End]] = {
    "sigkill": sigkill,
    "stop": stop,
    "frozen": frozen,
    "broker killed": broker_killed,
    "broker stopped": broker_stopped,
    "broker frozen": broker_frozen,
    "unplugged": unplugged,
    "garbage": garbage,
    "disk full": disk_full,
    "database locked": database_locked,
    "clock set": clock_set,
    "node reset": node_reset,
    "probe fault": probe_fault,
    "probe silent": probe_silent,
    "flow lost": flow_lost,
    "flow meter silent": flow_meter_silent,
    "pages half dead": pages_half_dead,
}
