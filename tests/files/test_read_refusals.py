"""What cannot be read is refused in one sentence, and nothing else reaches the console."""

import io
import logging
import os
import struct
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import imagecodecs
import numpy as np
import pytest
import tifffile
from PIL import Image

from linesim.files.images_in import MAX_PIXELS, read_image
from linesim.setup.errors import InputError


def noise(shape: tuple[int, ...], dtype: type = np.uint8) -> np.ndarray[Any, Any]:
    """Give codes over the whole range."""
    return np.random.default_rng(5).integers(0, np.iinfo(dtype).max, shape, dtype, endpoint=True)


def pillow_bytes(
    codes: np.ndarray[Any, Any], kind: str, mode: str | None = None, **options: object
) -> bytes:
    """Let Pillow write an image."""
    stream = io.BytesIO()
    Image.fromarray(codes, mode=mode).save(stream, kind, **options)
    return stream.getvalue()


def tiff_bytes(codes: np.ndarray[Any, Any], **options: Any) -> bytes:  # noqa: ANN401 -- handed on
    """Let tifffile write an image."""
    stream = io.BytesIO()
    tifffile.imwrite(stream, codes, **options)
    return stream.getvalue()


def png_header(rows: int, columns: int) -> bytes:
    """Write the signature and the header of an 8-bit grey PNG (PNG, clause 11.2.1)."""
    header = b"IHDR" + struct.pack(">2I5B", columns, rows, 8, 0, 0, 0, 0)
    checksum = struct.pack(">I", zlib.crc32(header))
    return b"\x89PNG\r\n\x1a\n" + struct.pack(">I", 13) + header + checksum


def refusal(path: Path, encoding: str = "linear", **options: Any) -> str:  # noqa: ANN401 -- handed on
    """Give the one sentence that refuses a file."""
    with pytest.raises(InputError) as caught:
        read_image(path, encoding=encoding, **options)  # type: ignore[arg-type] # a literal
    text = str(caught.value)
    assert text.startswith(f'target.image "{options.get("written", path)}" ')
    assert "; expected " in text
    assert "\n" not in text
    return text


EVERY = 1 if "LINESIM_NIGHTLY" in os.environ else 4
"""So many bytes fewer each time."""
WHOLE: dict[str, Callable[[], bytes]] = {
    "8-bit PNG": lambda: pillow_bytes(noise((6, 5, 3)), "PNG"),
    "16-bit PNG": lambda: bytes(imagecodecs.png_encode(noise((6, 5, 3), np.uint16))),
    "palette PNG": lambda: pillow_bytes(noise((6, 5)), "PNG", bits=4),
    "JPEG": lambda: pillow_bytes(noise((17, 19, 3)), "JPEG"),
    "progressive JPEG": lambda: pillow_bytes(noise((17, 19)), "JPEG", progressive=True),
    "plain TIFF": lambda: tiff_bytes(noise((6, 5)), metadata=None, software=False),
    "LZW TIFF": lambda: tiff_bytes(noise((20, 9)), compression="lzw", rowsperstrip=6),
    "zlib TIFF": lambda: tiff_bytes(noise((20, 9)), compression="zlib", rowsperstrip=6),
    "JPEG TIFF": lambda: tiff_bytes(noise((32, 16, 3)), photometric="rgb", compression="jpeg"),
    "tiled TIFF": lambda: tiff_bytes(noise((20, 9)), tile=(16, 16)),
    "BigTIFF": lambda: tiff_bytes(noise((6, 5)), bigtiff=True, software=False),
}


@pytest.mark.parametrize("kind", WHOLE)
def test_a_file_cut_anywhere_is_refused(
    tmp_path: Path, kind: str, capfd: pytest.CaptureFixture[str]
) -> None:
    """The whole file is read; with any number of bytes missing at the end it is refused."""
    whole = WHOLE[kind]()
    path = tmp_path / "a.img"
    path.write_bytes(whole)
    read_image(path, encoding="linear")
    for size in {*range(0, len(whole), EVERY), len(whole) - 1}:
        path.write_bytes(whole[:size])
        refusal(path)
    assert capfd.readouterr() == ("", "")


def test_damaged_png(tmp_path: Path) -> None:
    """One wrong byte breaks a checksum."""
    data = bytearray(pillow_bytes(noise((6, 5)), "PNG"))
    data[50] ^= 1
    (tmp_path / "a.png").write_bytes(data)
    assert "is damaged (wrong checksum" in refusal(tmp_path / "a.png")


def test_png_with_too_few_rows(tmp_path: Path) -> None:
    """Pixel data that end too soon are refused even if every checksum is right."""
    header = png_header(6, 5)
    data = b"IDAT" + zlib.compress(bytes(6 * 3))
    end = b"IEND"
    parts = [
        struct.pack(">I", len(x) - 4) + x + struct.pack(">I", zlib.crc32(x)) for x in (data, end)
    ]
    (tmp_path / "a.png").write_bytes(header + b"".join(parts))
    assert "is cut short or damaged" in refusal(tmp_path / "a.png")


def test_missing_file_offers_the_nearest_name(tmp_path: Path) -> None:
    """A slip of the pen is answered with the name that was meant, as the user wrote it."""
    (tmp_path / "edge_0.3mm.png").write_bytes(b"x")
    text = refusal(tmp_path / "Edge_03mm.png", written="scenes/Edge_03mm.png")
    assert text == (
        'target.image "scenes/Edge_03mm.png" does not exist (the nearest name in that folder is '
        '"edge_0.3mm.png"); expected a PNG, TIFF or JPEG image'
    )


def test_missing_folder(tmp_path: Path) -> None:
    """It is the folder that is named when the folder is missing."""
    assert f'there is no folder "{tmp_path / "no"}"' in refusal(tmp_path / "no" / "a.png")


def test_nothing_near(tmp_path: Path) -> None:
    """No name is offered where none is near."""
    (tmp_path / "zzzzzz.csv").write_bytes(b"x")
    assert "nearest" not in refusal(tmp_path / "a.png")


def test_folder_empty_file_and_pipe(tmp_path: Path) -> None:
    """A folder, an empty file and a pipe are no images."""
    (tmp_path / "a.png").touch()
    os.mkfifo(tmp_path / "pipe.png")
    assert "is a folder" in refusal(tmp_path)
    assert "is empty (0 bytes)" in refusal(tmp_path / "a.png")
    assert "is a device or a pipe" in refusal(tmp_path / "pipe.png")


@pytest.mark.parametrize("name", ["a" * 300 + ".png", "a\0.png"])
def test_impossible_names(tmp_path: Path, name: str) -> None:
    """A name that no file can have is refused like any other."""
    refusal(tmp_path / name)


def test_no_permission(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The system's reason stands in the sentence (raised here, since root may read all)."""

    def deny(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    (tmp_path / "a.png").write_bytes(pillow_bytes(noise((4, 4)), "PNG"))
    monkeypatch.setattr(Path, "open", deny)
    assert "cannot be read (Permission denied)" in refusal(tmp_path / "a.png")


@pytest.mark.parametrize(
    ("data", "what"),
    [
        (b"wavelength,value\n400,1\n", "is a text file, not an image"),
        ("Größe".encode(), "is a text file, not an image"),
        (bytes(range(64)), "is not an image of a known format"),
        (pillow_bytes(noise((4, 4)), "GIF"), "is a GIF image"),
        (pillow_bytes(noise((4, 4)), "BMP"), "is a BMP image"),
        (pillow_bytes(noise((4, 4, 3)), "WEBP"), "is a WebP image"),
        (pillow_bytes(noise((8, 8, 3)), "JPEG2000"), "is a JPEG 2000 image"),
        (bytes(imagecodecs.avif_encode(noise((8, 8, 3)))), "is an AVIF image"),
        (pillow_bytes(noise((8, 8)), "PDF"), "is a PDF document"),
    ],
)
def test_other_formats_are_named(tmp_path: Path, data: bytes, what: str) -> None:
    """The sentence says what the file is and what is read."""
    (tmp_path / "a.png").write_bytes(data)
    text = refusal(tmp_path / "a.png")
    assert text.endswith(f"{what}; expected a PNG, TIFF or JPEG image")


@pytest.mark.parametrize("shape", [(1, 1), (1, 9), (9, 1)])
@pytest.mark.parametrize("kind", ["PNG", "JPEG", "TIFF"])
def test_too_few_pixels(tmp_path: Path, kind: str, shape: tuple[int, int]) -> None:
    """A side of one pixel has no edges to speak of."""
    (tmp_path / "a").write_bytes(pillow_bytes(noise(shape), kind))
    assert f"is {shape[0]} x {shape[1]} pixels" in refusal(tmp_path / "a")


def test_no_pixels(tmp_path: Path) -> None:
    """A header that tells of no columns is refused."""
    (tmp_path / "a.png").write_bytes(png_header(5, 0))
    assert "is 5 x 0 pixels" in refusal(tmp_path / "a.png")


def jpeg_header(rows: int, columns: int) -> bytes:
    """Give a JPEG whose frame header tells of another size (ITU-T T.81, B.2.2)."""
    data = pillow_bytes(noise((8, 8)), "JPEG")
    at = data.index(b"\xff\xc0") + 5  # behind marker, length and precision
    return data[:at] + struct.pack(">HH", rows, columns) + data[at + 4 :]


def tiff_header(rows: int, columns: int) -> bytes:
    """Write a grey TIFF with size tags and no pixels at all (TIFF 6.0, section 4)."""
    tags = [(256, columns), (257, rows), (258, 8), (259, 1), (262, 1), (273, 8), (279, 1)]
    entries = b"".join(struct.pack("<HHII", tag, 4, 1, value) for tag, value in tags)
    return b"II*\0" + struct.pack("<IH", 8, len(tags)) + entries + bytes(4)


@pytest.mark.parametrize("header", [png_header, jpeg_header, tiff_header])
def test_too_many_pixels_by_the_header_alone(
    tmp_path: Path, header: Callable[[int, int], bytes]
) -> None:
    """1.2e9 pixels are refused though the file holds none: nothing is decoded first."""
    (tmp_path / "a").write_bytes(header(30_000, 40_000))
    text = refusal(tmp_path / "a")
    assert f"is 30000 x 40000 pixels (rows x columns); expected no more than {MAX_PIXELS}" in text
    assert "max_pixels" in text
    assert "4.8 GB" in text  # 1.2e9 pixels of 4 bytes


def test_the_limit_on_pixels_can_be_moved(tmp_path: Path) -> None:
    """The limit is inclusive, and an argument."""
    (tmp_path / "a.png").write_bytes(pillow_bytes(noise((6, 5)), "PNG"))
    assert read_image(tmp_path / "a.png", encoding="srgb", max_pixels=30).data.shape == (6, 5)
    refusal(tmp_path / "a.png", max_pixels=29)


def test_png_side_over_a_million(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """Sides that the PNG decoder does not take are refused before it can say so on stderr."""
    (tmp_path / "a.png").write_bytes(png_header(1_000_001, 2))
    assert "as TIFF" in refusal(tmp_path / "a.png", max_pixels=10**7)
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf, -0.001, 1.001, 255.0])
def test_floats_out_of_range(tmp_path: Path, value: float) -> None:
    """Linear floats lie in 0 to 1; others are no reflectance."""
    image = np.full((4, 5), 0.5, np.float32)
    image[2, 3] = value
    tifffile.imwrite(tmp_path / "a.tif", image)
    text = refusal(tmp_path / "a.tif")
    assert "holds floats from " in text
    assert f"{np.float32(value):g}" in text


def test_floats_are_not_srgb(tmp_path: Path) -> None:
    """Floats are taken as linear, so asking for sRGB is a contradiction."""
    tifffile.imwrite(tmp_path / "a.tif", np.full((4, 5), 0.5, np.float32))
    assert 'encoding = "linear"' in refusal(tmp_path / "a.tif", encoding="srgb")


CMYK = noise((8, 8, 4))


@pytest.mark.parametrize(
    ("make", "what"),
    [
        (lambda: pillow_bytes(CMYK, "JPEG", mode="CMYK"), "holds CMYK"),
        (lambda: tiff_bytes(CMYK, photometric="separated"), "holds CMYK"),
        (
            lambda: tiff_bytes(noise((8, 8, 3)), photometric="cielab"),
            "holds colours of the kind CIELAB",
        ),
        (lambda: tiff_bytes(noise((8, 8)).astype(np.int16)), "holds signed integers"),
        (lambda: tiff_bytes(noise((8, 8)).astype(np.int8)), "holds signed integers"),
        (lambda: tiff_bytes(noise((8, 8)).astype(np.complex64)), "holds complex numbers"),
        (lambda: tiff_bytes(noise((8, 8)).astype(np.uint32)), "holds 32-bit integers"),
        (
            lambda: tiff_bytes(CMYK, photometric="rgb", extrasamples=["assocalpha"]),
            "has colours multiplied by their opacity",
        ),
    ],
)
def test_other_kinds_of_pixels(tmp_path: Path, make: Callable[[], bytes], what: str) -> None:
    """Inks, other colour spaces and other numbers are named."""
    (tmp_path / "a").write_bytes(make())
    assert what in refusal(tmp_path / "a")


@pytest.mark.parametrize(
    ("bits", "what"),
    [
        (1, "says that it has 1 bit, which JPEG cannot hold"),
        (4, "holds the code 255, but says that it has 4 bit; expected codes up to 15"),
    ],
)
def test_depth_that_does_not_fit(tmp_path: Path, bits: int, what: str) -> None:
    """A TIFF whose pixels go beyond its stated depth is refused, not cut to black and white."""
    data = tiff_bytes(noise((16, 16, 3)), photometric="rgb", compression="jpeg", metadata=None)
    assert data.count(struct.pack("<3H", 8, 8, 8)) == 1
    says_less = data.replace(struct.pack("<3H", 8, 8, 8), struct.pack("<3H", bits, bits, bits))
    (tmp_path / "a.tif").write_bytes(says_less)
    assert what in refusal(tmp_path / "a.tif")


def test_tifffile_keeps_quiet(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """Its notes have a handler, so Python's last resort does not print them on stderr."""
    whole = WHOLE["LZW TIFF"]()
    (tmp_path / "a.tif").write_bytes(whole[:200])
    refusal(tmp_path / "a.tif")
    assert logging.getLogger("tifffile").handlers
    assert capfd.readouterr() == ("", "")
