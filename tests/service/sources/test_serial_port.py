"""A real pseudo-terminal at the far end, doing what cables and boards do."""

from __future__ import annotations

import threading

import pytest

from service.clock import SystemClock
from service.sources.serial_port import SerialLink
from service.wire.pack import RejectCause
from service.wire.senml import Value, encode_pack
from tests.field.bench_parts import ScriptedPort, wait_until


def line(value: float, **marks: object) -> bytes:
    return encode_pack([Value("port2", value, "Cel")], base_name="node1:", **marks) + b"\n"


@pytest.fixture
def link(scripted_port: ScriptedPort, intake):
    link = SerialLink(str(scripted_port.path), intake, SystemClock())
    link.start()
    yield link
    assert link.stop(), "the thread did not end within 5 s"
    assert not link.alive()


def test_lines_arrive_in_order_with_counts(link, scripted_port, intake):
    scripted_port.write(b"".join(line(value) for value in range(500)))
    assert intake.wait_for(500) == list(range(500))
    status = link.status()
    assert status.lines == 500
    assert status.measurements == 500
    assert status.state == "open"
    assert status.ready
    assert status.last_valid_us is not None
    assert not status.rejects


def test_garbage_half_lines_dribble_and_an_endless_line_lose_no_good_line(
    link, scripted_port, intake
):
    scripted_port.write(bytes(range(256)) * 4 + b"\n" + line(1))
    scripted_port.write(line(99)[:20] + b"\n" + line(2))  # broken off, line end came
    scripted_port.write(line(99)[:20] + line(3))  # broken off, no line end: glued together
    for byte in line(4):
        scripted_port.write(bytes([byte]))
    scripted_port.write(b"x" * 1_000_000)
    scripted_port.write(b"\n" + line(5))
    assert intake.wait_for(5) == [1, 2, 3, 4, 5]
    rejects = link.status().rejects
    assert rejects[RejectCause.LENGTH] == 1
    assert rejects[RejectCause.SYNTAX] >= 3
    assert link._lines.held_bytes == 0


def test_unplugged_in_mid_line_and_plugged_in_again(link, scripted_port, intake):
    scripted_port.write(line(1) + line(99)[:30])
    intake.wait_for(1)
    wait_until(lambda: link._lines.held_bytes == 30, "the half line")
    scripted_port.unplug()
    wait_until(lambda: link.status().state.startswith("no such port"), "the missing port")
    assert not link.status().ready
    scripted_port.plug_in()
    scripted_port.write(line(2))
    assert intake.wait_for(2) == [1, 2]
    assert link.status().openings == 2
    assert link.status().rejects[RejectCause.SYNTAX] == 1


def test_another_device_under_the_same_name_is_noticed(link, scripted_port, intake, tmp_path):
    """The old one says nothing more but gives no error either."""
    scripted_port.write(line(1))
    intake.wait_for(1)
    other = ScriptedPort(tmp_path / "other")
    other.plug_in()
    scripted_port.path.unlink()
    scripted_port.path.symlink_to((tmp_path / "other").readlink())
    other.write(line(2))
    assert intake.wait_for(2) == [1, 2]
    other.unplug()


def test_port_missing_at_start_is_opened_when_it_comes(tmp_path, intake):
    port = ScriptedPort(tmp_path / "late")
    link = SerialLink(str(port.path), intake, SystemClock())
    link.start()
    wait_until(lambda: "no such port" in link.status().state, "the missing port")
    port.plug_in()
    port.write(line(7))
    assert intake.wait_for(1) == [7]
    assert link.stop()
    port.unplug()


def test_a_port_that_is_held_is_named_busy_and_read_when_free(scripted_port, intake):
    first = SerialLink(str(scripted_port.path), intake, SystemClock(), name="first")
    first.start()
    wait_until(lambda: first.status().ready, "the first opening")
    second = SerialLink(str(scripted_port.path), intake, SystemClock(), name="second")
    second.start()
    wait_until(lambda: "port busy" in second.status().state, "the second to be refused")
    assert first.stop()
    wait_until(lambda: second.status().ready, "the second opening")
    scripted_port.write(line(3))
    assert intake.wait_for(1) == [3]
    assert second.stop()


def test_a_board_reset_is_noted_and_harmless(link, scripted_port, intake):
    scripted_port.write(line(1, boot="a", seq=0) + line(2, boot="a", seq=1)[:25])
    scripted_port.write(b"\x00\xffrst:0x1 (POWERON_RESET)\r\n" + line(3, boot="b", seq=0))
    assert intake.wait_for(2) == [1, 3]
    assert link.status().resets == 1


def test_boards_that_share_a_line_are_not_taken_for_one_that_resets(link, scripted_port, intake):
    for seq in range(4):
        scripted_port.write(line(1, boot="a", seq=seq) + line(2, boot="b", seq=seq))
    intake.wait_for(8)
    assert link.status().resets == 1, "the second board's first word, and no other"
    scripted_port.write(line(3, boot="c", seq=0))
    intake.wait_for(9)
    assert link.status().resets == 2


def test_a_repeated_pack_is_taken_once(link, scripted_port, intake):
    scripted_port.write(line(1, boot="a", seq=0) * 3 + line(2, boot="a", seq=1))
    assert intake.wait_for(2) == [1, 2]
    assert link.status().rejects == {RejectCause.DUPLICATE: 2}


def test_a_broken_intake_does_not_end_the_link(link, scripted_port, intake):
    intake.fail_next = 1
    scripted_port.write(line(1) + line(2))
    assert intake.wait_for(1) == [2]
    assert link.status().errors == 1
    assert link.alive()


def test_a_broken_session_is_counted_and_begun_again(link, scripted_port, intake, monkeypatch):
    """Whatever goes wrong in the loop itself, the port is opened anew."""
    broken = threading.Event()

    def break_once(data: bytes) -> None:
        if not broken.is_set():
            broken.set()
            raise RuntimeError("a fault of our own")
        type(link)._take(link, data)

    monkeypatch.setattr(link, "_take", break_once)
    scripted_port.write(line(1))
    wait_until(broken.is_set, "the fault")
    wait_until(lambda: link.status().openings == 2, "the second opening")
    scripted_port.write(line(2))
    assert intake.wait_for(1) == [2]
    assert link.status().errors == 1
