"""What a comparison calls its figures, and which of two values it marks as the better."""

from dataclasses import replace

import pytest

from linesim.setup.load import changed
from linesim.studies.compare.study import Compared, Comparison, compare
from linesim.studies.compare.table import LINES, compare_text, figure_rows
from linesim.studies.compare.words import answer
from tests.stations import plain_setup

BASE = plain_setup(
    "Foil",
    target={"image": "foil", "width": "8 mm", "height": "2 mm"},
    light={"illuminance": "4 klx"},
    camera={"pixels": 96, "read_noise": "20 e"},
    requirement={"smallest_defect": "420 um", "snr": 20},
)
HIGH, LOW, NEITHER = "high", "low", "neither"
BETTER = {
    "object_pixel_x_um": ("object pixel across, um", LOW),
    "object_pixel_y_um": ("object pixel along, um", LOW),
    "line_advance_um": ("line advance, um", NEITHER),
    "coverage": ("coverage", NEITHER),
    "pixel_aspect": ("pixel aspect", NEITHER),
    "image_width_px": ("image width, px", NEITHER),
    "image_lines": ("image lines", NEITHER),
    "line_rate_hz": ("line rate, Hz", NEITHER),
    "data_rate_mb_s": ("image data, MB/s", LOW),
    "depth_of_field_mm": ("depth of field, mm", HIGH),
    "exposure_us": ("exposure, us", NEITHER),
    "misregistration_px": ("colour offset, lines", LOW),
    "misregistration_swing_px": ("its swing, lines", LOW),
    "misregistration_x_px": ("colour offset across, px", LOW),
    "line_rate_share": ("camera's line rate used", NEITHER),
    "link_share": ("link used", NEITHER),
    "clipping_share": ("brightest part, of its limit", NEITHER),
    "motion_blur_um": ("motion blur, um", LOW),
    "pulse_rate_share": ("lamp's pulse rate used", NEITHER),
    "radiance_factor": ("radiance factor", NEITHER),
    "lamp_power_w_m": ("lamp power, W/m", LOW),
    "electrons_white": ("white, e", HIGH),
    "noise_white_e": ("noise on white, e", NEITHER),
    "snr_white": ("SNR on white", HIGH),
    "electrons_product": ("product, e", HIGH),
    "snr_product": ("SNR on the product", HIGH),
    "snr_total_white": ("SNR with fixed pattern", HIGH),
    "dn_white": ("white, DN", NEITHER),
    "saturation_white": ("white, of its limit", NEITHER),
    "dynamic_range_db": ("dynamic range, dB", HIGH),
    "mtf50_x_lp_mm": ("MTF50 across, lp/mm", HIGH),
    "mtf50_y_lp_mm": ("MTF50 along, lp/mm", HIGH),
    "defect_px_x": ("defect, px across", HIGH),
    "defect_px_y": ("defect, px along", HIGH),
    "defect_contrast": ("contrast of the fault", NEITHER),
    "defect_cnr": ("contrast to noise ratio", HIGH),
    "defect_dprime": ("d′ of the defect", HIGH),
    "detection_rate": ("defects found", HIGH),
    "false_alarms_per_m2": ("false alarms", LOW),
    "smallest_detectable_um": ("smallest disc found, um", LOW),
    "smallest_width_um": ("thinnest scratch found, um", LOW),
    "smallest_relief_um": ("narrowest fault found, um", LOW),
    "texture_share": ("texture, of the noise", LOW),
}
"""What an engineer calls each figure, and whether more of it is better."""


@pytest.fixture(scope="module")
def two() -> Comparison:
    """Compare the setup with more light."""
    return compare(BASE, ["light.illuminance=8 klx"])


def with_all_at(one: Compared, value: float) -> Compared:
    """Give every figure of the table one value."""
    budget = one.scan.budget
    groups = {
        name: {**group, **{line.name: value for line in LINES if line.group == name}}
        for name, group in budget.groups.items()
    }
    return replace(one, scan=replace(one.scan, budget=replace(budget, groups=groups)))


def test_what_a_figure_is_called_and_which_is_better(two: Comparison) -> None:
    """Of 0.25 and 0.5 the better is marked, and neither where it depends."""
    first, other = two.variants
    variants = (with_all_at(first, 0.25), with_all_at(other, 0.5))
    marked = {
        label: HIGH if b.endswith("*") else LOW if a.endswith("*") else NEITHER
        for label, (a, b) in figure_rows(replace(two, variants=variants))
        if not label.endswith("ends") and label in {each for each, _ in BETTER.values()}
    }
    assert marked == dict(BETTER.values())
    assert {line.name: line.label for line in LINES} == {k: v[0] for k, v in BETTER.items()}


def test_a_row_of_each_kind(two: Comparison) -> None:
    """
    Twice the light: twice the electrons, marked; the same pixel of 7.5 um at 0.1, not.

    Noise is √(n + 20² + (40000/4063)²/12), by EMVA 1288 R4.0 RC, (21): of 844.2 e 35.39 e.
    """
    lines = compare_text(two).splitlines()
    rows = {line[2:32].strip(): line[32:].split() for line in lines if line.startswith("  ")}
    assert rows["object pixel across, um"] == ["75", "75"]
    assert rows["exposure, us"] == ["75", "75"]
    assert rows["white, e"] == ["844", "1690*"]
    assert rows["noise on white, e"] == ["35.4", "45.8"]


def test_the_least_defect_is_the_best(two: Comparison) -> None:
    """More light finds a smaller disc; that one is marked and named."""
    rows = dict(figure_rows(two))
    dim, lit = rows["smallest disc found, um"]
    assert float(lit.rstrip("*")) < float(dim)
    assert (dim.endswith("*"), lit.endswith("*")) == (False, True)


def test_wide_pixels_lie_across() -> None:
    """5 um wide and 8 um high at 0.1: 50 um across and 80 um along."""
    oblong = changed(BASE, {"camera.pixel_width": "5 um", "camera.pixel_height": "8 um"})
    rows = dict(figure_rows(compare(oblong, ["light.illuminance=8 klx"])))
    assert [cell.strip() for cell in rows["object pixel across, um"]] == ["50", "50"]
    assert [cell.strip() for cell in rows["object pixel along, um"]] == ["80", "80"]


def test_the_answer_sets_new_before_old(two: Comparison) -> None:
    """Across stands before along, and what the variant has before what the first had."""
    oblong = changed(BASE, {"camera.pixel_width": "5 um", "camera.pixel_height": "8 um"})
    said, _ = answer(compare(oblong, ("1x1", "2x1")))
    assert "its object pixel is 100 x 80 um, not 50 x 80 um" in said
    dim, lit = (cell.rstrip("*") for cell in dict(figure_rows(two))["smallest disc found, um"])
    said, _ = answer(two)
    assert f"the smallest disc it finds is {float(lit):.3g} um, not {float(dim):.3g} um" in said
