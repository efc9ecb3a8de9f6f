"""Connections on which nothing comes, so that they cannot shut others out."""

from asyncio import BaseTransport, Transport
from itertools import count
from typing import cast

from uvicorn.protocols.http.h11_impl import H11Protocol, RequestResponseCycle

MOST_WAITING = 100
"""Connections that may stay open while the other side sends nothing; our choice."""
_clock = count()


class Connection(H11Protocol):
    """One connection; of too many that wait for the other side, the longest silent is closed."""

    heard = 0

    def connection_made(self, transport: BaseTransport) -> None:
        """Make room where too many wait."""
        super().connection_made(cast("Transport", transport))
        self.heard = next(_clock)
        waiting = [
            each for each in self.connections if isinstance(each, Connection) and each.is_waiting
        ]
        if len(waiting) > MOST_WAITING:
            silent = min(waiting, key=lambda each: each.heard)
            self.connections.discard(silent)  # it is lost a little later
            silent.transport.abort()

    def data_received(self, data: bytes) -> None:
        """Take what comes."""
        self.heard = next(_clock)
        super().data_received(data)

    @property
    def is_waiting(self) -> bool:
        """Whether the other side is to send: a request, the rest of its body, or another one."""
        cycle = cast("RequestResponseCycle | None", self.cycle)  # none before the first request
        return cycle is None or cycle.more_body or cycle.response_complete
