"""Written images come back sample by sample in other people's readers, in the same bytes."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import imagecodecs
import imageio.v3 as iio
import numpy as np
import pytest
import tifffile
from numpy.testing import assert_allclose, assert_array_equal
from numpy.typing import NDArray
from PIL import Image

from linesim.files.images_in import read_image
from linesim.files.images_out import write_png, write_tiff
from linesim.setup.errors import InputError

Write = Callable[[Path, NDArray[Any]], None]
WRITERS = [pytest.param(write_tiff, id="tiff"), pytest.param(write_png, id="png")]
SHAPES = [(6, 5), (6, 5, 3), (2000, 700)]
TYPES = [np.uint8, np.uint16]


def noise(shape: tuple[int, ...], dtype: type) -> NDArray[Any]:
    """Give codes over the whole range, the largest one among them."""
    codes = np.random.default_rng(2).integers(0, np.iinfo(dtype).max, shape, dtype, endpoint=True)
    codes.flat[0] = np.iinfo(dtype).max
    return codes


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("dtype", TYPES)
def test_tiff_in_other_readers(tmp_path: Path, dtype: type, shape: tuple[int, ...]) -> None:
    """The tifffile and imageio readers give the samples back; Pillow too, but for 16-bit colour."""
    image = noise(shape, dtype)
    write_tiff(tmp_path / "a.tif", image)
    assert_array_equal(tifffile.imread(tmp_path / "a.tif"), image)
    assert_array_equal(iio.imread(tmp_path / "a.tif"), image)
    if image.ndim == 2 or dtype == np.uint8:
        assert_array_equal(np.asarray(Image.open(tmp_path / "a.tif")), image)


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("dtype", TYPES)
def test_png_in_other_readers(tmp_path: Path, dtype: type, shape: tuple[int, ...]) -> None:
    """The imagecodecs reader gives the samples back; imageio too, but for 16-bit colour."""
    image = noise(shape, dtype)
    write_png(tmp_path / "a.png", image)
    assert_array_equal(imagecodecs.png_decode((tmp_path / "a.png").read_bytes()), image)
    if image.ndim == 2 or dtype == np.uint8:
        assert_array_equal(iio.imread(tmp_path / "a.png"), image)


@pytest.mark.parametrize("write", WRITERS)
@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("dtype", TYPES)
def test_read_image_gives_it_back(
    tmp_path: Path, dtype: type, shape: tuple[int, ...], write: Write
) -> None:
    """What we write we read: code over largest code, rounded once to float32."""
    image = noise(shape, dtype)
    write(tmp_path / "a", image)
    loaded = read_image(tmp_path / "a", encoding="linear")
    assert_allclose(loaded.data, image / np.iinfo(dtype).max, rtol=0, atol=2.0**-24)
    assert loaded.cautions == ()


@pytest.mark.parametrize("write", WRITERS)
def test_same_samples_same_bytes(tmp_path: Path, write: Write) -> None:
    """Neither name, place, time nor memory layout shows in the bytes."""
    image = noise((60, 50, 3), np.uint16)
    write(tmp_path / "a", image)
    write(tmp_path / "other folder" / "b", np.asfortranarray(image))
    data = (tmp_path / "a").read_bytes()
    assert (tmp_path / "other folder" / "b").read_bytes() == data
    assert b"tifffile" not in data


def test_tiff_tags(tmp_path: Path) -> None:
    """No date and no software; one run of samples, so that readers can map the file."""
    image = noise((3000, 700), np.uint16)
    write_tiff(tmp_path / "a.tif", image)
    with tifffile.TiffFile(tmp_path / "a.tif") as tiff:
        page = tiff.pages.first
        names = {tag.name for tag in page.tags}
        assert not names & {"DateTime", "Software", "ImageDescription", "HostComputer", "Artist"}
        assert page.compression == 1
        assert page.is_contiguous
        assert len(page.tags.valueof("StripOffsets")) == 5  # 4.2 MB in strips of up to 1 MiB
    assert_array_equal(tifffile.memmap(tmp_path / "a.tif", mode="r"), image)


@pytest.mark.parametrize("write", WRITERS)
@pytest.mark.parametrize("dtype", [np.float32, np.int16, np.bool_, np.uint32])
def test_other_numbers_are_a_programming_error(tmp_path: Path, dtype: type, write: Write) -> None:
    """Nothing is converted behind the caller's back, and nothing is written."""
    with pytest.raises(TypeError, match=f"uint8 or uint16, got {np.dtype(dtype)}"):
        write(tmp_path / "a", np.zeros((4, 4), dtype))
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("write", WRITERS)
@pytest.mark.parametrize("shape", [(4,), (4, 4, 1), (4, 4, 4), (0, 4), (4, 0, 3), (2, 4, 4, 3)])
def test_other_shapes_are_a_programming_error(
    tmp_path: Path, shape: tuple[int, ...], write: Write
) -> None:
    """The message names the shape."""
    with pytest.raises(ValueError, match="must be"):
        write(tmp_path / "a", np.zeros(shape, np.uint8))
    assert list(tmp_path.iterdir()) == []


def test_png_side_over_a_million(tmp_path: Path) -> None:
    """A PNG that common readers would not open is not written; the same image as TIFF is."""
    image = np.zeros((1_000_001, 1), np.uint8)
    with pytest.raises(ValueError, match="sides up to 1000000 pixels"):
        write_png(tmp_path / "a.png", image)
    write_tiff(tmp_path / "a.tif", image)
    assert_array_equal(tifffile.imread(tmp_path / "a.tif"), image)


@pytest.mark.parametrize("write", WRITERS)
def test_no_room_under_a_file(tmp_path: Path, write: Write) -> None:
    """A folder that is a file is named."""
    (tmp_path / "out").write_text("x")
    with pytest.raises(InputError, match="is a file; expected a folder"):
        write(tmp_path / "out" / "a", np.zeros((4, 4), np.uint8))
