"""What is changed on reading is changed rightly, and a caution says so."""

import struct
from pathlib import Path
from typing import Any

import imagecodecs
import numpy as np
import pytest
import tifffile
from numpy.testing import assert_allclose, assert_array_equal
from numpy.typing import NDArray
from PIL import Image, ImageCms, ImageOps
from PIL.PngImagePlugin import PngInfo

from linesim.files.images_in import read_image

HALF_ULP = 2.0**-24
"""Half the spacing of float32 numbers just below 1: codes/full_scale is rounded once."""

Codes = NDArray[Any]


def noise(shape: tuple[int, ...], dtype: type = np.uint8) -> Codes:
    """Give codes over the whole range, the largest one among them."""
    codes = np.random.default_rng(11).integers(0, np.iinfo(dtype).max, shape, dtype, endpoint=True)
    codes.flat[0] = np.iinfo(dtype).max
    return codes


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
@pytest.mark.parametrize("samples", [2, 4])
def test_transparency_is_laid_on_white(tmp_path: Path, samples: int, dtype: type) -> None:
    """Linear light a c + (1 - a): what a white backing would send back."""
    codes = noise((6, 5, samples), dtype)
    (tmp_path / "a.png").write_bytes(imagecodecs.png_encode(codes))
    loaded = read_image(tmp_path / "a.png", encoding="linear")
    full = np.iinfo(dtype).max
    colour = codes[..., 0] / full if samples == 2 else codes[..., :3] / full
    alpha = codes[..., -1] / full if samples == 2 else codes[..., 3:] / full
    # Four roundings to float32 of numbers up to 1.
    assert_allclose(loaded.data, alpha * colour + 1 - alpha, rtol=0, atol=4 * HALF_ULP)
    assert len(loaded.cautions) == 1
    assert "laid on white" in loaded.cautions[0]


def test_transparent_tiff(tmp_path: Path) -> None:
    """TIFF with straight alpha is laid on white, as PNG is."""
    codes = noise((6, 5, 4))
    tifffile.imwrite(tmp_path / "a.tif", codes, photometric="rgb", extrasamples=["unassalpha"])
    (tmp_path / "a.png").write_bytes(imagecodecs.png_encode(codes))
    tiff = read_image(tmp_path / "a.tif", encoding="srgb")
    assert_array_equal(tiff.data, read_image(tmp_path / "a.png", encoding="srgb").data)
    assert "laid on white" in tiff.cautions[0]


@pytest.mark.parametrize(("samples", "mode"), [(2, "LA"), (4, "RGBA")])
def test_opaque_alpha_is_dropped_in_silence(tmp_path: Path, samples: int, mode: str) -> None:
    """An alpha channel that hides nothing changes nothing and needs no caution."""
    codes = noise((6, 5, samples))
    codes[..., -1] = 255
    Image.fromarray(codes, mode=mode).save(tmp_path / "a.png")
    expected = codes[..., 0] if samples == 2 else codes[..., :3]
    loaded = read_image(tmp_path / "a.png", encoding="linear")
    assert_allclose(loaded.data, expected / 255, rtol=0, atol=HALF_ULP)
    assert loaded.cautions == ()


def test_transparent_palette_entry(tmp_path: Path) -> None:
    """A palette entry without opacity is white."""
    image = Image.fromarray(np.array([[0, 1], [1, 0]], np.uint8), mode="P")
    image.putpalette([10, 20, 30, 40, 50, 60])
    image.save(tmp_path / "a.png", transparency=0)
    loaded = read_image(tmp_path / "a.png", encoding="linear")
    assert_array_equal(loaded.data[0, 0], [1, 1, 1])
    assert_allclose(loaded.data[0, 1], np.array([40, 50, 60]) / 255, rtol=0, atol=HALF_ULP)
    assert len(loaded.cautions) == 1


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("ending", [".png", ".tif", ".jpg"])
def test_orientation_is_followed(tmp_path: Path, ending: str, orientation: int) -> None:
    """The image stands as Pillow's `exif_transpose` puts it, and a caution says so."""
    image = Image.fromarray(noise((5, 7, 3)))
    exif = Image.Exif()
    exif[0x0112] = orientation
    image.save(tmp_path / f"a{ending}", exif=exif)
    with Image.open(tmp_path / f"a{ending}") as stored:
        expected = np.asarray(ImageOps.exif_transpose(stored))
    loaded = read_image(tmp_path / f"a{ending}", encoding="linear")
    assert_allclose(loaded.data, expected / 255, rtol=0, atol=HALF_ULP)
    assert len(loaded.cautions) == (orientation != 1)
    assert all(f"({orientation})" in text for text in loaded.cautions)


def test_first_of_several_pages(tmp_path: Path) -> None:
    """The first page is read and a caution tells how many there are."""
    pages = noise((3, 5, 7))
    tifffile.imwrite(tmp_path / "a.tif", pages, photometric="minisblack")
    loaded = read_image(tmp_path / "a.tif", encoding="linear", key="image")
    assert_allclose(loaded.data, pages[0] / 255, rtol=0, atol=HALF_ULP)
    assert loaded.cautions == (
        f'image "{tmp_path / "a.tif"}": it has 3 pages; the first one was used.',
    )


def test_animated_png(tmp_path: Path) -> None:
    """Of an animation the still image is read, with a caution."""
    frames = [Image.fromarray(frame) for frame in noise((2, 5, 7))]
    frames[0].save(tmp_path / "a.png", save_all=True, append_images=frames[1:])
    loaded = read_image(tmp_path / "a.png", encoding="linear")
    assert_allclose(loaded.data, np.asarray(frames[0]) / 255, rtol=0, atol=HALF_ULP)
    assert "animated" in loaded.cautions[0]


def test_undeclared_samples_are_left_out(tmp_path: Path) -> None:
    """A fourth sample that TIFF does not call opacity is not taken for it."""
    codes = noise((6, 5, 4))
    tifffile.imwrite(tmp_path / "a.tif", codes, photometric="rgb", extrasamples=["unspecified"])
    loaded = read_image(tmp_path / "a.tif", encoding="linear")
    assert_allclose(loaded.data, codes[..., :3] / 255, rtol=0, atol=HALF_ULP)
    assert "1 of its 4 samples" in loaded.cautions[0]


@pytest.mark.parametrize(
    ("name", "body", "foreign"),
    [
        (b"gAMA", struct.pack(">I", 100_000), True),
        (b"gAMA", struct.pack(">I", 45_455), False),
        (b"sRGB", b"\0", False),
    ],
)
def test_png_that_is_not_srgb(tmp_path: Path, name: bytes, body: bytes, *, foreign: bool) -> None:
    """A PNG that claims another curve (PNG, clause 11.3.2) is cautioned when read as sRGB."""
    info = PngInfo()
    info.add(name, body)
    Image.fromarray(noise((4, 4))).save(tmp_path / "a.png", pnginfo=info)
    cautions = read_image(tmp_path / "a.png", encoding="srgb").cautions
    assert [("colour profile" in text) for text in cautions] == [True] * foreign
    assert read_image(tmp_path / "a.png", encoding="linear").cautions == ()


@pytest.mark.parametrize("ending", [".png", ".tif", ".jpg"])
@pytest.mark.parametrize(("space", "foreign"), [("sRGB", False), ("LAB", True), ("XYZ", True)])
def test_embedded_profile(tmp_path: Path, ending: str, space: str, *, foreign: bool) -> None:
    """The sRGB profile is known by its name; any other one is cautioned."""
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile(space)).tobytes()  # type: ignore[arg-type] # one of its names
    Image.fromarray(noise((4, 4, 3))).save(tmp_path / f"a{ending}", icc_profile=profile)
    cautions = read_image(tmp_path / f"a{ending}", encoding="srgb").cautions
    assert [("colour profile" in text) for text in cautions] == [True] * foreign


@pytest.mark.parametrize(("largest", "cautioned"), [(4095, True), (16383, True), (16384, False)])
def test_dark_16_bit_is_cautioned(tmp_path: Path, largest: int, *, cautioned: bool) -> None:
    """12-bit data in 16 bits would be read as a sixteenth; the caution names the largest code."""
    codes = np.full((4, 4), largest, np.uint16)
    tifffile.imwrite(tmp_path / "a.tif", codes)
    cautions = read_image(tmp_path / "a.tif", encoding="linear").cautions
    assert [str(largest) in text for text in cautions] == [True] * cautioned
