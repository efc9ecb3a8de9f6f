"""Verdicts: three states, what is always judged, the worst place, the product."""

from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from linesim.figures.budget import Budget, budget
from linesim.figures.verdicts import Verdict
from linesim.forward.render import render
from linesim.forward.station import station
from linesim.setup.errors import InputError
from linesim.setup.load import changed, sample_setup
from linesim.setup.setup import Setup
from linesim.studies.scan.study import scan
from linesim.targets.flat import flat

BASE = changed(
    sample_setup(),
    {
        "target.image": "flat",
        "target.pixel_size": "20 um",
        "requirement.smallest_defect": "300 um",
        "requirement.snr": 20.0,
    },
)


def judged(changes: dict[str, Any]) -> tuple[dict[str, Verdict], Budget]:
    """Verdicts by requirement, and the figures."""
    found = budget(changed(BASE, changes))
    return {each.requirement: each for each in found.verdicts}, found


def test_a_station_that_outruns_its_camera_and_its_link_cannot_run() -> None:
    """13.3 kHz on a camera of 5 kHz, a link too thin, far too much light: nothing is met."""
    found, _ = judged(
        {"light.illuminance": "600 klx", "camera.max_line_rate": "5 kHz", "camera.link": "18 MB/s"}
    )
    assert found["line_rate"].state == "cannot run"
    assert_allclose(
        [found["line_rate"].wanted, found["line_rate"].got], [5000, 13_333.33], rtol=1e-6
    )
    assert found["link"].state == "cannot run"
    assert found["clipping"].state == "missed"
    assert found["snr"].state == "missed"
    assert found["snr"].got < 1


def test_an_exposure_over_its_period_cannot_run() -> None:
    """100 us in a period of 75 us."""
    found, _ = judged({"acquisition.exposure": "100 us"})
    assert found["exposure"].state == "cannot run"
    assert_allclose(found["exposure"].margin, 75 / 100 - 1, rtol=1e-9)


PACES: dict[str, dict[str, Any]] = {
    "clock": {},
    "reads before it exposes again": {"camera.dead_time": "30 us"},
    "encoder, rippled": {"transport.trigger": "encoder", "transport.encoder_step": "25 um",
     "transport.speed_ripple": 0.2},
    "joined lines": {"acquisition.binning": "1x2", "acquisition.binning_along": "lines",
     "acquisition.binning_domain": "digital"},
    "stages": {"camera.tdi_stages": 4},
    "lights in turn": {"light.turn": "1 of 2"},
}  # fmt: skip


@pytest.mark.parametrize("pace", PACES)
def test_no_exposure_outlasts_the_shortest_period(pace: str) -> None:
    """Up to what the shortest period leaves a station runs; whatever exceeds that cannot."""
    timing = station(changed(BASE, PACES[pace])).timing
    longest_us = float(timing.longest_exposure_us)
    states = {
        part: judged({**PACES[pace], "acquisition.exposure": f"{part * longest_us:.12g} us"})
        for part in (1.0, 1.001, 3.0)
    }
    assert [found["exposure"].state for found, _ in states.values()] == [
        "met",
        "cannot run",
        "cannot run",
    ]
    assert float(states[3.0][1].groups["exposure"]["duty"]) > 1
    assert "exposure_over_period" in {each.code for each in states[1.001][1].cautions}


def test_a_scan_says_that_its_station_cannot_run() -> None:
    """The picture is drawn as asked, its verdict stands beside it."""
    setup = changed(BASE, {"acquisition.exposure": "100 us", "acquisition.lines": 8})
    found = {each.requirement: each.state for each in scan(setup).budget.verdicts}
    assert found["exposure"] == "cannot run"


def test_json_of_a_verdict_has_seven_keys() -> None:
    """Requirement, wanted, got, margin, met, state, where."""
    found, _ = judged({})
    told = found["snr"].as_dict()
    assert list(told) == ["requirement", "wanted", "got", "margin", "met", "state", "where"]
    assert told["met"] is True
    assert told["state"] == "met"
    assert told["where"] == "line"


def test_the_ends_of_the_line_decide() -> None:
    """With 40 % less light at the ends, SNR and smallest disc are judged there, and said so."""
    found, figures = judged({"light.edge_falloff": 0.4, "light.illuminance": "3 klx"})
    assert found["snr"].where == found["smallest_defect"].where == "ends"
    assert found["clipping"].where == "middle"
    signal, detection = figures["signal"], figures["detection"]
    assert found["snr"].got == signal["snr_product_ends"] < signal["snr_product"]
    assert found["smallest_defect"].got == detection["smallest_detectable_um_ends"]
    assert detection["smallest_detectable_um_ends"] > detection["smallest_detectable_um"]


def test_the_ends_have_the_light_of_the_outermost_column() -> None:
    """Rendered white has electrons_white_ends in its first column: lamp, cos⁴ and ambient light."""
    setup = changed(
        BASE,
        {
            "light.edge_falloff": 0.3,
            "light.ambient": "2 klx",
            "lens.focal_length": "60 mm",
            "camera.prnu": 0.0,
        },
    )
    white = flat(pixel_size_um=20.0, width_mm=400.0, height_mm=2.0)
    seen = render(setup, white, 64, 0).expected_e
    told = budget(setup)["signal"]
    share = setup.target.white_reflectance  # the reference's 1 is white
    assert 0 < share <= 1
    assert_allclose(seen[:, 0].mean(), told["electrons_white_ends"], rtol=1e-4)
    assert_allclose(seen[:, seen.shape[1] // 2].mean(), told["electrons_white"], rtol=1e-4)


@pytest.mark.parametrize(("asked", "share"), [("white", 1.0), (0.4, 0.5), (0.088, 0.11)])
def test_the_product_is_judged_not_a_white_card(asked: float | str, share: float) -> None:
    """A reflectance of 0.4 on a white of 0.8 is half the signal; the SNR is that of its level."""
    found, figures = judged({"requirement.product_reflectance": asked})
    signal, numbers = figures["signal"], station(BASE)
    level_e = share * float(numbers.electrons_white)
    assert_allclose(signal["electrons_product"], level_e, rtol=1e-12)
    assert_allclose(found["snr"].got, level_e / float(numbers.noise_e(level_e)), rtol=1e-9)


def test_left_out_the_product_is_the_targets_median() -> None:
    """A foil of 11 % of white is what its SNR is told of; figures of white stay."""
    foil = changed(BASE, {"target.image": "foil", "target.width": None, "target.height": None})
    signal = budget(foil)["signal"]
    assert_allclose(signal["electrons_product"] / signal["electrons_white"], 0.113, rtol=1e-9)
    assert signal["snr_product"] < signal["snr_white"] / 2


def test_a_texture_needs_something_to_measure() -> None:
    """A chart has no texture: a sentence that names the key."""
    with pytest.raises(InputError, match=r"requirement\.texture: read .target."):
        budget(changed(BASE, {"requirement.texture": "target"}))


def test_texture_counts_as_noise() -> None:
    """A rough product needs a larger defect, and the share of its texture is told."""
    plain, rough = (
        budget(changed(BASE, changes))["detection"]
        for changes in ({}, {"requirement.texture": {"rms": 0.1, "correlation": "0.2 mm"}})
    )
    assert "texture_share" not in plain
    assert rough["texture_share"] > 0.5
    assert rough["smallest_detectable_um"] > 1.5 * plain["smallest_detectable_um"]


KINDS: dict[str, dict[str, Any]] = {
    "mono": {},
    "2x2 charge": {"acquisition.binning": "2x2"},
    "2x1 numbers": {"acquisition.binning": "2x1", "acquisition.binning_domain": "digital"},
    "stages": {"camera.tdi_stages": 8},
    "three-line": {"camera.kind": "three-line", "camera.line_spacing": "30 um"},
    "prism": {"camera.kind": "prism"},
}


def fitting(setup: Setup, goal: float) -> Setup:
    """Set the light so that the brightest part takes a share of its limit."""
    lit, klx = setup, 10.0
    for _ in range(6):  # the share grows all but as the light
        lit = changed(setup, {"light.illuminance": f"{klx:.9g} klx"})
        share = budget(lit)["limits"]["clipping_share"]
        worst = max(share.values()) if isinstance(share, dict) else share
        klx *= goal / worst
    assert worst == pytest.approx(goal, abs=1e-6)
    return lit


@pytest.mark.parametrize("kind", KINDS)
def test_what_is_called_met_is_met_in_the_rendered_scan(kind: str) -> None:
    """
    Just under the limit, under 0.1 % of the white samples clip; and the SNR is that of the ends.

    White is rendered with the camera's own pattern; 64 lines of 1024 columns or so, 4.5 errors.
    """
    setup = fitting(
        changed(BASE, {"light.edge_falloff": 0.2, "camera.prnu": 0.0, "camera.dsnu": "0 e",
                       "camera.full_well": "4 ke", "camera.gain": "0.8 DN/e", **KINDS[kind]}), 0.999
    )  # fmt: skip
    found = {each.requirement: each for each in budget(setup).verdicts}
    assert found["clipping"].met
    image = np.atleast_3d(
        render(setup, flat(pixel_size_um=20.0, width_mm=200.0, height_mm=9.0), 128, 1).image
    ).astype(np.float64)
    clipped = np.mean(image >= setup.full_scale_dn, axis=(0, 1))
    assert clipped.max() < 1e-3 + 4.5 * np.sqrt(1e-3 / image[..., 0].size)
    numbers = station(setup)
    dark_dn = setup.camera.black_level_dn
    ends = image[:, :24, :]
    snr = (ends.mean(axis=(0, 1)) - dark_dn) / ends.std(axis=0, ddof=1).mean(axis=0)
    assert numbers.ends < 1
    # 24 columns of slightly more light than the outermost: up to 2 % on the signal
    assert_allclose(snr.min(), found["snr"].got, rtol=0.02 + 4.5 / np.sqrt(2 * 128 * 24))
