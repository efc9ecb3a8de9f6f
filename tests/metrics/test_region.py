"""Regions: read from a text, cut from an image, or refused with a reason."""

import numpy as np
import pytest
from numpy.testing import assert_array_equal

from linesim.metrics.region import Region
from linesim.setup.errors import InputError


def test_a_region_is_cut_out() -> None:
    """X runs along the line, Y along travel; colours come along; nothing is copied."""
    image = np.arange(60).reshape(6, 10)
    region = Region.read(" 2, 1 ,3,4 ")
    assert_array_equal(region.cut(image), image[1:5, 2:5])
    assert np.shares_memory(region.cut(image), image)
    assert region.cut(np.zeros((6, 10, 3))).shape == (4, 3, 3)
    assert (str(region), region.as_dict()) == (
        "2,1,3,4",
        {"x_px": 2, "y_px": 1, "width_px": 3, "height_px": 4},
    )
    assert Region.whole(image.shape) == Region(x=0, y=0, width=10, height=6)


@pytest.mark.parametrize("text", ["", "1,2,3", "1,2,3,4,5", "a,0,1,1", "-1,0,5,5", "0,0,0,5"])
def test_what_is_no_region_is_refused(text: str) -> None:
    """The option is named, with an example."""
    with pytest.raises(InputError, match=r'--region: read .*such as "120,0,200,160"'):
        Region.read(text)


@pytest.mark.parametrize("region", [(8, 0, 3, 2), (0, 5, 2, 2), (100, 100, 1, 1)])
def test_a_region_outside_is_refused(region: tuple[int, int, int, int]) -> None:
    """The image's size is told."""
    x, y, width, height = region
    with pytest.raises(InputError, match="past the image's 10 columns and 6 lines"):
        Region(x=x, y=y, width=width, height=height).cut(np.zeros((6, 10)))
