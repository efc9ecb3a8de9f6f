"""Label and unit of every row of figures, written down by hand."""

from typing import Any

import pytest

from linesim.figures.budget import Budget, budget
from linesim.report.rows import figure_rows, measured_rows
from linesim.report.table import row_lines
from linesim.setup.load import sample_setup

# numbers of no meaning, no two alike: each is seen behind its label and before its unit
MADE: dict[str, dict[str, Any]] = {
    "geometry": {
        "object_pixel_x_um": 11, "object_pixel_y_um": 12, "line_advance_um": 13, "coverage": 0.14,
        "pixel_aspect": 1.5, "image_width_px": 16, "image_lines": 17, "field_of_view_mm": 18,
        "scan_length_mm": 19, "line_rate_hz": 2000, "matched_line_rate_hz": 2100,
        "square_line_rate_hz": 2200, "max_speed_mm_s": 23, "data_rate_mb_s": 24,
        "depth_of_field_mm": 2.5, "working_distance_mm": 26,
        "misregistration_px": {"red": 2.7, "green": 0, "blue": -2.8},
        "misregistration_swing_px": {"red": 2.9, "green": 3, "blue": 3.1},
    },
    "exposure": {"exposure_us": 31, "line_period_us": 32, "duty": 0.33, "motion_blur_um": 34,
                 "motion_blur_px": 0.35},
    "signal": {
        "irradiance_target_w_m2": 41, "irradiance_sensor_w_m2": 42, "electrons_white": 43,
        "noise_white_e": 44, "dn_white": 45, "electrons_white_ends": 46, "electrons_product": 47,
        "dn_product": 48, "electrons_product_ends": 49, "dark_e": 50, "snr_white": 51,
        "snr_white_db": 52, "snr_total_white": 53, "snr_white_ends": 54, "snr_product": 55,
        "snr_product_ends": 56, "saturation_white": 0.57, "saturation_limit": "scale",
    },
    "camera": {"dark_noise_e": 61, "threshold_e": 62, "saturation_e": 63, "snr_max": 64,
               "snr_max_db": 65, "dynamic_range": 66, "dynamic_range_db": 67},
    "resolution": {"nyquist_x_lp_mm": 71, "nyquist_y_lp_mm": 72, "mtf_nyquist_x": 0.73,
                   "mtf_nyquist_y": 0.74, "mtf_motion_nyquist_y": 0.75, "mtf50_x_lp_mm": 76,
                   "mtf50_y_lp_mm": 77},
    "detection": {
        "defect_px_x": 81, "defect_px_y": 82, "defect_cnr": 83, "defect_cnr_ends": 84,
        "detection_rate": 0.85, "defect_dprime": 8.6, "detection_rate_ends": 0.87,
        "defect_dprime_ends": 8.8, "false_alarms_per_m2": 89, "false_alarms_per_m2_ends": 90,
        "smallest_detectable_um": 91, "smallest_detectable_um_ends": 92, "smallest_width_um": 93,
        "smallest_width_um_ends": 94, "texture_share": 0.95, "alarm_threshold": 9.6,
        "rose_diameter_um": 97, "defect_contrast": -0.86, "smallest_relief_um": 79,
        "smallest_relief_um_ends": 80, "rose_false_alarms_per_m2": 98,
    },
}  # fmt: skip
MADE_ROWS = {
    "geometry": """\
  object pixel                11 x 12 um (across x along)
  line advance                13 um, coverage 0.14, pixel aspect 1.5
  image                       16 px x 17 lines
  field of view               18 mm, scan length 19 mm
  line rate                   2 kHz (matched 2.1 kHz, square 2.2 kHz)
  fastest for the camera      23 mm/s
  image data                  24 MB/s
  depth of field              2.5 mm
  working distance            26 mm
  colour offset from green    red 2.7, green 0, blue -2.8 lines
  its swing by speed ripple   red 2.9, green 3, blue 3.1 lines""",
    "exposure": """\
  exposure                    31 us of 32 us (duty 33 %)
  motion blur                 34 um (0.35 object pixels)""",
    "signal": """\
  irradiance on the target    41 W/m²
  irradiance on the sensor    42 W/m²
  white                       43 e, noise 44 e, 45 DN; at the ends 46 e
  product                     47 e, 48 DN; at the ends 49 e
  dark signal                 50 e
  SNR on white                51 (52 dB), with fixed pattern 53; at the ends 54
  SNR on the product          55; at the ends 56
  white needs                 57 % of full scale""",
    "camera": """\
  dark noise                  61 e
  sensitivity threshold       62 e
  saturation capacity         63 e, SNR there 64 (65 dB)
  dynamic range               66 (67 dB)""",
    "resolution": """\
  Nyquist                     71 / 72 lp/mm (across / along)
  MTF at Nyquist              0.73 / 0.74, motion alone 0.75
  MTF50                       76 / 77 lp/mm on the target""",
    "detection": """\
  required defect             81 x 82 px
  contrast of the fault       86 % darker than the product
  contrast to noise ratio     83 per sample; at the ends 84
  found                       85 % (d′ 8.6); at the ends 87 % (d′ 8.8)
  false alarms                89 per m², at 95 % detection; at the ends 90 per m²
  smallest disc found         91 um; at the ends 92 um
  thinnest scratch found      93 um; at the ends 94 um
  narrowest such fault found  79 um; at the ends 80 um
  product texture             95 % of the noise: more light does not help
  alarm threshold             9.6 sigma
  disc at d′ 5 (Rose)         97 um
  false alarms at d′ 5        98 per m²""",
}


@pytest.mark.parametrize("group", MADE_ROWS)
def test_every_figure_has_its_label_and_unit(group: str) -> None:
    """All figures that there are, those of colour cameras and of faults too."""
    limits = budget(sample_setup())["limits"]
    found = Budget(groups={**MADE, "limits": limits}, cautions=(), verdicts=())
    assert "\n".join(row_lines(figure_rows(sample_setup(), found)[group])) == MADE_ROWS[group]


def test_what_was_measured_has_its_label_and_unit() -> None:
    """Read off the image: across is x, along is y, and the share at full scale is in percent."""
    rows = measured_rows(
        {
            "electrons_white": 11, "noise_white_e": 12, "dn_white": 13, "snr_white": 14,
            "snr_white_db": 15, "snr_total_white": 16, "mtf_nyquist_x": 0.17, "mtf50_x_lp_mm": 18,
            "mtf_nyquist_y": 0.19, "mtf50_y_lp_mm": 20, "dn_min": 21, "dn_max": 22, "dn_mean": 23,
            "share_at_full_scale": 0.24,
        }
    )  # fmt: skip
    assert "\n".join(row_lines(rows)) == (
        "  white                       11 e, noise 12 e, 13 DN\n"
        "  SNR on white                14 (15 dB), with fixed pattern 16\n"
        "  MTF at Nyquist across       0.17, MTF50 18 lp/mm\n"
        "  MTF at Nyquist along        0.19, MTF50 20 lp/mm\n"
        "  samples                     21 to 22 DN, mean 23, at full scale 24 %"
    )
