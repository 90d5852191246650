"""MQTT 3.1.1 section 4.6, rule MQTT-4.6.0-2: acknowledge in the order of arrival."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from service.sources.acks import AckQueue


@given(st.permutations(range(12)))
def test_in_order_of_arrival_whatever_the_order_of_commits(finishing: list[int]) -> None:
    sent: list[int] = []
    queue = AckQueue(sent.append)
    queue.connected()
    acks = [queue.expect(number) for number in range(12)]
    done: set[int] = set()
    for number in finishing:
        acks[number]()
        done.add(number)
        ready = next((n for n in range(12) if n not in done), 12)
        assert sent == list(range(ready))
    assert queue.waiting == 0


def test_an_acknowledgement_of_an_earlier_connection_is_dropped() -> None:
    """The same message number may stand for another message on the new connection."""
    sent: list[int] = []
    queue = AckQueue(sent.append)
    queue.connected()
    old = queue.expect(1)
    queue.lost()
    queue.connected()
    new = queue.expect(1)
    old()
    assert sent == []
    assert queue.dropped == 1
    new()
    assert sent == [1]


def test_nothing_is_sent_between_two_connections() -> None:
    sent: list[int] = []
    queue = AckQueue(sent.append)
    queue.connected()
    ack = queue.expect(1)
    queue.lost()
    ack()
    assert sent == []
