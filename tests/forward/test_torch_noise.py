"""
After the noise, the device way agrees with numpy in distribution; a seed gives the same samples.

Means are held to 4.5 standard errors, √(V/n); variances too, √((κ + 2)/n) of themselves, with κ the
excess kurtosis: 1/λ or less for a Poisson count, 0 for the normal. Both scans are drawn, so the
errors of both add up.
"""

from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from scipy import stats

from linesim.forward.collect import pattern
from linesim.forward.device.noise import counts
from linesim.forward.device.render import device_renderer, render_on
from linesim.forward.reference import ArrayReference
from linesim.forward.render import render
from linesim.setup.arrays import FloatArray
from linesim.setup.load import changed, setup_from
from linesim.setup.setup import Setup

torch = pytest.importorskip("torch", reason="the extra torch is not installed")


@pytest.fixture(autouse=True)
def _one_thread() -> Iterator[None]:
    """Let torch leave the other cores to the other tests."""
    before = torch.get_num_threads()
    torch.set_num_threads(1)
    yield
    torch.set_num_threads(before)


DEVICES = ["cpu", *(["cuda"] if torch.cuda.is_available() else [])]
SIGMAS = 4.5
LINES = 700
BASE = setup_from(
    {
        "title": "Noise on a device",
        "target": {"image": "flat", "pixel_size": "75 um", "white_reflectance": 1.0},
        "transport": {"speed": "60 m/min"},
        "lens": {"magnification": 0.1},
        "light": {"irradiance": "20 W/m^2"},
        "camera": {
            "pixels": 128,
            "pixel_width": "7.5 um",
            "full_well": "20 ke",
            "read_noise": "12 e",
            "dark_current": "2 Me/s",
            "gain": "0.2 DN/e",
            "black_level": "64 DN",
            "prnu": 0.02,
            "dsnu": "10 e",
        },
        "acquisition": {"exposure": "60 us"},
    }
)
CASES: dict[str, dict[str, object]] = {
    "plain": {},
    "few electrons": {"light.irradiance": "0.05 W/m^2", "camera.dark_current": "0 e/s"},
    "at the well": {"light.irradiance": "105 W/m^2", "camera.gain": "0.1 DN/e"},
    "charge of 2x2": {"acquisition.binning": "2x2"},
    "charge of 2x2 at the wells": {
        "acquisition.binning": "2x2",
        "light.irradiance": "205 W/m^2",
        "camera.binned_full_well": "60 ke",
        "camera.gain": "0.05 DN/e",
    },
    "numbers of 2x2": {"acquisition.binning": "2x2", "acquisition.binning_domain": "digital"},
    "mean of 2x2": {
        "acquisition.binning": "2x2",
        "acquisition.binning_domain": "digital",
        "acquisition.binning_mode": "average",
    },
    "stages": {"camera.tdi_stages": 4, "light.irradiance": "5 W/m^2"},
    "flat field": {"acquisition.flat_field": True, "light.edge_falloff": 0.3},
}


def white(setup: Setup) -> ArrayReference:
    """Make an even target of white."""
    data = np.ones((8, 160), dtype=np.float32)
    return ArrayReference(data=data, pixel_size_um=setup.target.pixel_size_um)


def assert_same_moments(found: FloatArray, known: FloatArray) -> None:
    """Compare mean and variance of two sets of draws."""
    each = stats.kurtosis(known)
    assert abs(found.mean() - known.mean()) < SIGMAS * np.sqrt(2 * known.var() / known.size)
    bound = SIGMAS * known.var() * np.sqrt(2 * (each + 2) / known.size)
    assert abs(found.var() - known.var()) < bound


@pytest.mark.parametrize("device", DEVICES)
@pytest.mark.parametrize("change", CASES.values(), ids=CASES.keys())
def test_samples_have_the_distribution_of_numpy(change: dict[str, object], device: str) -> None:
    """The same mean in every column, pattern and all, and the same noise about it."""
    setup = changed(BASE, change)
    known = render(setup, white(setup), LINES, 5).image.astype(np.float64)
    found = render_on(setup, white(setup), LINES, 5, device=device).image
    seen = found.cpu().numpy().astype(np.float64)
    assert known.std() > 0.5
    assert_same_moments(
        (seen - known.mean(axis=0)).reshape(-1), (known - known.mean(axis=0)).reshape(-1)
    )
    # the pattern: columns lie apart by the errors of two means of 700 lines and no more
    apart = (seen.mean(axis=0) - known.mean(axis=0)) / np.sqrt(
        (seen.var(axis=0) + known.var(axis=0)) / LINES
    )
    assert np.abs(apart).max() < SIGMAS + 1e-9
    assert np.sum(apart**2) < stats.chi2.isf(1e-5, len(apart))


@pytest.mark.parametrize("device", DEVICES)
@pytest.mark.parametrize("mean_e", [0.3, 6.0, 31.9, 32.1, 300.0])
def test_counts_are_poisson(mean_e: float, device: str) -> None:
    """A chi-square against scipy's distribution, on both sides of the change of formulas."""
    size = 400_000
    generator = torch.Generator(device).manual_seed(11)
    normals = torch.randn(size, generator=generator, device=device)
    drawn = counts(torch.full_like(normals, mean_e), normals).cpu().numpy().astype(np.int64)
    low, high = (int(stats.poisson.ppf(share, mean_e)) for share in (1e-4, 1 - 1e-4))
    edges = np.arange(low, high)
    shares = np.diff(np.concatenate([[0], stats.poisson.cdf(edges, mean_e), [1]]))
    found = np.bincount(np.clip(drawn, low, high) - low, minlength=len(shares))
    assert stats.chisquare(found, shares * size).pvalue > 1e-4


@pytest.mark.parametrize("device", DEVICES)
def test_the_pattern_is_the_camera_s(device: str) -> None:
    """Dark columns lie at their DSNU, 10 e rms, whatever the seed: drawn once, by numpy."""
    setup = changed(BASE, {"light.irradiance": "0 W/m^2", "camera.dark_current": "0 e/s"})
    offset_dn = 0.2 * pattern(setup, 0).offset_e[0]
    for seed in (1, 2):
        image = render_on(setup, white(setup), LINES, seed, device=device).image
        column_dn = image.cpu().numpy().mean(axis=0) - 64
        error_dn = np.sqrt(((0.2 * 12) ** 2 + 1 / 12) / LINES)
        assert_allclose(column_dn, offset_dn, rtol=0, atol=SIGMAS * error_dn)


def samples(rendered: Any) -> Any:  # noqa: ANN401 -- tensors
    """Bring an image to numpy."""
    return rendered.image.cpu().numpy()


@pytest.mark.parametrize("device", DEVICES)
@pytest.mark.parametrize(
    "change", [CASES["plain"], CASES["numbers of 2x2"], CASES["flat field"]], ids=str
)
def test_a_seed_gives_the_same_samples_in_any_window(
    change: dict[str, object], device: str
) -> None:
    """Bytes do not hang on the window, on its neighbours in a batch, or on the number of runs."""
    setup = changed(BASE, change)
    made = device_renderer(setup, white(setup), device=device)
    whole = samples(made.windows([0], LINES, [9]).render())[0]
    windows = made.windows([500, 0, 31], 60, [9, 4, 9])
    parts = samples(windows.render())
    assert_array_equal(parts[0], whole[500:560])
    assert_array_equal(parts[2], whole[31:91])
    assert_array_equal(samples(windows.render()), parts)
    other = samples(windows.render([9, 9, 9]))
    assert_array_equal(other[1], whole[:60])
    assert (parts[1] != other[1]).mean() > 0.5


@pytest.mark.parametrize("device", DEVICES)
def test_noise_is_new_in_every_line_and_channel(device: str) -> None:
    """Lines, the halves of a block and colours do not correlate: 4.5/√n at the most."""
    setup = changed(BASE, {"camera.kind": "prism", "camera.prnu": 0, "camera.dsnu": "0 e"})
    image = samples(render_on(setup, white(setup), 1400, 2, device=device)).astype(np.float64)
    noise = (image - image.mean(axis=(0, 1))) / image.std(axis=(0, 1))
    bound = SIGMAS / np.sqrt(noise[:700, :, 0].size)
    assert abs((noise[:700, :, 0] * noise[700:, :, 0]).mean()) < bound
    assert abs((noise[:-512, :, 0] * noise[512:, :, 0]).mean()) < bound
    assert abs((noise[:-1, :, 1] * noise[1:, :, 1]).mean()) < bound
    assert abs((noise[..., 0] * noise[..., 1]).mean()) < bound
