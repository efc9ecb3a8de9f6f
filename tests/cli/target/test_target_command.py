"""The command target: what it writes is what was drawn."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import imagecodecs
import imageio.v3 as iio
import numpy as np
import pytest
import tifffile

from linesim.setup.errors import InputError
from linesim.setup.relations import BUILT_IN
from linesim.targets.catalogue import make
from linesim.targets.extend.web import asked_web, write_web

READERS: dict[str, Callable[[Path], Any]] = {
    "png": iio.imread,
    "tif": tifffile.imread,
    "PNG": imagecodecs.imread,
}
Call = Callable[..., tuple[int, str]]


def _linear(code: np.ndarray) -> np.ndarray:
    """Decode 16-bit sRGB, IEC 61966-2-1:1999."""
    encoded = code.astype(np.float64) / 65535
    return np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)


@pytest.mark.parametrize(
    ("name", "ending"),
    [
        ("edge", "png"),
        ("foil", "png"),
        ("steps", "png"),
        ("edge", "tif"),
        ("tile", "tif"),
        # no reader but the writer's own library keeps the 16 bit of a colour PNG
        ("tile", "PNG"),
    ],
)
def test_target_reads_back(run: Call, tmp_path: Path, name: str, ending: str) -> None:
    """
    What another library reads from the file is what was drawn.

    Half a code of 65535, times the steepest slope of the decoding (2.4/1.055 = 2.28 at white),
    and the float32 of the drawing.
    """
    size = ("--width", "4 mm", "--height", "3 mm", "--pixel-size", "25 um")
    code, out = run("target", name, *size, "--out", f"t.{ending}")
    assert (code, f'image = "t.{ending}", pixel_size = "25 um"' in out) == (0, True)
    found = np.asarray(READERS[ending](tmp_path / f"t.{ending}"))
    drawn = make(name, pixel_size_um=25.0, width_mm=4.0, height_mm=3.0).rows(0, 120)
    assert (found.dtype.name, found.shape) == ("uint16", drawn.shape)
    assert np.abs(_linear(found) - drawn).max() < 2.28 * 0.5 / 65535 + 2.0**-23


def test_target_options_of_the_edge(run: Call, tmp_path: Path) -> None:
    """Angle and contrast reach the drawing: light over dark is as asked."""
    size = ("--width", "4 mm", "--height", "4 mm")
    run("target", "edge", *size, "--angle", "8 deg", "--contrast", "10", "--out", "t.tif")
    found = _linear(tifffile.imread(tmp_path / "t.tif"))
    assert found.max() / found.min() == pytest.approx(10, rel=1e-3)  # a code is 2e-4 of the dark
    want = make("edge", width_mm=4.0, height_mm=4.0, angle_deg=8.0, contrast=10.0)
    assert np.abs(found - want.rows(0, want.shape[0])).max() < 2.28 * 0.5 / 65535 + 2.0**-23


def test_target_without_a_name_lists_them(run: Call, tmp_path: Path) -> None:
    """All targets by name, and no file."""
    _, out = run("target")
    named = [line.split()[0] for line in out.splitlines()]
    assert sorted(named) == sorted(BUILT_IN)
    assert [each.name for each in tmp_path.iterdir()] == ["tiny.toml"]


SIZE = ("--size", "4 mm x 6 mm", "--pixel-size", "40 um")


def test_a_photograph_becomes_a_web(run: Call, tmp_path: Path) -> None:
    """Size, method and use are told, and the file has that size."""
    iio.imwrite(tmp_path / "own.png", np.random.default_rng(0).integers(90, 99, (99, 99), np.uint8))
    code, out = run("target", "extend", "own.png", *SIZE, "--out", "web.tif")
    assert code == 0
    assert "100 x 150 pixels of 40 um, random phase" in out
    assert 'image = "web.tif", pixel_size = "40 um", encoding = "linear"' in out
    assert "guard and lock out by local code" in out
    assert tifffile.imread(tmp_path / "web.tif").shape == (150, 100)


def test_a_web_larger_than_the_disk_is_refused(tmp_path: Path) -> None:
    """300 m x 2 km of 40 um are 7.5 million x 50 million samples of 2 bytes: 750 TB."""
    iio.imwrite(tmp_path / "own.png", np.random.default_rng(0).integers(90, 99, (99, 99), np.uint8))
    web = asked_web(tmp_path / "own.png", ("300 m x 2 km", "40 um"), (None, "srgb"), 0)
    with pytest.raises(InputError, match=r"7.5e\+05 GB, but the disk"):
        write_web(web, tmp_path / "web.tif")
    assert not list(tmp_path.glob("*.tif"))


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--size", "4 mm", "--pixel-size", "40 um"), '--size: read "4 mm", but expected two'),
        (("--size", "4 mm x -6 mm", "--pixel-size", "40 um"), '--size: read "-6 mm"'),
        ((*SIZE, "--method", "paint"), '--method: read "paint", but expected grain or quilt'),
        ((*SIZE, "--encoding", "raw"), '--encoding: read "raw", but expected srgb or linear'),
        ((*SIZE, "--out", "web.png"), "expected a name as web.tif"),
        (SIZE, 'photograph "own.png"'),
    ],
)
def test_a_web_that_cannot_be_is_refused(
    refused: Callable[..., str], arguments: tuple[str, ...], said: str
) -> None:
    """A sentence each, and nothing is written."""
    assert said in refused("target", "extend", "own.png", *arguments)
