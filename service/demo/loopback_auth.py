"""Who may use the embedded broker: everybody on this machine, as a known client.

amqtt keeps nothing for a client that is away if it came in anonymously; a client let in by this
plugin counts as known, so its persistent session keeps its queue (MQTT 3.1.1, section 3.1.2.4).
"""

from __future__ import annotations

from amqtt.plugins.base import BaseAuthPlugin
from amqtt.session import Session


class LoopbackAuth(BaseAuthPlugin):  # type: ignore[misc]  # amqtt ships no types
    """Lets everybody in; the listener is on loopback only."""

    async def authenticate(self, *, session: Session) -> bool | None:
        """Say yes."""
        session.is_anonymous = False
        return True
