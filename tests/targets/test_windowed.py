"""A large target read by rows: the same light as when it is read whole."""

from pathlib import Path

import numpy as np
import pytest
import tifffile
from numpy.testing import assert_array_equal

from linesim.files.images_in import read_image
from linesim.files.srgb import Encoding
from linesim.setup.errors import InputError
from linesim.targets import windowed as windows
from linesim.targets.windowed import WindowedReference, windowed

RNG = np.random.default_rng(6)


@pytest.fixture(autouse=True)
def _small_counts_as_large(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(windows, "LEAST_PIXELS", 1)
    monkeypatch.setattr(windows, "_BLOCK_BYTES", 20_000)


def opened(path: Path, encoding: Encoding = "srgb") -> WindowedReference:
    """Open a target of 10 µm."""
    found = windowed(path, f'target.image "{path.name}"', encoding=encoding, pixel_size_um=10.0)
    assert found is not None
    return found


@pytest.mark.parametrize("kind", ["uint8", "uint16"])
@pytest.mark.parametrize("encoding", ["srgb", "linear"])
@pytest.mark.parametrize("shape", [(300, 90), (300, 90, 3)])
def test_same_light(tmp_path: Path, kind: str, encoding: Encoding, shape: tuple[int, ...]) -> None:
    """Every row, across the blocks it is read in."""
    path = tmp_path / "web.tif"
    codes = RNG.integers(0, np.iinfo(kind).max, shape).astype(kind)
    photometric = "rgb" if len(shape) == 3 else "minisblack"
    tifffile.imwrite(path, codes, photometric=photometric, tile=(32, 32), compression="zlib")
    whole, found = read_image(path, encoding=encoding).data, opened(path, encoding)
    assert 1 < found.block_rows < 100
    for first, last in ((0, 300), (95, 97), (17, 250), (299, 300)):
        assert_array_equal(found.rows(first, last), whole[first:last])


def test_floats(tmp_path: Path) -> None:
    """Linear floats as they are; one beyond white is refused where it is met, with its rows."""
    path = tmp_path / "web.tif"
    light = RNG.random((300, 90), dtype=np.float32)
    light[200, 5] = 1.5
    tifffile.imwrite(path, light)
    found = opened(path, "linear")
    assert_array_equal(found.rows(10, 30), light[10:30])
    with pytest.raises(InputError, match=r'"web.tif" holds floats from 0.* to 1.5 in rows'):
        found.rows(190, 210)


def test_dark_codes_are_told(tmp_path: Path) -> None:
    """12-bit codes in 16 bit are cautioned about, as when read whole."""
    path = tmp_path / "web.tif"
    tifffile.imwrite(path, np.full((300, 90), 4000, dtype=np.uint16))
    (said,) = opened(path).cautions
    assert "largest code at" in said
    assert "4000 of 65535" in said


def test_small_files_are_read_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Below the limit, or as floats in a display encoding, nothing is opened by rows."""
    path = tmp_path / "web.tif"
    tifffile.imwrite(path, np.zeros((30, 20), dtype=np.float32))
    assert windowed(path, "x", encoding="srgb", pixel_size_um=1.0) is None
    monkeypatch.setattr(windows, "LEAST_PIXELS", 601)
    assert windowed(path, "x", encoding="linear", pixel_size_um=1.0) is None
