"""Broken or too large files: named, with what they are and what is expected."""

from collections.abc import Callable
from pathlib import Path

import pytest

from linesim.cli.measure.options import MaxPixels
from linesim.files.images_in import MAX_PIXELS

IMAGES = (
    # target
    ('image = "flatt"', "target.image", 'did you mean "flat"?'),
    ('image = "zebra"', "target.image", "built in are flat, edge, foil"),
    ('image = "missing.png"', 'target.image "missing.png"', "does not exist"),
    ('image = "hole.png"', 'target.image "hole.png"',
     'the nearest name in that folder is "whole.png"'),
    ('image = "folder.png"', 'target.image "folder.png"',
     "is a folder; expected a PNG, TIFF or JPEG image"),
    ('image = "empty.png"', 'target.image "empty.png"', "is empty (0 bytes)"),
    ('image = "cut.png"', 'target.image "cut.png"', "cut short"),
    ('image = "one.png"', 'target.image "one.png"',
     "is 1 x 1 pixels (rows x columns); expected an image of at least 2 x 2"),
    ('image = "text.png"', 'target.image "text.png"', "is a text file, not an image"),
    ('image = "drawing.gif"', 'target.image "drawing.gif"', "is a GIF image"),
    ('image = "noise.tif"', 'target.image "noise.tif"', "expected"),
    ('image = "whole.png"\nwidth = "3 mm"', "target.width", "only a built-in target takes it"),
    ('image = "flat"\nangle = "5 deg"', "target.angle", 'choose "edge"'),
    ('image = "flat"\nrepeat = "yes"', "target.repeat", "expected true or false, without quotes"),
    ('image = "flat"\nencoding = "sRGB"', "target.encoding", 'expected "srgb" or "linear"'),
    ('image = "flat"\nwhite_reflectance = "eighty"', "target.white_reflectance",
     "a bare number is due"),
    ('image = "flat"\nwidth = "0.01 mm"', "target.width", "at least one reference pixel"),
)  # fmt: skip
FILES = {
    "empty": (b"", "is empty (0 bytes); expected a setup file (linesim new writes one)"),
    "blank": (b" \n\n", "is empty"),
    "latin1": ('title = "Straße"'.encode("latin-1"), "is not UTF-8 text (byte 14"),
    "utf16": ('title = "Base"'.encode("utf-16"), "is not UTF-8 text (byte 1"),
    "json": (b'{"title": "Base"}', "cannot be read as TOML"),
    "zero bytes": (b'title = "Base"\n\0', "cannot be read as TOML"),
    "png": (b"\x89PNG\r\n\x1a\n", "is not UTF-8 text"),
    "large": (b"#" * 2_000_000, "is far too large"),
}


@pytest.mark.parametrize("command", ["scan", "budget"])
@pytest.mark.parametrize(("line", "names", "says"), IMAGES, ids=lambda part: repr(part)[:40])
def test_image_is_refused(
    refused: Callable[..., str], here: Path, line: str, names: str, says: str, command: str
) -> None:
    """An image that cannot be read, or a key that does not go with it, is refused by name."""
    base = (here / "base.toml").read_text("utf-8")
    (here / "s.toml").write_text(base.replace('image = "flat"', line), "utf-8")
    told = refused(command, "s.toml").splitlines()
    assert len(told) == 1
    assert told[0].startswith(f"linesim: {names}")
    assert says in told[0]


@pytest.mark.parametrize("name", FILES)
def test_setup_file_is_refused(refused: Callable[..., str], here: Path, name: str) -> None:
    """A file that is no TOML is refused by its name."""
    data, says = FILES[name]
    (here / "s.toml").write_bytes(data)
    told = refused("scan", "s.toml")
    assert told.startswith('linesim: setup "s.toml" ')
    assert says in told
    assert len(told.splitlines()) == 1


KINDS = {"a.png": "flat", "b.png": "flat", "c.png": "dark", "d.png": "dark"}
COMMANDS = (
    "edge whole.png",
    "bars whole.png --region 0,0,60,40",
    "noise whole.png",
    "noise whole.png --dark whole.png",
    "uniformity whole.png",
    "scene whole.png",
    "against base.toml whole.png",
)


@pytest.mark.parametrize("command", COMMANDS)
def test_an_image_over_the_limit_is_refused(command: str, refused: Callable[..., str]) -> None:
    """40 x 60 pixels are one too many for 2399; the sentence names what lets them in."""
    told = refused("measure", *command.split(), "--max-pixels", "2399")
    assert 'image "whole.png" is 40 x 60 pixels (rows x columns); expected no more than' in told
    assert "2399 in all; crop or shrink the image, or raise --max-pixels if there is memory" in told


def test_so_are_the_frames_of_a_camera(here: Path, refused: Callable[..., str]) -> None:
    """One sentence a frame, each naming the option."""
    for name in KINDS:
        (here / name).write_bytes((here / "whole.png").read_bytes())
    rows = ["file,kind,exposure_us", *(f"{name},{kind},10" for name, kind in KINDS.items())]
    (here / "frames.csv").write_text("\n".join(rows), "utf-8")
    told = refused("measure", "camera", "frames.csv", "--max-pixels", "2399")
    assert told.count("raise --max-pixels") == 4


def test_the_limit_is_inclusive(refused: Callable[..., str]) -> None:
    """2400 pixels pass 2400; what is refused then is that a grey area has no edge."""
    assert "pixels (rows x columns)" not in refused(
        "measure", "edge", "whole.png", "--max-pixels", "2400"
    )


def test_the_help_tells_the_limit() -> None:
    """What stands under --max-pixels is what holds where it is left out."""
    option = MaxPixels.__metadata__[0]  # type: ignore[attr-defined]
    assert f"[default: {MAX_PIXELS}]" in option.help
