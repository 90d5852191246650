"""Arc noise: single frames torn by the arc's high frequency must not pass for a temperature.

An amplifier is read several times for each value told. Of those frames the middle one is told as
it was measured; nothing is averaged or made up. What is dropped is counted and the count is told,
because a probe whose frames are torn all the time has a bad cable. A fault that fills half of a
period is no noise: it is told.
"""

SPREAD_K = 15.0
"""Frames of one second on one casting lie closer than this to their middle [K]; common practice,
no source."""


class ArcFilter:
    """Frames of one probe over one period, each ``(temperature_c, cold_junction_c, fault)``."""

    def __init__(self) -> None:
        self._frames = []
        self.dropped = 0
        """Frames left out as noise since power-up."""

    def add(self, frame: tuple) -> None:
        """One more frame; its fault is ``None`` if it has a temperature."""
        self._frames.append(frame)

    def take(self) -> tuple | None:
        """The frame that stands for the period, which ends here; ``None``: there was none."""
        frames = self._frames
        self._frames = []
        if not frames:
            return None
        good = [frame for frame in frames if frame[2] is None]
        faulty = [frame for frame in frames if frame[2] is not None]
        if 2 * len(faulty) >= len(frames):
            return _commonest(faulty)
        good.sort(key=lambda frame: frame[0])
        middle = good[(len(good) - 1) // 2]
        torn = [frame for frame in good if abs(frame[0] - middle[0]) > SPREAD_K]
        self.dropped += len(faulty) + len(torn)
        return middle


def _commonest(faulty: list) -> tuple:
    """The fault seen most often, the latest of equals."""
    best, most = faulty[-1], 0
    for frame in reversed(faulty):
        count = len([each for each in faulty if each[2] == frame[2]])
        if count > most:
            best, most = frame, count
    return best
