"""
Webs from photographs: the spectrum and the histogram are kept, and nothing is seen twice.

The photographs are scikit-image's gravel, grass and brick (public domain, CC0), in its wheel.
"""

from pathlib import Path

import numpy as np
import pytest
import skimage.data
import tifffile
from numpy.testing import assert_allclose, assert_array_equal
from scipy.signal import welch

from linesim.files.images_out import write_png, write_tiff
from linesim.files.srgb import srgb_to_linear
from linesim.setup.arrays import FloatArray, ImageArray
from linesim.setup.errors import InputError
from linesim.targets.extend.grain import STRIP_ROWS, grain
from linesim.targets.extend.quilt import quilt
from linesim.targets.extend.web import GRAINY, Web, excess_kurtosis, write_web

OCTAVES = [(1 / 64, 1 / 32), (1 / 32, 1 / 16), (1 / 16, 1 / 8), (1 / 8, 1 / 4), (1 / 4, 1 / 2)]
"""In cycles a pixel."""


def photograph(name: str) -> ImageArray:
    """Take one of scikit-image's, in linear light."""
    return srgb_to_linear(getattr(skimage.data, name)() / 255).astype(np.float32)


def web(surface: object, rows: int, columns: int, seed: int = 3) -> ImageArray:
    """Draw a web whole."""
    return np.concatenate(list(surface.strips(rows, columns, seed)))  # type: ignore[attr-defined]


def octaves(image: ImageArray) -> FloatArray:
    """Sum up power by octave, across and along, by Welch's method of SciPy: an independent path."""
    found = []
    for axis in (0, 1):
        found_welch = welch(image.astype(float), nperseg=256, axis=axis, detrend="constant")
        frequency, power = found_welch[0], np.asarray(found_welch[1]).mean(axis=1 - axis)
        found.append(
            [power[(frequency >= low) & (frequency < high)].sum() for low, high in OCTAVES]
        )
    return np.array(found)


def test_grain_keeps_spectrum_and_histogram() -> None:
    """
    Of gravel: each octave within 12 % across and along, quantiles within 0.05 of its spread.

    The photograph's own spectrum is the measure. 2048 x 1024 pixels hold 8 photographs: of the
    lowest octave some 512²/64² · 8 = 500 independent modes, 4.5 · √(1/500) = 0.2 for 3/4 of it; the
    rest has far more. Its border is tapered (10 %), which mixes a tenth of neighbouring
    frequencies. Quantiles: a level varies by 1/√(independent samples): grains of 4 pixels, 130 000
    of them, 0.3 %.
    """
    own = photograph("gravel")
    made = web(grain(own), 2048, 1024)
    ratio = octaves(made) / octaves(own)
    assert_allclose(ratio[:, 0], 1, atol=0.2)
    assert_allclose(ratio[:, 1:], 1, atol=0.12)
    shares = [1, 5, 25, 50, 75, 95, 99]
    apart = np.percentile(made, shares) - np.percentile(own, shares)
    assert np.abs(apart / own.std()).max() < 0.05
    assert made.min() >= own.min()
    assert made.max() <= own.max()


@pytest.mark.parametrize("name", ["grass", "gravel"])
def test_a_quilt_keeps_spectrum_and_histogram(name: str) -> None:
    """
    Octaves within 10 %, quantiles within 0.08 of the spread: bounds of ours.

    Pieces are those of the photograph, taken evenly; measured 6 % and 0.05.
    """
    own = photograph(name)
    made = web(quilt(own), 768, 768)
    assert_allclose((octaves(made) / octaves(own))[:, 1:], 1, atol=0.1)
    shares = [1, 5, 25, 50, 75, 95, 99]
    apart = np.percentile(made, shares) - np.percentile(own, shares)
    assert np.abs(apart / own.std()).max() < 0.08
    assert np.isin(made[::7, ::7], own).all()  # nothing is made up


@pytest.mark.parametrize(("name", "make"), [("gravel", grain), ("grass", quilt)])
def test_nothing_is_seen_twice(name: str, make: object) -> None:
    """
    The autocorrelation beyond 100 pixels stays under 6 %; tiles of the photograph have 1.

    Chance alone: of 1024 x 640 pixels with grains of 5 pixels, 26 000 independent ones, of which
    half overlap, 5 standard errors are 4 %; slow shades of the photograph add to it.
    """
    made = web(make(photograph(name)), 1024, 640).astype(float)  # type: ignore[operator]
    assert farthest(made) < 0.06
    assert farthest(np.tile(photograph(name)[:300, :300], (3, 2)).astype(float)) > 0.9


def farthest(image: FloatArray) -> float:
    """Give the largest autocorrelation beyond 100 pixels, over those that overlap."""
    rows, columns = image.shape
    level = np.pad(image - image.mean(), ((0, rows), (0, columns)))
    ones = np.pad(np.ones(image.shape), ((0, rows), (0, columns)))
    found, count = (
        np.asarray(np.fft.irfft2(np.abs(np.fft.rfft2(part)) ** 2, s=part.shape))
        for part in (level, ones)
    )
    y, x = np.meshgrid(
        *(np.minimum(np.arange(2 * n), 2 * n - np.arange(2 * n)) for n in (rows, columns)),
        indexing="ij",
    )
    far = (np.maximum(y, x) > 100) & (y < rows // 2) & (x < columns // 2)
    return float((found[far] / count[far]).max() / (found[0, 0] / count[0, 0]))


@pytest.mark.parametrize("make", [grain, quilt])
def test_a_web_is_the_same_to_any_length(make: object) -> None:
    """The beginning of a longer one is the shorter one, bit for bit; another seed, another web."""
    surface = make(photograph("gravel")[:200, :100])  # type: ignore[operator]
    long = web(surface, STRIP_ROWS + 90, 120)
    assert_array_equal(web(surface, 170, 120), long[:170])
    assert_array_equal(web(surface, STRIP_ROWS + 90, 120), long)
    assert not np.array_equal(web(surface, 170, 120, seed=4), long[:170])


def test_colours_stay_together() -> None:
    """Red and blue of a grainy colour: their correlation, 0.9 made and 0.9 kept, within 0.03."""
    random = np.random.default_rng(2)
    shared, own = random.standard_normal((2, 256, 256, 3))
    shared[...] = shared[..., :1]
    red = np.clip(0.4 + 0.05 * (np.sqrt(0.9) * shared + np.sqrt(0.1) * own), 0, 1)
    made = web(grain(red.astype(np.float32)), 512, 256)
    assert made.shape == (512, 256, 3)
    found, wanted = (np.asarray(np.corrcoef(image.reshape(-1, 3).T))[0, 2] for image in (made, red))
    assert found == pytest.approx(wanted, abs=0.03)


def test_the_surface_chooses_the_method() -> None:
    """Normal noise has no excess kurtosis; gravel, grass and bricks do."""
    noise = np.random.default_rng(0).standard_normal((256, 256)).astype(np.float32)
    assert abs(excess_kurtosis(noise)) < 0.1
    for name in ("gravel", "grass", "brick"):
        assert excess_kurtosis(photograph(name)) > GRAINY


def test_a_web_is_written_linear(tmp_path: Path) -> None:
    """Codes of 16 bit in linear light, as many as asked for; the whole file or none."""
    own = photograph("gravel")[:160, :160]
    write_tiff(tmp_path / "own.tif", np.rint(own * 65535).astype(np.uint16))
    ask = Web(
        image=tmp_path / "own.tif",
        encoding="linear",
        pixel_size_um=40.0,
        width_mm=8.0,
        height_mm=12.0,
    )
    assert write_web(ask, tmp_path / "web.tif") == "quilt"
    codes = tifffile.imread(tmp_path / "web.tif")
    assert codes.shape == (300, 200)
    assert codes.dtype == np.uint16
    assert np.isin(codes, np.rint(own * 65535)).all()


def test_what_no_web_can_be_made_of_is_refused(tmp_path: Path) -> None:
    """Too small, no photograph, no TIFF name: a sentence each, and no file."""
    write_png(tmp_path / "small.png", np.full((40, 300), 90, np.uint8))
    ask = Web(
        image=tmp_path / "small.png",
        encoding="srgb",
        pixel_size_um=40.0,
        width_mm=8.0,
        height_mm=8.0,
    )
    with pytest.raises(InputError, match="300 x 40 pixels; expected 96 or more each way"):
        write_web(ask, tmp_path / "web.tif")
    with pytest.raises(InputError, match=r"expected a name as web\.tif"):
        write_web(ask, tmp_path / "web.png")
    assert not (tmp_path / "web.tif").exists()
