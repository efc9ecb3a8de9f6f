"""
The preview under abuse: many tabs, random controls, and files that mean harm.

``python tests/bench/preview_abuse.py [SECONDS] [TABS] [EVENTS]`` starts ``linesim preview`` as a
process of its own and lets 20 tabs send 1,000 random control events in 60 s, uploads from a
0-byte file to a PNG that unpacks to 4 GB, and questions from elsewhere. It prints what was answered
and the most memory that the process held, and ends with 1 where something was not as it should be.
A smaller share of it runs with the tests.
"""

import json
import re
import signal
import struct
import subprocess
import sys
import threading
import time
import zlib
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.client import HTTPConnection, HTTPException
from pathlib import Path
from typing import Any
from urllib.parse import quote, urlsplit

import numpy as np

MOST_MB = 1500
"""Held at most: targets 700 MB, electrons 192 MB, one image of 24 million pixels; our choice."""
BOMB_MB = 4096
_WILD = 0.2
_CHOICES: dict[str, tuple[Any, ...]] = {
    "acquisition.binning": ("1x1", "2x1", "1x2", "2x2", "4x4", "9x9"),
    "acquisition.binning_domain": ("charge", "digital"),
    "acquisition.binning_mode": ("sum", "average", "median"),
    "acquisition.line_rate": ("matched", "square", "8 kHz", "0 Hz"),
    "camera.bit_depth": (8, 10, 12, 14, 16, 13),
    "target": ("own", "edge", "bars", "flat", "steps", "upload-1", "../../etc/passwd"),
    "light.spectrum": ("/etc/passwd",),
}
_RANGES = {
    "light.illuminance": (1e-3, 1e6, "klx"),
    "transport.speed": (1e-3, 1e5, "m/min"),
    "lens.f_number": (0.1, 500.0, ""),
    "lens.defocus": (1e-3, 1e3, "mm"),
    "lens.blur": (1e-3, 1e3, "um"),
    "camera.gain": (1e-6, 1e3, "DN/e"),
    "camera.read_noise": (1e-3, 1e6, "e"),
    "camera.full_well": (1e-3, 1e6, "ke"),
    "exposure_share": (1e-4, 2.0, ""),
}
"""Each reaches past what the door lets in."""


@dataclass
class Preview:
    """A running process and its page."""

    process: "subprocess.Popen[str]"
    address: str
    said: Counter[str] = field(default_factory=Counter)

    def ask(self, method: str, path: str, body: bytes = b"", **headers: str) -> tuple[int, bytes]:
        """Send one request; a path with a leading slash stands without the token."""
        at = urlsplit(self.address)
        wire = HTTPConnection(str(at.hostname), at.port, timeout=60)
        try:
            whole = path if path.startswith("/") else at.path + path
            wire.request(method, whole, body, {k.replace("_", "-"): v for k, v in headers.items()})
            got = wire.getresponse()
            return got.status, got.read()
        finally:
            wire.close()

    @property
    def most_mb(self) -> float:
        """Most memory that the process has held."""
        status = Path(f"/proc/{self.process.pid}/status").read_text("utf-8")
        return int(re.findall(r"VmHWM:\s+(\d+) kB", status)[0]) / 1000


@contextmanager
def preview(*arguments: str) -> Iterator[Preview]:
    """Run ``linesim preview``; it must end with 0 on Ctrl-C, whatever was done to it."""
    program = "from linesim.cli import main; main()"
    command = [sys.executable, "-W", "error", "-c", program, "preview", "--no-browser", *arguments]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        try:
            told = process.stdout.readline() if process.stdout else ""
            yield Preview(process, told.split()[-1])
            process.send_signal(signal.SIGINT)
            if process.wait(timeout=30) != 0:
                msg = f"it ended with {process.returncode}"
                raise RuntimeError(msg)
        finally:
            process.kill()


def event(rng: np.random.Generator) -> dict[str, Any]:
    """Move a control or two at random, now and then to something that makes no sense."""
    changes: dict[str, Any] = {}
    for key in rng.choice([*_CHOICES, *_RANGES], size=2, replace=False):
        if key in _CHOICES:
            changes[key] = _CHOICES[key][int(rng.integers(len(_CHOICES[key])))]
        else:
            low, high, unit = _RANGES[key]
            # the middle of most ranges is sound, their ends are not
            share = rng.uniform() if rng.uniform() < _WILD else rng.uniform(0.45, 0.6)
            value = float(low * (high / low) ** share)
            changes[key] = f"{value:.4g} {unit}" if unit else value
    left, top, width, height = rng.normal(0, 40, 4)
    sides = {"width_mm": abs(width), "height_mm": abs(height)}
    window = {"left_mm": left, "top_mm": top, **sides}
    return {"changes": changes, "seed": int(rng.integers(100)), "window": window}


def tab(page: Preview, number: int, events: int, until: float) -> None:
    """Be one tab: each answer is a picture, a refusal in words, or one that came too late."""
    rng = np.random.default_rng(number)
    for _ in range(events):
        body = json.dumps({"number": 1, "client": f"tab-{number}", **event(rng)}).encode()
        try:
            status, answer = page.ask("POST", "look", body)
        except (OSError, HTTPException) as fault:
            page.said[type(fault).__name__] += 1
            continue
        page.said[kind(status, answer)] += 1
        time.sleep(max(0.0, (until - time.monotonic()) / events * rng.uniform(0.2, 1)))


def kind(status: int, answer: bytes) -> str:
    """Name what an answer is."""
    if status != 200:
        return str(status)
    if answer.startswith(b"{"):
        told = json.loads(answer)
    else:
        told = json.loads(answer[4 : 4 + int.from_bytes(answer[:4], "little")])
    names = ("picture", "faults", "waiting", "superseded")
    return next((name for name in names if name in told), "?")


def storm(page: Preview, tabs: int, events: int, seconds: float) -> None:
    """Let tabs send events all at once."""
    until = time.monotonic() + seconds
    threads = [
        threading.Thread(target=tab, args=(page, k, events // tabs, until)) for k in range(tabs)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()


def chunk(name: bytes, body: bytes) -> bytes:
    """Pack a chunk of a PNG file (ISO/IEC 15948, 5.3)."""
    return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))


def bomb(megabytes: int) -> bytes:
    """Make a stream that unpacks to so many megabytes of zeros: one block, over and over."""
    packer = zlib.compressobj(9, zlib.DEFLATED, -15)
    block = packer.compress(bytes(1 << 20)) + packer.flush(zlib.Z_FULL_FLUSH)
    # Adler-32 of n zeros: the sum stays 1, the sum of sums is n (RFC 1950, 8.2)
    check = struct.pack(">2H", (megabytes << 20) % 65_521, 1)
    return b"\x78\xda" + block * megabytes + packer.flush(zlib.Z_FINISH) + check


def png(columns: int, rows: int, body: bytes, *, interlaced: bool = False) -> bytes:
    """Make an 8-bit grey PNG with any packed body."""
    head = struct.pack(">2I5B", columns, rows, 8, 0, 0, 0, interlaced)
    parts = [(b"IHDR", head), (b"IDAT", body), (b"IEND", b"")]
    return b"\x89PNG\r\n\x1a\n" + b"".join(chunk(*part) for part in parts)


def harmful() -> Iterator[tuple[str, bytes]]:
    """Name files that mean harm; not one of them may be taken."""
    packed = bomb(BOMB_MB)
    yield "empty.png", b""
    yield "500 megapixels.png", png(25_000, 20_000, zlib.compress(bytes(100)))
    yield "25 megapixels.png", png(5_000, 5_000, zlib.compress(bytes(100)))
    yield "bomb.png", png(25_000, 20_000, packed)
    yield "rows.png", png(64, 64, packed)
    yield "passes.png", png(64, 64, packed, interlaced=True)
    yield "large rows.png", png(4_800, 4_800, packed)
    yield "cut.png", png(64, 64, zlib.compress(bytes(100)))
    yield "../../../etc/passwd", b"root:x:0:0"
    yield "text.png", b"<script>alert(1)</script>"


def upload(page: Preview, name: str, body: bytes) -> dict[str, Any]:
    """Bring a file to the page."""
    status, answer = page.ask("POST", f"upload?name={quote(name, safe='')}", body)
    found: dict[str, Any] = json.loads(answer) if status == 200 else {"status": status}
    return found


def unharmed(page: Preview) -> list[str]:
    """Bring all files and come from everywhere; give what was not as it should be."""
    wrong = [name for name, body in harmful() if not upload(page, name, body).get("faults")]
    foreign = [
        ("foreign host", 421, page.ask("GET", "", Host="example.org")),
        ("foreign origin", 403, page.ask("POST", "look", b"{}", Origin="http://example.org")),
        ("missing token", 404, page.ask("GET", "/")),
        ("wrong token", 404, page.ask("GET", f"/{'x' * 32}/")),
        ("path", 404, page.ask("GET", "../../../../etc/passwd")),
        ("hidden path", 404, page.ask("GET", "%2e%2e/%2e%2e/%2e%2e/etc/passwd")),
    ]
    wrong += [name for name, status, got in foreign if got[0] != status or b"root:" in got[1]]
    status, answer = page.ask("POST", "look", json.dumps({"number": 5, "changes": {}}).encode())
    if kind(status, answer) not in {"picture", "waiting"}:
        wrong.append("no picture at the end")
    return wrong


def main() -> None:
    """Run the whole of it."""
    seconds, tabs, events = (
        float(sys.argv[k + 1]) if len(sys.argv) > k + 1 else usual
        for k, usual in enumerate((60.0, 20.0, 1000.0))
    )
    with preview() as page:
        begun = time.monotonic()
        storm(page, int(tabs), int(events), seconds)
        took_s = time.monotonic() - begun
        wrong = unharmed(page)
        most_mb = page.most_mb
    said = ", ".join(f"{count} {name}" for name, count in sorted(page.said.items()))
    sys.stdout.write(f"{sum(page.said.values())} events in {took_s:.0f} s: {said}\n")
    sys.stdout.write(f"most memory {most_mb:.0f} MB\n")
    good = set(page.said) <= {"picture", "faults", "waiting", "superseded"}
    for each in wrong:
        sys.stdout.write(f"not as it should be: {each}\n")
    sys.exit(not good or bool(wrong) or most_mb > MOST_MB)


if __name__ == "__main__":
    main()
