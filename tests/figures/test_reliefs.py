"""Figures, cautions and words of a fault with relief."""

from pathlib import Path
from typing import Any

import imageio.v3 as iio
import numpy as np
import pytest

from linesim.figures.budget import Budget, budget
from linesim.report.rows import figure_rows
from linesim.report.setup_words import job_in_words
from linesim.report.verdict_words import name_of
from linesim.setup.errors import InputError
from linesim.setup.load import changed, sample_setup

GROOVE = {"kind": "groove", "width": "200 um", "depth": "6 um", "direction": "across"}
DENT = {"kind": "dent", "width": "300 um", "depth": "2 um"}
MATT = changed(sample_setup(), {"requirement.smallest_defect": None, "target.image": "flat"})
LINE = {"light.arrangement": "line", "light.angle": "60 deg", "light.angular_width": "10 deg"}
GLOSS = {**LINE, "target.gloss": 0.5, "target.rms_slope": 0.05}
BRIGHT = {**GLOSS, "light.angle": "0 deg", "light.illuminance": "1 klx"}


def found(fault: dict[str, Any], changes: dict[str, Any]) -> Budget:
    """Work out the budget of a station that asks for a fault."""
    return budget(changed(MATT, {**changes, "requirement.defect_relief": fault}))


def test_a_matt_face_shows_relief_under_a_line_and_hardly_any_under_the_sky() -> None:
    """
    Slopes s = πd/w change Lambert's cosine by s tan 60° under a line, by s²/4 from everywhere.

    A tilted face sees (1 + cos t)/2 of the sky (derived). Boxes of one and two of 16 samples across
    the groove, and the lens, take up to a sixth of flanks of half its period, half of what has a
    quarter. The sum over light from everywhere is right to 2e-4 of it. Without a gloss, a lean or
    an image of heights in the setup.
    """
    wide = {**GROOVE, "width": "1.2 mm", "depth": "36 um"}
    slope = np.pi * 36 / 1200
    line, sky = (
        found(wide, changes).number("detection", "defect_contrast") for changes in (LINE, {})
    )
    # the sides of the lamp are 5 degrees off its middle: their mean tangent is 1 % more
    assert 5 / 6 < abs(line) / (slope * np.tan(np.radians(60))) < 1.02
    assert slope**2 / 8 < -sky < slope**2 / 4 + 2e-4


def test_the_smallest_width_has_the_wanted_rate_and_alarms() -> None:
    """A dent just as wide as told, its depth in proportion, is found at the wanted rate."""
    told = found(DENT, BRIGHT)
    width_um = told.number("detection", "smallest_relief_um")
    sizes = {"width": f"{width_um!r} um", "depth": f"{width_um / 150!r} um"}
    again = found({"kind": "dent", **sizes}, BRIGHT)
    assert again.number("detection", "detection_rate") == pytest.approx(0.95, abs=1e-6)
    assert again.number("detection", "smallest_relief_um") == pytest.approx(width_um, rel=1e-6)
    assert again.number("detection", "false_alarms_per_m2") == pytest.approx(0.01, rel=1e-4)


def test_a_verdict_goes_by_the_narrowest_that_is_found() -> None:
    """The requirement is judged as any smallest defect, and named by its kind."""
    setup = changed(MATT, {**BRIGHT, "requirement.defect_relief": DENT})
    told = budget(setup)
    (verdict,) = (each for each in told.verdicts if each.requirement == "smallest_defect")
    assert verdict.wanted == 300
    assert verdict.got == told.number("detection", "smallest_relief_um")
    assert name_of(setup, verdict.requirement) == "narrowest dent found"
    rows = {row.label: row.text for row in figure_rows(setup, told)["detection"]}
    assert rows["contrast of the fault"].endswith("% darker than the product")
    assert rows["narrowest such fault found"].endswith(" um")


def test_a_report_says_what_must_be_found() -> None:
    """Kind, direction and sizes as written; what stands up is high, what goes down deep."""
    groove, bump = (
        job_in_words(changed(MATT, {"requirement.defect_relief": each}))[2]
        for each in (GROOVE, {**DENT, "kind": "bump"})
    )
    assert "grooves across travel, 200 um wide and 6 um deep" in groove
    assert "bumps, 300 um wide and 2 um high" in bump


def test_nothing_is_told_of_a_product_without_a_level(tmp_path: Path) -> None:
    """On black that mirrors nothing there is no share to change by; what flashes is found still."""
    iio.imwrite(tmp_path / "black.png", np.zeros((100, 100), np.uint8))
    black = {**GLOSS, "light.angle": "40 deg", "target.image": str(tmp_path / "black.png")}
    size = dict.fromkeys(("target.width", "target.height"))
    told = found({**GROOVE, "depth": "20 um"}, {**black, **size})["detection"]
    assert "defect_contrast" not in told
    assert float(told["defect_dprime"]) > 1


@pytest.mark.parametrize(
    ("fault", "changes", "code"),
    [
        ({**GROOVE, "width": "5 um", "depth": "0.1 um"}, BRIGHT, "relief_waves"),
        (GROOVE, {**GLOSS, "light.angle": "15 deg", "light.illuminance": "300 klx"}, "flash_clips"),
    ],
)
def test_limits_of_the_prediction_are_told(
    fault: dict[str, Any], changes: dict[str, Any], code: str
) -> None:
    """A fault under ten wavelengths, and a flash over full scale, have a caution of their own."""
    plain = found(GROOVE, {**changes, "light.illuminance": "1 klx"})
    assert code in {each.code for each in found(fault, changes).cautions}
    assert code not in {each.code for each in plain.cautions}


def test_what_is_too_steep_for_the_finish_is_refused_by_its_key() -> None:
    """The sentence names the key, the slope and what helps."""
    steep = {"kind": "pit", "width": "60 um", "depth": "60 um"}
    with pytest.raises(InputError, match=r"defect_relief: its slopes reach 6\.3.*rms_slope"):
        found(steep, {**GLOSS, "target.rms_slope": 0.02})
