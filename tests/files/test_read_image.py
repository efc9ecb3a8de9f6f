"""Every kind of image is read to the values that an independent library wrote."""

import io
import struct
import zlib
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

HALF_ULP = 2.0**-24
"""Half the spacing of float32 numbers just below 1: codes/full_scale is rounded once."""

Codes = NDArray[Any]


def noise(shape: tuple[int, ...], dtype: type = np.uint8) -> Codes:
    """Give codes over the whole range, the largest one among them."""
    codes = np.random.default_rng(11).integers(0, np.iinfo(dtype).max, shape, dtype, endpoint=True)
    codes.flat[0] = np.iinfo(dtype).max
    return codes


def read_linear(path: Path) -> Codes:
    """Read a file whose reading must give no caution."""
    loaded = read_image(path, encoding="linear")
    assert loaded.cautions == ()
    assert loaded.data.dtype == np.float32
    assert loaded.data.flags.c_contiguous
    return loaded.data


def chunk(name: bytes, body: bytes) -> bytes:
    """Pack a PNG chunk (PNG, clause 5.3)."""
    checksum = zlib.crc32(name + body)
    return struct.pack(">I", len(body)) + name + body + struct.pack(">I", checksum)


def plain_png(codes: Codes) -> bytes:
    """Write a PNG without filters, straight from PNG, clauses 5 and 11.2."""
    lines = codes.astype(codes.dtype.newbyteorder(">"))
    data = zlib.compress(b"".join(b"\0" + line.tobytes() for line in lines))
    depth, colour_type = codes.dtype.itemsize * 8, 2 if codes.ndim > 2 else 0
    header = struct.pack(">2I5B", codes.shape[1], codes.shape[0], depth, colour_type, 0, 0, 0)
    body = chunk(b"IHDR", header) + chunk(b"IDAT", data) + chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + body


def plain_tiff(codes: Codes, bits: int) -> bytes:
    """Write one strip with ``bits`` bits a sample, rows from whole bytes (TIFF 6.0, section 3)."""
    samples = codes.shape[2] if codes.ndim > 2 else 1
    rows = codes.reshape(len(codes), -1, 1)
    ones_and_zeros = rows >> np.arange(bits - 1, -1, -1, dtype=codes.dtype) & 1
    bits_of_rows = ones_and_zeros.astype(np.uint8).reshape(len(codes), -1)
    strip = np.packbits(bits_of_rows, axis=1).tobytes()  # most significant bit first
    if bits == 16:
        strip = codes.astype("<u2").tobytes()
    tags = [(256, codes.shape[1]), (257, len(codes)), (258, bits), (259, 1)]
    tags += [(262, 2 if samples > 1 else 1)]
    start = 8 + 2 + 9 * 12 + 4
    tags += [(273, start + 6), (277, samples), (278, len(codes)), (279, len(strip))]
    entries = b"".join(
        struct.pack("<HHIHH", tag, 3, 3, start, 0)
        if tag == 258 and samples > 1
        else struct.pack("<HHII", tag, 4, 1, value)
        for tag, value in tags
    )
    head = b"II*\0" + struct.pack("<IH", 8, len(tags)) + entries + bytes(4)
    return head + struct.pack("<3H", bits, bits, bits) + strip


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
@pytest.mark.parametrize("shape", [(5, 7), (5, 7, 3)])
@pytest.mark.parametrize("ending", [".png", ".tif"])
def test_codes_become_fractions_of_white(
    tmp_path: Path, ending: str, shape: tuple[int, ...], dtype: type
) -> None:
    """Code over largest code is read, from files written here by the book."""
    codes = noise(shape, dtype)
    depth = codes.dtype.itemsize * 8
    data = plain_png(codes) if ending == ".png" else plain_tiff(codes, depth)
    (tmp_path / f"a{ending}").write_bytes(data)
    read = read_linear(tmp_path / f"a{ending}")
    assert_allclose(read, codes / np.iinfo(dtype).max, rtol=0, atol=HALF_ULP)


@pytest.mark.parametrize("shape", [(5, 7), (5, 7, 3)])
@pytest.mark.parametrize("ending", [".png", ".tif"])
def test_as_written_by_imageio(tmp_path: Path, ending: str, shape: tuple[int, ...]) -> None:
    """8-bit files of another writer, with its filters and tags."""
    codes = noise(shape)
    iio.imwrite(tmp_path / f"a{ending}", codes)
    read = read_linear(tmp_path / f"a{ending}")
    assert_allclose(read, codes / 255, rtol=0, atol=HALF_ULP)


@pytest.mark.parametrize(
    "options",
    [
        {"compression": "lzw", "predictor": True, "rowsperstrip": 5},
        {"compression": "zlib", "rowsperstrip": 5},
        {"compression": "packbits"},
        {"compression": "zstd", "predictor": True},
        {"tile": (16, 16)},
        {"bigtiff": True},
        {"byteorder": ">"},
    ],
)
def test_tiff_of_every_make(tmp_path: Path, options: dict[str, Any]) -> None:
    """Compression, tiles, strips, byte order and BigTIFF change nothing in what is read."""
    codes = noise((23, 37, 3), np.uint16)
    tifffile.imwrite(tmp_path / "a.tif", codes, photometric="rgb", **options)
    read = read_linear(tmp_path / "a.tif")
    assert_allclose(read, codes / 65535, rtol=0, atol=HALF_ULP)


def test_tiff_in_planes(tmp_path: Path) -> None:
    """Red, green and blue stored one after the other come out side by side."""
    codes = noise((3, 23, 37))
    tifffile.imwrite(tmp_path / "a.tif", codes, photometric="rgb", planarconfig="separate")
    expected = np.moveaxis(codes, 0, -1) / 255
    assert_allclose(read_linear(tmp_path / "a.tif"), expected, rtol=0, atol=HALF_ULP)


@pytest.mark.parametrize("bits", [2, 4, 12, 14])
@pytest.mark.parametrize("shape", [(6, 7), (6, 7, 3)])
def test_tiff_of_odd_depths(tmp_path: Path, shape: tuple[int, ...], bits: int) -> None:
    """White is the largest code of the stated depth, 4095 for 12 bit."""
    codes = noise(shape, np.uint16) >> (16 - bits)
    (tmp_path / "a.tif").write_bytes(plain_tiff(codes, bits))
    expected = codes / (2**bits - 1)
    assert_allclose(read_linear(tmp_path / "a.tif"), expected, rtol=0, atol=HALF_ULP)


@pytest.mark.parametrize("ending", [".png", ".tif"])
def test_bilevel_is_black_and_white(tmp_path: Path, ending: str) -> None:
    """One bit a pixel gives 0 and 1; Pillow wrote the file."""
    bits = noise((9, 13)) > 127
    Image.fromarray(bits).save(tmp_path / f"a{ending}")
    assert_array_equal(read_linear(tmp_path / f"a{ending}"), bits)


@pytest.mark.parametrize("packing", ["group3", "group4", "packbits", "tiff_lzw", "tiff_deflate"])
def test_packed_bilevel(tmp_path: Path, packing: str) -> None:
    """Scanned line art in the packings of fax (ITU-T T.4, T.6) and others; libtiff wrote it."""
    bits = noise((9, 13)) > 127
    Image.fromarray(bits).save(tmp_path / "a.tif", compression=packing)
    assert_array_equal(read_linear(tmp_path / "a.tif"), bits)


def test_white_may_be_zero_in_tiff(tmp_path: Path) -> None:
    """WhiteIsZero (TIFF 6.0, tag 262) is turned over."""
    codes = noise((5, 7))
    tifffile.imwrite(tmp_path / "a.tif", codes, photometric="miniswhite")
    assert_allclose(read_linear(tmp_path / "a.tif"), 1 - codes / 255, rtol=0, atol=HALF_ULP)


@pytest.mark.parametrize("ending", [".png", ".tif"])
@pytest.mark.parametrize("grey", [False, True])
def test_palette_is_resolved(tmp_path: Path, ending: str, grey: bool) -> None:  # noqa: FBT001 -- a parameter
    """Indices give the palette's colours; a grey palette gives a grey image."""
    palette = noise((256, 1 if grey else 3)).repeat(3 if grey else 1, axis=1)
    indices = np.arange(256, dtype=np.uint8).reshape(16, 16)
    image = Image.fromarray(indices, mode="L")
    image.putpalette(palette.tobytes())
    image.save(tmp_path / f"a{ending}")
    expected = palette[indices] / 255
    expected = expected[..., 0] if grey else expected
    read = read_linear(tmp_path / f"a{ending}")
    # Pillow stores 8-bit entries in TIFF's 16 bits as 256 v, not 257 v: up to 255/65535 less.
    atol = 255 / 65535 + HALF_ULP if ending == ".tif" else HALF_ULP
    assert_allclose(read, expected, rtol=0, atol=atol)


@pytest.mark.parametrize("shape", [(40, 50), (40, 50, 3)])
def test_jpeg_as_another_decoder_reads_it(tmp_path: Path, shape: tuple[int, ...]) -> None:
    """Another build of the decoder may round one code otherwise (both follow ITU-T T.81)."""
    smooth = np.linspace(0, 255, int(np.prod(shape))).reshape(shape).astype(np.uint8)
    iio.imwrite(tmp_path / "a.jpg", smooth, quality=95)
    other = imagecodecs.jpeg8_decode((tmp_path / "a.jpg").read_bytes())
    read = read_linear(tmp_path / "a.jpg") * 255
    assert_allclose(read, other, rtol=0, atol=1 + 255 * HALF_ULP)


@pytest.mark.parametrize("dtype", [np.float16, np.float32, np.float64])
def test_float_tiff_is_linear(tmp_path: Path, dtype: type) -> None:
    """Floats from 0 to 1 come through, rounded to float32."""
    values: Codes = np.random.default_rng(3).random((5, 7)).astype(dtype)
    values.flat[:2] = 0, 1
    tifffile.imwrite(tmp_path / "a.tif", values)
    assert_array_equal(read_linear(tmp_path / "a.tif"), values.astype(np.float32))


def interlaced(codes: Codes, colour_type: int) -> bytes:
    """Write a PNG in seven passes, straight from the table in PNG, clause 8.1."""
    starts_steps = [(0, 8, 0, 8), (0, 8, 4, 8), (4, 8, 0, 4), (0, 4, 2, 4), (2, 4, 0, 2)]
    starts_steps += [(0, 2, 1, 2), (1, 2, 0, 1)]
    rows = [
        b"\0" + line.astype(codes.dtype.newbyteorder(">")).tobytes()
        for row, row_step, column, column_step in starts_steps
        for line in codes[row::row_step, column::column_step]
        if line.size
    ]
    depth = codes.dtype.itemsize * 8
    header = struct.pack(">2I5B", codes.shape[1], codes.shape[0], depth, colour_type, 0, 0, 1)
    data = zlib.compress(b"".join(rows))
    body = chunk(b"IHDR", header) + chunk(b"IDAT", data) + chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + body


@pytest.mark.parametrize("size", [(2, 2), (3, 5), (9, 17), (16, 8)])
@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
@pytest.mark.parametrize("samples", [1, 3])
def test_interlaced_png(
    tmp_path: Path,
    size: tuple[int, int],
    dtype: type,
    samples: int,
    capfd: pytest.CaptureFixture[str],
) -> None:
    """Seven passes are woven together at every size, and the decoder keeps quiet."""
    codes = noise((*size, samples), dtype)
    codes = codes[..., 0] if samples == 1 else codes
    data = interlaced(codes, 0 if samples == 1 else 2)
    if dtype == np.uint8:  # the file built here is a right one: Pillow agrees
        assert_array_equal(np.asarray(Image.open(io.BytesIO(data))), codes)
    (tmp_path / "a.png").write_bytes(data)
    expected = codes / np.iinfo(dtype).max
    assert_allclose(read_linear(tmp_path / "a.png"), expected, rtol=0, atol=HALF_ULP)
    assert capfd.readouterr() == ("", "")


def test_many_blocks_are_one_image(tmp_path: Path) -> None:
    """An image of several decoding blocks is decoded like a small one."""
    codes = noise((1500, 1000, 3), np.uint16)
    tifffile.imwrite(tmp_path / "a.tif", codes, photometric="rgb")
    read = read_linear(tmp_path / "a.tif")
    assert_allclose(read, codes / 65535, rtol=0, atol=HALF_ULP)


def test_content_counts_not_the_ending(tmp_path: Path) -> None:
    """A TIFF that is called .png is read as the TIFF that it is."""
    codes = noise((5, 7))
    with (tmp_path / "a.png").open("wb") as stream:
        tifffile.imwrite(stream, codes)
    assert_allclose(read_linear(tmp_path / "a.png"), codes / 255, rtol=0, atol=HALF_ULP)
