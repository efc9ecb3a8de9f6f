"""Exposure times that image files state, and folders in the place of tables and images."""

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import tifffile
from PIL import Image
from PIL.TiffImagePlugin import IFDRational
from typer.testing import CliRunner

from linesim.cli.app import app
from linesim.files.folders import all_images, images_in
from linesim.files.manifest import read_manifest
from linesim.files.taken import exposure_us
from linesim.setup.errors import InputError

SAMPLES = np.random.default_rng(1).integers(90, 110, (64, 64), dtype=np.uint16)


def written(path: Path, seconds: tuple[int, int] | None) -> Path:
    """Write an image by Pillow or tifffile, with an Exif ExposureTime of a fraction of a second."""
    if path.suffix == ".tif":
        tags = [] if seconds is None else [(33434, 5, 1, seconds, True)]
        tifffile.imwrite(path, SAMPLES, extratags=tags)
        return path
    exif = Image.Exif()
    exif[0x0112] = 1  # an Exif block that has a directory alone is not written
    if seconds is not None:
        exif[0x8769] = {33434: IFDRational(*seconds)}
    Image.fromarray(SAMPLES.astype(np.uint8)).save(path, exif=exif)
    return path


@pytest.mark.parametrize("ending", ["png", "tif", "jpg"])
def test_an_exposure_is_read_from_the_file(ending: str, tmp_path: Path) -> None:
    """A four-thousandth of a second is 250 µs; no tag, or a time of 0, is none."""
    assert exposure_us(written(tmp_path / f"a.{ending}", (1, 4000))) == pytest.approx(250)
    assert exposure_us(written(tmp_path / f"b.{ending}", None)) is None
    assert exposure_us(written(tmp_path / f"c.{ending}", (0, 1))) is None


def test_what_is_no_image_states_nothing(tmp_path: Path) -> None:
    """Its reader refuses it in a sentence; here it has no exposure."""
    for name, data in {"a.png": b"", "b.tif": b"II*\0\xff", "c.jpg": b"\xff\xd8\xff"}.items():
        (tmp_path / name).write_bytes(data)
        assert exposure_us(tmp_path / name) is None
    assert exposure_us(tmp_path / "none.png") is None


def test_images_of_a_folder_come_in_the_order_of_their_numbers(tmp_path: Path) -> None:
    """2 before 10; other files, hidden ones and folders are none."""
    for name in ("s10.png", "s2.TIF", ".hid.png", "note.txt"):
        (tmp_path / name).write_bytes(b"x")
    (tmp_path / "more.png").mkdir()
    assert [path.name for path in images_in(tmp_path)] == ["s2.TIF", "s10.png"]
    alone = tmp_path / "none.tif"
    assert all_images([alone, tmp_path]) == [alone, *images_in(tmp_path)]
    (tmp_path / "empty").mkdir()
    with pytest.raises(InputError, match="holds no image"):
        images_in(tmp_path / "empty")


def frames(folder: Path, flats: str, darks: str) -> Path:
    """Write two frames of each kind."""
    for kind, ending in (("flat", flats), ("dark", darks)):
        (folder / kind).mkdir()
        for name in "ab":
            written(folder / kind / f"{name}.{ending}", (1, 5000))
    return folder


def test_a_folder_stands_for_a_table(tmp_path: Path) -> None:
    """Folders flat and dark whose files state their exposures; or the table leaves it out."""
    found = read_manifest(frames(tmp_path, "tif", "png"))
    assert [row.kind for row in found.rows] == ["flat", "flat", "dark", "dark"]
    assert [row.exposure_us for row in found.rows] == pytest.approx([200] * 4)
    table = tmp_path / "series.csv"
    table.write_text(
        "file,kind\nflat/a.tif,flat\nflat/b.tif,flat\ndark/a.png,dark\ndark/b.png,dark\n"
    )
    assert [row.exposure_us for row in read_manifest(table).rows] == pytest.approx([200] * 4)


Change = Callable[[Path], object]


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (lambda path: (path / "dark").rename(path / "black"), "holds no folder dark"),
        (lambda path: written(path / "dark" / "b.tif", None), '"dark/b.tif" states no exposure'),
        (lambda path: (path / "dark" / "b.tif").unlink(), "dark frames a.tif"),
    ],
)
def test_a_folder_that_is_no_series_is_refused(change: Change, told: str, tmp_path: Path) -> None:
    """A sentence that names what is missing."""
    change(frames(tmp_path, "tif", "tif"))
    with pytest.raises(InputError, match=told):
        read_manifest(tmp_path)


def test_a_folder_is_measured_image_by_image(tmp_path: Path) -> None:
    """Each under its name; what cannot be measured is said, and stops nothing."""
    rng = np.random.default_rng(2)
    for name in ("a", "b"):
        noisy = rng.normal(1000, 10, (200, 200)).astype(np.uint16)
        tifffile.imwrite(tmp_path / f"{name}.tif", noisy)
    (tmp_path / "c.tif").write_bytes(b"II*\0 cut")
    done = CliRunner().invoke(
        app, ["measure", "uniformity", str(tmp_path), "--black", "0", "--json"]
    )
    told = json.loads(done.stdout)
    assert sorted(told["images"]) == ["a.tif", "b.tif"]
    assert list(told["refused"]) == ["c.tif"]
    plot = ["measure", "uniformity", str(tmp_path), "--plot", str(tmp_path / "p.png")]
    done = CliRunner().invoke(app, plot)
    assert done.exit_code != 0
