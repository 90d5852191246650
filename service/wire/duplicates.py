"""Recognises a pack that comes a second time, by the marks its sender put on it.

A broker delivers a message again when its acknowledgement was lost, and a reading without a time
of its own would then be kept twice. A sender that marks its packs (``boot``, new at each
power-up, and ``seq``, counting from there) makes the second copy recognisable. Unmarked packs
pass: a reading with its own time is unique in the database anyway.

Pure and bounded: at most ``MAX_BOOTS`` senders' power-ups with ``WINDOW`` numbers each.
"""

from __future__ import annotations

from collections import OrderedDict

from service.wire.pack import Pack

WINDOW = 4096
"""Numbers remembered below the highest: a broker repeats at most its in-flight messages, at the
front of the queue, so anything older than this is a repeat too."""
MAX_BOOTS = 256


class _Seen:
    __slots__ = ("highest", "recent")

    def __init__(self) -> None:
        self.highest = -1
        self.recent: set[int] = set()


class PackFilter:
    """Remembers which packs have passed.

    Asking and remembering are two steps, so that a pack that could not be handed on is not taken
    for a repeat when it comes again.
    """

    def __init__(self) -> None:
        self._boots: OrderedDict[str, _Seen] = OrderedDict()

    def is_repeat(self, pack: Pack) -> bool:
        """Whether a pack with these marks has passed before."""
        if pack.boot is None or pack.seq is None or pack.boot not in self._boots:
            return False
        seen = self._boots[pack.boot]
        return pack.seq in seen.recent or pack.seq <= seen.highest - WINDOW

    def passed(self, pack: Pack) -> None:
        """Remember a pack that has been handed on."""
        if pack.boot is not None and pack.seq is not None:
            self.remember(pack.boot, pack.seq)

    def remember(self, boot: str, seq: int) -> None:
        """Remember marks, such as those found in a database at the start."""
        seen = self._boots.get(boot)
        if seen is None:
            seen = self._boots[boot] = _Seen()
            if len(self._boots) > MAX_BOOTS:
                self._boots.popitem(last=False)
        self._boots.move_to_end(boot)
        seen.recent.add(seq)
        seen.highest = max(seen.highest, seq)
        if len(seen.recent) > 2 * WINDOW:
            limit = seen.highest - WINDOW
            seen.recent = {number for number in seen.recent if number > limit}
