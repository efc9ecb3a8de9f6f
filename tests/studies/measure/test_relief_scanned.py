"""Faults with relief on rendered scans, against the contrast and the d' that are predicted."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import imageio.v3 as iio
import numpy as np
import pytest
from numpy.testing import assert_allclose

from linesim.defects.relief_faults import Laid, relief_fault, with_relief
from linesim.figures.budget import budget
from linesim.figures.detection import search
from linesim.forward.reference import Reference
from linesim.forward.render import render
from linesim.forward.station import station
from linesim.metrics.detection.energy import energies
from linesim.metrics.detection.ground import ground_of_changes
from linesim.metrics.detection.sighting import sighting_of
from linesim.setup.arrays import FloatArray
from linesim.setup.errors import InputError
from linesim.setup.load import changed, setup_from
from linesim.setup.setup import Setup
from linesim.studies.measure.detection.lattice import Lattice, lattice, phases_of
from linesim.studies.measure.detection.study import inject
from linesim.studies.measure.detection.trial import filters, outputs
from linesim.targets.faces.faced import lit_reference
from linesim.targets.load import target_reference, target_size

PITCH_UM = 1.25
BASE: dict[str, Any] = {
    "title": "Relief",
    "target": {"image": "flat", "pixel_size": f"{PITCH_UM} um", "white_reflectance": 0.4,
     "gloss": 0.6, "rms_slope": 0.05},
    "transport": {"speed": "30 m/min"},
    "lens": {"magnification": 0.25, "f_number": 5.6},
    "light": {"illuminance": "20 klx", "arrangement": "line", "angle": "20 deg",
     "angular_width": "10 deg"},
    "camera": {"angle": "20 deg", "pixels": 120, "pixel_width": "7 um", "prnu": 0.0, "dsnu": "0 e",
     "bit_depth": 16, "full_well": "60 ke"},
}  # fmt: skip
ACROSS = {"kind": "groove", "width": "60 um", "depth": "2 um", "length": "240 um"}
GROOVE = {**ACROSS, "direction": "across"}
DENT = {"kind": "dent", "width": "120 um", "depth": "3 um"}
PIT = {"kind": "pit", "width": "60 um", "depth": "4 um"}
WRINKLE = {"kind": "wrinkle", "width": "150 um", "depth": "1 um", "length": "320 um"}
DARK: dict[str, Any] = {"light.angle": "42 deg"}
MATT: dict[str, Any] = {"target.gloss": None, "target.rms_slope": None, "light.angle": "65 deg"}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scanned:
    """Cells of samples with a fault each, before noise, and good product."""

    setup: Setup
    layout: Lattice
    good: Reference
    bad: Reference

    def cells_e(self, reference: Reference, seed: int | None = None) -> FloatArray:
        """Render signals of each cell; left out a seed, without noise."""
        found = render(self.setup, reference, self.layout.lines, seed or 0, workers=1)
        if seed is None:
            return self.layout.each(found.expected_e)
        numbers = station(self.setup)
        charge_e = numbers.delivered.charge_e(found.image.astype(np.float64))
        return self.layout.each(np.asarray(charge_e - float(numbers.delivered_dark_e)))


def asked(changes: dict[str, Any], fault: dict[str, str]) -> Setup:
    """Ask for a fault on a station."""
    return changed(setup_from(BASE), {**changes, "requirement.defect_relief": fault})


def scanned(setup: Setup, folder: Path, places: int = 24) -> Scanned:
    """Lay faults at evenly spread places into an image of heights."""
    need, numbers = setup.requirement.defect_relief, station(setup)
    assert need is not None
    layout = lattice(numbers, max(need.sides_um), phases_of(places), ahead=0)
    place = numbers.geometry
    across_um = int(place.image_width_px) * float(place.object_pixel_x_um)
    columns = 2 * int(np.ceil(across_um / PITCH_UM / 2))
    rows = int(np.ceil(layout.lines * float(numbers.timing.line_advance_um) / PITCH_UM))
    turn_deg = 0.0 if need.direction == "along" else 90.0
    fault = relief_fault(need.kind, need.width_um, need.depth_um, need.length_um, turn_deg)
    shift_um = (columns * PITCH_UM - across_um) / 2
    faults = [Laid(fault=fault, x_um=x + shift_um, y_um=y) for y, x in layout.centres_um]
    heights_um, _ = with_relief(np.zeros((rows, columns)), faults, PITCH_UM)
    low, high = heights_um.min(), heights_um.max()
    iio.imwrite(
        folder / "heights.png",
        ((heights_um - low) / (high - low) * 65535).round().astype(np.uint16),
    )
    size = {"target.width": (columns * PITCH_UM, "um"), "target.height": (rows * PITCH_UM, "um")}
    file = str(folder / "heights.png")
    relief = {"target.relief": file, "target.relief_range": (float(high - low), "um")}
    good, bad = (
        lit_reference(one, target_reference(one))
        for one in (changed(setup, size), changed(setup, {**size, **relief}))
    )
    return Scanned(setup=setup, layout=layout, good=good, bad=bad)


CASES = {
    "groove in bright field": ({}, GROOVE),
    "groove in dark field": (DARK, GROOVE),
    "groove along travel": ({}, {**ACROSS, "direction": "along"}),
    "dent in bright field": ({}, DENT),
    "dent in dark field": (DARK, DENT),
    "pit in bright field": ({}, PIT),
    "wrinkle in dark field": (DARK, {**WRINKLE, "direction": "across"}),
    "groove on a matt face": (MATT, GROOVE),
    "dent on a face that leans": ({"target.slope_across": "3 deg"}, DENT),
}


PERIODS = {"pit": 2.0, "wrinkle": 3.0}
"""Over the width, of others 1: how often its heights rise and fall."""


@pytest.mark.parametrize("name", CASES)
def test_a_scan_shows_what_is_predicted(name: str, tmp_path: Path) -> None:
    """
    The mean of Σ(change)² over places is the told energy, the largest change the told contrast.

    Slopes of the image are differences over two pixels δ, so of a period w they are too small by
    ε = (2πδ/w)²/6; light goes by up to the third power of a slope at the foot of a lobe. The
    render's lens is right to 0.005. So 0.005 + 3ε for the contrast, twice that for its square. 24
    places are within a fifth of a sample of the best one, where a peak has fallen by 2 % (cosine
    of π/2 of 0.2 over 1.5 samples).
    """
    found = scanned(asked(*CASES[name]), tmp_path)
    setup, need = found.setup, found.setup.requirement.defect_relief
    relief = search(setup, target_size(setup)).relief
    assert need is not None
    assert relief is not None
    level_e = float(np.median(found.cells_e(found.good)))
    change = found.cells_e(found.bad) / level_e - 1
    period_um = need.width_um / PERIODS.get(need.kind, 1.0)
    off = 0.005 + 3 * (2 * np.pi * PITCH_UM / period_um) ** 2 / 6
    told = float(energies(station(setup), relief).samples)
    assert_allclose(np.square(change).sum(axis=(1, 2)).mean(), told, rtol=2 * off)
    contrast = budget(setup).number("detection", "defect_contrast")
    extreme = change.min() if contrast < 0 else change.max()
    assert 0.98 - off < extreme / contrast < 1 + off
    assert np.abs(change).max() < (1 + off) * abs(contrast)


def test_flat_discs_alone_are_injected_by_the_command() -> None:
    """The trial of a setup that asks for a fault with relief is refused by its key."""
    with pytest.raises(InputError, match="defect_relief: read a dent, but only flat discs"):
        inject(asked({}, DENT), 10, seed=0)
    with pytest.raises(InputError, match="smallest_defect: read nothing; expected a size"):
        inject(changed(asked({}, DENT), {"requirement": None}), 10, seed=0)


def test_a_groove_is_dark_in_bright_field_and_bright_in_dark_field() -> None:
    """Common practice, no source: what leans leaves the mirror's image, or comes into it."""
    bright, dark = (
        budget(asked(changes, GROOVE)).number("detection", "defect_contrast")
        for changes in ({}, DARK)
    )
    assert bright < -0.3
    assert dark > 0.3


@pytest.mark.parametrize(
    ("name", "light"), [("dent in bright field", "300 lx"), ("groove in dark field", "500 lx")]
)
def test_injected_faults_have_the_told_dprime(name: str, light: str, tmp_path: Path) -> None:
    """
    On scans with noise the filter that knows the place shifts by d', within 4.5 errors.

    With a fault a sample has more noise by what it is brighter, 1.3 times at most here, so that the
    shift of n places has the error √(1 + 1.3²)/√n; the closed form is right to 3 %, as above.
    Without a fault the outputs have the variance 1, but for the noise of rounding to numbers.
    """
    changes, fault = CASES[name]
    found = scanned(asked({**changes, "light.illuminance": light}, fault), tmp_path)
    numbers, wanted = station(found.setup), search(found.setup, target_size(found.setup))
    assert wanted.relief is not None
    base = ground_of_changes(numbers, wanted.product, wanted.texture)
    told = float(sighting_of(numbers, base)(wanted.relief).dprime)
    assert 1.5 < told < 6
    good_e, bad_e = found.cells_e(found.good), found.cells_e(found.bad)
    own = filters(numbers, base, bad_e - good_e)
    with_fault, without = (
        np.array([outputs(own, found.cells_e(each, seed) - good_e) for seed in range(first, 41, 2)])
        for first, each in ((1, found.bad), (2, found.good))
    )
    shift, count = with_fault.mean() - without.mean(), without.size
    assert abs(shift - told) < 4.5 * np.sqrt((1 + 1.3**2) / count) + 0.03 * told
    assert abs(without.var() - 1) < 4.5 * np.sqrt(2 / count)
