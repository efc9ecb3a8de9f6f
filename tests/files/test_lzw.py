"""Sound LZW data pass the check, whoever packed them; codes that point nowhere do not."""

import io
from pathlib import Path
from typing import Any

import imagecodecs
import numpy as np
import pytest
import tifffile
from numpy.typing import NDArray
from PIL import Image

from linesim.files.images_in import read_image
from linesim.files.lzw import check_lzw
from linesim.files.pixels import RefusedImageError
from linesim.setup.errors import InputError

RNG = np.random.default_rng(8)
ROW, COLUMN = np.mgrid[0:300, 0:200]
IMAGES: dict[str, NDArray[Any]] = {
    "noise": RNG.integers(0, 256, (300, 200), dtype=np.uint8),
    "few levels": RNG.integers(0, 3, (300, 200), dtype=np.uint8),
    "ramp": ((ROW + COLUMN) // 16 % 256).astype(np.uint8),
    "flat": np.zeros((300, 200), np.uint8),
}


def nine_bits(*codes: int) -> bytes:
    """Pack codes of 9 bits, most significant bit first."""
    bits = "".join(f"{code:09b}" for code in codes)
    return int(bits.ljust(-(-len(bits) // 8) * 8, "0"), 2).to_bytes(-(-len(bits) // 8), "big")


@pytest.mark.parametrize("kind", IMAGES)
def test_sound_data_of_two_writers(kind: str) -> None:
    """Nothing that libtiff (through Pillow) or imagecodecs packs is turned away."""
    image = IMAGES[kind]
    check_lzw(bytes(imagecodecs.lzw_encode(image.tobytes())))
    stream = io.BytesIO()
    Image.fromarray(image).save(stream, "TIFF", compression="tiff_lzw")
    stream.seek(0)
    with tifffile.TiffFile(stream) as tiff:
        page = tiff.pages.first
        for offset, count in zip(page.dataoffsets, page.databytecounts, strict=True):
            check_lzw(stream.getvalue()[offset : offset + count])


def test_the_example_of_the_standard() -> None:
    """TIFF 6.0, section 13 packs 7 7 7 8 8 7 7 6 6 into 256 7 258 8 8 258 6 6 257."""
    packed = nine_bits(256, 7, 258, 8, 8, 258, 6, 6, 257)
    assert imagecodecs.lzw_decode(packed) == bytes([7, 7, 7, 8, 8, 7, 7, 6, 6])
    check_lzw(packed)


@pytest.mark.parametrize(
    "codes", [(256, 258, 257), (256, 7, 259, 257), (256, 7, 258, 260, 257), (256, 7, 256, 258, 257)]
)
def test_codes_that_point_nowhere(codes: tuple[int, ...]) -> None:
    """Entry 258 is made by the second code behind a clear, 259 by the third."""
    with pytest.raises(RefusedImageError, match="LZW codes make no sense"):
        check_lzw(nine_bits(*codes))


def test_a_table_that_overflows() -> None:
    """More codes than the table has room for, with no clear between them."""
    with pytest.raises(RefusedImageError, match="LZW codes make no sense"):
        check_lzw(nine_bits(256) + bytes(10_000))


@pytest.mark.parametrize("rows", [1, 100, 300])
def test_damaged_strips_in_a_file(tmp_path: Path, rows: int) -> None:
    """A run of ones in the middle of any strip is no sound code there."""
    image = IMAGES["noise"]
    tifffile.imwrite(tmp_path / "a.tif", image, compression="lzw", rowsperstrip=rows)
    with tifffile.TiffFile(tmp_path / "a.tif") as tiff:
        page = tiff.pages.first
        last, size = page.dataoffsets[-1], page.databytecounts[-1]
    data = bytearray((tmp_path / "a.tif").read_bytes())
    data[last + size // 2 : last + size // 2 + 6] = b"\xff" * 6
    (tmp_path / "a.tif").write_bytes(data)
    with pytest.raises(InputError, match="LZW codes make no sense"):
        read_image(tmp_path / "a.tif", encoding="linear")
