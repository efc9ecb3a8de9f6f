"""
Scans of any length in the same memory: ``python -m tests.bench.long_run`` prints the table.

A coated foil that repeats runs under 4096 pixels, its reference four times finer across and along;
every length is rendered in a process of its own, straight into its file. The last rows read a web
of 16384 x 40,000 pixels of 16 bit from a TIFF file, unpacked and tiled, a few rows at a time.
"""

import argparse
import json
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Mapping
from pathlib import Path

import numpy as np

LENGTHS = (10_000, 100_000, 1_000_000)
WEB_ROWS, WEB_COLUMNS = 40_000, 16_384
SETUP = {
    "title": "A long run",
    "transport": {"speed": "1 m/s"},
    "lens": {"magnification": 0.1},
    "light": {"illuminance": "40 klx"},
    "camera": {"pixels": 4096, "pixel_width": "7.5 um"},
}
FOIL = {"image": "foil", "pixel_size": "18.75 um", "width": "77 mm", "height": "40 mm"}


def one(folder: Path, target: dict[str, object], lines: int) -> None:
    """Render one length and tell what it took, as JSON."""
    from linesim.setup.load import setup_from  # noqa: PLC0415 -- its memory counts
    from linesim.studies.scan.streamed import scan_to_file  # noqa: PLC0415 -- the same

    made_of = {**SETUP, "target": {**target, "repeat": True}, "acquisition": {"lines": lines}}
    setup = setup_from(made_of, folder=folder)
    begun = time.perf_counter()
    found = scan_to_file(setup, folder / "scan.tif")
    told = {
        "wall_s": time.perf_counter() - begun,
        "cpu_s": time.process_time(),
        "peak_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000,
        "file_gb": found.image.path.stat().st_size / 1e9,
    }
    sys.stdout.write(json.dumps(told))


def row(folder: Path, target: Mapping[str, object], lines: int) -> dict[str, float]:
    """Run one length in a process of its own."""
    arguments = [str(folder), json.dumps(target), str(lines)]
    done = subprocess.run(
        [sys.executable, "-m", "tests.bench.long_run", "--one", *arguments],
        check=True,
        capture_output=True,
    )
    (folder / "scan.tif").unlink()
    return dict(json.loads(done.stdout))


def write_web(path: Path, *, tiled: bool) -> None:
    """Write a web of noise, a thousand rows at a time."""
    import tifffile  # noqa: PLC0415 -- only here

    rng = np.random.default_rng(0)
    noise = rng.integers(20_000, 60_000, (1024, WEB_COLUMNS), dtype=np.uint16)
    shape = (WEB_ROWS // 1024 * 1024, WEB_COLUMNS)
    if tiled:
        tiles = (
            noise[256 * (k % 4) : 256 * (k % 4 + 1), column : column + 256]
            for k in range(shape[0] // 256)
            for column in range(0, WEB_COLUMNS, 256)
        )
        tifffile.imwrite(
            path, tiles, shape=shape, dtype=np.uint16, tile=(256, 256), compression="zlib"
        )
    else:
        mapped = tifffile.memmap(path, shape=shape, dtype=np.uint16)
        for first in range(0, shape[0], 1024):
            mapped[first : first + 1024] = noise


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--one", nargs=3)
    parser.add_argument("--web", nargs=2)
    parser.add_argument("--folder", type=Path, default=None)
    parser.add_argument("--lengths", type=int, nargs="*", default=list(LENGTHS))
    asked = parser.parse_args()
    if asked.one:
        folder, target, lines = asked.one
        one(Path(folder), json.loads(target), int(lines))
        return
    if asked.web:
        write_web(Path(asked.web[0]), tiled=asked.web[1] == "tiled")
        return
    with tempfile.TemporaryDirectory(dir=asked.folder) as place:
        table(Path(place), asked.lengths)


def table(folder: Path, lengths: list[int]) -> None:
    """Run all of it."""
    sys.stdout.write("| target | lines | wall s | CPU s | ns a sample | peak MB | file GB |\n")
    sys.stdout.write("|---|---|---|---|---|---|---|\n")
    for lines in lengths:
        tell("foil, repeated", lines, row(folder, FOIL, lines))
    for kind, name in (("plain", "TIFF, not packed"), ("tiled", "TIFF in tiles, Deflate")):
        web = folder / "web.tif"
        # in a process of its own: a child's peak counts what its parent held
        command = [sys.executable, "-m", "tests.bench.long_run", "--web", str(web), kind]
        subprocess.run(command, check=True)
        target = {"image": web.name, "pixel_size": "18.75 um", "encoding": "linear"}
        tell(name, 9900, row(folder, target, 9900))
        web.unlink()


def tell(name: str, lines: int, took: dict[str, float]) -> None:
    """Print a row."""
    ns = 1e9 * took["wall_s"] / (lines * 4096)
    sys.stdout.write(
        f"| {name} | {lines:,} | {took['wall_s']:.1f} | {took['cpu_s']:.1f} | {ns:.1f} "
        f"| {took['peak_mb']:.0f} | {took['file_gb']:.2f} |\n"
    )
    sys.stdout.flush()


if __name__ == "__main__":
    main()
