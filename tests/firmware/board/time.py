"""The board's ``time``, in the test's hand; 2**30 ms after power-up and a bit the ticks wrap."""

import utime
from world import FIRST_TICKS, TICKS, world

_world = world()


def ticks_ms():
    """Counter [ms] that wraps."""
    return (FIRST_TICKS + _world.now_ms()) % TICKS


def ticks_diff(later, earlier):
    """The way that is shorter."""
    return (later - earlier + TICKS // 2) % TICKS - TICKS // 2


def time_ns():
    """The board's date."""
    return _world.utc_ms() * 1_000_000


def gmtime(seconds=None):
    """The board's date, or another."""
    return utime.gmtime(_world.utc_ms() // 1000 if seconds is None else seconds)


def sleep_ms(ms):
    """Wait."""
    _world.pause(ms)


def sleep(seconds):
    """Wait."""
    _world.pause(int(seconds * 1000))
