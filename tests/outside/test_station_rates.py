"""Speed, data, electrons by colour, fringes and corrections of a station against other ways."""

import warnings
from itertools import pairwise

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import quad
from scipy.optimize import minimize_scalar

from linesim.figures.budget import budget
from linesim.forward.reference import ArrayReference
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from linesim.studies.scan.study import scan
from tests.stations import plain_setup

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # tells of optional packages that are not needed here
    import colour

BASE = plain_setup(
    "Rates",
    target={"pixel_size": "25 um", "width": "400 mm", "height": "20 mm"},
    light={"spectrum": "LED-B3"},
    camera={"pixels": 4096, "full_well": "20 ke", "bit_depth": 16},
    acquisition={"lines": 64, "exposure": "20 us"},
)
COLOUR = changed(BASE, {"camera.kind": "prism", "camera.quantum_efficiency": 0.5})
COLOURS = ("red", "green", "blue")


@pytest.mark.parametrize(
    ("speed", "line_rate_hz"), [("60 m/min", 13333.33), ("200 ft/min", 13546.67)]
)
def test_lines_a_second(speed: str, line_rate_hz: float) -> None:
    """7.5 µm at 0.1 are 75 µm: v/75 µm lines (derived); a foot is 0.3048 m (ISO 80000-3)."""
    found = budget(changed(BASE, {"transport.speed": speed}))["geometry"]
    assert found["line_rate_hz"] == pytest.approx(line_rate_hz, abs=0.005)


@pytest.mark.parametrize(
    ("changes", "top_mm_s"),
    [
        ({}, 48_000 * 0.075),
        ({"acquisition.binning": "2x2"}, 48_000 * 0.150),
        ({"lens.magnification": 0.2}, 48_000 * 0.0375),
        ({"acquisition.line_rate": "square", "camera.pixel_height": "15 um"}, 48_000 * 0.075),
    ],
)
def test_top_speed_of_a_camera(changes: dict[str, object], top_mm_s: float) -> None:
    """48 000 lines a second, each a line advance long (derived); two rows joined are twice that."""
    found = budget(changed(BASE, {"camera.max_line_rate": "48 kHz", **changes}))["geometry"]
    assert found["max_speed_mm_s"] == pytest.approx(top_mm_s, rel=1e-9)


@pytest.mark.parametrize(
    ("setup", "changes", "data_mb_s"),
    [
        (BASE, {"camera.bit_depth": 8}, 54.613),
        (BASE, {"camera.bit_depth": 12}, 109.227),
        (BASE, {"camera.bit_depth": 12, "acquisition.binning": "2x2"}, 27.307),
        (COLOUR, {"camera.bit_depth": 8}, 163.840),
    ],
    ids=["8 bit", "12 bit", "binned", "colour"],
)
def test_image_data_a_second(setup: Setup, changes: dict[str, object], data_mb_s: float) -> None:
    """4096 samples x 13 333.3 lines x bytes of a sample x colours, in 10⁶ bytes (derived)."""
    found = budget(changed(setup, changes))["geometry"]
    assert found["data_rate_mb_s"] == pytest.approx(data_mb_s, abs=0.0005)


@pytest.mark.parametrize("name", ["LED-B3", "LED-RGB1", "D65", "FL11", "A"])
def test_electrons_by_band(name: str) -> None:
    """
    Shares ∫ λ S dλ below 490, 490 to 580 and above 580 nm, by `colour.SDS_ILLUMINANTS` and numpy.

    Trapezoids at 1 nm against straight lines integrated exactly: ΔS/12 a nanometre, which adds up
    to the end's S/12, over ∫ λ S of some 10⁴ times that; tables are rounded to 5e-7.
    """
    table = colour.SDS_ILLUMINANTS[name].copy().align(colour.SpectralShape(380, 780, 1))
    wave, power = table.wavelengths, table.values * table.wavelengths
    edges = [0, 490 - 380, 580 - 380, 400]
    parts = [np.trapezoid(power[a : b + 1], wave[a : b + 1]) for a, b in pairwise(edges)]
    white = budget(changed(COLOUR, {"light.spectrum": name}))["signal"]["electrons_white"]
    assert isinstance(white, dict)
    shares = np.array([white[each] for each in COLOURS[::-1]])
    assert_allclose(shares / shares.sum(), np.array(parts) / sum(parts), rtol=2e-5)


@pytest.mark.parametrize("ripple_hz", [10.0, 300.0, 800.0])
def test_a_ripple_swings_the_colours(ripple_hz: float) -> None:
    """
    The farthest that the rows' strips part while one follows the other, by `scipy.integrate`.

    A speed v(1 + a cos 2πgt) over the delay τ = s/(m v) between the rows moves the target by
    ∫ a v cos 2πgt dt besides; the worst start is searched for (derived).
    """
    setup = changed(
        BASE,
        {
            "camera.kind": "three-line",
            "camera.line_spacing": "60 um",
            "transport.speed_ripple": 0.02,
            "transport.ripple_frequency": f"{ripple_hz} Hz",
        },
    )
    delay_s = 0.6 / 1000  # 60 um over 0.1 at 1000 mm/s

    def less(start_s: float) -> float:
        moved, _ = quad(
            lambda t: 0.02 * np.cos(2 * np.pi * ripple_hz * t), start_s, start_s + delay_s
        )
        return -1e6 * float(moved) / 75  # in lines of 75 um

    period = 1 / ripple_hz
    worst = min(
        minimize_scalar(
            less,
            bounds=(k * period / 4, (k + 1) * period / 4),
            method="bounded",
            options={"xatol": 1e-9},
        ).fun
        for k in range(-2, 2)
    )
    swing = budget(setup)["geometry"]["misregistration_swing_px"]
    assert isinstance(swing, dict)
    assert swing["red"] == pytest.approx(-worst, rel=1e-6)
    assert swing["green"] == 0


def test_a_flat_field_leaves_the_noise_of_its_own_lines() -> None:
    """
    Columns of an even image differ by a line's noise over √L, of L reference lines (derived).

    Read off the image by numpy: the variance of the column means, less what N lines of noise leave
    in them. 512 columns know a variance to √(2/512) = 6 %; 4.5 of these.
    """
    lines, averaged, columns = 400, 25, 512
    setup = changed(
        BASE,
        {
            "camera.pixels": columns,
            "camera.prnu": 0.02,
            "acquisition.lines": lines,
            "acquisition.flat_field": True,
            "acquisition.flat_field_lines": averaged,
        },
    )
    image = scan(setup, seed=4).image.astype(float)
    noise_dn2 = image.var(axis=0, ddof=1).mean()
    left_dn2 = image.mean(axis=0).var(ddof=1) - noise_dn2 / lines
    assert left_dn2 == pytest.approx(noise_dn2 / averaged, rel=4.5 * np.sqrt(2 / columns))


def test_a_white_balance_multiplies_signal_and_noise_alike() -> None:
    """
    Weak colours are lifted to the strongest: DN and noise times the ratio of the whites (derived).

    By numpy, with and without, the same seed: means to 4.5 standard errors. Of the noise n samples
    know 1/√(2n) each; rounding to 16 bits is far below it.
    """
    setup = changed(
        COLOUR, {"camera.pixels": 256, "acquisition.lines": 256, "camera.black_level": "100 DN"}
    )
    plain, balanced = (
        scan(changed(setup, {"acquisition.white_balance": way}), seed=2).image.astype(float)
        for way in ("off", "grey-card")
    )
    signal, lifted = plain.mean(axis=(0, 1)) - 100, balanced.mean(axis=(0, 1)) - 100
    gain = signal.max() / signal
    error = plain.std(axis=(0, 1)) / signal / 256
    assert_allclose(lifted, gain * signal, rtol=4.5 * np.sqrt(2) * error.max())
    ratio = balanced.std(axis=(0, 1)) / plain.std(axis=(0, 1))
    assert_allclose(ratio, gain, rtol=4.5 / 256)


def test_white_in_a_scratch_of_known_cover() -> None:
    """A dark line of 15 µm takes a fifth of a pixel of 75 µm, all its light kept (derived)."""
    target = np.ones((800, 1024), dtype=np.float32)
    target[:, 512] = 0.4  # 25 um at 60 % contrast: 15 um of black
    setup = changed(BASE, {"camera.pixels": 256, "camera.prnu": 0.0})
    seen = scan(setup, seed=1, reference=ArrayReference(data=target, pixel_size_um=25.0))
    white = float(seen.budget["signal"]["electrons_white"])
    lost = (1 - seen.expected_e[:, 64:192].mean(axis=0, dtype=float) / white).sum()
    assert lost == pytest.approx(0.2, rel=1e-4)
