"""
What customers read of one station of round numbers, worked out on paper.

Derived; λ/(hc) of 550 nm is 2.76876e18 photons a joule. Sides, rates and shares are unlike, so that
whatever is swapped, inverted or in another unit reads otherwise.
"""

from typing import Any

import pytest

from linesim.figures.budget import budget
from linesim.figures.plain_numbers import digits, people_number, significant
from linesim.forward.station import station
from linesim.report.light_bars import light_bars, noise_bars
from linesim.report.page_parts import Bars
from linesim.report.rows import figure_rows
from linesim.report.table import budget_text, row_lines
from linesim.setup.load import changed
from tests.stations import plain_setup

SETUP = plain_setup(
    "By hand",
    target={"pixel_size": "25 um", "repeat": True, "white_reflectance": 0.8},
    lens={"f_number": 4, "transmission": 0.9},
    light={
        "irradiance": "100 W/m^2",
        "ambient": "10 W/m^2",
        "spectrum": {"peak": "550 nm", "width": "1 nm"},
        "illuminance": None,
    },
    camera={
        "pixels": 1024,
        "pixel_height": "10 um",
        "quantum_efficiency": 0.5,
        "read_noise": "30 e",
        "prnu": 0.01,
        "full_well": "16 ke",
        "bit_depth": 12,
        "gain": "0.2 DN/e",
        "black_level": "100 DN",
        "max_line_rate": "16 kHz",
        "link": "40 MB/s",
    },
    acquisition={"line_rate": "8 kHz", "exposure": "60 us", "lines": 64},
    requirement={"snr": 50, "smallest_defect": "300 um"},
)
# 7.5 and 10 um over 0.1; 1 m/s at 8 kHz is 125 um; 1 m/s over 100 and over 75 um; 16 kHz x 125 um;
# 1024 x 8 kHz x 2 bytes; 2 c N (1+m)/m² with c = 10 um: 2 x 0.01 x 4.4/0.01
GEOMETRY = """\
  object pixel                75 x 100 um (across x along)
  line advance                125 um, coverage 0.8, pixel aspect 1.67
  image                       1024 px x 64 lines
  field of view               76.8 mm, scan length 8 mm
  line rate                   8 kHz (matched 10 kHz, square 13.33 kHz)
  fastest for the camera      2000 mm/s
  image data                  16.38 MB/s
  depth of field              8.8 mm"""
# 1 m/s x 60 us, of 100 um
EXPOSURE = """\
  exposure                    60 us of 125 us (duty 48 %)
  motion blur                 60 um (0.6 object pixels)"""
# 8 of 16, 16.384 of 40, 60 of 125
LIMITS = """\
  line rate of the camera     8 kHz of the camera's 16 kHz (50 %)
  data on the link            16.4 MB/s of the link's 40 MB/s (41 %)
  exposure time               60 us of 125 us available (48 %)"""
# 110 x 0.8 x 0.9/(4 x 4.4²) = 1.02273 W/m²; x 75 um² x 60 us x 2.76876e18 x 0.5 = 6371.3 e;
# noise² = 6371.3 + 30² + 5²/12; 100 + 0.2 x 6371.3 DN; with 1 % of 6371.3 besides; 6371.3 of 16000
SIGNAL = """\
  irradiance on the target    100 W/m²
  irradiance on the sensor    1.02 W/m²
  white                       6370 e, noise 85.3 e, 1374 DN
  product                     6370 e, 1374 DN
  dark signal                 0 e
  SNR on white                74.7 (37.5 dB), with fixed pattern 59.8
  SNR on the product          74.7
  white needs                 39.8 % of the pixel's full well"""
# EMVA 1288 R4.0 RC (March 2021), (27), (28), (55): √(30² + 5²/12 + 1/4) + 1/2; √16000; their ratio
CAMERA = """\
  dark noise                  30 e
  sensitivity threshold       30.5 e
  saturation capacity         16000 e, SNR there 126 (42 dB)
  dynamic range               524 (54.4 dB)"""
# 1/(2 x 75 um), 1/(2 x 125 um); lens of 550 nm at f/4.4 (ends at 413 lp/mm, here 66.7 and 40) times
# the pixel's sinc(1/2) and sinc(0.4), along times sinc(4 x 0.06) of motion
RESOLUTION = """\
  Nyquist                     6.667 / 4 lp/mm (across / along)
  MTF at Nyquist              0.51 / 0.60, motion alone 0.91"""
# 300 um over 75 and over 125 um; 0.2 x 6371.3/85.284
DETECTION = """\
  required defect             4 x 2.4 px
  contrast to noise ratio     14.9 per sample"""
TOLD = {
    "geometry": GEOMETRY,
    "exposure": EXPOSURE,
    "limits": LIMITS,
    "signal": SIGNAL,
    "camera": CAMERA,
    "resolution": RESOLUTION,
    "detection": DETECTION,
}


@pytest.mark.parametrize("group", TOLD)
def test_a_station_reads_as_worked_out_on_paper(group: str) -> None:
    """Every row that paper and pencil give, letter for letter."""
    shown = "\n".join(row_lines(figure_rows(SETUP, budget(SETUP))[group]))
    assert shown.startswith(TOLD[group])


def told(bars: Bars) -> list[tuple[str, str, str]]:
    """Give label, figure and words of bars."""
    return [(row.label, row.value, row.note) for row in bars.rows]


def test_the_light_reads_as_worked_out_on_paper() -> None:
    """
    From the lamp to the number: 110 x 0.8, then 0.9/(4 x 4.4²) = 1/86.04; 12743 photons, half kept.

    Bars: decades between 0.1 and 100 W/m² and between 10 and 10⁵; shares of 4095 DN.
    """
    light, count, number = light_bars(SETUP, budget(SETUP)["signal"])
    assert told(light) == [
        ("lamp, at the target", "100 W/m²", "100 W/m^2, 550 nm, 1 nm wide"),
        ("ambient light", "10 W/m²", "at the target"),
        ("reflected by white", "88 W/m²", "times a reflectance of 0.8, matt"),
        (
            "at the sensor",
            "1.02 W/m²",
            (
                "times the lens's share, 1/86: transmission over 4 N² with N = 4.4, the working "
                "f-number"
            ),
        ),
    ]
    assert told(count) == [
        ("photons", "12700", "on 7.5 um x 10 um in 60 us"),
        ("electrons of white", "6370", "times a quantum efficiency of 0.5 over this light"),
        ("noise on white", "85.3", "from line to line"),
        ("pixel's full well", "16000", "nearest limit"),
        ("full scale", "19980", ""),
    ]
    assert told(number) == [
        ("black level", "100 DN", "no light"),
        ("white", "1374 DN", "after clipping"),
        ("full scale", "4095 DN", "12 bit"),
    ]
    assert light.scale == "bars logarithmic, 0.1 to 100 W/m², a tick a decade"
    assert count.scale == "bars logarithmic, 10 to 10⁵, a tick a decade"
    assert [row.ratio for row in light.rows[:2]] == pytest.approx([1, 2 / 3])
    assert [row.ratio for row in number.rows] == pytest.approx([100 / 4095, 0.33559, 1], rel=1e-4)
    limits = [[row.is_limit for row in bars.rows].index(True) for bars in (count, number)]
    assert limits == [3, 2]


def test_a_product_that_mirrors_stands_beside_white() -> None:
    """What it sends back is no share of white's, so both are told; of a matt one white will do."""
    mirrors = {
        "target.gloss": 0.6,
        "target.rms_slope": 0.05,
        "light.arrangement": "line",
        "light.angle": "0 deg",
        "light.angular_width": "10 deg",
    }
    signal = budget(changed(SETUP, mirrors))["signal"]
    _, count, number = light_bars(changed(SETUP, mirrors), signal)
    note = f"at a radiance factor of {digits(float(signal['radiance_factor']))}"
    electrons, level = (float(signal[f"{each}_product"]) for each in ("electrons", "dn"))
    assert ("electrons of the product", significant(electrons), note) in told(count)
    assert ("product", f"{people_number(level)} DN", note) in told(number)


def test_the_noise_reads_as_worked_out_on_paper() -> None:
    """√6371.3, 30, 5/√12 and 1 % of 6371.3; squared, parts of 11 333 e²."""
    assert [row[:2] for row in told(noise_bars(station(SETUP)))] == [
        ("shot noise", "79.8 e, 56 %"),
        ("dark current", "0 e, 0 %"),
        ("read noise", "30 e, 7.9 %"),
        ("quantisation", "1.44 e, 0.018 %"),
        ("fixed pattern", "63.7 e, 36 %"),
    ]


@pytest.mark.parametrize(
    ("changes", "line"),
    [
        ({}, "met         line rate: 8 kHz needed, the camera does 16 kHz (2 times the need)"),
        # 40 of 16.384
        ({}, "met         link: 16.4 MB/s of data, the link carries 40 MB/s (2.4 times the need)"),
        # 125 of 60
        ({}, "met         exposure: 60 us, the line period leaves 125 us (2.1 times the need)"),
        ({}, "met         SNR on the product: 74.7, 50 wanted (49 % to spare)"),
        ({"requirement.snr": 100}, "MISSED      SNR on the product: 74.7, 100 wanted (25 % short)"),
        ({"camera.max_line_rate": "5 kHz"},
         "CANNOT RUN  line rate: 8 kHz needed, the camera does 5 kHz (1.6 times the limit)"),
        ({"camera.link": "10 MB/s"},
         "CANNOT RUN  link: 16.4 MB/s of data, the link carries 10 MB/s (1.6 times the limit)"),
        # 150 of 125
        ({"acquisition.exposure": "150 us"},
         "CANNOT RUN  exposure: 150 us, the line period leaves 125 us (20 % over the limit)"),
    ],
)  # fmt: skip
def test_a_verdict_says_its_state(changes: dict[str, Any], line: str) -> None:
    """State, what is reached, what is asked, and what is to spare or short."""
    setup = changed(SETUP, changes)
    assert f"  {line}" in budget_text(setup, budget(setup)).splitlines()
