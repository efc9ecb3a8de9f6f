"""Where the figures of white stop holding: each caution on both sides, its range against draws."""

from math import exp, pi, sqrt

import numpy as np
import pytest
from scipy.stats import norm

from linesim.figures.budget import budget
from linesim.figures.rounding import Columns, conversion_shift, joined_shift, noise_rounded_again
from linesim.setup.load import changed
from tests.stations import plain_setup

READ_E = 20.0
GAIN_DN_E = 0.1
BASE = plain_setup(
    "Noise",
    target={"pixel_size": "25 um", "width": "30 mm", "height": "20 mm"},
    light={"irradiance": "100 W/m^2", "illuminance": None},
    camera={"pixels": 240, "read_noise": f"{READ_E} e", "gain": f"{GAIN_DN_E} DN/e"},
    acquisition={"exposure": "20 us"},
)
WHITE_E = budget(BASE).number("signal", "electrons_white")
ROUNDING_E2 = 1 / (12 * GAIN_DN_E**2)
CODES = {
    "flat_field_noise",
    "flat_field_left",
    "correction_rounds",
    "rounding_shifts",
    "black_clips",
}

Changes = dict[str, object]


def flat_field(lines: int) -> Changes:
    """Corrected by so many lines."""
    return {"acquisition.flat_field": True, "acquisition.flat_field_lines": lines}


def digital(binning: str, mode: str) -> Changes:
    """Join numbers."""
    return {
        "acquisition.binning": binning,
        "acquisition.binning_domain": "digital",
        "acquisition.binning_mode": mode,
    }


def gain_variance(variance: float) -> Changes:
    """One line in the dark, one on white: v = (W + 2 (read² + 1/12K²))/W², solved for read."""
    read_e2 = (variance * WHITE_E**2 - WHITE_E) / 2 - ROUNDING_E2
    return {**flat_field(1), "camera.read_noise": f"{sqrt(read_e2)} e"}


def level(white_dn: float) -> Changes:
    """Gain that puts a pixel's white so far above black, at 2 DN of read noise."""
    gain = white_dn / WHITE_E
    return {"camera.gain": f"{gain} DN/e", "camera.read_noise": f"{2 / gain} e"}


def corrected_noise(noise_dn: float) -> Changes:
    """Bright: 350 DN with gains of 1. A gain K that gives whole numbers K² (W + read²) + 1/12."""
    gain = sqrt((noise_dn**2 - 1 / 12) / (100 * WHITE_E + READ_E**2))
    bright = {"light.irradiance": "10000 W/m^2", "camera.full_well": "10 Me"}
    return {**flat_field(10**6), **bright, "camera.gain": f"{gain} DN/e"}


def black(share: float) -> Changes:
    """
    Black level over what a white of 1/40 needs, 3.09 σ of noise (a normal law's last 0.1 %).

    As delivered, rounding counts as noise too: K (3.09 √(W + read² + 1/12K²) − W).
    """
    dim_e = WHITE_E / 40
    needed_e = 3.0902 * sqrt(dim_e + READ_E**2 + ROUNDING_E2) - dim_e
    return {
        "light.irradiance": "2.5 W/m^2",
        "camera.black_level": f"{share * GAIN_DN_E * needed_e} DN",
    }


# code, just beyond its threshold, just before it
CASES: list[tuple[str, Changes, Changes]] = [
    ("flat_field_noise", gain_variance(0.0202), gain_variance(0.0198)),
    ("flat_field_left", {**flat_field(10**6), **level(0.99)}, {**flat_field(10**6), **level(1.01)}),
    # a gain of 1 leaves whole numbers as they are: σ where √(σ² + 1/12) is told, 5 % at 0.878;
    # half a DN of 355 counts too, so 0.892
    ("correction_rounds", corrected_noise(0.885), corrected_noise(0.9)),
    # halves of a mean of two are rounded up: 1/4 DN, 5 % of 5 DN
    ("rounding_shifts", {**digital("2x1", "average"), **level(4.95)},
     {**digital("2x1", "average"), **level(5.05)}),
    # a sum of two takes half a DN of black off, which is rounded up: 5 % of 10 DN
    ("rounding_shifts",
     {**digital("2x1", "sum"), **level(9.9 / 2), "camera.black_level": "32.5 DN"},
     {**digital("2x1", "sum"), **level(10.1 / 2), "camera.black_level": "32.5 DN"}),
    # a corrected number is off by half a DN at most
    ("rounding_shifts", {**flat_field(256), **level(9.9)}, {**flat_field(256), **level(10.1)}),
    ("black_clips", black(0.98), black(1.02)),
]  # fmt: skip


def codes(changes: Changes) -> set[str]:
    """Codes of a variant, of those that this page is about."""
    return CODES & {caution.code for caution in budget(changed(BASE, changes)).cautions}


@pytest.mark.parametrize(
    ("code", "beyond", "before"), CASES, ids=[f"{case[0]}-{n}" for n, case in enumerate(CASES)]
)
def test_told_beyond_the_threshold_and_not_before(
    code: str, beyond: Changes, before: Changes
) -> None:
    """One side of the threshold has it, the other has not."""
    assert code in codes(beyond)
    assert code not in codes(before)


@pytest.mark.parametrize(
    "way",
    [
        {},
        flat_field(256),
        {"camera.kind": "prism", "acquisition.white_balance": "grey-card"},
        digital("2x2", "sum"),
        digital("2x2", "average"),
    ],
)
def test_a_usual_station_has_none(way: Changes) -> None:
    """12 bits, 8 DN of noise and 600 DN of white."""
    assert codes(way) == set()


def test_no_light_is_no_gain() -> None:
    """In the dark no channel is judged, flat field or not."""
    assert codes({**flat_field(4), "light.irradiance": "0 W/m^2"}) == set()


def test_the_text_gives_enough_lines() -> None:
    """One line leaves a variance of 0.0202, which has to fall to 0.01: 3 lines."""
    setup = changed(BASE, gain_variance(0.0202))
    (text,) = (each.text for each in budget(setup).cautions if each.code == "flat_field_noise")
    assert "1 lines averaged leave 0.14 rms" in text
    assert "flat_field_lines = 3" in text
    assert "flat_field_noise" not in codes({**gain_variance(0.0202), **flat_field(3)})


def one_column(gain: float) -> Columns:
    """Give a column with this gain and no offset."""
    none = np.zeros(1)
    return Columns(gains=none + gain, levels_dn=none, offsets_dn=none)


@pytest.mark.parametrize(("noise_dn", "factor"), [(0.6, 1.1), (1.05, 1.457), (1.8, 2.05)])
def test_the_range_is_that_of_random_draws(noise_dn: float, factor: float) -> None:
    """
    Normal numbers, rounded, multiplied, rounded: lowest and highest noise of 8 levels, 24 offsets.

    A deviation of N numbers is known to 1/√2N, and the last of 192 lies 3 of that off: 5 are
    allowed, 0.8 %. Levels or offsets between those that are tried go a little further, 1.5 %.
    """
    rng = np.random.default_rng(3)
    before_dn, count = sqrt(noise_dn**2 - 1 / 12), 200_000
    seen = []
    for place in range(8):
        numbers = np.floor(rng.normal(place / 8, before_dn, count) + 0.5)
        seen += [np.floor(factor * numbers + offset / 24 + 0.5).std() for offset in range(24)]
    rel = 5 / sqrt(2 * count) + 0.015
    found = noise_rounded_again(noise_dn, one_column(factor))
    assert found == pytest.approx((min(seen), max(seen)), rel=rel)


@pytest.mark.parametrize("factor", [1.0, 2.0])
def test_a_whole_factor_rounds_nothing(factor: float) -> None:
    """Whole numbers times a whole one are whole: their noise is multiplied, no more."""
    ends = noise_rounded_again(1.5, one_column(factor))
    # at 6σ a normal law is cut off, and its rounding adds 1/12 but for exp(-2π²σ²)
    np.testing.assert_allclose(ends, 1.5 * factor, rtol=1e-6)


def test_columns_of_many_levels_leave_no_range() -> None:
    """
    Levels all over a number, gain 1.457: 1/12 DN² once more whatever the place, as derived.

    Rounding errors of numbers that lie everywhere are even, and know nothing of the number.
    """
    levels_dn = np.arange(64) * 10 / 64
    columns = Columns(gains=0 * levels_dn + 1.457, levels_dn=levels_dn, offsets_dn=-1.3 * levels_dn)
    wanted_dn = sqrt((1.457 * 2) ** 2 + 1 / 12)
    assert noise_rounded_again(2, columns) == pytest.approx((wanted_dn, wanted_dn), rel=0.01)


@pytest.mark.parametrize("noise_dn", [0.15, 0.3, 0.5])
def test_a_conversion_moves_the_mean_as_far_as_it_may(noise_dn: float) -> None:
    """Mean of rounded normal numbers, summed over the numbers: never further, and nearly as far."""
    levels, whole = np.arange(200)[:, None] / 200, np.arange(-8, 9)
    chance = norm.cdf(whole + 0.5, levels, noise_dn) - norm.cdf(whole - 0.5, levels, noise_dn)
    off = np.abs(chance @ whole - levels[:, 0]).max()
    higher = exp(-2 * pi**2 * 4 * noise_dn**2) / (2 * pi)
    assert off <= conversion_shift(noise_dn) + higher
    assert off == pytest.approx(conversion_shift(noise_dn), abs=higher + 1e-4)


@pytest.mark.parametrize("numbers", [2, 3, 4])
@pytest.mark.parametrize("black_dn", [0.0, 0.25, 0.5])
@pytest.mark.parametrize("average", [True, False])
def test_joining_moves_the_mean(numbers: int, black_dn: float, *, average: bool) -> None:
    """Sums of whole numbers, all remainders alike: what is rounded half up against what is not."""
    sums = np.arange(1200 * numbers)
    exact = sums / numbers if average else sums - (numbers - 1) * black_dn
    off = (np.floor(exact + 0.5) - exact).mean()
    assert joined_shift(numbers, black_dn, average=average) == pytest.approx(off, abs=1e-9)
