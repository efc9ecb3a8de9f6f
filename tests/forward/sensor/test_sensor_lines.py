"""Noise that reading adds to whole lines: in the image, in the figures, in what is found."""

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from linesim.figures.detection import search
from linesim.forward.device.scans import render_by
from linesim.forward.kept import kept
from linesim.forward.reference import ArrayReference
from linesim.forward.render import render
from linesim.forward.station import station
from linesim.metrics.detection.energy import Disc, Scratch, energies
from linesim.metrics.detection.ground import ground
from linesim.metrics.detection.sighting import dprime
from linesim.metrics.flat.area import flat_area
from linesim.setup.load import changed
from linesim.studies.measure.detection.trial import bank_e
from linesim.targets.load import target_size
from tests.stations import plain_setup

BASE = plain_setup(
    "Lines",
    target={"pixel_size": "25 um", "width": "8 mm", "height": "24 mm"},
    light={"irradiance": "20 W/m^2", "illuminance": None},
    camera={"pixels": 96, "gain": "0.5 DN/e", "bit_depth": 16},
    requirement={"smallest_defect": "300 um"},
)
NOISE = {"camera.line_noise": "40 e"}
BINNED: dict[str, object] = {"acquisition.binning": "2x2"}
WAYS: dict[str, tuple[dict[str, object], float]] = {
    "one pixel": ({}, 1.0),
    "charge, read once": (BINNED, 1.0),
    # two columns share the draw of their row, two rows have one each: 2² + 2²
    "numbers": ({**BINNED, "acquisition.binning_domain": "digital"}, np.sqrt(8)),
    "average": (
        {**BINNED, "acquisition.binning_domain": "digital", "acquisition.binning_mode": "average"},
        np.sqrt(8),
    ),
}
WHITE = ArrayReference(data=np.ones((40, 40), dtype=np.float32), pixel_size_um=250.0)


@pytest.mark.parametrize("way", sorted(WAYS))
def test_the_image_has_the_line_noise_that_is_told(way: str) -> None:
    """
    Its lines vary by the closed form, and what is left of the noise is that without it.

    2000 lines: the variance that lines share, and that of the samples, by 5 of their errors (19).
    """
    more, times = WAYS[way]
    setup = changed(BASE, {**NOISE, **more})
    numbers = station(setup)
    assert numbers.line_noise_e == pytest.approx(40 * times, rel=1e-12)
    image = render(setup, WHITE, 2000, 3, workers=1).image
    found, gain_dn_e = flat_area([image]), float(numbers.dn_per_e)
    white_e = numbers.electrons_white
    for seen, told_e in (
        (found.line_dn2, numbers.line_noise_e),
        (found.pixel_dn2, numbers.sample_noise_e(white_e)),
        (found.temporal_dn2, numbers.noise_e(white_e)),
    ):
        assert seen.value == pytest.approx((gain_dn_e * float(told_e)) ** 2, abs=5 * seen.sd)


def test_every_line_and_colour_has_a_draw_of_its_own_and_other_noise_stays() -> None:
    """Columns move together, lines and channels do not; without it the image is as it was."""
    plain = changed(BASE, {"camera.kind": "prism"})
    one, other = (
        render(setup, WHITE, 130, 3, workers=1).image.astype(np.float64)
        for setup in (plain, changed(plain, NOISE))
    )
    moved = other - one
    # rounding to whole numbers on either side leaves at most 1 DN
    assert np.ptp(moved, axis=1).max() <= 1
    draws = moved.mean(axis=1)
    assert np.abs(np.corrcoef(draws.T) - np.eye(3)).max() < 5 / np.sqrt(130)
    assert_array_equal(one, render(plain, WHITE, 130, 3, workers=1).image)


def test_a_filter_gathers_lines_as_it_gathers_columns() -> None:
    """A scratch across on a station that stands still is one along, turned by a right angle."""
    still = station(changed(BASE, {"acquisition.exposure": "0.001 us"}))
    along = energies(still, Scratch(across_um=200.0, along_um=900.0))
    across = energies(still, Scratch(across_um=900.0, along_um=200.0))
    assert across.lines == pytest.approx(along.columns, rel=1e-6)
    assert along.lines == pytest.approx(across.columns, rel=1e-6)


def test_the_sum_over_lines_is_that_of_rendered_defects() -> None:
    """Σ_lines(Σ_columns s)² on the mean of 16 places; integrals by 32 nodes are right to 0.005."""
    wanted = search(BASE, target_size(BASE))
    numbers = station(BASE)
    taken_e = bank_e(BASE, wanted, 300.0, 0.0, render_by(None))[..., 0]
    share = taken_e / (float(wanted.contrast) * float(numbers.electrons_white))
    seen = np.square(share.sum(axis=2)).sum(axis=1).mean()
    assert energies(numbers, Disc(diameter_um=300.0)).lines == pytest.approx(seen, rel=0.005)


def test_detection_has_it_as_what_a_line_shares_not_as_white_noise() -> None:
    """1/d'² rises by σ_l² L/(D S)², the noise of a sample stays, and SNR takes both."""
    before, after = (station(changed(BASE, each)) for each in ({}, NOISE))
    disc = Disc(diameter_um=300.0)
    found, base = energies(after, disc), ground(after, 1.0, 0.2)
    more = np.square(40.0) * found.lines / np.square(base.depth_e * found.samples)
    squares = [1 / np.square(dprime(each, disc, 0.2)) for each in (before, after)]
    assert_allclose(squares[1] - squares[0], more, rtol=1e-9)
    assert base.noise_e == pytest.approx(ground(before, 1.0, 0.2).noise_e, rel=1e-12)
    white_e = after.electrons_white
    assert kept(after, white_e).noise_e == pytest.approx(
        np.hypot(kept(before, white_e).noise_e, 40.0), rel=1e-9
    )


def test_a_flat_field_is_not_streaked_by_it() -> None:
    """The columns of a line share it, so that the reference leaves no more streaks than without."""
    corrected = {"acquisition.flat_field": True}
    one, other = (station(changed(BASE, {**corrected, **each})) for each in ({}, NOISE))
    white_e = one.electrons_white
    assert other.pattern_e(white_e) == pytest.approx(one.pattern_e(white_e), rel=1e-12)
    image = render(changed(BASE, {**corrected, **NOISE}), WHITE, 320, 3, workers=1).image
    found = flat_area([image])
    told_dn2 = float(np.square(other.dn_per_e * other.pattern_e(white_e)))
    # 96 columns know a variance to √(2/95); what noise adds is in the error of the estimate
    assert found.column_dn2.value == pytest.approx(
        told_dn2, abs=5 * (found.column_dn2.sd + told_dn2 * np.sqrt(2 / 95))
    )
