"""Heights of faults with relief: slopes, volumes and masks against closed forms."""

from math import acos, pi, sqrt

import numpy as np
import pytest
from numpy.testing import assert_allclose

from linesim.defects.relief_faults import (
    LONG_KINDS,
    MASK_SHARE,
    ROUND_KINDS,
    Fibre,
    Laid,
    ReliefFault,
    relief_fault,
    with_relief,
)
from linesim.setup.arrays import FloatArray
from linesim.setup.errors import InputError

WIDTH, DEPTH, LENGTH = 80.0, 3.0, 400.0
FAULTS: dict[str, ReliefFault] = {
    **{kind: relief_fault(kind, WIDTH, DEPTH) for kind in ROUND_KINDS},
    **{kind: relief_fault(kind, WIDTH, DEPTH, LENGTH) for kind in LONG_KINDS},
    "groove across": relief_fault("groove", WIDTH, DEPTH, LENGTH, 90.0),
    "groove at 30": relief_fault("groove", WIDTH, DEPTH, LENGTH, 30.0),
    "bent fibre": Fibre(width_um=WIDTH, depth_um=DEPTH, length_um=LENGTH, bend_deg=120.0),
}
STEEPEST = {"pit": 2.0, "wrinkle": 3.0}
"""Over πd/w, of the others 1: derivatives of the formulas."""


def on_grid(fault: ReliefFault, step_um: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Give heights on a grid that holds a fault, and x and y."""
    half_um = step_um * np.ceil(fault.reach_um / step_um + 2)
    axis_um = np.arange(-half_um, half_um + step_um / 2, step_um)
    x_um, y_um = np.meshgrid(axis_um, axis_um)
    return fault.height_um(x_um, y_um), x_um, y_um


@pytest.mark.parametrize("name", FAULTS)
def test_slopes_reach_what_is_told_and_no_further(name: str) -> None:
    """
    Differences of heights over a µm reach the closed form of the steepest slope (derived).

    A difference over δ errs by δ²/24 of the third derivative, at most (6π/w)² of a slope: 0.0023;
    the grid of 1 µm misses the steepest place by half a step, (3π/2w)²: 0.0035 of it.
    """
    fault = FAULTS[name]
    steepest = STEEPEST.get(name, 1.0) * pi * DEPTH / WIDTH
    assert fault.steepest == pytest.approx(steepest)
    _, x_um, y_um = on_grid(fault, 1.0)
    across = fault.height_um(x_um + 0.5, y_um) - fault.height_um(x_um - 0.5, y_um)
    along = fault.height_um(x_um, y_um + 0.5) - fault.height_um(x_um, y_um - 0.5)
    assert_allclose(np.hypot(across, along).max(), steepest, rtol=0.006)


@pytest.mark.parametrize("name", FAULTS)
def test_heights_have_their_sense_their_depth_and_no_step(name: str) -> None:
    """Dents, pits and grooves go down by the depth, the others up; slopes nowhere jump."""
    fault = FAULTS[name]
    heights_um, _, _ = on_grid(fault, 0.5)
    sign = -1 if name.split(maxsplit=1)[0] in ("dent", "pit", "groove") else 1
    assert (sign * heights_um).min() >= 0
    assert_allclose((sign * heights_um).max(), DEPTH, rtol=1e-3)
    outer = [heights_um[0], heights_um[-1], heights_um[:, 0], heights_um[:, -1]]
    assert np.abs(outer).max() < 1e-12 * DEPTH  # sin² of whole turns is not quite 0
    # a step of the slope would show as a second difference of the slope's size times half a µm
    for axis in (0, 1):
        bends = np.abs(np.diff(heights_um, n=2, axis=axis)).max()
        assert bends < fault.steepest * 0.5 * 0.25


def test_a_dent_has_the_volume_of_its_formula() -> None:
    """∫ d cos²(πr/w) dA = d w² (π/8 - 1/2π) (derived); a smooth map sums to it within 1e-4."""
    heights_um, _, _ = on_grid(FAULTS["dent"], 1.0)
    assert_allclose(-heights_um.sum(), DEPTH * WIDTH**2 * (pi / 8 - 1 / (2 * pi)), rtol=1e-4)


def test_a_long_fault_has_the_volume_of_its_cut() -> None:
    """Between its round ends a groove has the volume d w/2 a length; its ends are a dent."""
    dent, groove = (-on_grid(FAULTS[name], 1.0)[0].sum() for name in ("dent", "groove"))
    assert_allclose(groove, dent + DEPTH * WIDTH / 2 * (LENGTH - WIDTH), rtol=1e-4)


def test_a_bent_fibre_is_as_long_as_a_straight_one() -> None:
    """Its volume is that of the straight one, for the arc is as long as the line (Pappus)."""
    bent, straight = (on_grid(FAULTS[name], 1.0)[0].sum() for name in ("bent fibre", "fibre"))
    assert_allclose(bent, straight, rtol=1e-4)


@pytest.mark.parametrize("name", ["dent", "bump", "groove", "groove at 30", "fibre"])
def test_the_mask_is_where_it_is_over_five_percent(name: str) -> None:
    """
    Its area is that of the stadium of half width a = w acos(√0.05)/π (derived).

    A straight side along the pixels of 1 µm takes one in or leaves it out, on each side half of
    one: 1 in 69 across.
    """
    _, mask = with_relief(np.zeros((600, 600)), [Laid(fault=FAULTS[name], x_um=300, y_um=300)], 1.0)
    half_um = WIDTH * acos(sqrt(MASK_SHARE)) / pi
    stretch_um = 0.0 if name in ROUND_KINDS else LENGTH - WIDTH
    assert_allclose(mask.sum(), pi * half_um**2 + 2 * half_um * stretch_um, rtol=1 / 69)


def test_faults_are_added_where_they_lie() -> None:
    """Heights of faults add up, at the middles of pixels; the heights given are left alone."""
    dent, bump = FAULTS["dent"], FAULTS["bump"]
    base = np.full((60, 80), 7.0, dtype=np.float32)
    faults = [Laid(fault=dent, x_um=102.5, y_um=202.5), Laid(fault=bump, x_um=390.0, y_um=20.0)]
    heights_um, mask = with_relief(base, faults, 5.0)
    assert base.min() == base.max() == 7.0
    assert heights_um[40, 20] == pytest.approx(7 - DEPTH)
    assert mask[40, 20]
    # cut by the edges of the image, the bump is there in part
    assert heights_um[3, 77] == pytest.approx(7 + float(bump.height_um(-2.5, -2.5)))  # type: ignore[arg-type]
    assert_allclose(heights_um[20:30, 40:60], 7.0)
    both, _ = with_relief(base, [faults[0], Laid(fault=bump, x_um=102.5, y_um=202.5)], 5.0)
    assert_allclose(both, 7.0, atol=1e-12)


def test_a_turn_lies_across() -> None:
    """At 90 degrees x and y change places."""
    x_um, y_um = np.meshgrid(np.arange(-250.0, 250.0, 7.0), np.arange(-250.0, 250.0, 7.0))
    along, across = FAULTS["groove"], FAULTS["groove across"]
    assert_allclose(across.height_um(x_um, y_um), along.height_um(y_um, x_um), atol=1e-12)


@pytest.mark.parametrize(
    ("kind", "sizes", "told"),
    [
        ("dent", {"width_um": 0.0, "depth_um": 3.0}, "width"),
        ("groove", {"width_um": 80.0, "depth_um": 3.0, "length_um": 40.0}, "length: read 40 um"),
        ("wrinkle", {"width_um": 80.0, "depth_um": 3.0, "length_um": 90.0}, "expected 160 um"),
    ],
)
def test_what_has_no_size_is_refused(kind: str, sizes: dict[str, float], told: str) -> None:
    """One sentence says which size."""
    with pytest.raises(InputError, match=told):
        relief_fault(kind, **sizes)


def test_a_fibre_cannot_be_bent_into_itself() -> None:
    """Beyond half a turn, or to a radius of less than half its width, it is refused."""
    for bend_deg, told in ((200.0, "up to 180 deg"), (180.0, "half its width")):
        with pytest.raises(InputError, match=told):
            Fibre(width_um=80.0, depth_um=3.0, length_um=150.0, bend_deg=bend_deg)
