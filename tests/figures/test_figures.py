"""The groups of the budget: their keys, their verdicts, and that nothing in them is no number."""

import json
from typing import Any

import pytest

import linesim
from linesim.figures.budget import Budget, budget
from linesim.figures.verdicts import Verdict
from linesim.setup.load import changed
from tests.stations import plain_setup

BASE = plain_setup("Figures", target={"width": "30 mm", "height": "15 mm"})


def test_geometry_one_liners() -> None:
    """
    60 m/min = 1000 mm/s; 7.5 µm at m 0.1 = 75 µm; 13 333.33 lines/s at 1 m/s; two rows 6666.67.

    200 ft/min = 1016 mm/s (algebra). Common practice, no source.
    """
    found = budget(BASE)["geometry"]
    assert found["object_pixel_x_um"] == pytest.approx(75, rel=1e-12)
    assert found["matched_line_rate_hz"] == pytest.approx(13_333.33, abs=0.005)
    two = budget(changed(BASE, {"acquisition.binning": "1x2"}))["geometry"]
    assert two["matched_line_rate_hz"] == pytest.approx(6666.67, abs=0.005)
    feet = budget(changed(BASE, {"transport.speed": "200 ft/min"}))["geometry"]
    assert feet["square_line_rate_hz"] == pytest.approx(1_016_000 / 75, rel=1e-12)


@pytest.mark.parametrize(
    ("speed", "object_pixel_um", "rate_hz", "period_us"),
    [
        ("60 m/min", 100, 10_000, 100),
        ("300 m/min", 100, 50_000, 20),
        ("2000 m/min", 500, 66_667, 15),
    ],
)
def test_line_rates_of_the_trade(
    speed: str, object_pixel_um: float, rate_hz: float, period_us: float
) -> None:
    """Speed over object pixel, three stations; common practice, no source."""
    lens = {"lens.magnification": 7.5 / object_pixel_um}
    found = budget(changed(BASE, {"transport.speed": speed, **lens}))
    assert found["geometry"]["line_rate_hz"] == pytest.approx(rate_hz, abs=0.5)
    assert found["exposure"]["line_period_us"] == pytest.approx(period_us, rel=1e-5)


def test_field_of_view_and_magnification_are_one() -> None:
    """256 pixels of 7.5 µm on 19.2 mm are m = 0.1."""
    by_field = changed(BASE, {"lens.magnification": None, "lens.field_of_view": "19.2 mm"})
    assert budget(by_field)["geometry"] == pytest.approx(dict(budget(BASE)["geometry"]), rel=1e-12)


def test_lines_of_a_scan() -> None:
    """As asked, by length, or as many as lie on the target of 15 mm; at least one."""
    for changes, lines in (
        ({}, 200),
        ({"acquisition.length": "7.5 mm"}, 100),
        ({"acquisition.length": "7.574 mm"}, 100),
        ({"acquisition.length": "10 um"}, 1),
        ({"acquisition.lines": 17}, 17),
        ({"acquisition.binning": "2x2"}, 100),
    ):
        found = budget(changed(BASE, changes))["geometry"]
        assert found["image_lines"] == lines
        assert isinstance(found["image_lines"], int)


def test_data_rate() -> None:
    """10⁶ bytes a second; one byte a sample at 8 bit, else two."""
    for bits, size in ((8, 1), (10, 2), (12, 2), (16, 2)):
        found = budget(changed(BASE, {"camera.bit_depth": bits}))["geometry"]
        assert found["data_rate_mb_s"] == pytest.approx(256 * 1e6 / 75 * size / 1e6, rel=1e-12)


def test_top_speed_of_a_camera() -> None:
    """20 kHz and 75 µm: 1500 mm/s."""
    found = budget(changed(BASE, {"camera.max_line_rate": "20 kHz"}))["geometry"]
    assert found["max_speed_mm_s"] == pytest.approx(1500, rel=1e-12)
    assert "max_speed_mm_s" not in budget(BASE)["geometry"]


def test_exposure_group() -> None:
    """50 µs of a 75 µs period at 1 m/s: duty 2/3, 50 µm, 2/3 of a pixel."""
    found = budget(changed(BASE, {"acquisition.exposure": "50 us"}))["exposure"]
    assert dict(found) == pytest.approx(
        {
            "exposure_us": 50,
            "line_period_us": 75,
            "duty": 2 / 3,
            "motion_blur_um": 50,
            "motion_blur_px": 2 / 3,
        },
        rel=1e-12,
    )


@pytest.mark.parametrize(
    "changes",
    [
        {"light.illuminance": "0 lx"},
        {"light.illuminance": "0 lx", "camera.read_noise": "0 e"},
        {"target.white_reflectance": 0.0},
        {"lens.transmission": 0.0},
        {"acquisition.exposure": "1000 s"},
        {"lens.f_number": 256.0, "lens.defocus": "900 mm"},
    ],
    ids=["dark", "dark and quiet", "black", "capped", "endless", "blind"],
)
def test_figures_are_finite_numbers(changes: dict[str, Any]) -> None:
    """At the ends of what may be asked, JSON without NaN or infinity, and no warning."""
    json.dumps(budget(changed(BASE, changes)).as_dict(), allow_nan=False)


def test_a_dark_frame_has_no_snr_in_db() -> None:
    """20 log₁₀ 0 is no number: left out, never null."""
    found = budget(changed(BASE, {"light.illuminance": "0 lx"}))["signal"]
    assert found["electrons_white"] == 0
    assert found["snr_white"] == 0
    assert "snr_white_db" not in found


def asked(found: Budget) -> tuple[Verdict, ...]:
    """Leave out what is judged unasked."""
    unasked = ("line_rate", "link", "exposure", "clipping")
    return tuple(each for each in found.verdicts if each.requirement not in unasked)


def test_verdicts_tell_wanted_got_and_margin() -> None:
    """The smallest disc found may be at most the smallest defect; SNR at least what is wanted."""
    need = {"requirement.smallest_defect": "300 um", "requirement.snr": 50}
    found = budget(changed(BASE, need))
    defect, snr = (verdict.as_dict() for verdict in asked(found))
    smallest_um = found.number("detection", "smallest_detectable_um")
    assert defect == {
        "requirement": "smallest_defect",
        "wanted": 300.0,
        "got": smallest_um,
        "margin": pytest.approx(300 / smallest_um - 1),
        "met": True,
        "state": "met",
        "where": "line",
    }
    got = float(found["signal"]["snr_product"])
    assert snr["got"] == got
    assert snr["margin"] == pytest.approx(got / 50 - 1)
    assert asked(budget(BASE)) == ()


@pytest.mark.parametrize(("size_um", "met"), [("60 um", False), ("120 um", True)])
def test_rate_and_alarms_are_two_sides_of_one_verdict(size_um: str, met: bool) -> None:  # noqa: FBT001 -- a case
    """Where 95 % are found at the alarms allowed, the alarms at 95 % are allowed, or neither."""
    need = {
        "requirement.smallest_defect": size_um,
        "requirement.detection_rate": 0.95,
        "requirement.false_alarms_per_m2": 0.01,
    }
    found = budget(changed(BASE, need))
    assert [v.requirement for v in asked(found)] == [
        "smallest_defect", "detection_rate", "false_alarms_per_m2",
    ]  # fmt: skip
    assert [v.met for v in asked(found)] == [met, met, met]


def test_a_scratch_is_judged_by_its_width() -> None:
    """A scratch ten times as long as wide shows at less width than a disc does of diameter."""
    need = {"requirement.smallest_defect": "100 um", "requirement.defect_shape": "scratch-across"}
    found = budget(changed(BASE, need))
    (verdict,) = asked(found)
    width_um = found.number("detection", "smallest_width_um")
    assert verdict.got == width_um < found.number("detection", "smallest_detectable_um")
    assert found.number("detection", "defect_px_x") == pytest.approx(1000 / 75)


def test_in_the_dark_nothing_is_ever_found() -> None:
    """The verdict is missed, with a finite number for JSON."""
    need = {"requirement.smallest_defect": "1 mm", "light.illuminance": "0 lx"}
    (verdict,) = asked(budget(changed(BASE, need)))
    assert not verdict.met
    assert verdict.margin == pytest.approx(-1)


def test_a_requirement_that_is_missed() -> None:
    """SNR 500 is out of reach: a negative margin."""
    (snr,) = asked(budget(changed(BASE, {"requirement.snr": 500})))
    assert not snr.met
    assert -1 < snr.margin < 0


def test_the_room_can_be_called() -> None:
    """`linesim.budget(setup)` is the budget."""
    found = linesim.budget(BASE)
    assert found.as_dict() == budget(BASE).as_dict()


def test_defect_contrast_to_noise() -> None:
    """Contrast times white over noise on white, in the trade's sense of CNR."""
    found = budget(changed(BASE, {"requirement.defect_contrast": 0.15}))
    signal = found["signal"]
    told = 0.15 * float(signal["electrons_white"]) / float(signal["noise_white_e"])
    assert found["detection"]["defect_cnr"] == pytest.approx(told, rel=1e-12)
