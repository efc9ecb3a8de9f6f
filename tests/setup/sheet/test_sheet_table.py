"""The guide's table of data-sheet spellings, row by row, against the figures worked out by hand."""

import re
import tomllib
from collections.abc import Callable
from math import sqrt
from pathlib import Path
from typing import Any

import pytest
from scipy import constants

from linesim.figures.groups import reach
from linesim.setup.load import changed, sample_setup
from linesim.setup.setup import Setup
from linesim.setup.sheet.names import ALIASES, plain_name

GUIDE = Path(__file__).parents[3] / "linesim" / "setup" / "README.md"
_ROW = re.compile(r"^\| `([a-z_0-9.]+)` \| `(.+?)` \| (.*?) ?\| `(-?[0-9.]+)(.*?)` \|$")
H_C_J_NM = constants.h * constants.c * 1e9
"""Energy of a photon times its wavelength (CODATA, exact since SI 2019)."""

PERCENT = 1 / 100
DECIBEL_66 = 10 ** (66 / 20)
"""Amplitudes: EMVA 1288 R4.0 RC (March 2021), 20 log10."""
PHOTONS_A_NJ_CM2 = 1e-9 / 1e-4 * (7.5e-6) ** 2 / (H_C_J_NM / 550)
"""On a pixel of 7.5 um at 550 nm: R4.0 RC eq. 3, E t A λ/(hc)."""
A_W_450, A_W_550, A_W_620 = (H_C_J_NM / nm / constants.e for nm in (450, 550, 620))
"""Electrons for a photon of an A/W: hc/(qλ), derived."""

BY_HAND: dict[tuple[str, str], float] = {
    ("lens.transmission", '"90 %"'): 90 * PERCENT,
    ("camera.prnu", '"0.8 %"'): 0.8 * PERCENT,
    ("camera.quantum_efficiency", '"62 %"'): 62 * PERCENT,
    ("lens.distortion", '"-0.5 %"'): -0.5 * PERCENT,
    ("requirement.product_reflectance", '"35 %"'): 35 * PERCENT,
    # T = N/sqrt(transmission), common practice, no source
    ("lens.transmission", '"T 4.4"'): (4.0 / 4.4) ** 2,
    ("target.pixel_size", '"600 dpi"'): 25_400 / 600,  # an inch is 25.4 mm exactly (from memory)
    ("camera.gain", '"4.2 e/DN"'): 1 / 4.2,  # K in DN/e: R4.0 RC eq. 5
    ("camera.system_gain", '"0.24 DN/e"'): 0.24,
    ("camera.saturation_capacity", '"30 ke"'): 30_000,
    ("camera.temporal_dark_noise", '"8 e"'): 8,
    # eq. 53; the anonymous summary sheet of the standard: 3.03 DN, 30.8 e at 10.22 e/DN
    ("camera.read_noise", '"3.03 DN"'): sqrt(3.03**2 - 1 / 12) * 10.22,
    ("camera.dsnu_1288", '"1.5 DN"'): 1.5 / 0.24,  # eq. 66
    ("camera.line_noise", '"0.6 DN"'): 0.6 / 0.24,  # derived, as eq. 66
    ("camera.prnu_1288", '"1 %"'): 0.01,
    ("camera.dynamic_range", '"66 dB"'): 30_000 / DECIBEL_66,
    ("camera.dynamic_range", "2000"): 15,
    ("camera.dynamic_range", '"2000:1"'): 15,
    # eq. 26 and 28 solved for the dark noise; the summary sheet: 30.8 e for 40951 e, 62.3 dB
    ("camera.dynamic_range_1288", '"1302.3:1"'): sqrt(
        (40_951 / 1302.3 - 0.5) ** 2 - 0.25 - 10.22**2 / 12
    ),
    ("camera.quantum_efficiency", '{ value = "62 %", wavelength = "525 nm" }'): 0.62,
    ("camera.quantum_efficiency", '[["450 nm", "50 %"], ["550 nm", "62 %"]]'): (0.50 + 0.62) / 2,
    ("camera.responsivity", '{ value = "25 DN/(nJ/cm^2)", wavelength = "550 nm" }'): (
        25 / (0.04 * PHOTONS_A_NJ_CM2)
    ),
    # R = K η: R4.0 RC eq. 49
    ("camera.responsivity", '{ value = "0.06 DN/photon", wavelength = "550 nm" }'): 0.06 / 0.1,
    ("camera.responsivity", '{ value = "0.3 A/W", wavelength = "620 nm" }'): 0.3 * A_W_620,
    ("camera.responsivity", '[["450 nm", "0.2 A/W"], ["550 nm", "0.3 A/W"]]'): (
        (0.2 * A_W_450 + 0.3 * A_W_550) / 2
    ),
    ("camera.link", '"5 Gb/s"'): 5e9 / 8 / 1e6,  # 8 bits a byte (IEC 80000-13)
    # GenICam Pixel Format Naming Convention, from memory
    ("camera.pixel_format", '"Mono8"'): 8,
    ("camera.pixel_format", '"Mono10p"'): 10,
    ("camera.pixel_format", '"Mono12p"'): 12,
    ("camera.pixel_format", '"Mono12Packed"'): 24 / 2,
    ("camera.pixel_format", '"Mono12"'): 16,
    ("requirement.snr", '"40 dB"'): 10 ** (40 / 20),
}


def _efficiency(setup: Setup) -> float:
    """Give the one efficiency, or that halfway between two points of a curve."""
    found: Any = setup.camera.quantum_efficiency
    return float(found if isinstance(found, float) else sum(found.value) / 2)


READ: dict[str, Callable[[Setup], Any]] = {
    "lens.transmission": lambda setup: setup.lens.transmission,
    "lens.distortion": lambda setup: setup.lens.distortion,
    "target.pixel_size": lambda setup: setup.target.pixel_size_um,
    "requirement.product_reflectance": lambda setup: setup.requirement.product_reflectance,
    "requirement.snr": lambda setup: setup.requirement.snr,
    "camera.prnu": lambda setup: setup.camera.prnu,
    "camera.quantum_efficiency": _efficiency,
    "camera.responsivity": _efficiency,
    "camera.gain": lambda setup: setup.gain_dn_e,
    "camera.full_well": lambda setup: setup.camera.full_well_e,
    "camera.read_noise": lambda setup: setup.camera.read_noise_e,
    "camera.dynamic_range": lambda setup: setup.camera.read_noise_e,
    "camera.dynamic_range_1288": lambda setup: setup.camera.read_noise_e,
    "camera.dsnu": lambda setup: setup.camera.dsnu_e,
    "camera.line_noise": lambda setup: setup.camera.line_noise_e,
    "camera.link": lambda setup: setup.camera.link_mb_s,
    "camera.pixel_format": lambda setup: reach(setup).sample_bits,
}


def rows() -> list[tuple[str, str, str, str]]:
    """Read key, value, what goes with it and the number understood out of the guide."""
    text = (
        GUIDE.read_text("utf-8").partition("## As the data sheet has it")[2].partition("\n## ")[0]
    )
    lines = [line for line in text.splitlines() if line.startswith("| `")]
    matches = [_ROW.fullmatch(line) for line in lines]
    assert all(matches), lines
    return [(m[1], m[2], m[3], m[4]) for m in matches if m]


def understood(key: str, value: str, beside: str) -> float:
    """Read a value as the setup file would, with what goes with it."""
    pairs = [pair.split(" = ", 1) for pair in re.findall(r"`([^`]+)`", beside)]
    changes = {name: tomllib.loads(f"x = {text}")["x"] for name, text in pairs}
    setup = changed(sample_setup(), {**changes, key: tomllib.loads(f"x = {value}")["x"]})
    return float(READ[plain_name(key)](setup))


@pytest.mark.parametrize(("key", "value", "beside", "number"), rows())
def test_a_row_of_the_table_is_what_its_figure_means(
    key: str, value: str, beside: str, number: str
) -> None:
    """What is typed means what was worked out by hand, and the guide has it to its last digit."""
    found, digits = understood(key, value, beside), len(number.partition(".")[2])
    # rounding of a few float operations
    assert found == pytest.approx(BY_HAND[key, value], rel=1e-12)
    assert f"{found:.{digits}f}" == number


def test_every_spelling_is_in_the_table() -> None:
    """The table and the figures by hand are of the same rows, and every other name is shown."""
    assert sorted(BY_HAND) == sorted((key, value) for key, value, _, _ in rows())
    assert {key for key, _, _, _ in rows()} >= set(ALIASES)
