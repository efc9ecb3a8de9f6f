"""The lens spread as a sum of separable terms: what it leaves out, against the round lens."""

from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from linesim.forward.lens import Optics, diffraction_mtf
from linesim.forward.spread import LensSpread, Spread, footprint, lens_spread
from linesim.setup.arrays import FloatArray

# Diffraction leaves 4/(π³ f_c X) of the light beyond a distance X of a line (the tail of the line
# spread, 2/(π³ f_c x²) on either side, integrated). The spread is cut at X = 20/f_c and what lies
# further out is spread over the period, so the transfer between multiples of 1/period is off by up
# to 4/(20 π³) = 0.0065.
CUT = 4 / (20 * np.pi**3)


def optics(**values: float) -> Optics:
    """Take a lens at m = 0.1 in white LED light, with some values of its own."""
    plain: dict[str, Any] = {
        "magnification": 0.1,
        "f_number": 4.0,
        "transmission": 0.9,
        "wavelength_um": 0.5645,
        "blur_um": 0.0,
        "defocus_mm": 0.0,
    }
    return Optics(**{**plain, **values})


LENSES = {
    "f/4": optics(),
    "f/8": optics(f_number=8.0),
    "f/16": optics(f_number=16.0),
    "defocus": optics(f_number=5.6, defocus_mm=5.0),
    "strong defocus": optics(f_number=2.8, defocus_mm=20.0),
    "blur": optics(blur_um=6.0),
}
PIXEL_UM = 75.0


def cells(term: Spread) -> tuple[FloatArray, FloatArray]:
    """Centres of even cells over the period, and the light in each."""
    count = 2 * int(np.ceil(term.period_um / term.step_um))
    ends = np.linspace(-term.period_um / 2, term.period_um / 2, count + 1)
    return (ends[1:] + ends[:-1]) / 2, np.diff(term.integrals(ends)[0])


def transfer(term: Spread, frequency_um: FloatArray) -> FloatArray:
    """Fourier transform of the spread as it is used: in space, cut to its period."""
    centre, light = cells(term)
    wave = np.cos(2 * np.pi * np.multiply.outer(frequency_um, centre)) @ light
    return np.asarray(wave / np.sinc(frequency_um * (centre[1] - centre[0])))


def errors(lens: Optics, spread: LensSpread, frequency_um: FloatArray) -> list[float]:
    """Largest error of the first one, two, three … terms on a square grid of frequencies."""
    radius = np.hypot(frequency_um[:, None], frequency_um)
    left = -lens.mtf(radius * 1000 / float(lens.magnification))
    found = []
    for term, weight in zip(spread.terms, spread.weights, strict=True):
        one = transfer(term, frequency_um)
        left = left + weight * np.outer(one, one)
        found.append(float(np.abs(left).max()))
    return found


BAND = np.linspace(0, 0.5 / PIXEL_UM, 61)


@pytest.mark.parametrize("name", sorted(LENSES))
def test_one_term_is_exact_on_the_axes(name: str) -> None:
    """At multiples of 1/period to one part in 10⁵, the band's end; between them within the cut."""
    lens = LENSES[name]
    first = lens_spread(lens, PIXEL_UM, 1.0).terms[0]
    table = np.arange(1, len(first.amplitude)) / first.period_um
    assert_allclose(transfer(first, table), lens.mtf(table * 1e4), atol=1e-5)
    assert_allclose(transfer(first, BAND), lens.mtf(BAND * 1e4), atol=CUT)
    assert len(lens_spread(lens, PIXEL_UM, 1.0).terms) == 1


@pytest.mark.parametrize("name", sorted(LENSES))
def test_default_terms_keep_their_promise(name: str) -> None:
    """0.006 between the axes up to Nyquist in every direction, besides the cut of the tails."""
    lens = LENSES[name]
    spread = lens_spread(lens, PIXEL_UM)
    assert spread.off_axis_error <= 0.006
    assert errors(lens, spread, BAND)[-1] <= spread.off_axis_error + CUT


@pytest.mark.parametrize(("name", "reached"), [("f/16", 0.01), ("strong defocus", 0.015)])
def test_every_term_lessens_the_error(name: str, reached: float) -> None:
    """
    One to four terms, no others, at a stop whose diffraction fills the band: 0.09 to 0.007.

    Strong defocus has rings, which take more terms: 0.014 with four, under 0.006 with six. The
    error lies on the diagonals, and each further eigenvector takes two fifths of it at least.
    """
    lens = LENSES[name]
    found = errors(lens, lens_spread(lens, PIXEL_UM, 0.0), BAND)
    assert found[0] > 0.08
    for fewer, more in pairwise(found[:4]):
        assert more < 0.6 * fewer
    assert found[3] < reached


def test_what_a_single_term_lacks_on_the_diagonal() -> None:
    """
    True radial MTF at ν = 0.2, 0.4, 0.6, 0.8 and the product of two: computed apart.

    .747 .505 .285 .104 against .673 .416 .227 .103; six terms give the first row.
    """
    lens = LENSES["f/8"]
    nu = np.array([0.2, 0.4, 0.6, 0.8])
    along_axis = nu / np.sqrt(2) * float(lens.cutoff_lp_mm) * 0.1 / 1000
    assert_allclose(diffraction_mtf(nu), [0.747, 0.505, 0.285, 0.104], atol=5e-4)
    one, six = (lens_spread(lens, 5.0, error) for error in (1.0, 0.0))
    for spread, told in (
        (one, [0.673, 0.416, 0.227, 0.103]),
        (six, [0.747, 0.505, 0.285, 0.104]),
    ):
        diagonal = sum(
            weight * transfer(term, along_axis) ** 2
            for term, weight in zip(spread.terms, spread.weights, strict=True)
        )
        assert_allclose(diagonal, told, atol=CUT)


def test_light_inside_the_first_dark_ring() -> None:
    """
    Airy: first zero at 1.21967 λN, 0.837785 of the light inside (tables of J₀: 1 − J₀² − J₁²).

    Counted in squares of λN/23; those on the rim are dark. The cut folds 0.0065 of the light back
    over 40 λN, of which the ring spans 2.44: 0.0004 each way. One term alone: 0.79.
    """
    lens = LENSES["f/8"]
    wave_um = 1000 / float(lens.cutoff_lp_mm) / 0.1
    inside = {}
    for error in (1.0, 0.0):
        spread = lens_spread(lens, PIXEL_UM, error)
        centre, _ = cells(spread.terms[0])
        light = sum(
            weight * np.outer(cells(term)[1], cells(term)[1])
            for term, weight in zip(spread.terms, spread.weights, strict=True)
        )
        near = np.hypot(centre[:, None], centre) < 1.21967 * wave_um
        inside[error] = float(np.asarray(light)[near].sum())
    assert inside[0.0] == pytest.approx(0.837785, abs=0.0008)
    assert inside[1.0] < 0.80


@pytest.mark.parametrize("name", sorted(LENSES))
def test_terms_keep_the_light(name: str) -> None:
    """The first term holds all light, further ones none."""
    spread = lens_spread(LENSES[name], PIXEL_UM, 0.0)
    sums = [cells(term)[1].sum() for term in spread.terms]
    assert_allclose(sums, [1.0] + [0.0] * (len(sums) - 1), atol=1e-12)


@pytest.mark.parametrize("name", sorted(LENSES))
def test_footprint_holds_the_integrals(name: str) -> None:
    """
    Off its grid: the weight left of a place, and its mean over a travel, by 40-point quadrature.

    A cubic with a step h = 1/(12 f_c) is off by h⁴/384 of the fourth derivative, at most
    ∫ 2 MTF |sinc(f w)| (2πf)³ df. With |sinc| <= 1/(πfw) and ∫ MTF ν² dν = 0.0566 (disc pupil)
    that makes 1.12e-6/(w f_c): 1.5e-6 at f/16, where w f_c = 0.76. Twice that for two tables.
    """
    term = lens_spread(LENSES[name], PIXEL_UM, 1.0).terms[0]
    foot = footprint(term, PIXEL_UM)
    place = np.random.default_rng(1).uniform(-1.2, 1.2, 400) * foot.reach_um
    right = term.integrals(place + PIXEL_UM / 2)[1]
    left = term.integrals(place - PIXEL_UM / 2)[1]
    assert_allclose(foot.integral(place), (right - left) / PIXEL_UM, atol=1.5e-6)
    for travel in (30.0, 75.0, 150.0):
        node, weight = np.polynomial.legendre.leggauss(40)
        moved = foot.integral(place[:, None] - travel * (node + 1) / 2) @ weight / 2
        assert_allclose(foot.moving_integral(place, np.full(400, travel)), moved, atol=3e-6)


def test_rest_is_the_limit_of_a_short_travel() -> None:
    """Travel 0 gives the pixel at rest, to the curvature of an eighth of a grid step: 1e-5."""
    foot = footprint(lens_spread(LENSES["f/4"], PIXEL_UM, 1.0).terms[0], PIXEL_UM)
    place = np.linspace(-300, 300, 1001)
    rest = foot.moving_integral(place, np.zeros(1001))
    assert_allclose(rest, foot.integral(place), atol=1e-5)
