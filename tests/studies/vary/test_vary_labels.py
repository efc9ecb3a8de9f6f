"""What people read of a study along ranges, word for word: labels, tables and sentences."""

import pytest

from linesim.figures.demands import Demand, demands
from linesim.setup.load import changed, load_setup
from linesim.studies.vary.labels import (
    alarms_words,
    demand_words,
    held_words,
    label,
    missed_words,
    share_words,
)
from linesim.studies.vary.study import best_place, vary
from linesim.studies.vary.table import vary_text
from linesim.studies.vary.words import answer
from tests.stations import plain_setup

LABELS = {
    "object_pixel_x_um": "object pixel across, um",
    "object_pixel_y_um": "object pixel along, um",
    "line_advance_um": "line advance, um",
    "pixel_aspect": "pixel aspect",
    "coverage": "coverage",
    "image_width_px": "image width, px",
    "image_lines": "image lines",
    "field_of_view_mm": "field of view mm",
    "line_rate_hz": "line rate, Hz",
    "data_rate_mb_s": "image data, MB/s",
    "depth_of_field_mm": "depth of field, mm",
    "exposure_us": "exposure, us",
    "motion_blur_um": "motion blur, um",
    "exposure_share": "exposure over the longest",
    "line_rate_share": "line rate over the camera's",
    "link_share": "image data over the link's",
    "clipping_share": "brightest part, share of its limit",
    "electrons_white": "white, e",
    "noise_white_e": "noise on white, e",
    "snr_white": "SNR on white",
    "snr_total_white": "SNR with fixed pattern",
    "dn_white": "white, DN",
    "saturation_white": "white, share of its limit",
    "electrons_product": "product, e",
    "snr_product": "SNR on the product",
    "snr_product_ends": "SNR on the product, at the ends",
    "dn_product": "product, DN",
    "dynamic_range_db": "dynamic range, dB",
    "mtf50_x_lp_mm": "MTF50 across, lp/mm",
    "mtf50_y_lp_mm": "MTF50 along, lp/mm",
    "defect_px_x": "defect, px across",
    "defect_px_y": "defect, px along",
    "defect_contrast": "contrast of the fault",
    "defect_cnr": "contrast to noise ratio",
    "defect_dprime": "d′ of the defect",
    "detection_rate": "defects found",
    "false_alarms_per_m2": "false alarms per m²",
    "smallest_detectable_um": "smallest disc found, um",
    "smallest_detectable_um_ends": "smallest disc found, um, at the ends",
    "smallest_width_um": "thinnest scratch found, um",
    "smallest_relief_um": "narrowest fault found, um",
    "texture_share": "texture's share of the noise",
    "rose_diameter_um": "rose diameter um",
}


@pytest.mark.parametrize("figure", LABELS)
def test_what_a_figure_is_called(figure: str) -> None:
    """Across is x and along is y; one without a name of its own keeps that of the files."""
    assert label(figure) == LABELS[figure]


OBLONG = plain_setup(
    "Oblong",
    target={"width": "10 mm", "height": "5 mm"},
    light={"illuminance": "4 klx"},
    camera={
        "pixels": 200,
        "pixel_width": "5 um",
        "pixel_height": "8 um",
        "max_line_rate": "10 kHz",
        "link": "40 MB/s",
        "read_noise": "20 e",
    },
)
SPEED = {"transport.speed": "24m/min,48m/min,96m/min"}
DEMANDS = {
    "line_rate": ("the camera keeps up", "the line rate is over the camera's",
     "the camera's line rate"),
    "link": ("the link carries the data", "the image data are over the link's",
     "the link's data rate"),
    "exposure": ("the exposure fits the line period",
     "the exposure is longer than the line period leaves", "an exposure that fits"),
    "clipping": ("nothing clips", "the picture clips", "a picture that does not clip"),
    "snr": ("SNR 40 on the product holds", "SNR on the product is missed", "SNR 40 on the product"),
    "smallest_defect": ("a smallest defect of 250 um is found", "the smallest defect is missed",
     "a smallest defect of 250 um"),
    "detection_rate": ("99.95 % of the defects are found", "too few of the defects are found",
     "99.95 % of the defects found"),
    "false_alarms_per_m2": ("false alarms stay at one false alarm in 20 m²",
     "there are too many false alarms", "one false alarm in 20 m²"),
}  # fmt: skip


def test_what_a_demand_is_called() -> None:
    """Met, missed and by name, each of the eight."""
    asked = changed(
        OBLONG,
        {
            "requirement.snr": 40,
            "requirement.smallest_defect": "250 um",
            "requirement.detection_rate": 0.9995,
            "requirement.false_alarms_per_m2": 0.05,
        },
    )

    def said(demand: Demand) -> tuple[str, ...]:
        return held_words(demand), missed_words(demand), demand_words(demand)

    assert {each.requirement: said(each) for each in demands(asked)} == DEMANDS


def test_shares_and_alarms() -> None:
    """Of 1 and less a share is told in percent; alarms under one a square metre by their area."""
    assert share_words(0.5) == "50 %"
    assert share_words(0.25) == "25 %"
    assert alarms_words(0.1) == "one false alarm in 10 m²"
    assert alarms_words(4.0) == "4 false alarms on a square metre"


def test_the_table_word_for_word() -> None:
    """
    Object pixels of 5 and 8 um at 0.1; 0.4, 0.8 and 1.6 m/s advance 80 um at 5, 10 and 20 kHz.

    The camera does 10 kHz, and a full exposure is the line period.
    """
    figures = (
        "object_pixel_x_um", "object_pixel_y_um", "line_rate_hz", "exposure_us", "line_rate_share",
        "link_share",
    )  # fmt: skip
    lines = vary_text(vary(OBLONG, SPEED, figures=figures)).splitlines()
    assert lines[:9] == [
        "Oblong",
        "",
        "1x1",
        "                  object      object                           line rate  image data",
        "                   pixel       pixel  line rate,   exposure,    over the    over the",
        (
            "  speed       across, um   along, um          Hz          us    camera's      link's"
            "     verdict"
        ),
        # 200 px of two bytes at 5 kHz are 2 MB/s of 40
        (
            "  24 m/min            50          80        5000         200         0.5        0.05"
            "         met"
        ),
        (
            "  48 m/min            50          80       10000         100           1         0.1"
            "         met"
        ),
        (
            "  96 m/min            50          80       20000          50           2         0.2"
            "  cannot run"
        ),
    ]


NOTHING_ASKED = (
    "The setup requires nothing that a range could be judged by; expected requirement.snr or "
    "requirement.smallest_defect in the setup file for an answer."
)


def test_the_answer_word_for_word() -> None:
    """A line of 80 um at 10 kHz is 0.8 m/s, 48 m/min; 100 us of exposure end there too."""
    assert answer(vary(OBLONG, SPEED)) == (
        NOTHING_ASKED,
        "Everything holds up to 48 m/min: above, the line rate is over the camera's.",
        "The line rate is over the camera's with 1x1 above 48 m/min.",
        "The picture does not clip in this range.",
    )
    timed = changed(OBLONG, {"acquisition.exposure": "160 us", "camera.max_line_rate": None})
    assert answer(vary(timed, SPEED)) == (
        NOTHING_ASKED,
        (
            "Everything holds up to 30 m/min: above, the exposure is longer than the line period "
            "leaves."
        ),
        "The exposure is longer than the line period leaves with 1x1 above 30 m/min.",
        "The picture does not clip in this range.",
    )


def test_the_answer_for_two_keys_word_for_word() -> None:
    """The line rate asks for no aperture."""
    assert answer(vary(OBLONG, {**SPEED, "lens.f_number": "2,4"})) == (
        NOTHING_ASKED,
        "Everything holds at f/2 up to 48 m/min, at f/4 up to 48 m/min.",
    )


def test_who_needs_how_much_more_light_word_for_word() -> None:
    """
    Four joined pixels need a quarter of the light for one SNR of shot noise and one readout.

    1x1 at 1.6 m/s would need 20 kHz.
    """
    asked = changed(OBLONG, {"requirement.snr": 20, "transport.speed": "96 m/min"})
    found = vary(asked, {"light.illuminance": "1klx:100klx:log5"}, binning=("1x1", "2x2"))
    lines = answer(found)
    assert lines[0] == (
        "At the same exposure time, with 1x1 no place in this range meets everything: the line "
        "rate is over the camera's everywhere."
    )
    low = found.answers[0].met[0].low / 1000
    assert lines[4].startswith(
        "At the same exposure time, 2x2 charge reaches SNR 20 on the product at "
    )
    assert lines[4].endswith(
        f" klx, 1x1 needs {low:.3g} klx, where the line rate is over the camera's (4.0 times)."
    )
    assert "The line rate is over the camera's with 1x1 everywhere in this range." in lines


def test_the_best_angle_of_a_lamp_is_named() -> None:
    """Over the lamp's angles a mirroring foil is brightest where the lamp mirrors the camera."""
    foil = load_setup("sample_targets/foil_bright_field.toml")
    plain = changed(foil, {"target.relief": None, "target.relief_range": None})
    found = vary(plain, {"light.angle": "0 deg:40 deg:lin5"}, figures=["snr_product"])
    assert best_place(found, found.curves[0], "snr_product") == 2
    said = " ".join(answer(found))
    assert "SNR on the product is best at 20 deg, " in said
    # at an end it is not the best that there is
    ends = vary(plain, {"light.angle": "20 deg:40 deg:lin5"}, figures=["snr_product"])
    assert "best at" not in " ".join(answer(ends))
