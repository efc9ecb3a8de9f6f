"""Where the transfer of a whole station crosses one half."""

import numpy as np
import pytest

from linesim.figures.resolution import mtf_across, mtf_along, resolution_group
from linesim.forward.station import station
from linesim.setup.load import changed
from tests.stations import plain_setup

BASE = plain_setup(
    "Optics",
    target={"width": "40 mm", "height": "40 mm"},
    camera={"pixels": 512, "pixel_width": "7 um"},
    acquisition={"exposure": "full"},
)


@pytest.mark.parametrize("along", [False, True])
def test_half_point_of_a_whole_station(*, along: bool) -> None:
    """First crossing of the product, found on a grid of 1.4e-5 lp/mm."""
    setup = changed(BASE, {"lens.f_number": 8.0, "lens.defocus": "5 mm", "lens.blur": "2 um"})
    numbers = station(setup)
    frequency = np.linspace(1e-6, 1000 / 70, 1_000_001)
    curve = (mtf_along if along else mtf_across)(numbers, frequency)
    first = frequency[np.flatnonzero(curve < 0.5)[0]]
    name = "mtf50_y_lp_mm" if along else "mtf50_x_lp_mm"
    found = resolution_group(numbers)[name]
    assert found == pytest.approx(first, abs=2e-5)
