"""The MQTT broker as a source of readings, and as a way out for alarms.

MQTT 3.1.1 with a persistent session: the broker keeps what comes while we are away. A message is
acknowledged after its readings are committed (``service.sources.acks``), so that nothing the
broker was told to forget is lost with us.

Three habits of the client library are worked around:

* an exception in a callback ends its network thread while it still says "connected": nothing is
  raised in a callback, and the thread is watched and replaced;
* subscriptions are gone after a broker forgets the session: they are made at every connection,
  and the link is *ready* only once the broker has granted them;
* queues are unlimited: ours has a bound, and a full one is reported to the caller.

A broker that is silent with its socket open is noticed by the age of the data long before the
keep-alive does it.
"""

from __future__ import annotations

import logging
import socket
import sys
import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Concatenate, ParamSpec

import paho.mqtt.client as paho
from paho.mqtt.enums import MQTTErrorCode

from service.clock import Clock
from service.sources.acks import AckQueue
from service.sources.broker import Broker, make_client
from service.sources.link import Intake, ThreadedLink
from service.wire.pack import Pack, Reject, RejectCause
from service.wire.senml import decode_pack

log = logging.getLogger(__name__)

SUPERVISE_EVERY_S = 0.1
STUCK_S = 2.0
"""A callback running longer than this is no progress [s, real]."""
MAX_FAILED = 1000
MAX_NODES = 256
MAX_TOPICS = 1000
STATUS_TOPICS = ("heatwindow/nodes/+/status",)
"""Where nodes say "online" and their last will says "offline", retained."""

P = ParamSpec("P")


@dataclass(frozen=True, slots=True)
class NodeStatus:
    """What a node's status topic said last: evidence beside the age of its data.

    Attributes:
        text: The payload, "online" or "offline" by custom.
        at_us: When it came [µs, monotonic shop time].
        retained: The broker had kept it; it may be of any age.
    """

    text: str
    at_us: int
    retained: bool


def _guarded(
    callback: Callable[Concatenate[MqttLink, P], None],
) -> Callable[Concatenate[MqttLink, P], None]:
    """Whatever a callback raises is counted and logged, never passed to the library."""

    def guarded(link: MqttLink, /, *args: P.args, **kwargs: P.kwargs) -> None:
        link.busy_since_s = time.monotonic()
        try:
            callback(link, *args, **kwargs)
        except Exception as error:  # noqa: BLE001 - see the module's docstring
            link.note_error(callback.__name__, error)
        finally:
            link.busy_since_s = None

    return guarded


class MqttLink(ThreadedLink):
    """One broker.

    Args:
        broker: Which, and how to show who we are.
        topics: Topic filters with readings; the link is ready once all are granted.
        intake: Where packs go.
        clock: The shop's clocks.
        status_topics: Topic filters of the nodes' own status; their refusal is no fault.
    """

    kind = "mqtt"

    def __init__(
        self,
        broker: Broker,
        topics: Sequence[str],
        intake: Intake,
        clock: Clock,
        *,
        status_topics: Sequence[str] = STATUS_TOPICS,
    ) -> None:
        self._address = f"{broker.host}:{broker.port}"
        super().__init__(f"mqtt {self._address}", intake, clock)
        self._broker = broker
        self._topics = tuple(topics)
        self._status_topics = tuple(status_topics)
        self._client: paho.Client | None = None
        self._network: threading.Thread | None = None
        self._acks = AckQueue(self._send_ack)
        self._subscribing: dict[int, str] = {}
        self._refused: str | None = None
        self._failed_once: OrderedDict[int, None] = OrderedDict()
        self._status_known: dict[str, bool] = {}
        self._nodes_lock = threading.Lock()
        self._nodes: OrderedDict[str, NodeStatus] = OrderedDict()
        self.busy_since_s: float | None = None
        """When the callback now running began [s, real monotonic]; ``None`` between two."""

    @property
    def unacknowledged(self) -> int:
        """Messages that have come and are not acknowledged yet."""
        return self._acks.waiting

    @property
    def late_acks(self) -> int:
        """Acknowledgements dropped because their connection was gone: sent again by the broker."""
        return self._acks.dropped

    def nodes(self) -> Mapping[str, NodeStatus]:
        """What each node's status topic said last, by topic."""
        with self._nodes_lock:
            return MappingProxyType(dict(self._nodes))

    def alive(self) -> bool:
        network = self._network
        return super().alive() and (network is None or network.is_alive())

    def publish(
        self,
        topic: str,
        payload: bytes,
        qos: int = 1,
        retain: bool = False,
        confirm_s: float = 0.0,
    ) -> bool:
        """Queue a message for the broker; returns at once, from any thread.

        Args:
            topic: Without wildcards.
            payload: As sent.
            qos: 0 or 1.
            retain: Whether the broker keeps it.
            confirm_s: Wait up to so long for the broker's confirmation [s, real].

        Returns:
            Whether it was queued, or (with ``confirm_s``) confirmed in time. With ``qos`` 1 a
            queued message is sent when there is a connection; false when the queue is full or the
            link was never started.

        Raises:
            ValueError: The topic holds a wildcard or is empty, or the payload is too long.
        """
        client = self._client
        if client is None:
            return False
        info = client.publish(topic, payload, qos, retain)
        outcome = info.rc
        if confirm_s > 0:
            if outcome == MQTTErrorCode.MQTT_ERR_SUCCESS:
                info.wait_for_publish(confirm_s)
            return outcome == MQTTErrorCode.MQTT_ERR_SUCCESS and info.is_published()
        return outcome == MQTTErrorCode.MQTT_ERR_SUCCESS or (
            qos > 0 and outcome == MQTTErrorCode.MQTT_ERR_NO_CONN
        )

    # The supervising thread ---------------------------------------------------------------

    def _session(self) -> None:
        try:
            client = make_client(self._broker)
        except (OSError, ValueError) as error:
            self.note_state(f"cannot use the credentials: {error}", ready=False)
            return
        self._connect_callbacks(client)
        self._network = None
        self._client = client
        self.note_state(f"connecting to {self._address}", ready=False, trouble=False)
        broker = self._broker
        client.connect_async(broker.host, broker.port, broker.keepalive_s)
        client.loop_start()
        try:
            self._supervise()
        finally:
            self._acks.lost()
            client.disconnect()
            client.loop_stop()

    def _supervise(self) -> None:
        """Until the stop or the network thread's death."""
        while not self.stopping.wait(SUPERVISE_EVERY_S):
            if self._network is not None and not self._network.is_alive():
                self.note_error("network thread", RuntimeError("it ended by itself"))
                self.note_state("connecting anew: the network thread had ended", ready=False)
                return
            busy = self.busy_since_s
            if busy is None or time.monotonic() - busy < STUCK_S:
                self.note_progress()

    def _connect_callbacks(self, client: paho.Client) -> None:
        client.on_pre_connect = self._on_pre_connect
        client.on_connect = self._on_connect
        client.on_connect_fail = self._on_connect_fail
        client.on_disconnect = self._on_disconnect
        client.on_socket_close = self._on_socket_close
        client.on_subscribe = self._on_subscribe
        client.on_message = self._on_message

    # Callbacks, on the library's network thread -------------------------------------------

    @_guarded
    def _on_pre_connect(self, _client: Any, _userdata: Any) -> None:
        self._network = threading.current_thread()

    @_guarded
    def _on_connect(
        self, client: paho.Client, _userdata: Any, _flags: Any, reason: Any, _properties: Any
    ) -> None:
        if reason.is_failure:
            self.note_state(f"refused by the broker: {reason}", ready=False)
            return
        self._acks.connected()
        self._subscribing.clear()
        self._refused = None
        for topic in self._topics:
            _, number = client.subscribe(topic, qos=1)
            if number is not None:
                self._subscribing[number] = topic
        for topic in self._status_topics:
            client.subscribe(topic, qos=1)
        self.note_state("connected, subscribing", ready=False, trouble=False)

    @_guarded
    def _on_subscribe(
        self, _client: Any, _userdata: Any, number: int, reasons: list[Any], _properties: Any
    ) -> None:
        topic = self._subscribing.pop(number, None)
        if topic is None:
            return  # a status topic: its refusal is no fault
        if any(reason.is_failure for reason in reasons):
            self._refused = topic
            self.note_state(f"subscription to {topic} refused by the broker", ready=False)
        elif not self._subscribing and self._refused is None:
            self.note_state("subscribed", ready=True, opened=True)

    @_guarded
    def _on_connect_fail(self, _client: Any, _userdata: Any) -> None:
        cause = sys.exc_info()[1]  # the library calls this while it handles the failure
        self.note_state(f"no connection to {self._address}: {cause}", ready=False)

    @_guarded
    def _on_disconnect(
        self, _client: Any, _userdata: Any, _flags: Any, reason: Any, _properties: Any
    ) -> None:
        if not self.stopping.is_set() and not self.status().state.startswith("refused"):
            self.note_state(f"connection lost: {reason}", ready=False)

    @_guarded
    def _on_socket_close(self, _client: Any, _userdata: Any, _socket: Any) -> None:
        self._acks.lost()

    @_guarded
    def _on_message(self, _client: Any, _userdata: Any, message: paho.MQTTMessage) -> None:
        payload = bytes(message.payload)
        self.note_bytes(payload, lines=1)
        if self._is_status(message.topic):
            self._note_node(message)
            if message.qos:
                self._acks.expect(message.mid)()
            return
        pack = decode_pack(payload)
        if message.retain:
            _keep_only_dated(pack)
        if not message.qos:
            self.deliver(pack)
            return
        ack = self._acks.expect(message.mid)
        if not self.deliver(pack, ack):
            self._not_taken(message, ack)

    def _is_status(self, topic: str) -> bool:
        """Whether a topic is a node's own status; remembered, as matching costs more than JSON."""
        known = self._status_known.get(topic)
        if known is None:
            known = any(paho.topic_matches_sub(each, topic) for each in self._status_topics)
            if len(self._status_known) >= MAX_TOPICS:
                self._status_known.clear()
            self._status_known[topic] = known
        return known

    def _not_taken(self, message: paho.MQTTMessage, ack: Callable[[], None]) -> None:
        """Ask for it once more by connecting anew; give up on it when that fails too."""
        mark = hash((message.topic, message.payload))
        if mark not in self._failed_once:
            self._failed_once[mark] = None
            if len(self._failed_once) > MAX_FAILED:
                self._failed_once.popitem(last=False)
            self._connect_anew()
            return
        if self.may_log("given up"):
            shown = message.payload[:500]
            log.error("%s: given up on a message of %s: %r", self.name, message.topic, shown)
        ack()

    def _connect_anew(self) -> None:
        """Break the connection; the library finds it broken and makes another."""
        link = None if self._client is None else self._client.socket()
        if isinstance(link, socket.socket):
            with suppress(OSError):  # broken already: all the better
                link.shutdown(socket.SHUT_RDWR)

    def _note_node(self, message: paho.MQTTMessage) -> None:
        text = message.payload[:60].decode("utf-8", "replace")
        now_us = self._clock.monotonic_us()
        with self._nodes_lock:
            self._nodes[message.topic] = NodeStatus(text, now_us, message.retain)
            self._nodes.move_to_end(message.topic)
            if len(self._nodes) > MAX_NODES:
                self._nodes.popitem(last=False)

    def _send_ack(self, number: int) -> None:
        """Called on the writer's thread, which must never hear of the network's troubles."""
        try:
            if self._client is not None:
                self._client.ack(number, 1)
        except Exception as error:  # noqa: BLE001 - unacknowledged: the broker sends it again
            self.note_error("acknowledging", error)


def _keep_only_dated(pack: Pack) -> None:
    """A retained message may be of any age: only a reading with its own time can be believed.

    One without a time would pass for fresh; refused, it can neither end an alarm nor be kept
    under a false time. It was most likely received when it was new, too; should its first copy
    still be on its way, the sender's marks must not make that one a repeat.
    """
    pack.retained = True
    dated = [each for each in pack.measurements if each.time_us is not None]
    undated = len(pack.measurements) - len(dated)
    if undated:
        text = f"{undated} readings without a time in a message retained by the broker: age unknown"
        pack.rejects.append(Reject(RejectCause.TIME, text))
        pack.boot = pack.seq = None
    pack.measurements[:] = dated
