"""
Who may come in: the page itself, from this machine, with the token of this run.

Every answer forbids the browser to fetch anything from elsewhere, to be framed, to guess a type or
to tell others the address. What does not belong here is answered with one bare line.
"""

from collections.abc import Mapping
from contextlib import suppress
from hmac import compare_digest

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import ClientDisconnect
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

MOST_TALK_BYTES = 100_000
"""Of a request in JSON."""
_MOST_LET_GO_BYTES = 1_000_000
"""Of what follows a body that is too long already; our choice."""
_HEADERS = {
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; "
        "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    ),
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "cache-control": "no-store",
}
_HOSTS = ("127.0.0.1", "localhost")


class Gate:
    """Let requests through to an application, or turn them away."""

    def __init__(self, app: ASGIApp, port: int, token: str, most_bytes: Mapping[str, int]) -> None:
        self._app = app
        self._hosts = {f"{host}:{port}" for host in _HOSTS}
        self._token = token.encode()
        self._most_bytes = most_bytes

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one request."""
        if scope["type"] != "http":
            return
        headers = Headers(scope=scope)
        path = self._own_path(scope)
        refusal = self._refusal(headers, path)
        if path is None or refusal is not None:
            status, why = refusal or (404, "not found")
            # what is left of a refused body is not read
            answer = PlainTextResponse(f"{why}\n", status, {"connection": "close"})
            await answer(scope, receive, _guarded(send))
            return
        most = self._most_bytes.get(path, MOST_TALK_BYTES)
        inside = {**scope, "path": path, "raw_path": path.encode(), "root_path": ""}
        body = _Counted(receive, most)
        with suppress(ClientDisconnect):  # nobody is there to be answered, or the body is too long
            await self._app(inside, body, _guarded(body.unless_over(send)))
        if body.is_over:
            await body.let_go()
            answer = PlainTextResponse(_too_long(most), 413, {"connection": "close"})
            await answer(scope, receive, _guarded(send))

    def _own_path(self, scope: Scope) -> str | None:
        """Take the token off the path; ``None`` where it is missing or wrong."""
        _, _, rest = str(scope["path"]).partition("/")
        token, slash, path = rest.partition("/")
        right = compare_digest(token.encode("utf-8", "surrogateescape"), self._token)
        return f"/{path}" if right and slash else None

    def _refusal(self, headers: Headers, path: str | None) -> tuple[int, str] | None:
        if headers.get("host") not in self._hosts:
            return 421, "this server answers to its own address alone"
        if not self._is_own(headers):
            return 403, "requests from other pages are not answered"
        length = headers.get("content-length", "0")
        most = self._most_bytes.get(path or "", MOST_TALK_BYTES)
        if not length.isdecimal() or int(length[:20]) > most:
            return 413, _too_long(most).strip()
        return None

    def _is_own(self, headers: Headers) -> bool:
        """Tell whether no other page has sent a request; scripts outside of browsers may."""
        origin = headers.get("origin")
        own = origin is None or origin in {f"http://{host}" for host in self._hosts}
        return own and headers.get("sec-fetch-site", "none") in ("same-origin", "none")


def _too_long(most: int) -> str:
    return f"more than {most} bytes\n"


class _Counted:
    """A body that breaks off once it is too long, also where it did not tell its length."""

    def __init__(self, receive: Receive, most: int) -> None:
        self._receive = receive
        self._left = most
        self._goes_on = True

    @property
    def is_over(self) -> bool:
        """Whether it has become too long."""
        return self._left < 0

    async def __call__(self) -> Message:
        message = await self._receive()
        self._left -= len(message.get("body", b""))
        self._goes_on = bool(message.get("more_body"))
        return {"type": "http.disconnect"} if self.is_over else message

    async def let_go(self) -> None:
        """Let some of the rest pass: a connection closed on a sender hides the answer from it."""
        while self._goes_on and self._left > -_MOST_LET_GO_BYTES:
            await self()

    def unless_over(self, send: Send) -> Send:
        """Send nothing of what the application makes of a body that broke off."""

        async def sent(message: Message) -> None:
            if not self.is_over:
                await send(message)

        return sent


def _guarded(send: Send) -> Send:
    """Put the headers on every answer."""

    async def guarded(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in _HEADERS.items():
                headers[name] = value
        await send(message)

    return guarded
