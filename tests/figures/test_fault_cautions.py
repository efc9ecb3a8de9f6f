"""Cautions about faults: each just above its threshold, and not just below."""

import numpy as np
import pytest

from linesim.figures.budget import budget
from linesim.setup.load import changed, sample_setup
from linesim.setup.setup import Setup
from tests.stations import plain_setup

BASE = plain_setup(
    "Cautions",
    target={"pixel_size": "25 um", "width": "160 mm", "height": "20 mm"},
    light={"illuminance": "100 klx"},
    camera={"pixels": 2048},
    acquisition={"exposure": "20 us"},
)
COLOUR: dict[str, object] = {"camera.kind": "three-line", "camera.line_spacing": "30 um"}
STAGES: dict[str, object] = {"camera.tdi_stages": 64}
FOCAL: dict[str, object] = {"lens.focal_length": "60 mm"}
AVERAGE: dict[str, object] = {
    "acquisition.binning": "2x2",
    "acquisition.binning_domain": "digital",
    "acquisition.binning_mode": "average",
}


def spaced(left_over: float) -> dict[str, object]:
    """Rows 4 lines and a bit apart: 0.75 um at the sensor are 0.1 lines."""
    return {**COLOUR, "camera.line_spacing": f"{(4 + left_over) * 7.5} um"}


def out_of_step(pixels: float) -> dict[str, object]:
    """64 stages smear by so many pixels: a line clock wrong by that over 64."""
    return {**STAGES, "transport.assumed_speed": f"{60 / (1 + pixels / 64)} m/min"}


def skewed(lines: float) -> dict[str, object]:
    """2048 pixels of 75 um shear by so many lines of 75 um."""
    return {"transport.skew": f"{np.degrees(np.arctan(lines / 2048))} deg"}


def fluttering(pixels: float) -> dict[str, object]:
    """h/WD of 1024 pixels, WD = 60 mm · 11."""
    return {**FOCAL, "transport.flutter": f"{pixels * 660 / 1024} mm"}


def flickering(seen: float) -> dict[str, object]:
    """Swing so far that sinc(g t) leaves this."""
    return {"light.flicker": seen / np.sinc(100 * 20e-6), "light.flicker_frequency": "100 Hz"}


def drowned(seen: float) -> dict[str, object]:
    """Let it swing at an SNR of 9, where the noise hides 1 % of bands."""
    return {**flickering(seen), "light.illuminance": "20 klx", "camera.read_noise": "120 e"}


def beside_noise(rms: float) -> dict[str, object]:
    """Bands of so many times the noise on white, rms."""
    snr = budget(BASE).number("signal", "snr_white")
    return flickering(rms * np.sqrt(2) / snr)


def ambient(share: float) -> dict[str, object]:
    """Share of all light."""
    return {"light.ambient": f"{100 * share / (1 - share)} klx"}


def corrected(gain: float) -> dict[str, object]:
    """Light at the last column, half a pixel from the end, is 1/gain of the middle."""
    falloff = (1 - 1 / gain) / (1 - 1 / 2048) ** 2
    return {"light.edge_falloff": falloff, "acquisition.flat_field": True}


def averaged(noise_dn: float) -> dict[str, object]:
    """Dark noise of 4 averaged reads: 20 e · √4/4 · K."""
    return {**AVERAGE, "camera.gain": f"{noise_dn / 10} DN/e"}


def near_the_view(deg: float) -> dict[str, object]:
    """Put a strip of 10 deg so far from a camera at 20 deg, on its own side."""
    return {
        "light.arrangement": "line",
        "light.angle": f"{deg - 20} deg",
        "light.angular_width": "10 deg",
        "camera.angle": "20 deg",
    }


# threshold, and what puts the figure there
JUDGED = {
    "fringe": (0.25, spaced),
    "lamp_in_view": (5.0, near_the_view),
    "tdi_sync": (0.5, out_of_step),
    "skew": (1.0, skewed),
    "edge_scale_error": (1.0, fluttering),
    "flicker_bands": (0.01, drowned),
    "ambient": (0.01, ambient),
    "flat_field_gain": (3.0, corrected),
    "average_rounds_gain_away": (0.4, averaged),
}
BELOW = {"average_rounds_gain_away", "lamp_in_view"}
"""Told below their threshold, not above."""


def codes(setup: Setup) -> dict[str, str]:
    """Text of each caution by its code."""
    return {caution.code: caution.text for caution in budget(setup).cautions}


@pytest.mark.parametrize("code", sorted(JUDGED))
def test_told_beyond_the_threshold_and_not_before(code: str) -> None:
    """One per cent beyond the threshold it is there, one per cent before it is not."""
    threshold, way = JUDGED[code]
    beyond, before = (1.01, 0.99) if code not in BELOW else (0.99, 1.01)
    assert code in codes(changed(BASE, way(beyond * threshold)))
    assert code not in codes(changed(BASE, way(before * threshold)))


def test_a_camera_that_looks_straight_down_has_its_strip_at_0_deg() -> None:
    """The line of sight is told without a sign where it is the normal."""
    strip = {"light.arrangement": "line", "light.angle": "0 deg", "light.angular_width": "10 deg"}
    assert "looks along (0 deg from the normal)" in codes(changed(BASE, strip))["lamp_in_view"]


def test_bands_are_told_beside_the_noise_that_they_add_to() -> None:
    """
    At 0.3 of the noise, far below 1 % of the light: √(1 + 0.3²) is 4.4 % more noise.

    Two joined lines half a period of the flicker apart see none of it, unless an encoder follows a
    web whose pace ripples.
    """
    assert "flicker_bands" in codes(changed(BASE, beside_noise(0.303)))
    assert "flicker_bands" not in codes(changed(BASE, beside_noise(0.297)))
    half = {
        "light.flicker": 0.05,
        "light.flicker_frequency": "6666.67 Hz",
        "acquisition.binning": "1x2",
        "acquisition.binning_domain": "digital",
        "acquisition.binning_along": "lines",
    }
    encoder = {"transport.trigger": "encoder", "transport.encoder_step": "75 um"}
    ripple = {"transport.speed_ripple": 0.1}
    assert "flicker_bands" not in codes(changed(BASE, {**half, **encoder}))
    assert "flicker_bands" not in codes(changed(BASE, {**half, **ripple}))
    assert "flicker_bands" in codes(changed(BASE, {**half, **encoder, **ripple}))


def test_none_is_told_of_a_station_without_faults() -> None:
    """Mono, three lines a whole number apart, stages in step, a prism."""
    for way in (
        {},
        COLOUR,
        STAGES,
        FOCAL,
        {"camera.kind": "prism"},
        {"acquisition.flat_field": True},
    ):
        assert not JUDGED.keys() & codes(changed(BASE, way)).keys()


@pytest.mark.parametrize("sign", [-1, 1])
def test_either_sign_counts(sign: int) -> None:
    """A fringe ahead or behind, a clock too fast or too slow, a skew left or right."""
    assert "fringe" in codes(changed(BASE, spaced(0.3 * sign)))
    assert "tdi_sync" in codes(changed(BASE, out_of_step(0.6 * sign)))
    assert "skew" in codes(changed(BASE, skewed(1.5 * sign)))


def test_the_texts_have_their_figures() -> None:
    """
    Worked by hand: 0.3 lines, 5.12 lines of shear, bands 133.3 lines apart.

    Lamp at the end 1/4 and an even 5 % of all: (0.95/4 + 0.05)⁻¹ = 3.48.
    """
    told = codes(
        changed(
            BASE,
            {**spaced(0.3), **skewed(5.12), **flickering(0.1), **corrected(4.0), **ambient(0.05)},
        )
    )
    assert "0.3 lines off green" in told["fringe"]
    assert "by 5.12 lines" in told["skew"]
    assert "10 % of the light in each line" in told["flicker_bands"]
    assert "bands 133.3 lines apart" in told["flicker_bands"]
    assert "by up to 3.48, over 3" in told["flat_field_gain"]
    assert "5 % of the light" in told["ambient"]


def test_a_lamp_in_step_with_the_lines_has_no_bands() -> None:
    """At the line rate itself the alias is at 0 Hz: every line sees the same."""
    swing = {"light.flicker": 0.5, "light.flicker_frequency": "10 kHz"}
    setup = changed(BASE, {**swing, "acquisition.line_rate": "10 kHz"})
    assert "no bands" in codes(setup)["flicker_bands"]


def test_a_lamp_has_room_above_the_target() -> None:
    """D cos a - w/2 sin a, less flutter, against 10 mm of our choice (derived)."""
    lamp = {
        "light.arrangement": "line",
        "light.angle": "70 deg",
        "light.lamp_width": "40 mm",
        "light.lamp_distance": "85 mm",
    }
    codes = {}
    # 85 mm cos 70 deg - 20 mm sin 70 deg = 10.28 mm; 84 mm leave 9.94 mm
    for changes in ({}, {"light.lamp_distance": "84 mm"}, {"light.angle": "-70.5 deg"}):
        found = budget(changed(sample_setup(), {**lamp, **changes})).cautions
        codes[tuple(changes)] = "lamp_close" in {each.code for each in found}
    assert list(codes.values()) == [False, True, True]
    lifted = {"transport.flutter": "1 mm", "lens.focal_length": "50 mm"}
    found = budget(changed(sample_setup(), {**lamp, **lifted})).cautions
    assert "lamp_close" in {each.code for each in found}
