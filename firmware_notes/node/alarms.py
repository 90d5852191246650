"""The lamp and the sounder, worked by what the service says.

===================================  ==============================  ===================
what is known                        lamp                            sounder
===================================  ==============================  ===================
an alarm nobody has acknowledged     on and off, twice a second      on and off, once a second
an alarm that was acknowledged       on                              off
no alarm                             off                             off
no word from the service             a short flash every two seconds  as before
===================================  ==============================  ===================

So a dark lamp means that all is quiet and somebody is watching. On a serial line the service
tells changes only; its silence means nothing there, and there is no "no word".
"""

import json

SILENT_MS = 10_000
"""A broker lost for so long has no word for us any more."""
LINE_LIMIT = 250


class Alarms:
    """What is known about alarms, and the pins that show it.

    Args:
        lamp: Output pin or ``None``.
        sounder: Output pin or ``None``.
        needs_link: A lost link shows (MQTT).
    """

    def __init__(self, lamp: object, sounder: object, needs_link: bool) -> None:
        self._lamp = lamp
        self._sounder = sounder
        self.sounding = False
        self.live = False
        self._word = not needs_link
        self._linked_ms = None
        self._needs_link = needs_link
        self._kept = {}  # alarms told by lines: whether each must be heard
        self._line = b""

    def take_state(self, payload: bytes) -> None:
        """The broker's ``state``: JSON with ``sounding`` and ``alarms``.

        One that cannot be read must be taken for the worst.
        """
        try:
            state = json.loads(payload)
            self.sounding = bool(state["sounding"])
            self.live = self.sounding or bool(state["alarms"])
        except (ValueError, KeyError, TypeError):
            self.sounding = self.live = True
        self._word = True

    def take_bytes(self, data: bytes) -> None:
        """Bytes of the service's alarm lines, ``14:03:07Z RAISED kind: part: what``."""
        self._line += data
        *lines, rest = self._line.split(b"\n")
        self._line = rest[-LINE_LIMIT:]
        for line in lines:
            self._take_line(line.decode().strip())

    def _take_line(self, line: str) -> None:
        words = line.split(" ", 2)
        if len(words) < 3:
            return
        key = ":".join(words[2].split(":")[:2])  # the kind, and the part or channel
        if words[1] == "RAISED":
            self._kept[key] = True
        elif words[1] in ("ACKNOWLEDGED", "RETURNED"):
            self._kept[key] = False
        elif words[1] == "NORMAL":
            self._kept.pop(key, None)
        else:
            return
        self.live = bool(self._kept)
        self.sounding = any(self._kept.values())

    def show(self, now_ms: int, linked: bool) -> None:
        """Drive the pins."""
        if linked or self._linked_ms is None:
            self._linked_ms = now_ms
        if self._needs_link and now_ms - self._linked_ms > SILENT_MS:
            self._word = False
        if self.sounding:
            lamp = now_ms % 500 < 250
        elif not self._word:
            lamp = now_ms % 2000 < 100
        else:
            lamp = self.live
        if self._lamp is not None:
            self._lamp(int(lamp))
        if self._sounder is not None:
            self._sounder(int(self.sounding and now_ms % 1000 < 500))
