"""Measuring an edge from files and arrays: the scan's own figures come back, options are obeyed."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.optimize import brentq
from scipy.stats import norm

from linesim import InputError, load_setup, measure, scan
from linesim.figures.resolution import mtf_across
from linesim.files.images_out import write_png, write_tiff
from linesim.files.srgb import linear_to_srgb
from linesim.forward.station import station
from linesim.metrics.region import Region
from linesim.setup.arrays import FloatArray
from linesim.studies.measure.sharpness_input import read_pitch, read_plane

ROOT = Path(__file__).parents[3]
HALF_POINT = 0.187391  # of a Gaussian, times σ: √(ln 2 / 2)/π


def edge(sigma_px: float, lines: int = 90, width: int = 70) -> FloatArray:
    """Give a Gaussian edge of 6° from 0.2 to 0.7."""
    angle = np.radians(6.0)
    y, x = np.mgrid[:lines, :width].astype(float)
    d = (x - width / 2 + 0.3) * np.cos(angle) - (y - lines / 2) * np.sin(angle)
    return np.asarray(0.2 + 0.5 * norm.cdf(d / sigma_px))


def test_the_edge_of_a_scan_is_the_stations() -> None:
    """
    The figures that the scan itself told, the target's own pixels not undone, and the closed form.

    Along the normal at 5°: across f cos 5° for lens and pixel, sinc(f sin 5°) for the pixel's
    height and again for the travel, and the square of the reference pixel's sinc. Five standard
    deviations, and what diffraction loses beyond the region's 185 px (0.124/185).
    """
    setup = load_setup(ROOT / "sample_targets" / "edge.toml")
    made = scan(setup, seed=3)
    found = measure.edge(made.image, bit_depth=12, pixel_pitch_um=(75.0, 75.0))
    seen, numbers = found.response, station(setup)
    assert found.region == Region(x=0, y=0, width=400, height=300)
    undone = seen.mtf_nyquist / np.sinc(6.6667 * 0.01875) ** 2
    assert undone == pytest.approx(made.measured["mtf_nyquist_x"], rel=1e-4)
    angle = np.radians(seen.angle_deg)
    assert abs(seen.angle_deg) == pytest.approx(5.0, abs=0.03)

    def truth(f_cyc_px: float) -> float:
        f_lp_mm = f_cyc_px / 0.075
        sides = np.sinc(f_cyc_px * np.sin(angle)) ** 2 * np.sinc(f_lp_mm * 0.01875) ** 2
        return float(mtf_across(numbers, f_lp_mm * np.cos(angle)) * sides)

    tail = 0.124 / 185
    assert seen.mtf_nyquist == pytest.approx(truth(0.5), abs=5 * found.sd.mtf_nyquist + tail)
    half = brentq(lambda f: truth(f) - 0.5, 0.1, 0.5)
    assert found.sd.mtf50_cyc_px is not None
    slope = (truth(half - 0.01) - truth(half + 0.01)) / 0.02
    assert seen.mtf50_cyc_px == pytest.approx(half, abs=5 * found.sd.mtf50_cyc_px + tail / slope)


def test_figures_have_their_names() -> None:
    """The names of JSON, standard deviations beside them, and nothing that is not there."""
    codes = np.rint(4095 * edge(0.8)).astype(np.uint16)
    plain = measure.edge(codes, bit_depth=12).as_dict()
    assert list(plain)[:8] == [
        "angle_deg", "mtf50_cyc_px", "mtf10_cyc_px", "mtf_nyquist", "rise_10_90_px", "overshoot",
        "frequency_cyc_px", "mtf",
    ]  # fmt: skip
    names = {"mtf50_cyc_px_sd", "mtf10_cyc_px_sd", "mtf_nyquist_sd", "rise_10_90_px_sd", "mtf_sd"}
    assert names <= set(plain)
    assert not any("lp_mm" in name for name in plain)
    assert plain["mtf50_cyc_px"] == pytest.approx(HALF_POINT / 0.8, rel=0.005)
    pitched: Any = measure.edge(codes, bit_depth=12, pixel_pitch_um=(50.0, 40.0)).as_dict()
    assert pitched["mtf50_lp_mm"] == pytest.approx(pitched["mtf50_cyc_px"] / 0.05)
    assert pitched["nyquist_lp_mm"] == pytest.approx(10.0)


def test_a_file_and_its_samples_give_the_same(tmp_path: Path) -> None:
    """TIFF and PNG of 12 bit in 16, read as they are, by path and by text."""
    codes = np.rint(4095 * edge(0.8)).astype(np.uint16)
    write_tiff(tmp_path / "a.tif", codes)
    write_png(tmp_path / "a.png", codes)
    one, two, three = (
        measure.edge(each).response for each in (codes, tmp_path / "a.tif", str(tmp_path / "a.png"))
    )
    assert one.mtf50_cyc_px == two.mtf50_cyc_px == three.mtf50_cyc_px
    assert two.step == pytest.approx(0.5 * 4095, rel=1e-3)


def test_regions_and_directions_are_obeyed() -> None:
    """A region as numbers or as a Region; a wrong direction is refused."""
    codes = np.rint(4095 * edge(0.8)).astype(np.uint16)
    one = measure.edge(codes, region=(5, 10, 60, 70))
    two = measure.edge(codes, region=Region(x=5, y=10, width=60, height=70), direction="across")
    assert one.places == two.places == ()
    assert one.response.mtf50_cyc_px == two.response.mtf50_cyc_px
    turned = measure.edge(codes.T, direction="along", pixel_pitch_um=(40.0, 40.0))
    assert turned.response.direction == "along"
    with pytest.raises(InputError, match="edge"):
        measure.edge(codes, direction="along")
    with pytest.raises(InputError, match=r"--direction: read .up.; expected across or along"):
        measure.edge(codes, direction="up")
    with pytest.raises(InputError, match="past the image's"):
        measure.edge(codes, region=(50, 0, 40, 40))


def test_oblong_samples_keep_their_own_pitch() -> None:
    """An edge along counts in line advances; across in object pixels."""
    codes = np.rint(4095 * edge(0.8)).astype(np.uint16)
    across = measure.edge(codes, pixel_pitch_um=(50.0, 60.0))
    along = measure.edge(codes.T.copy(), pixel_pitch_um=(60.0, 50.0))
    assert (across.pitch_um, along.pitch_um) == (50.0, 50.0)
    assert across.response.mtf50_cyc_px == pytest.approx(along.response.mtf50_cyc_px, rel=1e-9)


def test_a_colour_is_chosen() -> None:
    """Each channel has its own blur; green stands for all where none is named."""
    planes = [np.rint(255 * edge(sigma)) for sigma in (0.6, 0.8, 1.1)]
    image = np.stack(planes, axis=2).astype(np.uint8)
    for channel, sigma in (("red", 0.6), ("green", 0.8), ("blue", 1.1), (None, 0.8)):
        found = measure.edge(image, channel=channel)
        assert found.response.mtf50_cyc_px == pytest.approx(HALF_POINT / sigma, rel=0.02)
    assert measure.edge(image).as_dict()["channel"] == "green"
    with pytest.raises(InputError, match=r"--channel: read .cyan."):
        measure.edge(image, channel="cyan")
    with pytest.raises(InputError, match="one channel only"):
        measure.edge(image[:, :, 0], channel="red")


def test_encoded_samples_are_decoded_when_told() -> None:
    """
    Codes of sRGB taken as linear give another edge; decoded, the right one.

    16 bit, so that rounding is nothing.
    """
    codes = np.rint(65535 * linear_to_srgb(edge(0.8))).astype(np.uint16)
    decoded = measure.edge(codes, encoding="srgb")
    assert decoded.response.mtf50_cyc_px == pytest.approx(HALF_POINT / 0.8, rel=0.005)
    assert decoded.response.levels[1] == pytest.approx(0.7, rel=1e-3)
    wrong = measure.edge(codes).response
    truth = np.exp(-2 * (np.pi * 0.8 * wrong.frequency_cyc_px[:101]) ** 2)
    assert np.abs(decoded.response.mtf[:101] - truth).max() < 0.001
    assert np.abs(wrong.mtf[:101] - truth).max() > 0.005
    with pytest.raises(InputError, match="--encoding"):
        read_plane(codes, encoding="log")


def test_clipping_is_seen_at_the_stated_depth() -> None:
    """Bright samples at 1023 DN are the end of 10 bit, and in the middle of 12."""
    codes = np.minimum(np.rint(2000 * edge(0.8)), 1023).astype(np.uint16)
    with pytest.raises(InputError, match=r"clipped, .* upper limit 1023"):
        measure.edge(codes, bit_depth=10)
    assert measure.edge(codes, bit_depth=12).response.levels[1] == pytest.approx(1023, rel=1e-3)


def test_the_seed_moves_the_error_bars_alone() -> None:
    """Figures are those of the image; only the draws have a seed."""
    noise = np.random.default_rng(0).normal(0, 0.01, (90, 70))
    codes = np.rint(4095 * (edge(0.8) + noise)).astype(np.uint16)
    one, other = (measure.edge(codes, seed=seed) for seed in (0, 1))
    assert_allclose(one.response.mtf, other.response.mtf, rtol=0, atol=0)
    assert one.sd.mtf_nyquist != other.sd.mtf_nyquist


@pytest.mark.parametrize(
    ("text", "pitch_um"), [("75 um", (75.0, 75.0)), ("0.075 mm x 60 um", (75.0, 60.0))]
)
def test_pitches_are_read(text: str, pitch_um: tuple[float, float]) -> None:
    """One length for both, or across x along."""
    assert read_pitch(text) == pytest.approx(pitch_um)


@pytest.mark.parametrize("text", ["75", "75 kg", "0 um", "1 um x 2 um x 3 um", ""])
def test_what_is_no_pitch_is_refused(text: str) -> None:
    """With what is expected."""
    with pytest.raises(InputError, match=r'--pixel-pitch: read .*"75 um x 60 um"'):
        read_pitch(text)
