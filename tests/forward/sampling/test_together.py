"""Channels of one camera go through their reference together, and see what each sees alone."""

from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_array_equal

from linesim.forward.channels import channels
from linesim.forward.expose import exposer, seen_together
from linesim.forward.reference import ArrayReference
from linesim.forward.render import render
from linesim.forward.station import station
from linesim.setup.arrays import ImageArray
from linesim.setup.load import changed, sample_setup
from linesim.setup.setup import Setup

PRISM = {"camera.kind": "prism"}
THREE = {"camera.kind": "three-line", "camera.line_spacing": "33 um"}
CAMERAS: dict[str, dict[str, Any]] = {
    "prism": PRISM,
    "rows apart": {**THREE, "acquisition.colour_alignment": "none"},
    "fractions, jitter": {**THREE, "transport.line_jitter": "20 um"},
    "wander": {**PRISM, "transport.lateral_wander": "0.1 mm"},
    "flicker": {**PRISM, "light.flicker": 0.1, "light.flicker_frequency": "300 Hz"},
    "rows kept apart": {
        **PRISM,
        "acquisition.binning": "2x2",
        "acquisition.binning_domain": "digital",
    },
}
LINES = 100


class Counted:
    """A reference that counts the rows that are asked for."""

    def __init__(self, data: ImageArray, pixel_size_um: float) -> None:
        self.whole = ArrayReference(data=data, pixel_size_um=pixel_size_um)
        self.fetched = 0

    @property
    def pixel_size_um(self) -> float:
        """Give the side of its pixels."""
        return self.whole.pixel_size_um

    @property
    def shape(self) -> tuple[int, ...]:
        """Give its rows and columns."""
        return self.whole.shape

    def rows(self, first: int, last: int) -> ImageArray:
        """Give some rows, and count them."""
        self.fetched += last - first
        return self.whole.rows(first, last)


def camera(changes: dict[str, Any]) -> Setup:
    """Put a camera of 150 pixels over the sample's target."""
    plain = {"requirement": None, "camera.pixels": 150, "target.pixel_size": "19 um"}
    return changed(sample_setup(), {**plain, **changes})


def reference(setup: Setup, bands: tuple[int, ...]) -> Counted:
    """Give noise that does not fill the view: its borders go on."""
    data = np.random.default_rng(5).random((330, 520, *bands), dtype=np.float32)
    return Counted(data, setup.target.pixel_size_um)


@pytest.mark.parametrize("bands", [(), (3,)], ids=["grey", "colours"])
@pytest.mark.parametrize("changes", CAMERAS.values(), ids=CAMERAS.keys())
def test_channels_see_together_what_each_sees_alone(
    changes: dict[str, Any], bands: tuple[int, ...]
) -> None:
    """To the last bit: to go through the reference once is no other mathematics."""
    setup = camera(changes)
    seen = reference(setup, bands)
    exposers = [
        exposer(setup, seen, each, physical="acquisition.binning" in changes)
        for each in channels(setup, station(setup))
    ]
    lines = np.arange(-10.0, LINES)
    for own, together in zip(exposers, seen_together(exposers, 3, lines), strict=True):
        assert_array_equal(together, own.at(3, lines))


def test_three_channels_fetch_their_rows_once() -> None:
    """A prism asks for a tenth more rows at most than its red, whose lens reaches farthest."""
    setup = camera(PRISM)
    seen = reference(setup, (3,))
    red = exposer(setup, seen, channels(setup, station(setup))[0])
    for first in range(0, LINES, 64):
        red.strip(0, first, min(first + 64, LINES))
    alone, seen.fetched = seen.fetched, 0
    render(setup, seen, LINES, 0, workers=1)
    assert alone <= seen.fetched <= 1.1 * alone
