"""The station whose cautions are looked at: a plain one, which has none."""

import pytest

from linesim.setup.setup import Setup
from tests.stations import plain_setup

# 75 um object pixels at 1 m/s: matched at 13 333.3 Hz, period 75 us. 256 x 2 bytes x 13 333.3 Hz =
# 6.827 MB/s. Depth of field 2 x 7.5 um x 4.4 / 0.01 = 6.6 mm. White: 6330 e of a well of 20 ke.
BASE = plain_setup(
    "Cautions",
    target={"pixel_size": "18.75 um", "width": "30 mm", "height": "20 mm"},
    transport={"speed": "1 m/s"},
    lens={"f_number": 4.0},
    light={"irradiance": "100 W/m^2", "illuminance": None},
    camera={"read_noise": "20 e", "full_well": "20 ke", "black_level": "0 DN"},
    acquisition={"lines": 100},
)


@pytest.fixture(scope="session")
def caution_base() -> Setup:
    """Give the station."""
    return BASE
