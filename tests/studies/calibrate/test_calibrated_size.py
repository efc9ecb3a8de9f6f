"""Size and perspective: a product photographed askew comes out flat and to scale."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
from PIL import Image

from linesim.files.resolution_in import stated_dpi
from linesim.setup.errors import InputError
from linesim.studies.calibrate.asked import Asked, Ruler, read_corners, read_patch, read_ruler
from linesim.studies.calibrate.minded import cautions
from linesim.studies.calibrate.study import Calibrated, calibrate
from tests.studies.calibrate.conftest import Array

Write = Callable[..., Path]
VIEW = np.array([[5.0, 0.7, 60.0], [0.35, 4.6, 45.0], [0.0009, 0.0016, 1.0]])
"""From millimetres on the product to pixels: seen askew, and smaller at the far side."""
WIDE_MM, HIGH_MM = 60.0, 40.0
SWING_MM = 4.0


def face(x_mm: Array, y_mm: Array) -> Array:
    """Give a product of smooth waves both ways, within 0.1 to 0.7."""
    waves = np.sin(2 * np.pi * x_mm / SWING_MM) + np.sin(2 * np.pi * y_mm / (1.3 * SWING_MM))
    return np.asarray(0.4 + 0.15 * waves)


def seen(places: Array) -> Array:
    """Map places on the product to the photograph."""
    lifted = np.column_stack([places, np.ones(len(places))]) @ VIEW.T
    return np.asarray(lifted[:, :2] / lifted[:, 2:])


CORNERS = seen(np.array([[0, 0], [WIDE_MM, 0], [WIDE_MM, HIGH_MM], [0, HIGH_MM]]))
POINTS = " ".join(f"{x!r},{y!r}" for x, y in CORNERS.tolist())


@pytest.fixture(scope="module")
def askew() -> Array:
    """Photograph the product, each pixel at its middle, with a grey card in the corner."""
    rows, columns = np.mgrid[0:260, 0:420]
    pixels = np.stack([columns + 0.5, rows + 0.5, np.ones(rows.shape)], axis=-1)
    on_product = pixels @ np.linalg.inv(VIEW).T
    image = face(on_product[..., 0] / on_product[..., 2], on_product[..., 1] / on_product[..., 2])
    image[:24, :24] = 0.5
    return image


def flat(path: Path, **more: object) -> Calibrated:
    """Calibrate the photograph by its corners."""
    corners = read_corners(POINTS, f"{WIDE_MM} mm x {HIGH_MM} mm")
    patch = read_patch("2,2,20,20 = 0.5")
    asked = {"encoding": "linear", "corners": corners, **more}
    return calibrate(Asked(image=path, patches=(patch,), **asked))  # type: ignore[arg-type]


@pytest.mark.parametrize("size_um", [None, 500.0])
def test_a_product_seen_askew_is_laid_flat(
    photographed: Write, askew: Array, size_um: float | None
) -> None:
    """
    Every pixel of the target has the reflectance of its place on the product.

    A wave of 4 mm has 16 pixels where the photograph is coarsest (0.25 mm): a cubic that is right
    to third order is off by less than (2π/16)⁴/16 = 0.15 % of the swing. A pixel of 0.5 mm is the
    mean over it: sinc 0.5/4 on the first wave, 0.5/5.2 on the second.
    """
    found = flat(photographed(askew), pixel_size_um=size_um)
    pitch_mm = found.scale.pixel_size_um / 1000
    rows, columns = found.data.shape
    assert (rows, columns) == (round(HIGH_MM / pitch_mm), round(WIDE_MM / pitch_mm))
    y_mm, x_mm = ((np.mgrid[0:rows, 0:columns] + 0.5) * pitch_mm).tolist()
    x_mm, y_mm = np.array(x_mm), np.array(y_mm)
    if size_um is None:
        expected, allowed = face(x_mm, y_mm), 0.002
    else:  # the mean over a pixel, from a hundred places in it
        steps = (np.arange(10) - 4.5) / 10 * pitch_mm
        expected = np.mean([face(x_mm + dx, y_mm + dy) for dx in steps for dy in steps], axis=0)
        allowed = 0.004  # of the few places averaged, each (2π·0.25/4)²/24 = 0.6 % of the swing
    inner = np.s_[2:-2, 2:-2]  # the rim takes pixels beyond the card's end into its cubic
    np.testing.assert_allclose(found.data[inner], expected[inner], atol=allowed, rtol=0)


def test_the_finest_pitch_is_kept(photographed: Write, askew: Array) -> None:
    """The target's pixel is the finest that the photograph has on the product, to 3 digits."""
    found = flat(photographed(askew))
    grid = np.array(
        [[x, y] for x in np.linspace(0, WIDE_MM, 7) for y in np.linspace(0, HIGH_MM, 5)]
    )
    each = []
    for angle in np.linspace(0, np.pi, 37):
        step = 1e-3 * np.array([np.cos(angle), np.sin(angle)])
        each.append(1e-3 / np.hypot(*(seen(grid + step) - seen(grid)).T))
    # directions 5 degrees apart miss the extreme by cos 2.5 degrees at most, and 3 digits 0.5 %
    assert found.scale.pixel_size_um == pytest.approx(1000 * np.min(each), rel=0.006)
    assert found.scale.seen_um[1] == pytest.approx(1000 * np.max(each), rel=0.006)
    assert "scale_uneven" in {each.code for each in cautions(found)}


def test_a_ruler_that_agrees_with_the_corners_passes(photographed: Write, askew: Array) -> None:
    """A length on the product is checked through the view; 3 % off is refused."""
    ends = tuple(map(tuple, seen(np.array([[5.0, 30.0], [50.0, 8.0]])).tolist()))
    true_mm = float(np.hypot(45.0, 22.0))
    path = photographed(askew)
    flat(path, ruler=Ruler(ends=ends, length_mm=true_mm))
    with pytest.raises(InputError, match="--length, --corners: read a length of 51"):
        flat(path, ruler=Ruler(ends=ends, length_mm=1.03 * true_mm))


def plain(path: Path, **more: object) -> Calibrated:
    """Calibrate a plain scan."""
    asked = {"encoding": "linear", **more}
    return calibrate(Asked(image=path, patches=(read_patch("2,2,20,20 = 0.5"),), **asked))  # type: ignore[arg-type]


def write(path: Path, dpi: tuple[float, float]) -> Path:
    """Write a grey image by another library, with its resolution."""
    codes = np.full((40, 60), 128, dtype=np.uint8)
    if path.suffix == ".tif":  # in centimetres, as some scanners write
        across, down = ((round(each / 2.54 * 1000), 1000) for each in dpi)
        tifffile.imwrite(path, codes, resolution=(across, down), resolutionunit=3)
    else:
        Image.fromarray(codes).save(path, dpi=dpi)
    return path


@pytest.mark.parametrize("ending", ["png", "jpg", "tif"])
def test_the_resolution_of_a_scan_is_read(tmp_path: Path, ending: str) -> None:
    """
    600 dpi are 42.33 um a pixel, whatever the format.

    A PNG counts whole pixels a metre: 23622 are 599.9988 dpi, 2e-6 off.
    """
    path = write(tmp_path / f"scan.{ending}", (600, 600))
    assert stated_dpi(path) == pytest.approx((600, 600), rel=3e-6)
    assert plain(path).scale.pixel_size_um == pytest.approx(25400 / 600, abs=0.005)


@pytest.mark.parametrize(
    ("resolution", "unit"), [((600, 600), 1), ((0, 0), 2), (((0, 1), (0, 1)), 3)]
)
def test_a_resolution_without_a_length_is_none(
    tmp_path: Path, resolution: tuple[Any, Any], unit: int
) -> None:
    """TIFF 6.0: unit 1 tells the shape of a pixel alone; a number of nothing tells nothing."""
    path = tmp_path / "scan.tif"
    codes = np.full((40, 60), 128, dtype=np.uint8)
    tifffile.imwrite(path, codes, resolution=resolution, resolutionunit=unit)
    assert stated_dpi(path) is None


def test_a_ruler_gives_the_size(photographed: Write) -> None:
    """A length between two points: 50 pixels along a slope are 25 mm."""
    path = photographed(np.full((60, 60), 0.4))
    found = plain(path, ruler=read_ruler("10,10 40,50 = 2.5 cm"))
    assert found.scale.pixel_size_um == 500.0


def test_a_file_that_says_otherwise_is_told(tmp_path: Path) -> None:
    """What is asked for holds, and the file's own resolution is named beside it."""
    path = write(tmp_path / "scan.png", (600, 600))
    found = plain(path, pixel_size_um=50.0)
    assert found.scale.pixel_size_um == 50.0
    (told,) = [e.text for e in cautions(found) if e.code == "scale_contradicts_file"]
    assert "600 dpi, 42.33 um a pixel, but --pixel-size says 50 um" in told


def test_a_scan_whose_corners_say_otherwise_is_told(tmp_path: Path) -> None:
    """Corners of a rectangle 50 pixels wide and 5 mm: 100 um, and not the 42.33 of 600 dpi."""
    path = write(tmp_path / "scan.png", (600, 600))
    corners = read_corners("5,5 55,5 55,35 5,35", "5 mm x 3 mm")
    told = {each.code: each.text for each in cautions(plain(path, corners=corners))}
    assert "--corners with --size says 100 um, which" in told["scale_contradicts_file"]


def test_a_part_is_cut_out(photographed: Write) -> None:
    """--crop leaves the card away: the target is the part alone."""
    image = np.full((60, 80), 0.4)
    image[30:50, 40:70] = np.linspace(0.1, 0.3, 30)
    found = plain(
        photographed(image), pixel_size_um=50.0, crop=read_patch("40,30,30,20 = 1").region
    )
    expected = 0.5 / 0.4 * image[30:50, 40:70]
    np.testing.assert_allclose(found.data, expected, rtol=1e-5)  # float32, and a scale of a mean
