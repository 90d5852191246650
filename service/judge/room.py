"""A bound on channels nobody has adopted, for a node that invents names.

Their readings are all stored. Only what is followed and shown is bounded: the one that has been
silent longest makes room, so a sensor just plugged in still appears and a real one stays.
"""

from __future__ import annotations

from collections.abc import Callable, Container
from typing import TypeVar

UNADOPTED_MOST = 200
"""Far more than a shop's nodes have; some tens of kilobytes in a bench answer."""

_T = TypeVar("_T")


def make_room(
    tracks: dict[str, _T], adopted: Container[str], heard_us: Callable[[_T], int]
) -> None:
    """Forget one unadopted channel if there are ``UNADOPTED_MOST`` already.

    Args:
        tracks: By channel name; changed in place.
        adopted: Names that are never forgotten.
        heard_us: When a track was last heard.
    """
    if len(tracks) < UNADOPTED_MOST:
        return
    loose = [name for name in tracks if name not in adopted]
    if len(loose) >= UNADOPTED_MOST:
        del tracks[min(loose, key=lambda name: heard_us(tracks[name]))]
