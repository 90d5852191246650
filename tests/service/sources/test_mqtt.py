"""A real broker, stopped, killed, frozen and restarted by the test."""

from __future__ import annotations

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.reasoncodes import ReasonCode

from service.clock import SystemClock
from service.sources.broker import Broker
from service.sources.mqtt import MqttLink
from service.wire.pack import RejectCause
from service.wire.senml import Value, encode_pack
from tests.field.bench_parts import Mosquitto, Publisher, free_port, wait_until

pytestmark = pytest.mark.mosquitto
TOPIC = "heatwindow/readings/node1"


def pack(value: float, **marks: object) -> bytes:
    return encode_pack([Value("port2", value, "Cel")], base_name="node1:", **marks)


def make_link(mosquitto: Mosquitto, intake, client_id: str = "hw-test", **options) -> MqttLink:
    broker = Broker(mosquitto.host, mosquitto.port, client_id, **options)
    return MqttLink(broker, ["heatwindow/readings/#"], intake, SystemClock())


def started(mosquitto: Mosquitto, intake, **options) -> MqttLink:
    link = make_link(mosquitto, intake, **options)
    link.start()
    wait_until(lambda: link.status().ready, f"the subscription: {link.status().state}")
    return link


@pytest.fixture
def link(mosquitto, intake):
    link = started(mosquitto, intake)
    yield link
    assert link.stop(), "the thread did not end within 5 s"
    assert not link.alive()


def test_packs_arrive_in_order_and_rejects_are_counted(link, publisher, intake):
    intake.commits = True
    publisher.publish(TOPIC, *[pack(value) for value in range(50)], b"no pack", pack(50))
    assert intake.wait_for(51) == list(range(51))
    status = link.status()
    assert status.lines == 52
    assert status.rejects == {RejectCause.SYNTAX: 1}
    assert status.last_valid_us is not None
    assert not any(each.retained for each in intake.packs)


def test_what_is_not_acknowledged_comes_again_and_what_is_does_not(mosquitto, publisher, intake):
    """The service died between the arrival and the commit: nothing may be missing after."""
    link = started(mosquitto, intake)
    publisher.publish(TOPIC, *[pack(value) for value in range(6)])
    intake.wait_for(6)
    for number in (1, 0, 2, 4):  # 3 is not committed, so 4 must not be acknowledged either
        intake.acks[number]()
    wait_until(lambda: link.unacknowledged == 3, "three acknowledgements")
    publisher.publish(TOPIC, pack(6))  # once this has come back, the broker has had them
    intake.wait_for(7)
    assert link.stop()

    intake.packs.clear()
    intake.acks.clear()
    link = started(mosquitto, intake)
    assert intake.wait_for(4) == [3, 4, 5, 6]
    for ack in intake.acks:
        ack()
    wait_until(lambda: link.unacknowledged == 0, "all acknowledged")
    publisher.publish(TOPIC, pack(7))
    intake.wait_for(5)
    intake.acks[-1]()
    assert link.stop()

    intake.packs.clear()
    link = started(mosquitto, intake)
    publisher.publish(TOPIC, pack(8))
    assert intake.wait_for(1) == [8]
    assert link.stop()


def test_what_came_while_the_service_was_away_is_delivered(mosquitto, publisher, intake):
    link = started(mosquitto, intake)
    assert link.stop()
    publisher.publish(TOPIC, *[pack(value) for value in range(100)])
    link = started(mosquitto, intake)
    for count in range(1, 101):  # the broker's window holds twenty until they are acknowledged
        intake.wait_for(count)
        intake.acks[count - 1]()
    assert intake.values() == list(range(100))
    assert link.stop()


def test_a_killed_broker_is_found_again_and_subscribed_anew(mosquitto, link, intake):
    mosquitto.kill()
    wait_until(lambda: not link.status().ready, "the loss")
    mosquitto.start()  # without what it had: nothing was saved
    wait_until(lambda: link.status().ready, "the new subscription")
    assert link.status().openings == 2
    node = Publisher(mosquitto.port)
    node.publish(TOPIC, pack(1))
    assert intake.wait_for(1) == [1]
    node.close()


def test_a_stopped_broker_keeps_what_it_held(mosquitto, link, publisher, intake):
    publisher.publish(TOPIC, pack(1))
    intake.wait_for(1)
    mosquitto.stop()
    wait_until(lambda: not link.status().ready, "the loss")
    intake.acks[0]()  # too late for its connection
    assert link.late_acks == 1
    mosquitto.start()
    assert intake.wait_for(2) == [1, 1]  # unacknowledged, so it comes again


def test_an_acknowledgement_too_late_for_its_connection_does_not_hit_another_message(
    mosquitto, link, publisher, intake
):
    publisher.publish(TOPIC, pack(1))
    intake.wait_for(1)
    mosquitto.kill()
    wait_until(lambda: not link.status().ready, "the loss")
    mosquitto.start()
    wait_until(lambda: link.status().ready, "the new subscription")
    node = Publisher(mosquitto.port, "other-node")
    node.publish(TOPIC, pack(2))  # message number 1 again
    intake.wait_for(2)
    intake.acks[0]()
    assert link.unacknowledged == 1
    intake.acks[1]()
    assert link.unacknowledged == 0
    node.close()


def test_a_failing_acknowledgement_never_reaches_the_writer(link, publisher, intake, monkeypatch):
    def fail(_number: int, _qos: int) -> None:
        raise OSError("the socket is gone")

    publisher.publish(TOPIC, pack(1))
    intake.wait_for(1)
    monkeypatch.setattr(link._client, "ack", fail)
    intake.acks[0]()
    assert link.status().errors == 1


def test_a_broken_intake_costs_no_message(link, publisher, intake):
    """Nothing raised in a callback may end the library's thread; the message comes again."""
    intake.fail_next = 1
    publisher.publish(TOPIC, pack(1))
    assert intake.wait_for(1) == [1]
    assert link.status().errors == 1
    publisher.publish(TOPIC, pack(2))
    assert intake.wait_for(2) == [1, 2]


def test_a_message_that_breaks_the_intake_twice_is_given_up_and_said_so(
    link, publisher, intake, caplog
):
    intake.fail_next = 2
    publisher.publish(TOPIC, pack(1))
    wait_until(lambda: link.status().errors == 2, "the second failure")
    publisher.publish(TOPIC, pack(2))
    assert intake.wait_for(1) == [2]
    assert "given up on a message" in caplog.text


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_death_of_the_network_thread_is_noticed_and_mended(link, publisher, intake):
    def raise_in_callback(*_: object) -> None:
        raise SystemExit  # ends the thread without a word, as an unguarded error would

    link._client.on_message = raise_in_callback
    publisher.publish(TOPIC, pack(1))
    wait_until(lambda: link.status().errors == 1, "the death to be noticed")
    assert intake.wait_for(1) == [1]
    assert link.alive()


def test_a_retained_message_counts_only_by_its_own_time(mosquitto, publisher, intake):
    """A reading of unknown age must not pass for fresh: it could end an alarm."""
    publisher.publish(TOPIC, pack(1), retain=True)
    publisher.publish(TOPIC + "/dated", pack(2, base_time_s=1_760_000_000), retain=True)
    link = started(mosquitto, intake)
    intake.wait_for(1)
    publisher.publish(TOPIC, pack(3))
    assert intake.wait_for(2) == [2, 3]
    assert intake.measurements()[0].time_us == 1_760_000_000_000_000
    wait_until(lambda: link.status().rejects == {RejectCause.TIME: 1}, "the refusal")
    assert sorted(each.retained for each in intake.packs) == [False, True, True]
    assert link.stop()


def test_a_retained_copy_does_not_make_the_first_delivery_a_repeat(mosquitto, publisher, intake):
    """What was refused for its unknown age has not been here: the copy that waited is taken."""
    publisher.publish(TOPIC, pack(1, boot="a", seq=7), retain=True)
    link = started(mosquitto, intake)
    wait_until(lambda: link.status().rejects == {RejectCause.TIME: 1}, "the refusal")
    publisher.publish(TOPIC, pack(1, boot="a", seq=7))
    assert intake.wait_for(1) == [1]
    assert link.stop()


def test_a_repeated_pack_is_taken_once_and_acknowledged_with_the_first(link, publisher, intake):
    publisher.publish(TOPIC, pack(1, boot="a", seq=7), pack(1, boot="a", seq=7), pack(2))
    assert intake.wait_for(2) == [1, 2]
    assert link.status().rejects == {RejectCause.DUPLICATE: 1}
    first, repeat, other = intake.acks
    other()
    assert repeat is None  # its broker message waits for the first copy's commit
    assert link.unacknowledged == 3
    first()
    assert link.unacknowledged == 0
    publisher.publish(TOPIC, pack(1, boot="a", seq=7))  # committed long since
    wait_until(lambda: len(intake.acks) == 4, "the late repeat")
    intake.acks[3]()
    assert link.unacknowledged == 0


def test_a_silent_broker_with_its_socket_open_is_left_in_the_end(mosquitto, intake):
    link = started(mosquitto, intake, keepalive_s=1)
    mosquitto.freeze()
    wait_until(lambda: not link.status().ready, "the silence to be noticed")
    mosquitto.thaw()
    wait_until(lambda: link.status().ready, "the new subscription")
    assert link.stop()


def test_no_broker_at_the_start(tmp_path, intake):
    folder = tmp_path / "late"
    folder.mkdir()
    broker = Mosquitto(folder)
    link = make_link(broker, intake)
    link.start()
    wait_until(lambda: "no connection" in link.status().state, "the missing broker")
    assert link.status().openings == 0
    assert link.alive()
    broker.start()
    wait_until(lambda: link.status().ready, "the subscription")
    assert link.stop()
    broker.kill()


def test_a_wrong_password_is_said_in_words(tmp_path, intake):
    folder = tmp_path / "closed"
    folder.mkdir()
    broker = Mosquitto(folder, "listener {port} 127.0.0.1\nallow_anonymous false\n")
    broker.start()
    link = make_link(broker, intake)
    link.start()
    wait_until(lambda: "refused by the broker" in link.status().state, "the refusal")
    assert not link.status().ready
    assert link.stop()
    broker.kill()


def test_a_missing_password_file_is_said_in_words(mosquitto, intake, tmp_path):
    link = make_link(mosquitto, intake, username="shop", password_file=tmp_path / "none")
    link.start()
    wait_until(lambda: "No such file" in link.status().state, "the missing file")
    assert link.stop()


def test_a_refused_subscription_is_not_ready(intake):
    """mosquitto's rights file lets everybody subscribe and sends nothing; other brokers refuse."""
    link = MqttLink(Broker("127.0.0.1", 1, "hw-test"), ["a", "b"], intake, SystemClock())

    class Granting:
        numbers = iter(range(1, 9))

        def subscribe(self, topic: str, qos: int) -> tuple[int, int]:
            return 0, next(self.numbers)

    granted = ReasonCode(PacketTypes.SUBACK, "Granted QoS 1")
    refused = ReasonCode(PacketTypes.SUBACK, "Unspecified error")
    connected = ReasonCode(PacketTypes.CONNACK, "Success")
    link._on_connect(Granting(), None, None, connected, None)
    link._on_subscribe(None, None, 1, [refused], None)
    link._on_subscribe(None, None, 2, [granted], None)
    assert not link.status().ready
    assert link.status().openings == 0
    assert link.status().state == "subscription to a refused by the broker"


def test_publishing_reaches_the_broker_and_is_bounded_without_one(link, mosquitto, intake):
    heard = []
    listener = paho.Client(CallbackAPIVersion.VERSION2)
    listener.on_message = lambda _client, _data, message: heard.append(message.payload)
    listener.connect(mosquitto.host, mosquitto.port)
    listener.subscribe("heatwindow/alarms", 1)
    listener.loop_start()
    wait_until(lambda: link.publish("heatwindow/alarms", b"x") and heard, "an alarm")
    listener.disconnect()
    listener.loop_stop()
    mosquitto.stop()
    wait_until(lambda: not link.status().ready, "the loss")
    outcomes = [link.publish("heatwindow/alarms", b"y") for _ in range(1100)]
    assert outcomes[0]
    assert not outcomes[-1]
    with pytest.raises(ValueError, match="wildcards"):
        link.publish("heatwindow/#", b"z")


def test_publishing_before_the_start_says_no(intake, tmp_path):
    broker = Broker("127.0.0.1", free_port(), "hw-test")
    assert not MqttLink(broker, ["a"], intake, SystemClock()).publish("b", b"c")


def test_a_last_will_is_evidence(link, mosquitto, intake):
    status = "heatwindow/nodes/node1/status"
    node = paho.Client(CallbackAPIVersion.VERSION2, client_id="dying")
    node.will_set(status, b"offline", 1, retain=True)
    node.connect(mosquitto.host, mosquitto.port)
    node.loop_start()
    node.publish(status, b"online", 1, retain=True)
    wait_until(lambda: status in link.nodes(), "the node")
    assert link.nodes()[status].text == "online"
    node._sock.close()  # dies without a goodbye
    wait_until(lambda: link.nodes()[status].text == "offline", "the last will")
    assert not intake.packs
    node.loop_stop()
