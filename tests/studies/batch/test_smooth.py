"""Costly figures along many points: a spline where it holds, every point where it does not."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from linesim.setup.load import changed
from linesim.studies.batch.along import along
from linesim.studies.batch.figures import COSTLY, figures_of
from linesim.studies.batch.ranges import ranges_of
from linesim.studies.batch.smooth import figures_along
from tests.stations import plain_setup

BASE = plain_setup(
    "Vary",
    target={"width": "10 mm", "height": "5 mm"},
    light={"illuminance": "4 klx"},
    camera={"read_noise": "20 e", "prnu": 0.005},
    requirement={"snr": 20},
)
SIZED = changed(BASE, {"requirement.smallest_defect": "300 um"})


@pytest.mark.parametrize(
    ("texts", "names"),
    [
        ({"light.illuminance": "1klx:200klx:log300"}, ("defect_dprime", "smallest_detectable_um")),
        ({"transport.speed": "10m/min:300m/min:lin300"}, ("defect_dprime",)),
        (
            {"light.illuminance": "1klx:50klx:log50", "lens.f_number": "2:11:log50"},
            ("defect_dprime",),
        ),
    ],
)
def test_a_spline_stands_in_for_costly_figures(
    texts: dict[str, str], names: tuple[str, ...]
) -> None:
    """
    Of many points, costly figures come through a spline within what it promises, 0.0005.

    Points are taken by chance, seed 5, so that they are not those that it was checked at.
    """
    dark = changed(SIZED, {"requirement.product_reflectance": 0.2})  # nothing of it clips here
    space = along(dark, None, ranges_of(dark, texts))
    groups = dict.fromkeys(names, COSTLY)
    told: list[int] = []
    found = figures_along(space, groups, lambda _done, total: told.append(total))
    assert max(told) < space.count / 2
    chosen = np.random.default_rng(5).choice(space.count, 40, replace=False)
    exact = figures_of(space, chosen, groups)
    for name in groups:
        assert_allclose(found[name][chosen], exact[name], rtol=5e-4)


def test_jumps_are_worked_out_at_all_points() -> None:
    """An encoder of 30 µm has few advances to choose from: no spline, every point by itself."""
    encoder = changed(SIZED, {"transport.trigger": "encoder", "transport.encoder_step": "30 um"})
    space = along(encoder, None, ranges_of(encoder, {"lens.magnification": "0.05:0.2:log80"}))
    told: list[int] = []
    figures_along(space, {"defect_dprime": COSTLY}, lambda _done, total: told.append(total))
    assert told[0] == 17
    assert told[-1] == 80
