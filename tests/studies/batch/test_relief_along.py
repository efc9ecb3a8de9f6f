"""Faults with relief along ranges: every point is what its own budget says."""

from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from linesim.figures.budget import budget
from linesim.figures.case import values
from linesim.setup.load import changed, sample_setup
from linesim.studies.batch.along import along
from linesim.studies.batch.figures import figures_of
from linesim.studies.batch.ranges import ranges_of
from linesim.studies.vary.study import vary

BASE = changed(
    sample_setup(),
    {
        "requirement.smallest_defect": None,
        "requirement.defect_relief": {"kind": "dent", "width": "300 um", "depth": "2 um"},
        "target.image": "flat",
        "target.gloss": 0.3,
        "target.rms_slope": 0.06,
        "light.arrangement": "line",
        "light.illuminance": "2 klx",
        "light.angle": "20 deg",
        "light.angular_width": "10 deg",
        "camera.angle": "20 deg",
    },
)
FIGURES = {"snr_product": "signal"} | dict.fromkeys(
    ("defect_contrast", "defect_dprime", "detection_rate"), "detection"
)
SEARCHED = {"smallest_relief_um": "detection"}


@pytest.mark.parametrize(
    ("key", "span", "more"),
    [
        ("light.angle", "20deg:60deg:lin2", {}),
        ("light.angle", "20deg:60deg:lin2", {"camera.kind": "prism"}),
        ("light.illuminance", "1klx:4klx:log3", {}),
        ("target.white_reflectance", "0.2:0.8:lin3", {}),
        ("lens.f_number", "2.8,8", {"requirement.texture": {"rms": 0.02, "correlation": "0.3 mm"}}),
    ],
)
def test_points_are_those_of_their_budgets(key: str, span: str, more: dict[str, Any]) -> None:
    """Whatever is varied, each point has the figures of its own station, to rounding."""
    # three searches for a width take their time
    groups = FIGURES if "camera.kind" in more else FIGURES | SEARCHED
    setup = changed(BASE, more)
    space = along(setup, None, ranges_of(setup, {key: span}))
    found = figures_of(space, np.arange(space.count), groups)
    for index in range(space.count):
        own = budget(space.setup(index))
        for name, group in groups.items():
            expected = values(own[group][name])
            assert_allclose(np.ravel(found[name][index]), expected, rtol=1e-9, atol=1e-300)


@pytest.mark.nightly
def test_a_dent_is_dark_in_the_mirror_and_bright_beside_it() -> None:
    """Common practice, no source: along the lamp's angle its contrast changes its sign."""
    found = vary(BASE, {"light.angle": "20deg:40deg:lin2"}, figures=["defect_contrast"]).curves[0]
    bright_field, dark_field = found.figures["defect_contrast"][:, 0]
    assert bright_field < 0 < dark_field
