"""The board's ``ntptime``."""

from world import world

host = "pool.ntp.org"


def settime():
    """Ask for the date."""
    world().set_date()
