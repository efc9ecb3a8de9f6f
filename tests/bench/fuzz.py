"""
Mutate good files and texts, and see that each door gives a value or a sentence, never a trace.

Blind mutation over a seed corpus, kept where it reaches new lines (traced in the door's own modules
alone). ``python tests/bench/fuzz.py 600`` runs so many seconds and prints what came through; it
ends with 1 where anything did.
"""

import io
import random
import sys
import tempfile
import time
import traceback
import warnings
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from types import FrameType
from typing import Any

import imagecodecs
import numpy as np
import tifffile
from PIL import Image

from linesim.files.images_in import read_image
from linesim.files.manifest import read_manifest
from linesim.files.samples_in import load_samples
from linesim.setup.errors import InputError
from linesim.setup.infiles import starter_text
from linesim.setup.light.curve_files import read_curve
from linesim.setup.load import load_setup, sample_setup
from linesim.setup.quantity import parse_quantity
from linesim.setup.shown import visible
from linesim.studies.batch.ranges import ranges_of
from linesim.studies.rank.space import load_space

ROOT = Path(__file__).parents[2]
OURS = str(ROOT / "linesim")
MOST_PIXELS = 4_000_000
MOST_BYTES = 1 << 16
SLOW_S = 5.0
"""A door answers at once; only a busy machine takes longer."""
TOKENS = [
    b"nan",
    b"inf",
    b"-1",
    b"0",
    b"1e400",
    b"9" * 40,
    b"\0",
    b"\xff\xfe",
    b"\xef\xbb\xbf",
    b'"',
    b"'",
    b"[",
    b"]",
    b"{",
    b"}",
    b"=",
    b",",
    b";",
    b"\t",
    b"\n",
    b"\r",
    b":log5",
    b":lin999999999",
    b"um",
    b"60 m/min",
    b"true",
    b"2x2",
    b"\xe2\x88\x92",
    b"None",
    b"..",
    b"/",
    b"\\",
    b"\xff\xff\xff\xff",
]
Door = Callable[[Path, bytes], object]


def images() -> list[bytes]:
    """Give small images of each format and kind."""
    noise = np.random.default_rng(1)
    grey = noise.integers(0, 256, (9, 11), dtype=np.uint8)
    deep = noise.integers(0, 65536, (9, 11, 3), dtype=np.uint16)
    found = [bytes(imagecodecs.png_encode(each)) for each in (grey, deep)]
    found.append(bytes(imagecodecs.jpeg_encode(grey)))
    for kind, mode in (("PNG", "P"), ("PNG", "1"), ("TIFF", "1"), ("JPEG", "RGB"), ("PNG", "LA")):
        stream = io.BytesIO()
        Image.fromarray(grey).convert(mode).save(stream, kind)
        found.append(stream.getvalue())
    options: list[dict[str, Any]] = [
        {},
        {"compression": "zlib", "predictor": True},
        {"tile": (16, 16)},
        {"bigtiff": True},
        {"compression": "lzw"},
        {"byteorder": ">"},
    ]
    for each in options:
        for codes in (grey, deep, grey.astype(np.float32) / 255):
            stream = io.BytesIO()
            tifffile.imwrite(stream, codes, **each)
            found.append(stream.getvalue())
    return found


def texts() -> dict[str, list[bytes]]:
    """Give the text corpora."""
    samples = ROOT / "sample_targets"
    setups = [starter_text().encode(), *(p.read_bytes() for p in samples.glob("*.toml"))]
    return {
        "setup": [each for each in setups if b"[options]" not in each],
        "space": [each for each in setups if b"[options]" in each],
        "curve": [b"nm,share\n400,0.2\n500,0.7\n", b"400;0,1\n500;0,2\n", b"# a\n400\t1\n410\t2\n"],
        "manifest": [b"file,exposure_us,group\na.tif,100,dark\nb.tif,100,light\n"],
        "range": [
            b"light.illuminance=5klx:200klx:log12",
            b"lens.f_number=2,2.8,4",
            b"camera.pixels=1:9:lin3",
        ],
        "quantity": [b"60 m/min", b"7.5 um", b"0.1 DN/e", b"120 W/m^2", b"1e-3 mm"],
    }


def of_range(_: Path, data: bytes) -> object:
    """Read a range as typed."""
    key, text = (*data.decode("utf-8", "replace").split("=", 1), "")[:2]
    return ranges_of(sample_setup(), {key: text})


def of_quantity(_: Path, data: bytes) -> object:
    """Read a quantity."""
    try:
        return parse_quantity(data.decode("utf-8", "replace"), "um")
    except ValueError:
        return None


DOORS: dict[str, Door] = {
    "setup": lambda path, _: load_setup(path),
    "space": lambda path, _: load_space(path),
    "curve": lambda path, _: read_curve(path, key="light.spectrum", value_name="power"),
    "manifest": lambda path, _: read_manifest(path),
    "image": lambda path, _: read_image(path, encoding="srgb", max_pixels=MOST_PIXELS),
    "samples": lambda path, _: load_samples(path),
    "range": of_range,
    "quantity": of_quantity,
}
ENDINGS = {"setup": "toml", "space": "toml", "curve": "csv", "manifest": "csv"}


def flipped(made: bytearray, at: int, chance: random.Random, _: bytes) -> None:
    """Change one bit."""
    if made:
        made[at % len(made)] ^= 1 << chance.randrange(8)


def shortened(made: bytearray, at: int, chance: random.Random, _: bytes) -> None:
    """Take some bytes out, or all that follow."""
    del made[at : at + chance.choice([1, 2, 8, 40, 1 << 30])]


def inserted(made: bytearray, at: int, chance: random.Random, _: bytes) -> None:
    """Put a word in."""
    made[at:at] = chance.choice(TOKENS)


def overwritten(made: bytearray, at: int, chance: random.Random, _: bytes) -> None:
    """Put a word in the place of others."""
    token = chance.choice(TOKENS)
    made[at : at + len(token)] = token


def spliced(made: bytearray, at: int, chance: random.Random, other: bytes) -> None:
    """Put a part of another file in."""
    start = chance.randrange(len(other) + 1)
    made[at:at] = other[start : start + chance.choice([4, 16, 80])]


def repeated(made: bytearray, at: int, chance: random.Random, _: bytes) -> None:
    """Say something twice, or fifty times."""
    made[at:at] = bytes(made[at : at + chance.choice([4, 20])]) * chance.choice([1, 2, 50])


WAYS = (flipped, shortened, inserted, overwritten, spliced, repeated)


def mutated(data: bytes, other: bytes, chance: random.Random) -> bytes:
    """Change a file in a few places."""
    made = bytearray(data)
    for _ in range(chance.choice([1, 1, 2, 4, 8])):
        chance.choice(WAYS)(made, chance.randrange(len(made) + 1), chance, other)
    return bytes(made)


def traced(door: Door, path: Path, data: bytes) -> tuple[set[tuple[str, int]], str]:
    """Run a door; give the lines it reached, and a trace where one came through."""
    lines: set[tuple[str, int]] = set()

    def each_line(frame: FrameType, event: str, _: object) -> Any:  # noqa: ANN401 -- Python's type
        if not frame.f_code.co_filename.startswith(OURS):
            return None
        if event == "line":
            lines.add((frame.f_code.co_filename, frame.f_lineno))
        return each_line

    sys.settrace(each_line)
    try:
        door(path, data)
    except InputError as refusal:
        sys.settrace(None)
        told = all(each.strip() and visible(each).isprintable() for each in refusal.faults)
        return lines, "" if told else f"bad sentence: {refusal.faults!r}"
    except Exception:  # noqa: BLE001 -- this is what is looked for
        sys.settrace(None)
        return lines, traceback.format_exc(limit=-4)
    finally:
        sys.settrace(None)
    return lines, ""


def corpora() -> dict[str, list[bytes]]:
    """Give a seed corpus for each door."""
    found = texts()
    found["image"] = found["samples"] = images()
    return {name: list(each) for name, each in found.items() if each}


@dataclass
class Fuzzer:
    """One door, what it has been fed, and what came through."""

    name: str
    corpus: list[bytes]
    seen: set[tuple[str, int]] = field(default_factory=set)
    crashes: dict[str, tuple[str, bytes]] = field(default_factory=dict)
    count: int = 0

    def step(self, folder: Path, chance: random.Random) -> None:
        """Try one mutation; keep it where it reaches new lines."""
        data = mutated(chance.choice(self.corpus), chance.choice(self.corpus), chance)
        path = folder / f"x.{ENDINGS.get(self.name, 'png')}"
        path.write_bytes(data)
        begun = time.monotonic()
        lines, trace = traced(DOORS[self.name], path, data)
        took_s = time.monotonic() - begun
        self.count += 1
        if took_s > SLOW_S:
            trace = trace or f"took {took_s:.1f} s"
        if trace:
            self.crashes.setdefault(str(trace.strip().splitlines()[-3:]), (trace, data))
        if lines - self.seen and len(data) < MOST_BYTES:
            self.seen |= lines
            self.corpus.append(data)


def main(seconds: float = 60.0, seed: int = 1) -> int:
    """Fuzz all doors in turn."""
    warnings.simplefilter("error")
    chance, end_s = random.Random(seed), time.monotonic() + seconds  # noqa: S311 -- no secrets
    fuzzers = [Fuzzer(name, corpus) for name, corpus in corpora().items()]
    with tempfile.TemporaryDirectory() as folder:
        while time.monotonic() < end_s:
            for each in fuzzers:
                each.step(Path(folder), chance)
    for each in fuzzers:
        print(f"{each.name}: {each.count} tried, {len(each.corpus)} kept, {len(each.seen)} lines")  # noqa: T201 -- a script
        for trace, data in each.crashes.values():
            print(f"\n== {each.name}\n{trace}\n{data[:300]!r}")  # noqa: T201 -- a script
    return 1 if any(each.crashes for each in fuzzers) else 0


if __name__ == "__main__":
    given = dict(enumerate(sys.argv))
    sys.exit(main(float(given.get(1, "60")), int(given.get(2, "1"))))
