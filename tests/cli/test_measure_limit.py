"""How large an image may be that is measured: ``--max-pixels``."""

from collections.abc import Callable
from pathlib import Path

import pytest

from linesim.cli.measure.options import MaxPixels
from linesim.files.images_in import MAX_PIXELS

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
