"""The board's ``network``: one wireless network that the test switches on and off."""

from world import world

STA_IF = 0
_world = world()


class WLAN:
    """The station."""

    def __init__(self, interface):
        assert interface == STA_IF

    def active(self, on):
        """Switch it on."""

    def connect(self, name, password):
        """Join, if there is anything to join."""
        if _world.wlan:
            _world.joined_with = [name, password]

    def isconnected(self):
        """Whether it has joined."""
        if not _world.wlan:
            _world.joined_with = None
        return _world.joined_with is not None
