"""
Flat-field correction: offset and gain of each column from averaged dark and white lines.

Levels are equalised, SNR is not; what the averages leave is 1/lines of a line's own variance.
"""

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from linesim.figures.budget import budget
from linesim.setup.arrays import FloatArray
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from linesim.studies.scan.study import scan
from tests.stations import plain_setup

COLUMNS = 2000
LINES = 400
BASE = plain_setup(
    "Correction",
    target={"pixel_size": "25 um", "repeat": True},
    light={"illuminance": "60 klx", "edge_falloff": 0.4},
    camera={
        "pixels": COLUMNS,
        "full_well": "20 ke",
        "prnu": 0.02,
        "dsnu": "25 e",
        "dark_current": "1 Me/s",
    },
    acquisition={"lines": LINES, "flat_field": True, "flat_field_lines": 1_000_000},
)
RAW = {"acquisition.flat_field": False}
PROFILE = 1 - 0.4 * ((2 * np.arange(COLUMNS) + 1) / COLUMNS - 1) ** 2


def seen(setup: Setup, reflectance: float = 1.0, seed: int = 1) -> FloatArray:
    """Scan an even target. [DN]."""
    return scan(setup, seed=seed, reference=np.full((4, 4), reflectance)).image.astype(np.float64)


def white_dn(setup: Setup, level: float = 1.0) -> float:
    """Level of white in the middle, without what the dark current adds. [DN]."""
    return 32 + level * budget(setup).number("signal", "electrons_white") * setup.gain_dn_e


def test_columns_come_to_the_level_of_the_middle() -> None:
    """
    On white, on half of it and in the dark every column has one level, black its own.

    2000 means of 400 lines, none more than 5σ/√400 off, of 0.2 to 2 DN.
    """
    for level in (1.0, 0.5, 0.0):
        image = seen(BASE, level)
        off = np.abs(image.mean(axis=0) - white_dn(BASE, level))
        assert (off / (image.std(axis=0) / np.sqrt(LINES))).max() < 5
    raw = seen(changed(BASE, RAW))
    assert raw.mean(axis=0).min() < 0.65 * raw.mean(axis=0).max()


def test_the_pattern_in_the_dark_is_taken_off() -> None:
    """
    DSNU of 25 e shows as 5 DN a column; corrected, columns scatter as noise does, σ/√n.

    Corrected numbers are whole: where the gain is near 1, the part of a DN that should be taken off
    is lost, 0.5 DN at most. So noise alone is judged in the outer half, at gains from 1.1 up.
    """
    dark = {"light.illuminance": "0 lx"}
    raw, gain = seen(changed(BASE, {**RAW, **dark})), BASE.gain_dn_e
    assert raw.mean(axis=0).std() == pytest.approx(25 * gain, rel=4 / np.sqrt(2 * COLUMNS))
    # the reference lines are white, the target is black
    image = seen(BASE, 0.0)
    alone = (image.mean(axis=0) - 32) / (image.std(axis=0) / np.sqrt(LINES))
    outer = np.r_[alone[:500], alone[-500:]]
    assert outer.std() == pytest.approx(1, rel=5 / np.sqrt(COLUMNS))
    inner = image[:, 500:-500]
    assert (np.abs(inner.mean(axis=0) - 32) - 5 * inner.std(axis=0) / np.sqrt(LINES)).max() < 0.5


@pytest.mark.parametrize("averaged", [4, 16])
def test_what_the_averages_leave(averaged: int) -> None:
    """
    Variance of column means = temporal variance · (1/flat_field_lines + 1/lines).

    Derived; even light, so that all columns have one variance. 2000 columns know it to √(2/1999).
    """
    even = {"light.edge_falloff": 0, "acquisition.flat_field_lines": averaged}
    image = seen(changed(BASE, even))
    wanted = image.var(axis=0, ddof=1).mean() * (1 / averaged + 1 / LINES)
    assert image.mean(axis=0).var(ddof=1) == pytest.approx(
        wanted, rel=4 * np.sqrt(2 / (COLUMNS - 1))
    )


def test_the_residue_stands_in_the_picture_and_follows_the_seed() -> None:
    """It is the same in two halves of a scan, and another with another seed."""
    setup = changed(BASE, {"light.edge_falloff": 0, "acquisition.flat_field_lines": 4})
    one, other = seen(setup), seen(setup, seed=2)
    halves = one[:200].mean(axis=0), one[200:].mean(axis=0)
    # shared 1/4 of a variance against 1/200 of noise in each half: 0.98
    assert np.corrcoef(*halves)[0, 1] == pytest.approx(0.25 / (0.25 + 1 / 200), abs=0.01)
    assert abs(np.corrcoef(one.mean(axis=0), other.mean(axis=0))[0, 1]) < 4 / np.sqrt(COLUMNS)


def test_noise_is_multiplied_at_the_dim_ends() -> None:
    """
    The same noise, times 1/profile: level is equalised, SNR is not.

    The two scans share their draws, so only rounding differs. Whole numbers times a gain near 1
    round in a slow sawtooth of 0.5 DN, which moves a deviation of 22 DN by 2.3 % at most.
    """
    plain = {"camera.prnu": 0, "camera.dsnu": "0 e"}
    setup = changed(BASE, plain)
    gain = seen(setup).std(axis=0) / seen(changed(setup, RAW)).std(axis=0)
    assert_allclose(gain, 1 / PROFILE, rtol=0.5 / 22)
    assert (gain * PROFILE).mean() == pytest.approx(1, abs=0.001)
    assert (gain * PROFILE)[:200].mean() == pytest.approx(1, abs=0.003)
    snr = (seen(setup).mean(axis=0) - 32) / seen(setup).std(axis=0)
    ends, middle = np.r_[snr[:50], snr[-50:]].mean(), snr[950:1050].mean()
    numbers = budget(setup)["signal"]
    white_e, noise_e = float(numbers["electrons_white"]), float(numbers["noise_white_e"])
    share = np.r_[PROFILE[:50], PROFILE[-50:]].mean()
    dim = share * white_e / np.sqrt(noise_e**2 - (1 - share) * white_e)
    # each of 100 deviations is known to 1/√800
    assert middle == pytest.approx(white_e / noise_e, rel=4 / np.sqrt(80_000))
    assert ends == pytest.approx(dim, rel=4 / np.sqrt(80_000))


def test_the_word_clips_after_the_correction() -> None:
    """Twice as bright as white: all at full scale, though the dim ends were below it before."""
    bright = changed(BASE, {"camera.prnu": 0})
    raw = seen(changed(bright, RAW), 1.7)
    assert raw[:, :20].max() < 4000
    assert_array_equal(seen(bright, 1.7)[:, :20], 4095)


def test_a_white_reference_that_is_full_tells_no_gain() -> None:
    """Where white fills the wells of all columns, references are alike and nothing is changed."""
    full = changed(
        BASE, {"light.illuminance": "1 Mlx", "camera.prnu": 0, "camera.dark_current": "0 e/s"}
    )
    image, raw = seen(full), seen(changed(full, RAW))
    off = image.mean(axis=0) - raw.mean(axis=0)
    # the offset of DSNU, 5 DN, is all that was taken off
    assert np.abs(off).max() < 6 * 25 * BASE.gain_dn_e


@pytest.mark.parametrize(
    "way",
    [
        {"acquisition.binning": "2x2"},
        {"acquisition.binning": "2x2", "acquisition.binning_domain": "digital"},
        {
            "acquisition.binning": "1x4",
            "acquisition.binning_domain": "digital",
            "acquisition.binning_mode": "average",
            "acquisition.binning_along": "lines",
        },
        {"camera.tdi_stages": 4},
    ],
)
def test_joined_pixels_are_corrected_too(way: dict[str, object]) -> None:
    """
    Every column at white's level, whatever makes a delivered pixel: 5σ/√400.

    A mean of four whole numbers, rounded half up, is 1/8 DN too high: 0, −¼, ½ and ¼ are equally
    likely.
    """
    few = {"light.illuminance": "10 klx", "light.edge_falloff": 0, "camera.pixels": 400}
    setup = changed(BASE, {**way, **few, "camera.dsnu": "5 e"})
    image = seen(setup)
    figures = budget(setup)["signal"]
    joined = 4 if setup.acquisition.binning_mode == "average" else 1
    wanted = float(figures["dn_white"]) + (1 / 8 if joined == 4 else 0)
    off = np.abs(image.mean(axis=0) - wanted) / (image.std(axis=0) / np.sqrt(LINES))
    assert off.max() < 5


def test_colours_are_corrected_each_by_itself_and_balanced() -> None:
    """Grey-card gains bring red, green and blue to one level, flat from end to end."""
    colour = {
        "camera.kind": "prism",
        "camera.pixels": 400,
        "acquisition.white_balance": "grey-card",
    }
    setup = changed(BASE, colour)
    image = seen(setup)
    level = budget(setup)["signal"]["electrons_white"]
    assert isinstance(level, dict)
    wanted = 32 + max(level.values()) * setup.gain_dn_e
    off = np.abs(image.mean(axis=0) - wanted) / (image.std(axis=0) / np.sqrt(LINES))
    assert off.max() < 5
