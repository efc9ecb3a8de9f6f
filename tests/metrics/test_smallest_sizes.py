"""The size that is just found, and the index d' it was found by."""

from dataclasses import replace

import numpy as np
from numpy.testing import assert_allclose

from linesim.forward.station import station
from linesim.metrics.defect_shapes import Disc
from linesim.metrics.defect_sizes import disc_of, smallest_um
from linesim.metrics.detection import alarm_threshold, detection_rate, dprime, wanted_dprime
from linesim.setup.load import changed, sample_setup

SETUP = changed(sample_setup(), {"camera.prnu": 0.0, "camera.dsnu": "0 e", "lens.blur": "0 um"})
NUMBERS = station(SETUP)


def test_the_smallest_disc_just_reaches_what_is_wanted() -> None:
    """At the diameter found, d' is what rate and alarms ask for, and the rate is the rate."""
    wanted = wanted_dprime(NUMBERS, 0.9, 0.05)
    diameter_um = smallest_um(NUMBERS, disc_of, wanted, contrast=0.1)
    seen = dprime(NUMBERS, Disc(diameter_um=diameter_um), 0.1)
    assert_allclose(seen, wanted, rtol=1e-9)
    assert_allclose(detection_rate(seen, alarm_threshold(NUMBERS, 0.05)), 0.9, rtol=1e-9)


def test_without_light_nothing_is_found() -> None:
    """No signal, no size."""
    dark = replace(NUMBERS, irradiance_w_m2=0.0)
    assert float(dprime(dark, Disc(diameter_um=100.0), 0.2)) == 0.0
    assert np.isinf(smallest_um(dark, disc_of, 5.0, contrast=0.2))
    assert float(smallest_um(NUMBERS, disc_of, 0.0, contrast=0.2)) == 0.0
