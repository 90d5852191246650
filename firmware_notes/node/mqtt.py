"""MQTT 3.1.1 as far as a node needs it: publish with QoS 1, hear one topic, leave a last will.

Stock firmware has no client, and the usual one waits in every call. This one never waits, so
the inputs are read on time while the broker is slow, silent or gone. Section numbers are those of
the MQTT 3.1.1 standard.
"""

import errno
import select
import socket
import struct

WINDOW = 8
"""Packs on their way at the same time."""
ANSWER_MS = 10_000
"""A broker that owes an answer for so long is lost."""
KEEPALIVE_S = 30
BACKOFF_MS = (1_000, 2_000, 5_000, 10_000, 20_000)
LONGEST = 8_192
"""Longest message read; of a longer one only the beginning is."""
STATUS_EVERY_MS = 60_000

CONNECT, CONNACK, PUBLISH, PUBACK = 0x10, 0x20, 0x30, 0x40
SUBSCRIBE, SUBACK, PINGREQ, PINGRESP = 0x82, 0x90, 0xC0, 0xD0

_AWAY, _CALLING, _GREETING, _UP = range(4)


def text(words: str) -> bytes:
    """A string as section 1.5.3 has it."""
    data = words.encode()
    return struct.pack(">H", len(data)) + data


def packet(head: int, body: bytes) -> bytes:
    """A control packet with its length (section 2.2.3)."""
    length, rest = bytearray(), len(body)
    while True:
        length.append(rest & 0x7F | (0x80 if rest > 0x7F else 0))
        rest >>= 7
        if not rest:
            return bytes([head]) + length + body


def split(data: bytes) -> tuple | None:
    """Head, where the body begins and how long it is; ``None``: more bytes are needed.

    Raises:
        ValueError: A length of more than four bytes.
    """
    length = 0
    for place in range(1, 5):
        if place >= len(data):
            return None
        length |= (data[place] & 0x7F) << (7 * (place - 1))
        if not data[place] & 0x80:
            return data[0], place + 1, length
    raise ValueError("length")


class MqttLink:
    """Sends an outbox to a broker.

    Args:
        node: The node's name: topic, client id and status topic.
        settings: The table ``mqtt`` of the config file.
        outbox: The packs.
        hear: Called with the payload of the alarm topic.
    """

    def __init__(self, node: str, settings: dict, outbox: object, hear: object) -> None:
        self._s = settings
        self._node = node
        self._topic = text("heatwindow/readings/" + node)
        self._status = text("heatwindow/nodes/" + node + "/status")
        self._alarms = settings["alarm_topic"]
        self._outbox = outbox
        self._hear = hear
        self._socket = None
        self._raw = None
        self._state = _AWAY
        self._failures = 0
        self._call_ms = 0
        self._since_ms = None  # since when the broker owes an answer
        self._sent_ms = 0
        self._status_ms = 0
        self._told = None
        self._number = 0
        self._waiting = {}  # packet number: pack number, or None for what is no pack
        self._out = b""
        self._in = b""
        self._skip = 0

    @property
    def linked(self) -> bool:
        """Whether the broker has let us in and answers."""
        return self._state == _UP

    def step(self, now_ms: int, in_network: bool) -> None:
        """One round: whatever can be done without waiting."""
        try:
            if not in_network:
                if self._state != _AWAY:
                    raise OSError(errno.ENOTCONN)
                return
            if self._state == _AWAY:
                if now_ms >= self._call_ms:
                    self._call(now_ms)
                return
            if self._state == _CALLING and self._through():
                self._greet(now_ms)
            if self._state != _CALLING:
                self._receive(now_ms)
                self._send(now_ms)
            if self._since_ms is not None and now_ms - self._since_ms > ANSWER_MS:
                raise OSError(errno.ETIMEDOUT)
        except (OSError, ValueError, IndexError) as error:  # the last two: no MQTT is spoken there
            self._lost(now_ms, error)

    # Connecting --------------------------------------------------------------------------------

    def _call(self, now_ms: int) -> None:
        s = self._s
        address = socket.getaddrinfo(s["host"], s["port"], 0, socket.SOCK_STREAM)[0][-1]
        self._raw = self._socket = socket.socket()
        self._raw.setblocking(False)
        self._state, self._since_ms = _CALLING, now_ms
        try:
            self._raw.connect(address)
        except OSError as error:
            if error.errno != errno.EINPROGRESS:
                raise
        self._poll = select.poll()
        self._poll.register(self._raw, select.POLLOUT)

    def _through(self) -> bool:
        for _, event in self._poll.poll(0):
            if event & (select.POLLERR | select.POLLHUP):
                raise OSError(errno.ECONNREFUSED)
            if event & select.POLLOUT:
                return True
        return False

    def _greet(self, now_ms: int) -> None:
        s = self._s
        if s["tls_ca_file"]:
            self._socket = _secured(self._raw, s["tls_ca_file"], s["host"])
        flags = 0x02 | 0x04 | 0x08 | 0x20  # clean session; a will, QoS 1, retained (3.1.2.3)
        who = text(s["user"] or "") + text(s["password"] or "") if s["user"] else b""
        flags |= 0xC0 if who else 0
        body = text("MQTT") + bytes((4, flags)) + struct.pack(">H", KEEPALIVE_S)
        body += text("hw-node-" + self._node) + self._status + text("offline") + who
        self._out, self._in, self._skip = packet(CONNECT, body), b"", 0
        self._state, self._since_ms = _GREETING, now_ms

    def _lost(self, now_ms: int, error: object) -> None:
        print("broker:", error)
        if self._socket is not None:
            try:
                self._socket.close()
            except OSError:
                pass  # it is gone anyway
        self._socket = self._raw = None
        self._state, self._since_ms = _AWAY, None
        self._waiting = {}
        self._outbox.link_lost()
        self._call_ms = now_ms + BACKOFF_MS[min(self._failures, len(BACKOFF_MS) - 1)]
        self._failures += 1

    # Receiving ---------------------------------------------------------------------------------

    def _receive(self, now_ms: int) -> None:
        data = self._read()
        if data is None:
            return
        if not data:
            raise OSError(errno.ECONNRESET)
        self._in += data
        while self._in:
            if self._skip:
                gone = min(self._skip, len(self._in))
                self._in, self._skip = self._in[gone:], self._skip - gone
                continue
            found = split(self._in)
            if found is None:
                return
            head, begin, length = found
            if len(self._in) - begin < min(length, LONGEST):
                return
            body = self._in[begin : begin + min(length, LONGEST)]
            self._skip = length - len(body)
            self._in = self._in[begin + len(body) :]
            self._take(head, body, now_ms)

    def _read(self) -> bytes | None:
        try:
            return self._socket.read(1024)
        except OSError as error:
            if error.errno == errno.EAGAIN:
                return None
            raise

    def _take(self, head: int, body: bytes, now_ms: int) -> None:
        kind = head & 0xF0
        if kind == CONNACK:
            self._welcome(body, now_ms)
        elif kind == PUBACK:
            seq = self._waiting.pop(body[0] << 8 | body[1], None)
            if seq is not None:
                self._outbox.arrived(seq)
        elif kind == PUBLISH:
            self._heard(head, body)
        elif kind == SUBACK & 0xF0:
            self._waiting.pop(body[0] << 8 | body[1], None)
            if body[2] & 0x80:
                print("broker: subscription to", self._alarms, "refused")
        elif kind == PINGRESP:
            self._waiting.pop(0, None)
        self._since_ms = now_ms if self._waiting else None

    def _welcome(self, body: bytes, now_ms: int) -> None:
        if body[1]:
            raise ValueError(f"refused with code {body[1]}")  # section 3.2.2.3
        self._state, self._failures, self._told = _UP, 0, None
        if self._alarms:
            number = self._next_number(None)
            topic = text(self._alarms + "/state") + b"\x01"
            self._write(packet(SUBSCRIBE, struct.pack(">H", number) + topic), now_ms)

    def _heard(self, head: int, body: bytes) -> None:
        begin = 2 + (body[0] << 8 | body[1])
        if head & 0x06:
            self._out += packet(PUBACK, body[begin : begin + 2])
            begin += 2
        if self._is_alarm_state(body):
            self._hear(body[begin:])

    def _is_alarm_state(self, body: bytes) -> bool:
        wanted = text((self._alarms or "") + "/state")
        return body[: len(wanted)] == wanted

    # Sending -----------------------------------------------------------------------------------

    def _send(self, now_ms: int) -> None:
        if self._state == _UP and not self._out:
            self._send_status(now_ms)
            while len(self._waiting) < WINDOW and len(self._out) < 4096:
                seq = self._outbox.next()
                if seq is None:
                    break
                pack = self._outbox.take(seq)
                if pack is not None:
                    number = struct.pack(">H", self._next_number(seq))
                    self._write(packet(PUBLISH | 0x02, self._topic + number + pack), now_ms)
            if now_ms - self._sent_ms > KEEPALIVE_S * 500 and 0 not in self._waiting:
                self._waiting[0] = None
                self._write(packet(PINGREQ, b""), now_ms)
        while self._out:
            written = self._write_some()
            if not written:
                return
            self._out = self._out[written:]

    def _send_status(self, now_ms: int) -> None:
        """Retained: that we are here, and what has been dropped so far."""
        told = self._outbox.summary()
        if told == self._told or (self._told and now_ms - self._status_ms < STATUS_EVERY_MS):
            return
        self._told, self._status_ms = told, now_ms
        number = struct.pack(">H", self._next_number(None))
        self._write(packet(PUBLISH | 0x03, self._status + number + told.encode()), now_ms)

    def _write(self, data: bytes, now_ms: int) -> None:
        self._out += data
        self._sent_ms = now_ms
        if self._since_ms is None:
            self._since_ms = now_ms

    def _write_some(self) -> int:
        try:
            return self._socket.write(self._out[:1024]) or 0
        except OSError as error:
            if error.errno == errno.EAGAIN:
                return 0
            raise

    def _next_number(self, seq: int | None) -> int:
        while True:
            self._number = self._number % 0xFFFF + 1
            if self._number not in self._waiting:
                self._waiting[self._number] = seq
                return self._number


def _secured(raw: object, ca_file: str, host: str) -> object:
    """TLS over a connected socket; the broker must show a certificate of this authority."""
    import ssl  # noqa: PLC0415 - takes memory that nodes without it need

    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.verify_mode = ssl.CERT_REQUIRED
    with open(ca_file, "rb") as file:
        context.load_verify_locations(cadata=file.read())
    return context.wrap_socket(raw, server_hostname=host, do_handshake_on_connect=False)
