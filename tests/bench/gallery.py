"""
Make every picture of ``outputs/README.md`` again, each by the command that stands under it.

``python -m tests.bench.gallery``, from the top folder; with names behind it (``foil_dim star``)
these pictures alone. They are what the runs leave, of 8 bit, grey where a monochrome camera made
them. ``tests/house/test_docs.py`` tells when it is time. The sheets of lamps come from
``tests.bench.light_sheet`` and the screens of the preview from ``tests.bench.preview_picture``,
which are run at the end; those of faults from ``tests.bench.fault_sheet``.
"""

import re
import shlex
import subprocess
import sys
import tempfile
from contextlib import chdir
from pathlib import Path
from shutil import copytree
from unittest.mock import patch

from PIL import Image

from linesim.cli import main as linesim

ROOT = Path(__file__).parents[2]
ENTRY = re.compile(r"!\[[^\]]*\]\((gallery/[^)]+)\)\n\n```sh\n\.venv/bin/linesim ([^\n]*)\n```")


def entries(page: str) -> list[tuple[str, str]]:
    """Find each picture of the page and the arguments of the command under it."""
    return [(picture, arguments) for picture, arguments in ENTRY.findall(page)]


def run(arguments: str) -> int:
    """Run ``linesim`` here with some arguments; give its exit code."""
    with patch.object(sys, "argv", ["linesim", *shlex.split(arguments, comments=True)]):
        try:
            linesim()
        except SystemExit as left:
            return int(left.code or 0)
    return 0


def picture_of(arguments: str) -> Path:
    """Name the picture that a command leaves, as seen from where it runs."""
    words = shlex.split(arguments)
    if "--plot" in words:
        return Path(words[words.index("--plot") + 1])
    named = [word for word in words if word.endswith(".toml")]
    stem = Path(named[0]).stem if named else "sample"
    folder = Path(words[words.index("--out") + 1]) if "--out" in words else Path("outputs") / stem
    names = {"scan": "preview.png", "dataset": "samples.png"}
    return folder / names.get(words[0], f"{words[0]}.png")


def is_colour(picture: Image.Image) -> bool:
    """Tell whether any pixel of a picture is not grey."""
    red, green, blue = picture.convert("RGB").split()
    return not red.tobytes() == green.tobytes() == blue.tobytes()


def main(names: list[str]) -> None:
    """Run all commands in a copy of the setups, or those of some pictures, and keep these."""
    home = ROOT / "outputs"
    with tempfile.TemporaryDirectory() as folder, chdir(folder):
        copytree(ROOT / "sample_targets", "sample_targets")
        for picture, arguments in entries((home / "README.md").read_text("utf-8")):
            if names and Path(picture).stem not in names:
                continue
            if run(arguments):
                sys.exit(f"linesim {arguments} failed")
            made = Image.open(picture_of(arguments))
            kept = made.convert("RGB") if is_colour(made) else made.convert("L")
            kept.save(home / picture, optimize=True)
    for program in () if names else ("light_sheet", "preview_picture"):
        subprocess.run([sys.executable, "-m", f"tests.bench.{program}"], cwd=ROOT, check=True)


if __name__ == "__main__":
    main(sys.argv[1:])
