"""Each caution appears just above its threshold and not just below it."""

from collections.abc import Callable
from typing import Any

import pytest
from scipy.stats import norm

from linesim.figures.budget import budget
from linesim.setup.load import changed
from linesim.setup.setup import Setup

BY_LINES = {
    "acquisition.binning": "1x2",
    "acquisition.binning_along": "lines",
    "acquisition.binning_domain": "digital",
}
ENCODER = {
    "transport.trigger": "encoder",
    "transport.encoder_step": "25 um",
    "transport.speed_ripple": 0.1,
}
COARSE = {"camera.pixel_width": "7 um", "lens.magnification": 0.0175}
DIGITAL = {"acquisition.binning_domain": "digital"}
HOT = {"camera.dark_current": "1.12 Me/s", "acquisition.exposure": "75 us"}
JOINED = {"acquisition.binning": "2x2", "camera.pixels": 256}
READ_E = 20.0
FULL = {**JOINED, "acquisition.exposure": "75 us"}

Changes = dict[str, Any]
OfWhite = Callable[[float], str]


def of_white(times: float, sigmas: float) -> OfWhite:
    """Ask for so many times the electrons of white, and so many deviations of their shot noise."""
    return lambda white_e: f"{times * white_e + sigmas * (times * white_e) ** 0.5} e"


def white_at(level_dn: float) -> OfWhite:
    """Ask for the gain that brings white there."""
    return lambda white_e: f"{level_dn / white_e} DN/e"


def white_under_the_scale(sigmas: float) -> OfWhite:
    """Ask for the gain that leaves so many deviations of the noise of white up to 4095 DN."""
    return lambda white_e: f"{4095 / (white_e + sigmas * (white_e + READ_E**2) ** 0.5)} DN/e"


CASES: list[tuple[str, Changes, Changes]] = [
    # code, just above, just below
    ("exposure_over_period", {"acquisition.exposure": "75.01 us"},
     {"acquisition.exposure": "75 us"}),
    ("exposure_over_period", {"acquisition.exposure": "70.01 us", "camera.dead_time": "5 us"},
     {"acquisition.exposure": "70 us", "camera.dead_time": "5 us"}),
    # at the peak of the ripple the period is 75/1.1 = 68.18 us
    ("exposure_over_period", {**ENCODER, "acquisition.exposure": "68.2 us"},
     {**ENCODER, "acquisition.exposure": "68.1 us"}),
    ("rate_over_camera_at_peak", {"camera.max_line_rate": "13333 Hz"},
     {"camera.max_line_rate": "13334 Hz"}),
    # 14 666.7 Hz at peak; a clock's ripple leaves the rate alone
    ("rate_over_camera_at_peak", {**ENCODER, "camera.max_line_rate": "14666 Hz"},
     {**ENCODER, "camera.max_line_rate": "14667 Hz"}),
    ("rate_over_link", {"camera.link": "6.826 MB/s"}, {"camera.link": "6.827 MB/s"}),
    ("rate_over_link", {"camera.link": "3.413 MB/s", "camera.bit_depth": 8},
     {"camera.link": "3.414 MB/s", "camera.bit_depth": 8}),
    ("rate_over_link", {**ENCODER, "camera.link": "7.509 MB/s"},
     {**ENCODER, "camera.link": "7.510 MB/s"}),
    # two exposed lines in a delivered one: half the data
    ("rate_over_link", {**BY_LINES, "camera.link": "3.413 MB/s"},
     {**BY_LINES, "camera.link": "3.414 MB/s"}),
    # lines, shapes and counts count as equal within half a percent
    ("overlap", {"acquisition.line_rate": "13401 Hz"}, {"acquisition.line_rate": "13399 Hz"}),
    ("gap", {"acquisition.line_rate": "13266 Hz"}, {"acquisition.line_rate": "13267 Hz"}),
    ("aspect", {"camera.pixel_height": "7.538 um"}, {"camera.pixel_height": "7.537 um"}),
    ("aspect", {"camera.pixel_height": "7.462 um"}, {"camera.pixel_height": "7.463 um"}),
    ("overlap", {**JOINED, "acquisition.line_rate": "6701 Hz"}, JOINED),
    ("encoder_fraction", {**ENCODER, "transport.encoder_step": "25.13 um"},
     {**ENCODER, "transport.encoder_step": "25.12 um"}),
    ("encoder_fraction", {**ENCODER, "transport.encoder_step": "24.87 um"},
     {**ENCODER, "transport.encoder_step": "24.88 um"}),
    ("well_clips", {"camera.full_well": of_white(1, 3.0), "camera.gain": "0.1 DN/e"},
     {"camera.full_well": of_white(1, 3.2), "camera.gain": "0.1 DN/e"}),
    # four pixels and the node of one
    ("node_clips", {**FULL, "camera.full_well": of_white(4, 3.0)},
     {**FULL, "camera.full_well": of_white(4, 3.2)}),
    ("node_clips", {**FULL, "camera.gain": "0.1 DN/e", "camera.binned_full_well": of_white(4, 3.0)},
     {**FULL, "camera.gain": "0.1 DN/e", "camera.binned_full_well": of_white(4, 3.2)}),
    ("word_clips", {"camera.gain": white_under_the_scale(3.0)},
     {"camera.gain": white_under_the_scale(3.2)}),
    ("dark", {"camera.gain": white_at(409.4)}, {"camera.gain": white_at(409.6)}),
    ("quantisation", {"camera.gain": "0.01999 DN/e"}, {"camera.gain": "0.02001 DN/e"}),
    # of four numbers each is rounded by itself, whatever the noise of their sum
    ("quantisation", {**JOINED, **DIGITAL, "camera.gain": "0.01999 DN/e"},
     {**JOINED, **DIGITAL, "camera.gain": "0.02001 DN/e"}),
    # 84 e of dark charge in each: sqrt(400 + 84) = 22 e, and 0.4/22 DN/e
    ("quantisation", {**JOINED, **DIGITAL, **HOT, "camera.gain": "0.01817 DN/e"},
     {**JOINED, **DIGITAL, **HOT, "camera.gain": "0.01819 DN/e"}),
    ("blur_over_one", {"acquisition.exposure": "75.38 us"}, {"acquisition.exposure": "75.37 us"}),
    ("reference_coarse", {"target.pixel_size": "37.51 um"}, {"target.pixel_size": "37.49 um"}),
    # 7 um / 0.0175 over 200 um is 2, but 1.9999999999999998 in binary numbers
    ("reference_coarse", {**COARSE, "target.pixel_size": "201 um"},
     {**COARSE, "target.pixel_size": "200 um"}),
    ("defect_px", {"requirement.smallest_defect": "224.9 um"},
     {"requirement.smallest_defect": "225.1 um"}),
    # the line advance counts where it is larger than the pixel
    ("defect_px", {"requirement.smallest_defect": "239 um", "acquisition.line_rate": "12500 Hz"},
     {"requirement.smallest_defect": "241 um", "acquisition.line_rate": "12500 Hz"}),
    ("depth_of_field", {"lens.defocus": "3.301 mm"}, {"lens.defocus": "3.299 mm"}),
    ("depth_of_field", {"lens.defocus": "-3.301 mm"}, {"lens.defocus": "-3.299 mm"}),
    ("depth_of_field",
     {"lens.defocus": "2 mm", "transport.flutter": "1.301 mm", "lens.focal_length": "60 mm"},
     {"lens.defocus": "2 mm", "transport.flutter": "1.299 mm", "lens.focal_length": "60 mm"}),
    # 256 x 75 um = 19.2 mm across; width in whole reference pixels of 18.75 um: 1018 and 1019
    ("reference_ends", {"target.width": "19.0875 mm"}, {"target.width": "19.10625 mm"}),
    # 20 mm of target: 20.1 mm of lines are equal within half a percent
    ("reference_ends", {"acquisition.lines": 269}, {"acquisition.lines": 268}),
    ("reference_ends", {"acquisition.lines": 500},
     {"acquisition.lines": 500, "target.repeat": True}),
    ("bright_light", {"light.irradiance": "1001 W/m^2"}, {"light.irradiance": "1000 W/m^2"}),
    ("heat_on_stop", {"light.irradiance": "1001 W/m^2"}, {"light.irradiance": "1000 W/m^2"}),
    # Gaussian, sigma 8.493 nm: 1 % beyond 780 nm where the peak is at 780 - 2.3263 sigma
    ("invisible_light", {"light.spectrum": {"peak": "760.3 nm", "width": "20 nm"}},
     {"light.spectrum": {"peak": "760.2 nm", "width": "20 nm"}}),
    ("invisible_light", {"light.spectrum": {"peak": "850 nm", "width": "40 nm"}},
     {"light.spectrum": {"peak": "850 nm", "width": "40 nm"}, "light.irradiance": "0 W/m^2"}),
    ("laser", {"light.spectrum": {"peak": "660 nm", "width": "5 nm"}},
     {"light.spectrum": {"peak": "660 nm", "width": "5.01 nm"}}),
]  # fmt: skip


def white(base: Setup) -> float:
    """Give the electrons of white."""
    return float(budget(base)["signal"]["electrons_white"])


def told(base: Setup, changes: Changes) -> dict[str, str]:
    """Give all cautions of a variant; what hangs on the base's white is said by it."""
    made = {key: each(white(base)) if callable(each) else each for key, each in changes.items()}
    return {each.code: each.text for each in budget(changed(base, made)).cautions}


@pytest.mark.parametrize(
    ("code", "above", "below"),
    CASES,
    ids=[f"{case[0]}-{number}" for number, case in enumerate(CASES)],
)
def test_appears_just_above_and_not_just_below(
    caution_base: Setup, code: str, above: Changes, below: Changes
) -> None:
    """One side of the threshold has it, as sentences without a NaN; the other has not."""
    texts = told(caution_base, above)
    assert code in texts
    assert all(text.endswith(".") and "nan" not in text.lower().split() for text in texts.values())
    assert code not in told(caution_base, below)


def test_a_plain_setup_has_none(caution_base: Setup) -> None:
    """So each code above comes from its own change."""
    assert told(caution_base, {}) == {}


def test_the_invisible_threshold_is_one_percent() -> None:
    """The two peaks of the test above lie either side of 1 % (scipy's normal law)."""
    sigma = 20 / 2.354820
    assert norm.sf((780 - 760.2) / sigma) < 0.01 < norm.sf((780 - 760.3) / sigma)
