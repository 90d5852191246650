"""Samples to SenML packs (RFC 8428), and which pack is where on its way.

A pack is named by ``boot`` (new at each power-up) and ``seq`` (counted from there). One that must
be sent again holds the same samples under the same name, so that it counts once; its text is made
anew each time, because times relative to now change.
"""

import binascii
import os

from ring import FAULT, FAULTS, SWITCH

MOST = 30
"""Samples in a pack: about 1.2 kB of text."""
HUGE = 1e30


def new_boot() -> str:
    """A mark for this power-up."""
    return binascii.hexlify(os.urandom(4)).decode()


def seconds(ms: int) -> str:
    """Milliseconds as a decimal number of seconds, without a float in between."""
    sign = "-" if ms < 0 else ""
    whole, part = divmod(abs(ms), 1000)
    text = f"{sign}{whole}.{part:03d}" if part else f"{sign}{whole}"
    return text.rstrip("0") if part else text


def value_text(unit: str, state: int, value: float) -> str:
    """The fields of one record that say what was measured."""
    if state == SWITCH:
        return '"vb":true' if value else '"vb":false'
    if state != FAULT and -HUGE < value < HUGE:  # false for NaN
        return f'"u":"{unit}","v":{value:.7g}'
    fault = FAULTS[int(value)] if state == FAULT else "out-of-range"
    return f'"u":"{unit}","vs":"{fault}"' if unit else f'"vs":"{fault}"'


class Outbox:
    """Cuts the ring into packs and remembers those that have not arrived for certain.

    Args:
        node: The node's name, which begins every channel's name.
        channels: Name and unit of each channel, by its number.
        ring: The samples.
        clock: The board's time.
    """

    def __init__(self, node: str, channels: list, ring: object, clock: object) -> None:
        self.boot = new_boot()
        self._base = node + "/"
        self._channels = channels
        self._ring = ring
        self._clock = clock
        self._seq = 0
        self._cut = 0
        self._packs = []  # each [seq, first sample, last sample + 1, whether on its way]
        self.noise = 0
        """Frames dropped as arc noise since power-up, told in the next pack when it changes."""
        self._told = (0, 0)

    def next(self) -> int | None:
        """The number of the oldest pack that is not on its way; ``None``: nothing waits."""
        for pack in self._packs:
            if not pack[3]:
                return pack[0]
        ring = self._ring
        self._cut = max(self._cut, ring.first)
        if self._cut == ring.end:
            return None
        end = min(ring.end, self._cut + MOST)
        self._packs.append([self._seq, self._cut, end, False])
        self._cut = end
        self._seq += 1
        return self._seq - 1

    def take(self, seq: int) -> bytes | None:
        """The text of a pack, which is on its way from now on; ``None``: its samples are lost."""
        pack = self._find(seq)
        first = max(pack[1], self._ring.first)
        if first >= pack[2]:
            self._packs.remove(pack)
            return None
        pack[3] = True
        return self._text(seq, first, pack[2])

    def arrived(self, seq: int) -> None:
        """A pack is where it should be; its samples are forgotten."""
        pack = self._find(seq)
        if pack is not None:
            self._packs.remove(pack)
            self._ring.release(self._packs[0][1] if self._packs else self._cut)

    def link_lost(self) -> None:
        """What was on its way is sent again."""
        for pack in self._packs:
            pack[3] = False

    def summary(self) -> str:
        """For people: that the node is here, and what has been dropped since power-up."""
        return f"online; frames dropped as noise: {self.noise}; samples lost: {self._ring.lost}"

    def _find(self, seq: int) -> list | None:
        for pack in self._packs:
            if pack[0] == seq:
                return pack
        return None

    def _text(self, seq: int, first: int, end: int) -> bytes:
        now_ms = self._clock.now()
        shift_ms = self._clock.utc_less_up_ms
        base_ms = None
        parts = []
        for number in range(first, end):
            age_ms, channel, state, value = self._ring.get(number, now_ms)
            name, unit = self._channels[channel]
            fields = f'"n":"{name}",{value_text(unit, state, value)}'
            at_ms = -age_ms
            if shift_ms is not None:
                at_ms += shift_ms + now_ms
                if base_ms is None:
                    base_ms = at_ms // 1000 * 1000
                at_ms -= base_ms
            if at_ms:
                fields += f',"t":{seconds(at_ms)}'
            parts.append(fields)
        head = f'"bn":"{self._base}","boot":"{self.boot}","seq":{seq},'
        if base_ms is not None:
            head += f'"bt":{base_ms // 1000},'
        head += self._counts()
        return ("[{" + head + "},{".join(parts) + "}]").encode()

    def _counts(self) -> str:
        """What was dropped since power-up, whenever there is more of it."""
        counts = (self.noise, self._ring.lost)
        if counts == self._told:
            return ""
        self._told = counts
        return f'"noise":{counts[0]},"lost":{counts[1]},'
