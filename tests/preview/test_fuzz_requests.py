"""
Random requests to the preview: each gets an answer that is no 500, and the server goes on.

Always the same few; with ``LINESIM_NIGHTLY=1`` new ones for a minute.
"""

import json
import os
import random
import socket
import time
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

import pytest

if TYPE_CHECKING:
    from tests.preview.conftest import Client

NIGHTLY = "LINESIM_NIGHTLY" in os.environ
SECONDS = 60.0
FEW = 150
STATUSES = {200, 400, 403, 404, 405, 413, 421}
PATHS = ("look", "setup", "scan", "job", "cancel", "upload?name=a.png", "start", "result/1", "")
KEYS = ("number", "client", "changes", "seed", "window", "have", "job", "kind", "x")
CONTROLS = (
    "light.illuminance",
    "lens.magnification",
    "lens.f_number",
    "lens.defocus",
    "transport.speed",
    "camera.gain",
    "camera.bit_depth",
    "acquisition.binning",
    "acquisition.line_rate",
    "exposure_share",
    "target",
    "target.pixel_size",
    "target.image",
)
VALUES: tuple[Any, ...] = (
    *(None, True, 0, -1, 1.5, 1e308, 10**400, "", "a", "1", "nan um", "40 klx", "1e-4", "edge"),
    *("x" * 5000, "\u202e", "\ud800", "\0", [], [[]], {}, {"a": 1}, [1] * 100, 12, "2x2", "0.5 mm"),
    *(1e-4, 1e-9, float("nan"), float("inf"), "own", "upload-1", "flat", "foil", "../etc/passwd"),
)
WINDOW = ("left_mm", "top_mm", "width_mm", "height_mm", "x")


def chances() -> Iterator[random.Random]:
    """Give as many sources of chance as there are requests to send."""
    first, end_s, number = time.time_ns() if NIGHTLY else 0, time.monotonic() + SECONDS, 0
    while time.monotonic() < end_s if NIGHTLY else number < FEW:
        yield random.Random(first + number)  # noqa: S311 -- no secrets
        number += 1


def table(chance: random.Random, keys: tuple[str, ...]) -> dict[str, Any]:
    """Give some keys any values."""
    return {key: chance.choice(VALUES) for key in chance.sample(keys, chance.choice([0, 1, 2, 3]))}


def body(chance: random.Random) -> bytes:
    """Ask for something, more or less as the page does."""
    ask = table(chance, KEYS)
    if chance.random() < 0.8:
        ask["changes"] = table(chance, CONTROLS)
    if chance.random() < 0.3:
        ask["window"] = {name: chance.choice([0, 1, 5.5, -3]) for name in WINDOW[:4]}
        ask["window"] |= table(chance, WINDOW)
    text = json.dumps(chance.choice([ask, ask, ask, [ask], chance.choice(VALUES)])).encode()
    cut = chance.random()
    return text[: int(cut * 20 * len(text))] if cut < 0.05 else text


def raw(chance: random.Random, address: str) -> bytes:
    """Write a request as bytes, with a few of them changed."""
    at, asked = urlsplit(address), body(chance)
    method = chance.choice(["GET", "POST", "POST", "POST", "HEAD", "OPTIONS", "PUT", "X"])
    head = (
        f"{method} {at.path}{chance.choice(PATHS)} HTTP/1.1\r\nHost: {at.netloc}\r\n"
        f"Content-Length: {len(asked)}\r\nConnection: close\r\n\r\n"
    )
    made = bytearray(head.encode() + asked)
    for _ in range(chance.choice([0, 0, 1, 3])):
        made[chance.randrange(len(made))] = chance.randrange(256)
    return bytes(made)


def answered(address: str, request: bytes) -> int:
    """Send bytes and close that half; give the status, 0 where the connection is just closed."""
    at = urlsplit(address)
    with socket.create_connection((str(at.hostname), at.port or 0), timeout=60) as wire:
        wire.sendall(request)
        wire.shutdown(socket.SHUT_WR)
        got = wire.recv(64)
        while wire.recv(1 << 16):
            pass
    return int(got.split()[1]) if got.startswith(b"HTTP/1.1 ") else 0


def test_random_requests_are_answered(
    client: "Client", capfd: pytest.CaptureFixture[str], caplog: pytest.LogCaptureFixture
) -> None:
    """Any bytes: an answer, or a closed connection; nothing on the console, no trace in a log."""
    for chance in chances():
        request = raw(chance, client.address)
        status = answered(client.address, request)
        assert status in STATUSES | {0}, request[:1500]
        told = capfd.readouterr()
        assert (told.out, told.err) == ("", ""), request[:1500]
    assert not [record for record in caplog.records if record.levelname == "ERROR"]
    assert client.ask("GET", "start").status == 200


def test_random_questions_are_answered(client: "Client") -> None:
    """Whole requests in JSON with any values: a picture or sentences, each time."""
    for chance in chances():
        path = chance.choice(["look", "look", "look", "setup", "job", "cancel"])
        asked = body(chance)
        assert client.ask("POST", path, asked).status in {200, 413}, (path, asked[:1500])
