"""Transforms of faults with relief under a lamp, against plain sums over their maps."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from linesim.defects.relief_faults import LONG_KINDS, relief_fault
from linesim.forward.station import station
from linesim.forward.surface import Finish
from linesim.metrics.detection.energy import energies
from linesim.metrics.detection.flanks import Form, Relief, flanks_of, weights
from linesim.metrics.detection.pictured import OF_EXTREMES, pictured
from linesim.metrics.detection.texture import seen_mtf, widened
from linesim.setup.arrays import FloatArray
from linesim.setup.errors import InputError
from linesim.setup.light.strip import Lamp, Strip
from linesim.setup.load import changed, sample_setup
from linesim.targets.faces.face import Face, factors
from linesim.targets.faces.slopes import factors_at

BRIGHT = Face(
    lamps=(Lamp(strip=Strip(low_deg=15, high_deg=25), irradiance_w_m2=1.0),),
    view_deg=20,
    finish=Finish(gloss=0.6, rms_across=0.05, rms_along=0.04),
    slopes=(0.02, 0.0),
    white_reflectance=1.0,
)
DARK = replace(BRIGHT, lamps=(Lamp(strip=Strip(low_deg=35, high_deg=45), irradiance_w_m2=1.0),))
FORMS = (
    (BRIGHT, Form(kind="groove", steepness=0.03, turn_deg=90.0), 300.0),
    (DARK, Form(kind="groove", steepness=0.03), 300.0),
    (DARK, Form(kind="dent", steepness=0.05), 80.0),
    (BRIGHT, Form(kind="pit", steepness=0.1), 80.0),
    (DARK, Form(kind="wrinkle", steepness=0.01, turn_deg=90.0), 300.0),
    (replace(DARK, finish=None), Form(kind="fibre", steepness=0.1, turn_deg=90.0), 100.0),
)
WIDTH = 80.0
NUMBERS = station(sample_setup())
PIXEL_UM = float(NUMBERS.geometry.object_pixel_x_um)


def relief(face: Face, form: Form, length_um: float, width_um: float = WIDTH) -> Relief:
    """Lay a fault on product of which a third of the light at the camera is matt."""
    flanks = flanks_of(face, form)
    matt, gloss = weights(flanks, flanks.level[1] + 0.5 * flanks.level[0], 1.0)
    return Relief(flanks=flanks, width_um=width_um, length_um=length_um, matt=matt, gloss=gloss)


def mapped(face: Face, form: Form, fault: Relief) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Give the map of a fault on a fine grid, and x and y."""
    length = float(fault.length_um) if form.kind in LONG_KINDS else None
    shape = relief_fault(form.kind, WIDTH, form.steepness * WIDTH, length, form.turn_deg)
    step_um = WIDTH / 160
    half = int(np.ceil(shape.reach_um / step_um)) + 2
    x_um, y_um = np.meshgrid(*(step_um * np.arange(-half, half + 1),) * 2)
    near = 1e-3
    p, q = (
        (shape.height_um(x_um - dx, y_um - dy) - shape.height_um(x_um + dx, y_um + dy)) / (2 * near)
        + lean
        for (dx, dy), lean in zip(((near, 0), (0, near)), face.slopes, strict=True)
    )
    matt, gloss = factors_at(face, p, q)
    change = fault.matt * (matt - face.level[0])
    if face.finish:
        change = change + fault.gloss * (gloss - face.level[1])
    return change, x_um, y_um


@pytest.mark.parametrize("case", FORMS, ids=lambda case: case[1].kind)
def test_a_transform_is_the_sum_over_the_map(case: tuple[Face, Form, float]) -> None:
    """
    At frequencies of all signs, from tables of the ends, as from a plain sum over the whole fault.

    2e-3 of its root power times its side: the sum's own grid errs by (π/160)²/6, the splines by
    5e-4 and what is left out of the frequencies by 3e-4 of that.
    """
    face, form, length_um = case
    fault = relief(face, form, length_um)
    change, x_um, y_um = mapped(face, form, fault)
    cell_um2 = (WIDTH / 160) ** 2
    whole = np.sqrt(np.square(change).sum() * cell_um2) * WIDTH
    for fx, fy in ((0.0, 0.0), (1.0, 3.0), (6.0, -7.0), (-12.0, 4.0), (-20.0, -30.0)):
        turns = np.exp(-2j * np.pi * (fx * x_um + fy * y_um) / 1000)
        summed = (change * turns).sum() * cell_um2
        found = fault.signed(np.array(fx), np.array(fy))
        assert abs(found - summed) < 2e-3 * whole


@pytest.mark.parametrize("case", FORMS, ids=lambda case: case[1].kind)
def test_the_power_is_that_of_the_map(case: tuple[Face, Form, float]) -> None:
    """∫∫|T|² over all frequencies is the integral of the map's square, within 1 % (Parseval)."""
    face, form, length_um = case
    fault = relief(face, form, length_um)
    change, _, _ = mapped(face, form, fault)
    # a grid of frequencies finer than the inverse of twice the fault's side loses nothing
    side_x, side_y = (float(np.max(side)) for side in fault.side_um)
    steps = 1000 / (2.2 * side_x), 1000 / (2.2 * side_y)
    counts = [int(600 / step) for step in steps]
    fx, fy = (
        np.linspace(-count * step, count * step, 2 * count + 1)
        for count, step in zip(counts, steps, strict=True)
    )
    found = np.square(np.abs(fault.signed(fx[None, :], fy[:, None]))).sum() * steps[0] * steps[1]
    assert_allclose(1e-6 * found, np.square(change).sum() * (WIDTH / 160) ** 2, rtol=0.01)


@pytest.mark.parametrize("widths_px", [0.3, 1.0, 5.0, 20.0])
@pytest.mark.parametrize("case", FORMS[:3], ids=lambda case: case[1].kind)
def test_energies_are_those_of_a_fine_sum(case: tuple[Face, Form, float], widths_px: float) -> None:
    """
    D' by few nodes is that by a fine, even grid of frequencies, as the docstring of the nodes says.

    0.5 %, of which the beats between far ends that are left out take 0.1 %.
    """
    face, form, length_um = case
    width_um = widths_px * PIXEL_UM
    fault = relief(face, form, length_um * width_um / WIDTH, width_um)
    cutoff = float(NUMBERS.optics.cutoff_lp_mm * NUMBERS.optics.magnification)
    axes = [
        np.arange(0, cutoff, 1000 / (2 * (float(side) + 4 * PIXEL_UM))) for side in fault.side_um
    ]
    fx, fy = axes[0][:, None], axes[1][None, :]
    signs = [np.square(np.abs(fault.signed(fx, sign * fy))) for sign in (1, -1)]
    power = np.square(seen_mtf(NUMBERS, fx, fy)) * (signs[0] + signs[1]) / 2
    power[0] /= 2
    power[:, 0] /= 2
    plane = 4e-6 * power.sum() * axes[0][1] * axes[1][1]
    cell_um2 = PIXEL_UM * float(NUMBERS.timing.line_advance_um)
    found = float(energies(NUMBERS, fault).samples)
    assert_allclose(np.sqrt(found), np.sqrt(plane / cell_um2), rtol=0.005)


def test_a_picture_sums_to_its_energy_and_its_extreme_is_fine_enough() -> None:
    """Σs² of the picture is that by frequencies to 1 %; four times as fine it peaks as high."""
    for face, form, _ in FORMS[2:4]:
        fault = relief(face, form, WIDTH)
        seen = pictured(widened(NUMBERS), widened(fault), OF_EXTREMES)
        step_x, step_y = (float(np.diff(np.ravel(each))[0]) for each in (seen.x_um, seen.y_um))
        cell_um2 = PIXEL_UM * float(NUMBERS.timing.line_advance_um)
        summed = np.square(seen.change).sum() * step_x * step_y / cell_um2
        assert_allclose(summed, float(energies(NUMBERS, fault).samples), rtol=0.01)
        finer = pictured(widened(NUMBERS), widened(fault), replace(OF_EXTREMES, count=200))
        assert_allclose(seen.extreme, finer.extreme, rtol=0.01)


def test_bright_and_dark_have_opposite_third_moments() -> None:
    """A flash has Σs³ under 0 and a shade over it, s being the darkening."""
    flash, shade = (relief(face, Form(kind="pit", steepness=0.1), WIDTH) for face in (DARK, BRIGHT))
    assert float(energies(NUMBERS, flash).third or 0) < 0
    assert float(energies(NUMBERS, shade).third or 0) > 0


def test_table_and_formula_give_the_same_light() -> None:
    """Slopes read off the table are as bright as by the integral, to 1e-3 of the brightest."""
    rng = np.random.default_rng(7)
    p, q = rng.uniform(-0.3, 0.3, (2, 300))
    for face in (BRIGHT, DARK):
        read, exact = factors_at(face, p, q), factors(face, np.stack([p, q], axis=1))
        for one, other in zip(read, exact, strict=True):
            assert_allclose(one, other, atol=1e-3 * other.max())


def test_what_is_too_steep_for_the_finish_is_refused() -> None:
    """One sentence with the slope and how many times the rms slope it is."""
    smooth = replace(BRIGHT, finish=Finish(gloss=0.6, rms_across=0.005, rms_along=0.005))
    with pytest.raises(InputError, match=r"defect_relief: its slopes reach 3\.1, which is over 60"):
        flanks_of(smooth, Form(kind="dent", steepness=1.0))


def test_colours_and_stations_broadcast() -> None:
    """Product of three levels behind two lenses has six energies, each as alone."""
    flanks = flanks_of(DARK, Form(kind="dent", steepness=0.05))
    levels = np.array([0.3, 0.6, 0.9])
    matt, gloss = weights(flanks, levels, 0.9)
    many = Relief(flanks=flanks, width_um=WIDTH, length_um=WIDTH, matt=matt, gloss=gloss)
    both = [station(changed(sample_setup(), {"lens.f_number": n})) for n in (4.0, 11.0)]
    found = [energies(numbers, many) for numbers in both]
    for k, level in enumerate(levels):
        weight = weights(flanks, float(level), 0.9)
        alone = replace(many, matt=weight[0], gloss=weight[1])
        for each, numbers in zip(found, both, strict=True):
            assert_allclose(each.samples[k], energies(numbers, alone).samples, rtol=1e-6)  # type: ignore[index]
