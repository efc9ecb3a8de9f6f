"""The page's server turns away whoever is not the page, and serves no file; it ends when told."""

import re
import signal
import socket
import subprocess
import sys
import time
from contextlib import ExitStack, closing
from http.client import HTTPConnection
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

import pytest

from linesim.preview.serve import served
from linesim.setup.errors import InputError
from linesim.setup.setup import Setup

if TYPE_CHECKING:
    from tests.preview.conftest import Answer, Client

ASSETS = ("main.js", "state.js", "controls.js", "pane.js", "charts.js", "figures.js", "wire.js")


def refused(answer: "Answer", status: int) -> bool:
    """Tell whether somebody was turned away with one bare line."""
    return answer.status == status and len(answer.body) < 100 and b"<" not in answer.body


@pytest.mark.parametrize("path", ["/", "/page.html", "/start", "/{}x/", "/{}", "//{}/", "/x/{}/"])
def test_without_the_token_there_is_nothing(client: "Client", path: str) -> None:
    """No page, no figures, no hint."""
    token = urlsplit(client.address).path.strip("/")
    assert refused(client.raw("GET", path.format(token)), 404)


def test_two_runs_have_two_tokens(station: Setup) -> None:
    """A token has 24 random bytes, and is another one each time."""
    with served(station, "x") as one, served(station, "x") as other:
        tokens = {urlsplit(each.address).path for each in (one, other)}
    assert len(tokens) == 2
    assert all(re.fullmatch(r"/[\w-]{32}/", each) for each in tokens)


@pytest.mark.parametrize("host", ["example.org", "127.0.0.1", "127.0.0.1:1", "localhost.evil", ""])
def test_a_foreign_host_is_turned_away(client: "Client", host: str) -> None:
    """A name that somebody made point here (DNS rebinding) is not answered, RFC 9110, 15.5.20."""
    assert refused(client.ask("GET", "", headers={"Host": host}), 421)


def test_localhost_is_this_machine_too(client: "Client") -> None:
    """The other name of this machine is let in."""
    port = urlsplit(client.address).port
    assert client.ask("GET", "", headers={"Host": f"localhost:{port}"}).status == 200


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://example.org"},
        {"Origin": "null"},
        {"Origin": "https://127.0.0.1"},
        {"Origin": "http://127.0.0.1:1"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
    ],
)
def test_other_pages_are_turned_away(client: "Client", headers: dict[str, str]) -> None:
    """A page from elsewhere can neither ask nor upload, with the right token either."""
    assert refused(client.ask("POST", "look", b"{}", headers), 403)
    assert refused(client.ask("POST", "upload", b"x", headers), 403)


def test_a_long_request_is_turned_away(client: "Client") -> None:
    """A question has a limit, told or not; the server then goes on."""
    assert refused(client.ask("POST", "look", b" " * 200_000), 413)
    assert client.ask("GET", "start").status == 200


def test_a_long_request_in_pieces_is_turned_away(client: "Client") -> None:
    """A body that tells no length is answered by the same 413, and the server goes on."""
    at = urlsplit(client.address)
    with closing(HTTPConnection(str(at.hostname), at.port, timeout=20)) as wire:
        wire.request("POST", f"{at.path}look", iter([b" " * 60_000] * 3), encode_chunked=True)
        answer = wire.getresponse()
        assert (answer.status, answer.read()) == (413, b"more than 100000 bytes\n")
    assert client.ask("GET", "start").status == 200


def test_half_open_connections_shut_nobody_out(client: "Client") -> None:
    """230 connections on which nothing comes, or half a request, or half a body: others go on."""
    at = urlsplit(client.address)
    begun = f"POST {at.path}look HTTP/1.1\r\nHost: {at.netloc}\r\n".encode()
    said = (b"", begun, begun + b"Content-Length: 50\r\n\r\n{")
    with ExitStack() as held:
        for number in range(230):
            wire = held.enter_context(socket.create_connection((str(at.hostname), at.port or 0)))
            wire.sendall(said[number % 3])
            if number % 50 == 0:
                assert client.ask("GET", "start").status == 200
        assert client.ask("GET", "start").status == 200


@pytest.mark.parametrize(
    "path",
    [
        "../pyproject.toml",
        "..%2f..%2fetc%2fpasswd",
        "%2e%2e/%2e%2e/etc/passwd",
        "result/../../etc/passwd",
        "result/%2e%2e%2f%2e%2e%2fetc%2fpasswd",
        "page.css%00",
        "small.toml",
        "server.py",
        "page.html",
    ],
)
def test_no_file_is_served(client: "Client", path: str) -> None:
    """Nothing but the page's own parts is there, by any spelling."""
    answer = client.ask("GET", path)
    assert answer.status == 404 or "start it again" in answer.body.decode()
    assert b"root:" not in answer.body
    assert b"[project]" not in answer.body


def test_the_page_asks_nothing_of_others(client: "Client") -> None:
    """All parts come from here, under a policy that forbids the rest, and are never kept."""
    page = client.ask("GET", "")
    named = re.findall(r'(?:src|href)="([^"]+)"', page.body.decode())
    assert sorted(named) == ["data:,", "main.js", "page.css"]
    for name in (*ASSETS, "page.css", ""):
        answer = client.ask("GET", name)
        assert answer.status == 200
        assert re.findall(rb"https?://(?!www\.w3\.org/2000/svg)", answer.body) == []
        policy = answer.headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["referrer-policy"] == "no-referrer"
        assert answer.headers["cache-control"] == "no-store"
        assert "server" not in answer.headers


def test_only_this_machine_is_listened_to(station: Setup) -> None:
    """The socket is bound to the loopback address alone."""
    with served(station, "x") as found:
        assert found.listening.getsockname()[0] == "127.0.0.1"


def test_a_port_that_is_taken_is_refused(station: Setup) -> None:
    """One sentence, with the port."""
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        with (
            pytest.raises(InputError, match=f"--port: read {port}"),
            served(station, "x", port=port),
        ):
            pass
    with pytest.raises(InputError, match="--port: read 70000"), served(station, "x", port=70_000):
        pass


@pytest.mark.nightly
def test_ctrl_c_ends_it_cleanly() -> None:
    """The command tells its address, and after Ctrl-C it says so and ends with 0."""
    command = [sys.executable, "-W", "error", "-c", "from linesim.cli import main; main()"]
    running = subprocess.Popen(
        [*command, "preview", "--no-browser"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert running.stdout is not None
    told = running.stdout.readline()
    address = re.search(r"http://127\.0\.0\.1:(\d+)/[\w-]{32}/", told)
    assert address, told
    time.sleep(0.5)
    running.send_signal(signal.SIGINT)
    said, complained = running.communicate(timeout=20)
    assert (running.returncode, complained) == (0, "")
    assert said.rstrip().endswith("preview stopped")
