"""
Noise and uniformity read off simulated scans are what the station's closed forms say.

The camera is seen through its delivered samples alone; the truth is the budget's, the pattern that
was drawn, and the light's own profile.
"""

import numpy as np
import pytest

from linesim.forward.collect import pattern
from linesim.forward.profile import column_profile
from linesim.metrics.flat.noise import Estimate
from linesim.metrics.flat.streaks import high_pass
from linesim.metrics.region import Region
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from linesim.studies.measure.flat.noise import MeasuredNoise, measure_noise
from linesim.studies.measure.flat.uniformity import MeasuredUniformity, measure_uniformity
from linesim.studies.scan.study import scan
from tests.stations import plain_setup

BLACK_DN = 32.0
BASE = plain_setup(
    "Flat",
    target={"pixel_size": "75 um", "width": "20 mm", "height": "30 mm"},
    light={"illuminance": "60 klx"},
    camera={
        "read_noise": "20 e",
        "full_well": "40 ke",
        "black_level": "32 DN",
        "prnu": 0.01,
        "dsnu": "5 e",
    },
    acquisition={"lines": 400},
)


def near(figure: Estimate, truth: float, sigma: float = 4.5) -> bool:
    """Say whether a figure lies within so many of its standard errors of the truth."""
    return abs(figure.value - truth) < sigma * figure.sd


def noise_of(setup: Setup, seeds: tuple[int, ...] = (1,), *, dark: bool = False) -> MeasuredNoise:
    """Scan and measure, with dark frames or the black level."""
    images = [scan(setup, seed).image for seed in seeds]
    if not dark:
        return measure_noise(images, black_dn=BLACK_DN, bit_depth=12)
    unlit = changed(setup, {"light.illuminance": "0 klx"})
    return measure_noise(images, dark=[scan(unlit, 9).image], bit_depth=12)


def codes(found: MeasuredNoise | MeasuredUniformity) -> set[str]:
    """Name the cautions."""
    return {each.code for each in found.cautions}


@pytest.mark.parametrize("seeds", [(1,), (1, 2), (3, 4, 5)])
def test_noise_and_snr_are_the_budgets(seeds: tuple[int, ...]) -> None:
    """
    Mean, noise in time, SNR and column pattern of one image or several, within 4.5 errors.

    The closed forms (EMVA 1288 R4.0 RC, (14) to (20)) are those of an average pixel: the mean of
    1 % PRNU over 256 columns moves it, known from the pattern drawn. Rounding's 1/12 is in them.
    """
    found = noise_of(BASE, seeds).channels["grey"]
    signal = scan(BASE, 1).budget["signal"]
    drawn = pattern(BASE, 0)
    gain = BASE.gain_dn_e
    columns_e = float(signal["electrons_white"]) * drawn.response[0] + drawn.offset_e[0]
    assert near(found.lit.mean_dn, BLACK_DN + gain * columns_e.mean())
    # shot noise follows the mean of the responses, offsets carry none
    light_e = float(signal["electrons_white"]) * drawn.response.mean()
    noise_dn = gain * np.sqrt(light_e + 20**2 + 1 / 12 / gain**2)
    assert near(found.temporal_noise_dn, noise_dn)
    assert noise_dn == pytest.approx(gain * float(signal["noise_white_e"]), rel=1e-3)
    assert found.snr is not None
    assert near(found.snr, gain * columns_e.mean() / noise_dn)
    assert near(found.lit.column_dn2, float((gain * columns_e).var(ddof=1)))
    assert found.snr_total is not None
    total_dn = np.hypot(noise_dn, gain * columns_e.std(ddof=1))
    assert near(found.snr_total, gain * columns_e.mean() / total_dn)
    assert near(found.lit.line_dn2, 0.0)
    assert codes(noise_of(BASE, seeds)) == set()


def test_noise_is_not_that_of_another_camera() -> None:
    """The same check fails where read noise is 5 % of the whole up: the errors have teeth."""
    found = noise_of(BASE, (1, 2)).channels["grey"]
    noisier = changed(BASE, {"camera.read_noise": "36 e"})
    closed = scan(noisier, 1).budget["signal"]
    assert not near(found.temporal_noise_dn, BASE.gain_dn_e * float(closed["noise_white_e"]))


def test_dark_frames_give_black_noise_and_gain() -> None:
    """Dark level, dark noise σ_d with rounding (53), DSNU and the gain (15) from one level."""
    found = noise_of(BASE, dark=True).channels["grey"]
    gain, offset_e = BASE.gain_dn_e, pattern(BASE, 0).offset_e[0]
    assert found.dark is not None
    assert near(found.black_dn, BLACK_DN + gain * offset_e.mean())
    assert near(found.dark.temporal_dn2, (gain * 20) ** 2 + 1 / 12)
    assert near(found.dark.column_dn2, float((gain * offset_e).var(ddof=1)))
    assert found.gain_dn_e is not None
    assert near(found.gain_dn_e, gain)
    assert found.gain_dn_e.sd < 0.02 * gain


def test_each_colour_has_its_own_figures() -> None:
    """A prism camera: noise and SNR of each channel are those of the budget's channel."""
    setup = changed(BASE, {"camera.kind": "prism", "camera.prnu": 0.0, "camera.dsnu": "0 e"})
    taken = scan(setup, 2)
    found = measure_noise([taken.image], black_dn=BLACK_DN, bit_depth=12)
    signal = taken.budget["signal"]
    assert list(found.channels) == ["red", "green", "blue"]
    for name, each in found.channels.items():
        gain = (signal["dn_white"][name] - BLACK_DN) / signal["electrons_white"][name]
        assert near(each.temporal_noise_dn, gain * signal["noise_white_e"][name]), name
        assert each.snr is not None
        assert near(each.snr, signal["snr_white"][name]), name
    told = found.as_dict()
    assert set(told["snr"]) == {"red", "green", "blue"}  # type: ignore[call-overload] # a table


def uneven(changes: dict[str, object]) -> tuple[Setup, MeasuredUniformity]:
    """Scan once and measure the line."""
    setup = changed(BASE, changes)
    return setup, measure_uniformity(scan(setup, 3).image, black_dn=BLACK_DN, bit_depth=12)


def test_falloff_is_that_of_light_and_lens() -> None:
    """
    Both ends and the gain against the station's profile, 1 - loss·x² and cos⁴, within 4.5 errors.

    A parabola over 33 of 256 columns leaves of cos⁴ times a parabola less than 1e-4.
    """
    changes = {"light.edge_falloff": 0.3, "lens.focal_length": "6 mm", "camera.prnu": 0.003}
    setup, found = uneven(changes)
    truth = column_profile(setup, 256)
    profile = found.channels["grey"].profile
    assert near(profile.falloff_left, 1 - truth[0] / truth.max())
    assert near(profile.falloff_right, 1 - truth[-1] / truth.max())
    assert profile.falloff_left.sd < 0.003
    assert abs(profile.brightest - 127.5) < 16  # the top is flat: 0.5 % down at 16 columns
    ends = [each.sd * profile.gain**2 for each in (profile.falloff_left, profile.falloff_right)]
    assert profile.gain == pytest.approx(truth.max() / truth.min(), abs=4.5 * max(ends))
    assert profile.peak_to_peak == pytest.approx(np.ptp(truth) / truth.mean(), abs=4.5 * max(ends))
    assert profile.relative_sd == pytest.approx(truth.std() / truth.mean(), abs=max(ends))


def test_streaks_are_found_in_columns_alone() -> None:
    """PRNU shows as streaks as strong as drawn; lines show none; the worst is the worst drawn."""
    setup, found = uneven({"camera.dsnu": "0 e"})
    each = found.channels["grey"]
    drawn_dn = each.whole.signal_dn.value * pattern(setup, 0).response[0]
    assert near(each.streaks.variance_dn2, float((high_pass(drawn_dn) ** 2).mean()))
    worst = int(np.argmax(np.abs(high_pass(drawn_dn)))) + 2
    assert each.streaks.worst[0].column == worst
    assert each.streaks.count == 0  # Gaussian, so none stands out
    assert near(each.whole.lit.line_dn2, 0.0)
    assert each.banding.chance > 0.01


def test_one_dead_column_stands_out() -> None:
    """A column 8 % darker than drawn is named, counted in the image's own columns."""
    image = scan(BASE, 3).image.copy()
    image[:, 200] = (image[:, 200] * 0.92).astype(np.uint16)
    region = Region(x=60, y=0, width=190, height=400)
    found = measure_uniformity(image, region=region, black_dn=BLACK_DN, bit_depth=12)
    each = found.channels["grey"].streaks
    assert (each.worst[0].column, each.count) == (140, 1)
    assert each.worst[0].excess_dn < 0
    told = found.as_dict()["worst_columns"]
    assert isinstance(told, list)
    assert told[0]["column_px"] == 200


@pytest.mark.parametrize("frequency_hz", [137.0, 13_333.0 - 777.0])
def test_flicker_is_found_at_its_frequency_and_strength(frequency_hz: float) -> None:
    """
    A lamp of f swings by depth·|sinc(f t)|, folded to |f - k·f_line|, in cycles/line over f_line.

    Derived (integral of a cosine over the exposure). Frequency within 4.5 of its bound √6 σ/(π a
    n^1.5), amplitude within 4.5 errors and the 1e-3 by which the mean column differs from white.
    """
    changes = {
        "light.flicker": 0.05,
        "light.flicker_frequency": f"{frequency_hz} Hz",
        "acquisition.exposure": "20 us",
    }
    setup, found = uneven(changes)
    rate_hz, depth = 1000.0 / 0.075, 0.05 * abs(np.sinc(frequency_hz * 20e-6))
    bands, signal = found.channels["grey"].banding, found.channels["grey"].whole.signal_dn.value
    folded = abs(frequency_hz - rate_hz * round(frequency_hz / rate_hz)) / rate_hz
    lines, error_dn = setup.acquisition.lines, bands.amplitude_dn.sd
    assert lines == 400
    bound = (
        np.sqrt(6) * error_dn * np.sqrt(lines / 2) / np.pi / bands.amplitude_dn.value / lines**1.5
    )
    assert bands.frequency_cyc_line == pytest.approx(folded, abs=4.5 * bound)
    assert bands.amplitude_dn.value == pytest.approx(
        depth * signal, abs=4.5 * error_dn + 2e-3 * depth * signal
    )
    assert bands.chance < 1e-9
    assert "line_variation" in codes(found)


def test_snr_falls_with_the_light_to_the_ends() -> None:
    """SNR of the outer tenths follows the light there: (20) with the electrons of those columns."""
    setup, found = uneven({"light.edge_falloff": 0.4, "camera.prnu": 0.0, "camera.dsnu": "0 e"})
    profile = column_profile(setup, 256)
    white_e = float(scan(setup, 3).budget["signal"]["electrons_white"])
    for part, columns in zip(
        found.channels["grey"].parts, (slice(25), slice(115, 140), slice(-25, None)), strict=True
    ):
        light_e = white_e * profile[columns]
        noise_e = np.sqrt((light_e + 400 + 1 / 12 / setup.gain_dn_e**2).mean())
        assert part.snr is not None
        assert near(part.snr, light_e.mean() / noise_e)
