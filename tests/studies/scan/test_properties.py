"""Whatever the station: what is rendered is what the closed form says, and the same every time."""

from itertools import product
from math import exp, pi, sqrt
from typing import Any

import numpy as np
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_array_equal

from linesim.figures.budget import Budget, budget
from linesim.forward.profile import column_profile, ends_share
from linesim.forward.reference import ArrayReference
from linesim.forward.render import render
from linesim.setup.load import changed, setup_from
from linesim.setup.setup import Setup
from linesim.studies.scan.study import scan

Texts = dict[str, dict[str, Any]]
Stations = st.SearchStrategy[Texts]

LINES = 64
SIGMAS = 5
WELL_SIGMAS = 6


def each(figures: Any) -> list[float]:  # noqa: ANN401 -- a number or one a colour
    """List a figure's values: one, or one a colour."""
    return list(figures.values()) if isinstance(figures, dict) else [float(figures)]


def lit(texts: Texts, share: float, read_dn: float) -> Setup:
    """
    Give a station with the light that fills a share of what is free of its nearest limit.

    The read noise is chosen in DN, so that rounding is a noise of 1/12 DN² (EMVA 1288: above 0.4
    DN), and the black level six times as high: a whole number, for joined numbers are whole too.
    """
    camera = texts["camera"]
    black = round(WELL_SIGMAS * (read_dn + 1))
    top = 2 ** camera["bit_depth"] - 1
    assume(black < top / 4)
    well = float(camera["full_well"].split()[0])
    dark = {
        **texts,
        "camera": {
            **camera,
            "black_level": f"{black} DN",
            "read_noise": f"{read_dn * well / (top - black):.5g} e",
        },
        "acquisition": {**texts["acquisition"], "lines": LINES},
    }
    setup = setup_from(dark)
    signal = budget(setup)["signal"]
    times = share / max(each(signal["saturation_white"]))
    irradiance, ambient = (times * each for each in (setup.irradiance_w_m2, setup.ambient_w_m2))
    assume(1e-6 < irradiance < 1e6)
    light = {"light.irradiance": (irradiance, "W/m^2"), "light.ambient": (ambient, "W/m^2")}
    return changed(setup, light)


def read_columns(setup: Setup) -> tuple[float, int]:
    """Give level and number of the columns that are read off, within 0.5 % of the brightest."""
    profile = column_profile(setup, setup.camera.pixels // setup.acquisition.binning.across)
    light = profile[profile >= 0.995 * profile.max()]
    return 1.0 if setup.acquisition.flat_field else float(light.mean()), len(light)


def fits(
    setup: Setup, whole_e: float, pixels: int, limits_e: tuple[float, ...], factor: float
) -> bool:
    """Tell whether the charge of so many pixels, read once each, stays 6σ from limits and 0 DN."""
    camera, stages = setup.camera, setup.camera.tdi_stages
    spread_e = WELL_SIGMAS * camera.dsnu_e * sqrt(pixels * stages)
    spread_e += WELL_SIGMAS * sqrt(whole_e + pixels * camera.read_noise_e**2)
    lowest_dn = (whole_e - spread_e) * setup.gain_dn_e * factor
    return whole_e + spread_e < min(limits_e) and lowest_dn > -camera.black_level_dn


def is_unclipped(setup: Setup, found: Budget) -> bool:
    """
    Tell whether every pixel, and what is joined of it, stays 6σ away from wells, scale and 0.

    The pattern reaches 6 of its own σ; a physical pixel holds 1/n of signal and dark charge. What a
    white balance multiplies, noise and all, must stay on the scale too; so must the dim ends that a
    flat field lifts, and what a flickering lamp adds.
    """
    camera, way = setup.camera, setup.acquisition
    joined, digital = way.binning.across * way.binning.along, way.binning_domain == "digital"
    word_e = (setup.full_scale_dn - camera.black_level_dn) / setup.gain_dn_e
    well_e = setup.binned_full_well_e if joined > 1 and not digital else camera.full_well_e
    signal = found["signal"]
    whites_e = each(signal["electrons_white"])
    ends = float(ends_share(setup))
    for white_e, place in product(whites_e, (1.0, ends)):
        balance = max(whites_e) / white_e if way.white_balance != "off" else 1.0
        factor = balance / (joined if way.binning_mode == "average" else 1)
        factor /= place if way.flat_field else 1.0
        most = (1 + setup.light.flicker) * (1 + WELL_SIGMAS * camera.prnu)
        whole_e = place * white_e * most + float(signal["dark_e"])
        one = fits(setup, whole_e / joined, 1, (camera.full_well_e, word_e), 1.0)
        summed = (word_e / factor,) if digital else (well_e, word_e / factor)
        if not one or not fits(setup, whole_e, joined, summed, factor):
            return False
    few_lines = {"flat_field_noise", "flat_field_left"} & {each.code for each in found.cautions}
    return not few_lines and bool(np.max(each(signal["saturation_white"])) < 0.9)


def rounding_bounds(setup: Setup, noise_dn: float, dn_per_e: float) -> tuple[float, float]:
    """
    Bound what rounding adds to mean and variance, beyond 0 and 1/12. [DN, DN²].

    A conversion: of a normal noise of σ DN the characteristic function gives, with
    q = exp(−2π²σ²), a mean off by at most q/π and a variance by q (4σ² + 1/π²); higher terms are
    under q⁴. The mean of n whole numbers lies on steps of 1/n: rounding half up moves it by 1/2n
    and has 1/12n² less variance. A white balance multiplies all that. What is multiplied is
    rounded again and moved by e, |e| ≤ 1/2, which may go with the number: 0, 1, 2 times 1.1 are
    0, 1, 2. So its variance, of noise σ, changes by 2 cov + var(e), at most σ + 1/4.
    """
    way = setup.acquisition
    n = way.binning.across * way.binning.along if way.binning_domain == "digital" else 1
    sigma = setup.camera.read_noise_e * setup.gain_dn_e
    left = exp(-2 * pi**2 * sigma**2)
    mean, variance = n * 1.01 * left / pi, n * 1.01 * left * (4 * sigma**2 + 1 / pi**2)
    if way.binning_mode == "average":
        mean, variance = mean / n + 1 / (2 * n), variance / n**2 + 1 / (12 * n**2)
    if way.flat_field or way.white_balance != "off":
        balance = dn_per_e * (n if way.binning_mode == "average" else 1) / setup.gain_dn_e
        mean, variance = balance * mean + 0.5, balance**2 * variance + noise_dn + 0.25
    return mean, variance


@settings(max_examples=settings().max_examples * 2 // 3)
@given(
    data=st.data(),
    share=st.floats(0.02, 0.6),
    read_dn=st.floats(0.4, 4.0),
    seed=st.integers(0, 2**32),
)
def test_budget_and_scan_agree(
    any_station: Stations, data: st.DataObject, share: float, read_dn: float, seed: int
) -> None:
    """
    Below saturation − 6σ, black over 6σ, noise over 0.4 DN: mean within 5σ, SNR within its error.

    The mean of L lines of C columns has the error noise/√(LC) and, of what is fixed in a column,
    pattern/√C. A variance of N Poisson and normal samples has the relative error
    √((2 + κ)/N), κ = S/σ⁴ the excess of the Poisson part; SNR half of that, and the mean's own.
    The columns that are read lie a little below the middle's light. A flickering lamp moves the
    mean by its depth at most, and the noise in time by what it does to the expected electrons.
    """
    setup = lit(data.draw(any_station), share, read_dn)
    closed = budget(setup)
    assume(is_unclipped(setup, closed))
    found = scan(setup, seed, workers=1)
    level, read = read_columns(setup)
    signal, black_dn = closed["signal"], setup.camera.black_level_dn
    dark_e = 0.0 if setup.acquisition.flat_field else float(signal["dark_e"])
    swing = np.var(found.expected_e.mean(axis=1, dtype=np.float64), axis=0, ddof=1)
    for white_e, noise_e, total, white_dn, got_e, got_noise_e, got_dn, swing_e2 in zip(
        each(signal["electrons_white"]),
        each(signal["noise_white_e"]),
        each(signal["snr_total_white"]),
        each(signal["dn_white"]),
        each(found.measured["electrons_white"]),
        each(found.measured["noise_white_e"]),
        each(found.measured["dn_white"]),
        np.ravel(swing),
        strict=True,
    ):
        columns, dn_per_e = read, (white_dn - black_dn) / (white_e + dark_e)
        bias_dn, variance_dn2 = rounding_bounds(setup, dn_per_e * noise_e, dn_per_e)
        pattern_e = sqrt(max((white_e / total) ** 2 - noise_e**2, 0.0))
        error_e = sqrt(noise_e**2 / (LINES * columns) + pattern_e**2 / columns)
        off_e = SIGMAS * error_e + bias_dn / dn_per_e + setup.light.flicker * white_e
        assert abs(got_e - level * white_e) < off_e
        assert abs(got_dn - white_dn + (1 - level) * white_e * dn_per_e) < off_e * dn_per_e
        relative = SIGMAS * sqrt((2 + white_e / noise_e**4) / ((LINES - 1) * columns))
        more = variance_dn2 / (dn_per_e * noise_e) ** 2
        times = 1 + swing_e2 / noise_e**2
        assert abs((got_noise_e / noise_e) ** 2 - times) < relative * (2 * times - 1) + more


@settings(max_examples=settings().max_examples // 3)
@given(
    data=st.data(),
    changes=st.fixed_dictionaries(
        {},
        optional={
            "light.flicker": st.floats(0.01, 0.3),
            "acquisition.binning_domain": st.just("digital"),
            "light.ambient": st.just("3 W/m^2"),
            "target.repeat": st.booleans(),
        },
    ),
    seed=st.integers(0, 2**32),
    lines=st.integers(65, 200),
)
def test_same_seed_same_bytes(
    any_station: Stations, data: st.DataObject, changes: Texts, seed: int, lines: int
) -> None:
    """Twice, by one worker or three, and as the start of a longer scan: the same bytes."""
    setup = changed(setup_from(data.draw(any_station)), changes)
    assume(setup.acquisition.binning_mode == "sum" or setup.acquisition.binning_domain == "digital")
    random = np.random.default_rng(5).random((40, 50)).astype(np.float32)
    target = ArrayReference(data=random, pixel_size_um=setup.target.pixel_size_um)
    one = render(setup, target, lines, seed, workers=1)
    three = render(setup, target, lines, seed, workers=3)
    start = render(setup, target, 64, seed, workers=2)
    for name in ("image", "expected_e"):
        assert_array_equal(getattr(three, name), getattr(one, name))
        assert_array_equal(getattr(start, name), getattr(one, name)[:64])
