"""The page's server: on this machine alone, until it is stopped."""

import socket
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from secrets import token_urlsafe

from starlette.types import ASGIApp
from threadpoolctl import threadpool_limits
from uvicorn import Config, Server

from linesim.preview.connection import Connection
from linesim.preview.desk import Desk
from linesim.preview.jobs import Jobs
from linesim.preview.server import application
from linesim.setup.errors import InputError, refuse
from linesim.setup.lights import refuse_multiplexed
from linesim.setup.setup import Setup

HOST = "127.0.0.1"
_TOKEN_BYTES = 24
_OPEN_AT_MOST = 200
_LAST_PORT = 65_535
_WAITING = 128


@dataclass(frozen=True, slots=True, kw_only=True)
class Served:
    """A server that is ready to run."""

    server: Server
    listening: socket.socket
    address: str

    def run(self) -> None:
        """Serve until it is told to stop."""
        self.server.run(sockets=[self.listening])


def _bound(port: int) -> socket.socket:
    if not 0 <= port <= _LAST_PORT:
        refuse(f"--port: read {port}; expected 0 (any free one) to {_LAST_PORT}")
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    if sys.platform != "win32":  # there it would let two servers share a port
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((HOST, port))
        listening.listen(_WAITING)  # a browser may come before the server runs
    except OSError as fault:
        listening.close()
        msg = f"--port: read {port}, which cannot be had ({fault.strerror}); expected a free one"
        raise InputError(msg) from fault
    return listening


def _server(app: ASGIApp) -> Server:
    config = Config(
        app,
        log_level="error",
        access_log=False,
        lifespan="off",
        ws="none",
        loop="asyncio",
        http=Connection,
        server_header=False,
        date_header=False,
        proxy_headers=False,
        limit_concurrency=_OPEN_AT_MOST,
        timeout_graceful_shutdown=1,
    )
    return Server(config)


@contextmanager
def served(
    setup: Setup, name: str, *, port: int = 0, workers: int | None = None
) -> Iterator[Served]:
    """Make a server for the page of a setup."""
    listening = _bound(port)
    number, token = listening.getsockname()[1], token_urlsafe(_TOKEN_BYTES)
    desk = Desk(setup, name, workers)
    server = _server(application(desk, jobs := Jobs(desk), number, token))
    desk.is_ending = lambda: server.should_exit
    try:
        with threadpool_limits(limits=1, user_api="blas"):  # as in a scan, for the same bytes
            yield Served(
                server=server, listening=listening, address=f"http://{HOST}:{number}/{token}/"
            )
    finally:
        jobs.close()
        desk.close()
        listening.close()


def run(setup: Setup, name: str, port: int, announce: Callable[[str], None]) -> None:
    """Serve the page until Ctrl-C; its address is told once the port, 0 for any, is bound."""
    refuse_multiplexed(setup)
    with served(setup, name, port=port) as found:
        announce(found.address)
        with suppress(KeyboardInterrupt):  # the server hands Ctrl-C on once it has closed
            found.run()
