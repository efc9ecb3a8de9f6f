"""A colour scan on disk: the samples without loss, a picture in sRGB on one scale for all."""

import warnings
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
from numpy.testing import assert_array_equal
from PIL import Image

from linesim.files.images_in import read_image
from linesim.files.images_out import write_tiff
from linesim.report.picture import tones
from linesim.setup.load import setup_from
from linesim.studies.scan.outputs import preview, write_scan
from linesim.studies.scan.study import Scan, scan

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # tells of optional packages that are not needed here
    import colour

STATION: dict[str, Any] = {
    "title": "patches",
    "target": {"image": "flat", "pixel_size": "250 um"},
    "transport": {"speed": "30 m/min"},
    "lens": {"magnification": 0.03},
    "light": {"illuminance": "40 klx"},
    "camera": {"kind": "prism", "pixels": 24, "pixel_width": "7.5 um", "bit_depth": 14},
    "acquisition": {"white_balance": "grey-card", "lines": 30},
}


def scanned(bit_depth: int = 14) -> Scan:
    """Scan patches of random colours."""
    patches = np.random.default_rng(6).random((5, 4, 3)).astype(np.float32)
    reference = patches.repeat(6, axis=0).repeat(6, axis=1)
    camera = {**STATION["camera"], "bit_depth": bit_depth}
    return scan(setup_from({**STATION, "camera": camera}), seed=3, reference=reference)


@pytest.mark.parametrize(("bit_depth", "kind"), [(14, np.uint16), (8, np.uint8)])
def test_the_tiff_holds_the_samples(tmp_path: Path, bit_depth: int, kind: type) -> None:
    """Another reader finds the same RGB samples, in the bits that they need."""
    found = scanned(bit_depth)
    write_scan(found, tmp_path)
    with tifffile.TiffFile(tmp_path / "scan.tif") as file:
        page = file.pages.first
        samples = page.asarray()
        assert page.photometric == tifffile.PHOTOMETRIC.RGB
        assert page.samplesperpixel == 3
    assert samples.dtype == kind
    assert_array_equal(samples, found.image)


def test_sixteen_bit_colour_goes_round(tmp_path: Path) -> None:
    """All 65536 codes of each channel come back, as the linear reflectance that they stand for."""
    codes = np.random.default_rng(2).permuted(
        np.tile(np.arange(65536, dtype=np.uint16), (3, 1)), axis=1
    )
    image = codes.T.reshape(256, 256, 3)
    write_tiff(tmp_path / "codes.tif", image)
    seen = read_image(tmp_path / "codes.tif", encoding="linear").data
    # float32 has a relative error of 6e-8; times 65535 that is 0.004 of a code
    assert_array_equal(np.rint(seen.astype(np.float64) * 65535), image)


def test_tones_are_srgb() -> None:
    """Linear light is encoded as colour-science does it (IEC 61966-2-1), alike in each channel."""
    image_dn = np.random.default_rng(4).integers(0, 4096, (40, 50, 3), dtype=np.uint16)
    share = np.clip((image_dn - 32.0) / (3000.0 - 32.0), 0, 1)
    expected = np.rint(255 * colour.models.eotf_inverse_sRGB(share))
    assert_array_equal(tones(image_dn, 32.0, 3000.0), expected)


def test_the_preview_has_one_scale_for_all_colours() -> None:
    """All colours of the picture are samples, encoded from one black and one white."""
    found = scanned()
    black_dn = found.setup.camera.black_level_dn
    white_dn = np.percentile(found.image, 99.9)
    share = np.clip((found.image - black_dn) / (white_dn - black_dn), 0, 1)
    expected = np.rint(255 * colour.models.eotf_inverse_sRGB(share)).astype(np.uint8)
    page = preview(found)
    wanted = {tuple(sample) for sample in expected.reshape(-1, 3).tolist()}
    assert wanted <= {tuple(pixel) for pixel in page.reshape(-1, 3).tolist()}


def test_the_preview_file_is_the_preview(tmp_path: Path) -> None:
    """The PNG on disk is the page, in 8-bit RGB."""
    found = scanned()
    write_scan(found, tmp_path)
    assert_array_equal(np.asarray(Image.open(tmp_path / "preview.png")), preview(found))
