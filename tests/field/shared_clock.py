"""A shop's clock that several processes share, and that the bench can set and let jump.

It lives in a small file, so that a service that is killed and started again finds the same time of
the shop, and so that the world outside it can tell what that time really is.
"""

from __future__ import annotations

import mmap
import struct
import time
from pathlib import Path

_FORM = struct.Struct("<qqdqq")
"""Monotonic origin [ns], UTC there [µs], speed, wall clock set by [µs], time let go [µs]."""


class SharedClock:
    """Both clocks of a shop at ``speed``; satisfies ``service.clock.Clock``.

    Args:
        file: Where it lives; made by ``begin``.
    """

    def __init__(self, file: Path) -> None:
        with file.open("r+b") as opened:
            self._memory = mmap.mmap(opened.fileno(), _FORM.size)

    @classmethod
    def begin(cls, file: Path, speed: float, utc_us: int) -> SharedClock:
        """A new clock that shows ``utc_us`` now."""
        file.write_bytes(_FORM.pack(time.monotonic_ns(), utc_us, speed, 0, 0))
        return cls(file)

    def _now(self) -> tuple[int, int, int, int]:
        """Time run, origin of the UTC, set by, let go [µs]."""
        origin_ns, utc_us, speed, set_us, gone_us = _FORM.unpack(self._memory[:])
        run_us = int((time.monotonic_ns() - origin_ns) * speed) // 1000
        return run_us, utc_us, set_us, gone_us

    @property
    def speed(self) -> float:
        return float(_FORM.unpack(self._memory[:])[2])

    def monotonic_us(self) -> int:
        run_us, _, _, gone_us = self._now()
        return run_us + gone_us

    def utc_us(self) -> int:
        return self.true_us() + self.set_us()

    def true_us(self) -> int:
        """The UTC it would show had nobody set it [µs]."""
        run_us, utc_us, _, gone_us = self._now()
        return utc_us + run_us + gone_us

    def set_us(self) -> int:
        """How far the wall clock has been set from the truth [µs]."""
        return self._now()[2]

    def set_wall_clock(self, to_s: float) -> None:
        """So far from the truth from now on [s]."""
        self._memory[24:32] = struct.pack("<q", round(to_s * 1e6))

    def let_pass(self, seconds: float) -> None:
        """So much goes by at once on both clocks, as in a machine that was asleep."""
        gone_us = self._now()[3] + round(seconds * 1e6)
        self._memory[32:40] = struct.pack("<q", gone_us)
