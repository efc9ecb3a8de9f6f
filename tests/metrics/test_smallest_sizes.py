"""The size that is just found, and the rate and false alarms it was found by."""

from dataclasses import replace

import numpy as np
from numpy.testing import assert_allclose

from linesim.forward.station import station
from linesim.metrics.detection.energy import Disc
from linesim.metrics.detection.ground import ground
from linesim.metrics.detection.sighting import (
    Sighting,
    alarm_threshold,
    detection_rate,
    dprime,
    false_alarms_per_m2,
    sighting_of,
    wanted_dprime,
)
from linesim.metrics.detection.sizes import disc_of, sizes_um
from linesim.setup.arrays import FloatArray
from linesim.setup.load import changed, sample_setup

SETUP = changed(sample_setup(), {"camera.prnu": 0.0, "camera.dsnu": "0 e", "lens.blur": "0 um"})
NUMBERS = station(SETUP)


def goal(seen: Sighting) -> FloatArray:
    """Ask for 90 % at one false alarm in 20 square metres."""
    return wanted_dprime(NUMBERS, seen.bank, 0.9, 0.05)


def test_the_smallest_disc_just_reaches_what_is_wanted() -> None:
    """At the diameter found, the rate is the rate wanted at the false alarms allowed."""
    base = ground(NUMBERS, 1.0, 0.1)
    (diameter_um,) = sizes_um(NUMBERS, disc_of, (goal,), base)
    seen = sighting_of(NUMBERS, base)(disc_of(diameter_um))
    threshold = alarm_threshold(NUMBERS, seen.bank, 0.05)
    assert_allclose(detection_rate(seen, threshold), 0.9, rtol=1e-7)
    assert_allclose(false_alarms_per_m2(NUMBERS, seen.bank, threshold), 0.05, rtol=1e-7)


def test_without_light_nothing_is_found() -> None:
    """No signal, no size."""
    dark = replace(NUMBERS, irradiance_w_m2=0.0)
    assert float(dprime(dark, Disc(diameter_um=100.0), 0.2)) == 0.0
    (size_um,) = sizes_um(dark, disc_of, (goal,), ground(dark, 1.0, 0.2))
    assert np.isinf(size_um)
