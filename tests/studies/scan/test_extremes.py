"""Values at the ends of what is legal: the right figures, or a sentence that says why not."""

import os
import re
from math import sqrt
from typing import Any

import numpy as np
import pytest

from linesim.figures.budget import budget
from linesim.setup.errors import InputError
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from linesim.studies.scan.study import scan
from tests.stations import plain_setup

BASE = plain_setup(
    "Ends",
    transport={"speed": "1 m/s"},
    light={"irradiance": "100 W/m^2", "illuminance": None},
    camera={
        "pixels": 64,
        "full_well": "100 Me",
        "read_noise": "5 e",
        "bit_depth": 16,
        "gain": "0.005 DN/e",
    },
    acquisition={"lines": 64},
)
SMALL = {"target.width": "2 mm", "target.height": "2 mm"}


def white(setup: Setup) -> float:
    """Give the signal on white. [e]."""
    return budget(setup).number("signal", "electrons_white")


def lit(electrons: float, changes: dict[str, Any]) -> Setup:
    """Give so many electrons on white."""
    setup = changed(BASE, changes)
    irradiance = setup.irradiance_w_m2 * electrons / white(setup)
    return changed(setup, {"light.irradiance": f"{irradiance!r} W/m^2"})


@pytest.mark.parametrize(
    ("electrons", "gain", "read_e"),
    [(1e-3, 10.0, 1.0), (1.0, 10.0, 1.0), (1e3, 1.0, 1.0), (1e5, 0.1, 10.0), (1e7, 0.006, 100.0)],
)
def test_from_a_thousandth_to_ten_million_electrons(
    electrons: float, gain: float, read_e: float
) -> None:
    """
    Ten decades of signal: the mean within 5σ, the noise within 5 of its standard errors.

    Read noise of over 0.4 DN; errors as σ/√N and √((2 + S/σ⁴)/N) of the variance, N = 64 x 64.
    """
    setup = lit(
        electrons,
        {
            "camera.gain": f"{gain} DN/e",
            "camera.read_noise": f"{read_e} e",
            "camera.black_level": "500 DN",
        },
    )
    noise_e = sqrt(electrons + read_e**2 + 1 / 12 / gain**2)
    found = scan(setup, 3)
    np.testing.assert_allclose(found.expected_e, electrons, rtol=2e-6)
    assert found.measured["electrons_white"] == pytest.approx(electrons, abs=5 * noise_e / 64)
    if electrons > noise_e / 10:  # else the mean itself may come out below 0, with no SNR
        spread = sqrt((2 + electrons / noise_e**4) / (63 * 64)) / 2
        assert found.measured["noise_white_e"] == pytest.approx(noise_e, rel=5 * spread)


APERTURES = [(f, m) for m in (0.001, 0.1, 20.0) for f in (0.5, 0.8, 64.0, 256.0)]
if "LINESIM_NIGHTLY" not in os.environ:
    APERTURES.remove((256.0, 20.0))  # a blur of 29,000 reference pixels takes its seconds


@pytest.mark.parametrize(("f_number", "magnification"), APERTURES)
def test_light_by_aperture_and_magnification(f_number: float, magnification: float) -> None:
    """
    E ρ τ / (4 N²(1+m)²) x area x time x e/J, time the pixel's travel: against one plain case.

    The render sums over the 40 wavelengths of blur, n reference pixels each way: 2n roundings of
    2⁻²⁴ to either side, four of their standard deviations, and what the profile and tables round.
    """
    pixel_um = 7.5 / magnification
    blur_um = 40 * 0.5 * f_number * (1 + magnification) / magnification
    error = 2e-6 + 4 * sqrt(2 * (blur_um / (pixel_um / 2) + 6)) * 2.0**-24
    setup = changed(
        BASE,
        {
            "lens.f_number": f_number,
            "lens.magnification": magnification,
            "target.pixel_size": f"{pixel_um / 2!r} um",
            "target.width": f"{pixel_um / 10!r} mm",
            "target.height": f"{pixel_um / 10!r} mm",
            "acquisition.lines": 4,
        },
    )
    ratio = (4.0 * 1.1 / (f_number * (1 + magnification))) ** 2 * (0.1 / magnification)
    wanted = white(BASE) * ratio
    assert white(setup) == pytest.approx(wanted, rel=1e-9)
    np.testing.assert_allclose(scan(setup).expected_e, wanted, rtol=error)


@pytest.mark.parametrize(
    ("lines", "pixels"), [(1, 1), (1, 64), (64, 1), (2, 30_000), (65, 3)], ids=str
)
def test_a_line_a_pixel_and_thirty_thousand(lines: int, pixels: int) -> None:
    """Any shape, down to one sample: all of it expected right, figures where there is enough."""
    found = scan(changed(BASE, {"acquisition.lines": lines, "camera.pixels": pixels}))
    assert found.image.shape == (lines, pixels)
    np.testing.assert_allclose(found.expected_e, white(BASE), rtol=2e-6)
    assert ("electrons_white" in found.measured) is (lines >= 16)


def test_the_shortest_exposure() -> None:
    """1 ns of a period of 75 µs: that share of the light; nothing below it."""
    short = changed(BASE, {"acquisition.exposure": "1 ns"})
    assert white(short) == pytest.approx(white(BASE) * 1e-3 / 75, rel=1e-9)
    np.testing.assert_allclose(scan(short).expected_e, white(short), rtol=2e-6)
    with pytest.raises(InputError, match=re.escape("acquisition.exposure: read")):
        changed(BASE, {"acquisition.exposure": "0.9 ns"})


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"transport.speed": "0 m/s"}, 'transport.speed: read "0 m/s"'),
        ({"lens.magnification": 0}, "lens.magnification: read 0"),
        ({"camera.pixels": 0}, "camera.pixels: read 0"),
        ({"acquisition.lines": 0}, "acquisition.lines: read 0"),
        ({"lens.f_number": 0.4}, "lens.f_number: read 0.4"),
        (
            {"camera.quantum_efficiency": 0},
            'camera.quantum_efficiency: "LED-B3" frees no electrons',
        ),
    ],
)
def test_what_no_station_can_have_is_refused(changes: dict[str, object], told: str) -> None:
    """A key in front, and what was read."""
    with pytest.raises(InputError, match=re.escape(told)):
        scan(changed(BASE, changes))


@pytest.mark.parametrize(
    "changes",
    [
        {"light.irradiance": "0 W/m^2"},
        {"target.white_reflectance": 0},
        {"lens.transmission": 0},
        {"light.irradiance": "0 W/m^2", "acquisition.flat_field": True},
    ],
    ids=["no light", "black", "shut", "no light, flat field"],
)
def test_darkness(changes: dict[str, object]) -> None:
    """No light at all is legal: 0 electrons, read noise alone, no SNR in dB, nothing found."""
    found = scan(changed(BASE, {**changes, "camera.gain": "1 DN/e"}), 2)
    signal = found.budget["signal"]
    assert signal["electrons_white"] == 0
    assert "snr_white_db" not in signal  # minus infinity
    assert not found.expected_e.any()
    # the mean of 4096 samples of 5 e and rounding
    assert found.measured["dn_mean"] == pytest.approx(32, abs=5 * sqrt(25 + 2 / 12) / 64)


@pytest.mark.parametrize("corrected", [True, False])
def test_a_dark_that_fills_the_well(corrected: bool) -> None:  # noqa: FBT001 -- a case
    """
    Figure and scan: a flat field takes all of it off and leaves black, 32 DN; else full scale.

    Dark lines have the noise of 7.5e7 e, 866 DN, over √256 lines: as much stays in each column.
    """
    setup = changed(
        BASE,
        {
            "camera.dark_current": "1e12 e/s",
            "camera.full_well": "10 Me",
            "camera.gain": "0.1 DN/e",
            "acquisition.flat_field": corrected,
        },
    )
    found = scan(setup)
    wanted_dn = 32 if corrected else 65_535
    assert found.budget["signal"]["dn_white"] == pytest.approx(wanted_dn, rel=1e-9)
    assert np.ptp(found.image, axis=0).max() == 0
    assert np.median(found.image) == wanted_dn


@pytest.mark.parametrize(
    "changes",
    [
        {"camera.gain": "1 MDN/e"},
        {"transport.speed": "1e-6 mm/s"},
        {"camera.dark_current": "1e12 e/s"},
        {"camera.read_noise": "1 Ge"},
        {"camera.black_level": "0 DN", "light.irradiance": "1e-4 W/m^2", "camera.gain": "1 DN/e"},
    ],
    ids=["gain", "slow", "dark current", "read noise", "black level of 0"],
)
def test_no_figure_is_read_off_clipped_numbers(changes: dict[str, object]) -> None:
    """Samples at an end of the scale: their range is told, but no electrons and no noise."""
    found = scan(changed(BASE, changes))
    assert set(found.measured) == {"dn_min", "dn_mean", "dn_max", "share_at_full_scale"}
    assert np.isfinite(found.expected_e).all()
