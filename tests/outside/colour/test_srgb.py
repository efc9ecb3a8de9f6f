"""The sRGB curve against colour-science and worked numbers (IEC 61966-2-1)."""

import warnings
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
from numpy.testing import assert_allclose, assert_array_equal
from numpy.typing import NDArray

from linesim.files.images_in import read_image
from linesim.files.srgb import linear_from_codes, srgb_to_linear

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # tells of optional packages that are not needed here
    import colour

ROUNDING = 1e-14
"""Both follow the same formula in double precision: a power and a few products of numbers up to 1,
each good to 1.1e-16; the exponent 2.4 multiplies what comes before it."""


@pytest.mark.parametrize("codes", [256, 65536])
def test_every_code(codes: int) -> None:
    """All 8-bit and 16-bit codes agree with `colour.models.eotf_sRGB`."""
    encoded = np.arange(codes) / (codes - 1)
    expected = colour.models.eotf_sRGB(encoded)
    assert_allclose(srgb_to_linear(encoded), expected, rtol=0, atol=ROUNDING)


@pytest.mark.parametrize(
    ("encoded", "linear", "atol"),
    [
        (0.5, 0.214041140482, 0.5e-12),
        (118 / 255, 0.18116424, 0.5e-8),
        (117.6458 / 255, 0.18, 0.5e-4 / 255 * 1.14),  # half the last digit, times the slope there
        (0.04045, 0.0031308, 0.5e-7),  # where the two pieces meet, as the standard prints it
        (0.0, 0.0, 0.0),
        (1.0, 1.0, 0.0),
    ],
)
def test_worked_numbers(encoded: float, linear: float, atol: float) -> None:
    """Numbers computed with colour-science 0.4.7, to half a unit of their last digit."""
    assert_allclose(srgb_to_linear(np.array(encoded)), linear, rtol=0, atol=atol)


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
def test_the_table_is_the_curve(dtype: type) -> None:
    """Decoding codes by the table is the curve rounded once to float32."""
    full_scale = np.iinfo(dtype).max
    codes: NDArray[Any] = np.arange(full_scale + 1, dtype=dtype).reshape(-1, 16)
    expected = colour.models.eotf_sRGB(codes / full_scale)
    decoded = linear_from_codes(codes, full_scale, "srgb")
    assert decoded.dtype == np.float32
    assert_allclose(decoded, expected, rtol=2.0**-24, atol=ROUNDING)


def test_a_file_is_decoded_as_its_encoding_says(tmp_path: Path) -> None:
    """Code 118 is 18 % grey in sRGB and 46 % if the file is linear."""
    tifffile.imwrite(tmp_path / "a.tif", np.full((4, 4), 118, np.uint8))
    srgb = read_image(tmp_path / "a.tif", encoding="srgb").data
    linear = read_image(tmp_path / "a.tif", encoding="linear").data
    # Half the last digit given, and half the spacing of float32 numbers in 1/8 to 1/4.
    assert_allclose(srgb, 0.18116424, rtol=0, atol=0.5e-8 + 2.0**-27)
    assert_array_equal(linear, np.float32(118 / 255))
