"""What single precision costs the render, held against the same matrices in double precision."""

import numpy as np
import pytest

from linesim.forward.channels import channels
from linesim.forward.expose import exposer
from linesim.forward.profile import column_profile
from linesim.forward.reference import ArrayReference
from linesim.forward.render import render
from linesim.forward.sampling.across import brought_inside
from linesim.forward.sampling.fineness import least_side_um
from linesim.forward.spread import Footprint, footprint, lens_spread
from linesim.forward.station import station
from linesim.forward.transport import line_table
from linesim.setup.arrays import FloatArray
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from tests.stations import plain_setup

LINES, COLUMNS = 40, 48
PITCH_UM = 25.0
UNIT = 2.0**-24
"""Largest relative error of rounding to single precision (IEEE 754)."""
BASE = plain_setup(
    "Single precision",
    target={"pixel_size": "25 um", "repeat": True},
    transport={"speed_ripple": 0.02, "ripple_frequency": "90 Hz"},
    lens={"magnification": 0.0977, "f_number": 5.6},
    camera={"pixels": COLUMNS},
)
TARGET = ArrayReference(
    data=np.random.default_rng(8).random((300, 220)).astype(np.float32), pixel_size_um=PITCH_UM
)


def matrix(integral_at: FloatArray, size: int) -> FloatArray:
    """Turn running integrals at the edges of many reference pixels into weights on its own ones."""
    share = np.diff(integral_at, axis=1)
    seen = share.shape[1]
    index = brought_inside(np.arange(seen) - seen // 2, size, repeat=True)
    whole = np.zeros((share.shape[0], size))
    np.add.at(whole.T, index, share.T)
    return whole


def exact_e(setup: Setup) -> tuple[FloatArray, int, float]:
    """Evaluate S = Σ s_k A_y R A_xᵀ in double precision; give the terms of a sum and Σ|s_k| too."""
    numbers = station(setup)
    lens = lens_spread(numbers.optics, least_side_um(numbers))
    lines = line_table(setup, numbers, 0, np.arange(LINES, dtype=np.float64))
    width_um, side_um = (
        float(numbers.geometry.object_pixel_x_um),
        float(numbers.geometry.row_side_um),
    )
    rows, columns = TARGET.shape
    count = 3 * max(rows, columns) // 2 * 2
    edges_um = (np.arange(count + 1) - count // 2) * PITCH_UM
    left_um = columns * PITCH_UM / 2 + (np.arange(COLUMNS) - COLUMNS / 2) * width_um
    total, terms, factor = np.zeros((LINES, COLUMNS)), 0, 0.0
    for term, sign in zip(lens.terms, lens.weights, strict=True):
        across: Footprint = footprint(term, width_um)
        along: Footprint = footprint(term, side_um)
        ahead_um = edges_um - (lines.start_um + side_um / 2)[:, None]
        a_y = matrix(along.moving_integral(ahead_um, lines.travel_um[:, None]), rows)
        a_x = matrix(across.integral(edges_um - (left_um + width_um / 2)[:, None]), columns)
        total += sign * (a_y @ TARGET.data.astype(np.float64) @ a_x.T)
        terms = max(terms, int(np.ceil(2 * across.reach_um / PITCH_UM)) + 40)
        factor += float(np.abs(a_y).sum(axis=1).max() * np.abs(a_x).sum(axis=1).max())
    (channel,) = channels(setup, numbers)
    white_e = float(np.max(channel.white_e)) * column_profile(setup, COLUMNS)
    return total * white_e, terms, factor * float(white_e.max())


@pytest.mark.parametrize(
    "changes",
    [{}, {"light.illuminance": "40 Mlx"}, {"light.illuminance": "0.1 lx"}, {"lens.f_number": 22}],
    ids=["plain", "4e6 e", "0.01 e", "f/22"],
)
def test_single_precision_is_enough(changes: dict[str, object]) -> None:
    """
    The render's electrons and those of double precision agree within the bound of the sums.

    Two dot products of n and m terms err by at most (n + m + 4) u Σ|a||r||b| (Higham, Accuracy and
    Stability, (3.5): γ_n = n u; two roundings of weights, one of the profile, one of the sum over
    lens terms; from memory). The signal's own shot noise is thousands of times that.
    """
    setup = changed(BASE, changes)
    wanted, terms, scale_e = exact_e(setup)
    seen = render(setup, TARGET, LINES, 0).expected_e.astype(np.float64)
    error_e = np.abs(seen - wanted).max()
    assert error_e < (2 * terms + 4) * UNIT * scale_e
    assert error_e < 2e-6 * wanted.max()  # a tenth of an electron at a full well of 50 ke


def test_the_exposer_and_the_render_are_one() -> None:
    """The small case is that of the render: its electrons come from one strip of the exposer."""
    (mono,) = channels(BASE, station(BASE))
    strip = exposer(BASE, TARGET, mono).strip(0, 0, LINES)
    np.testing.assert_array_equal(strip[0], render(BASE, TARGET, LINES, 0).expected_e)
