"""
The textbook case of binning on a line camera; `common practice, no source`.

4096 square pixels of 7.5 µm, 1600 lines a second, 1800 lines. Joined two by two they are pixels of
15 x 15 µm, 2048 wide, with four times the signal at the same exposure time. The lines are then
twice as tall, so the line rate that fits is 800 Hz, and 900 lines show the same length. At an
unchanged 1600 Hz every strip of the target is seen twice and the picture is stretched.
"""

import numpy as np
import pytest

from linesim.figures.budget import Budget, budget
from linesim.forward.reference import ArrayReference
from linesim.setup.load import changed
from linesim.studies.scan.study import scan
from tests.stations import plain_setup

# m = 0.1: 75 um object pixels; 1600 Hz x 75 um = 120 mm/s; 1800 lines = 135 mm
LENGTH = {"acquisition.length": "135 mm"}
BASE = plain_setup(
    "Textbook",
    target={"pixel_size": "37.5 um", "width": "320 mm", "height": "140 mm"},
    transport={"speed": "120 mm/s"},
    light={"irradiance": "10 W/m^2", "illuminance": None},
    camera={
        "pixels": 4096,
        "read_noise": "20 e",
        "full_well": "400 ke",
        "bit_depth": 16,
        "gain": "0.1 DN/e",
    },
    acquisition={"line_rate": "1600 Hz", "exposure": "200 us", "binning": "1x1"},
)
TWO_BY_TWO = changed(BASE, {"acquisition.binning": "2x2"})
MATCHED = changed(TWO_BY_TWO, {"acquisition.line_rate": "matched"})


def figure(found: Budget, group: str, name: str) -> float:
    """One figure as a float."""
    return float(found[group][name])


def codes(found: Budget) -> set[str]:
    """Codes of all cautions."""
    return {caution.code for caution in found.cautions}


def test_single_pixels() -> None:
    """75 µm object pixels, matched and square at 1600 Hz, 1800 lines of 4096 pixels."""
    found = budget(changed(BASE, LENGTH))
    for name, value in {
        "object_pixel_x_um": 75,
        "object_pixel_y_um": 75,
        "line_rate_hz": 1600,
        "matched_line_rate_hz": 1600,
        "square_line_rate_hz": 1600,
        "image_width_px": 4096,
        "image_lines": 1800,
        "coverage": 1,
        "pixel_aspect": 1,
    }.items():
        assert figure(found, "geometry", name) == pytest.approx(value, rel=1e-12), name
    assert codes(found) & {"overlap", "gap", "aspect"} == set()


def test_two_by_two_at_the_rate_that_fits() -> None:
    """15 x 15 µm at the sensor, 2048 wide, 800 Hz both ways, 900 lines for the same length."""
    setup = changed(MATCHED, LENGTH)
    found = budget(setup)
    for name, value in {
        "object_pixel_x_um": 150,
        "object_pixel_y_um": 150,
        "line_rate_hz": 800,
        "matched_line_rate_hz": 800,
        "square_line_rate_hz": 800,
        "image_width_px": 2048,
        "image_lines": 900,
        "scan_length_mm": 135,
        "coverage": 1,
        "pixel_aspect": 1,
    }.items():
        assert figure(found, "geometry", name) == pytest.approx(value, rel=1e-12), name
    sensor_um = [figure(found, "geometry", f"object_pixel_{axis}_um") * 0.1 for axis in "xy"]
    assert sensor_um == pytest.approx([15, 15], rel=1e-12)
    assert codes(found) & {"overlap", "gap", "aspect"} == set()


@pytest.mark.parametrize(("binning", "factor"), [("2x1", 2), ("1x2", 2), ("2x2", 4)])
def test_signal_at_the_same_exposure(binning: str, factor: int) -> None:
    """As many times the signal as pixels are joined."""
    one = figure(budget(BASE), "signal", "electrons_white")
    joined = budget(changed(BASE, {"acquisition.binning": binning}))
    assert figure(joined, "signal", "electrons_white") == pytest.approx(factor * one, rel=1e-14)


def test_signal_with_full_exposure() -> None:
    """At half the rate a line is exposed twice as long: 4 x 2 = 8 times the signal."""
    one = budget(changed(BASE, {"acquisition.exposure": "full"}))
    joined = budget(changed(MATCHED, {"acquisition.exposure": "full"}))
    ratio = figure(joined, "signal", "electrons_white") / figure(one, "signal", "electrons_white")
    assert ratio == pytest.approx(8, rel=1e-14)
    assert figure(joined, "exposure", "exposure_us") == pytest.approx(1250, rel=1e-12)


@pytest.mark.parametrize(
    ("exposure", "domain_factor"), [("200 us", 4), ("full", 8)], ids=["same", "full"]
)
def test_signal_in_the_image(exposure: str, domain_factor: int) -> None:
    """Mean electrons of two flat images, their ratio within 4 of its standard deviations."""
    fixed = {"acquisition.exposure": exposure, "acquisition.lines": 64}
    mean, relative_variance = [], []
    for setup in (changed(BASE, fixed), changed(MATCHED, fixed)):
        seen = scan(setup, seed=3)
        signal, black = seen.budget["signal"], setup.camera.black_level_dn
        assert signal["saturation_white"] < 0.9
        mean.append((seen.image.mean(dtype=np.float64) - black) / setup.gain_dn_e)
        sd = float(signal["noise_white_e"]) / float(signal["electrons_white"])
        relative_variance.append(sd**2 / seen.image.size)
    sd = domain_factor * np.sqrt(sum(relative_variance))
    assert mean[1] / mean[0] == pytest.approx(domain_factor, abs=4 * sd)


def test_unchanged_rate_overlaps_in_the_budget() -> None:
    """At 1600 Hz lines of 150 µm advance by 75 µm: coverage 2, and a caution says so."""
    found = budget(changed(TWO_BY_TWO, LENGTH))
    assert figure(found, "geometry", "coverage") == pytest.approx(2, rel=1e-12)
    assert figure(found, "geometry", "pixel_aspect") == pytest.approx(0.5, rel=1e-12)
    assert figure(found, "geometry", "image_lines") == 1800
    text = {caution.code: caution.text for caution in found.cautions}
    assert "800 Hz" in text["overlap"]
    assert "stretched" in text["aspect"]


def test_unchanged_rate_stretches_the_image() -> None:
    """
    A white bar of 6 mm across travel: 40 lines of 150 µm when matched, 80 when not.

    Light is kept, so the bar's share of white summed over the lines is length/advance, to the
    rounding of float32 and the tails of the lens beyond 6 mm of dark on either side.
    """
    setup = changed(MATCHED, {"camera.pixels": 128, "acquisition.length": "30 mm"})
    target = np.zeros((800, 300), dtype=np.float32)
    target[320:480] = 1  # 160 rows of 37.5 um
    reference = ArrayReference(data=target, pixel_size_um=37.5)
    lines, summed, image_lines = [], [], []
    for rate in ("matched", "1600 Hz"):
        seen = scan(changed(setup, {"acquisition.line_rate": rate}), seed=1, reference=reference)
        white = float(seen.budget["signal"]["electrons_white"])
        middle = seen.expected_e[:, 20:44].mean(axis=1) / white
        half_dn = setup.camera.black_level_dn + setup.gain_dn_e * white / 2
        lines.append(int((seen.image[:, 20:44].mean(axis=1) > half_dn).sum()))
        summed.append(float(middle.sum()))
        image_lines.append(seen.image.shape[0])
        assert ("overlap" in codes(seen.budget)) == (rate != "matched")
    assert image_lines == [200, 400]
    assert lines == [40, 80]
    assert summed == pytest.approx([40, 80], rel=1e-5)
