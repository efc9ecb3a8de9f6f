"""The ways to four times the electrons: what each gives and costs, by textbook relations."""

import pytest

from linesim.figures.budget import Budget
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from linesim.studies.vary.alternatives import Alternative, alternatives, costs
from tests.stations import plain_setup

BASE = plain_setup(
    "Ways",
    light={"illuminance": "4 klx"},
    camera={"read_noise": "20 e"},
    requirement={"smallest_defect": "300 um"},
)
LONG = {
    "irradiance": changed(BASE, {"light.illuminance": None, "light.irradiance": "20 W/m^2"}),
    "dead time": changed(BASE, {"camera.dead_time": "10 us"}),
    "own times": changed(BASE, {"acquisition.line_rate": "9 kHz", "acquisition.exposure": "40 us"}),
    "own clock": changed(BASE, {"transport.assumed_speed": "59 m/min"}),
    "encoder": changed(BASE, {"transport.trigger": "encoder", "transport.encoder_step": "10 um"}),
    "binned": changed(BASE, {"acquisition.binning": "2x2"}),
}


def named(found: tuple[Alternative, ...]) -> dict[str, Budget]:
    """Give the figures of the possible ways by their first word."""
    return {way.title.split()[0]: way.budget for way in found if way.budget}


def ratio(found: dict[str, Budget], way: str, group: str, name: str) -> float:
    """One figure over that of the setup as it is."""
    return found[way].number(group, name) / found["as"].number(group, name)


@pytest.mark.parametrize("setup", [BASE, *LONG.values()], ids=["plain", *LONG])
def test_each_way_gives_four_times(setup: Setup) -> None:
    """Light, area of the aperture, time, stages, area of the pixel: all multiply the electrons."""
    found = named(alternatives(setup))
    assert list(found) == ["as", "light", "aperture", "exposure", "4", "binning"]
    for way in list(found)[1:]:
        assert ratio(found, way, "signal", "electrons_white") == pytest.approx(4, rel=1e-9)
        # no dark current here, and charge is read once: the same electrons, the same SNR
        snr = found[way].number("signal", "snr_white")
        assert snr == pytest.approx(found["light"].number("signal", "snr_white"), rel=1e-9)


def test_what_each_way_costs() -> None:
    """
    The price of each, of everything else nothing.

    Depth of field 2cN(1+m)/m²: half at half the N, twice at twice the c. Speed and rate fall to a
    quarter with the time; a matched rate to a half with rows twice as tall.
    """
    found = named(alternatives(BASE))
    prices = {
        ("signal", "irradiance_target_w_m2"): {"light": 4.0},
        ("geometry", "depth_of_field_mm"): {"aperture": 0.5, "binning": 2.0},
        ("geometry", "line_rate_hz"): {"exposure": 0.25, "binning": 0.5},
        ("geometry", "object_pixel_x_um"): {"binning": 2.0},
        ("geometry", "object_pixel_y_um"): {"binning": 2.0},
        ("exposure", "exposure_us"): {"exposure": 4.0},
    }
    for (group, name), changes in prices.items():
        for way in list(found)[1:]:
            expected = changes.get(way, 1.0)
            assert ratio(found, way, group, name) == pytest.approx(expected, rel=1e-9), (way, name)


def test_sharpness_of_the_ways() -> None:
    """More light, time or stages in step leave MTF50 alone; wide open there is less diffraction."""
    found = named(alternatives(BASE))
    for axis in "xy":
        figure = f"mtf50_{axis}_lp_mm"
        for way in ("light", "exposure", "4"):
            assert ratio(found, way, "resolution", figure) == pytest.approx(1, rel=1e-9)
        assert ratio(found, "aperture", "resolution", figure) > 1
        assert ratio(found, "binning", "resolution", figure) < 1


def test_a_way_that_is_not_possible_says_why() -> None:
    """At f/0.8 there are no two stops more; rows of one kind cannot be joined four times twice."""
    found = alternatives(changed(BASE, {"lens.f_number": 0.8, "acquisition.binning": "3x3"}))
    refused = {way.title: way.refusal for way in found if way.refusal}
    assert set(refused) == {"aperture +2 stops", "binning 6x6"}
    assert refused["aperture +2 stops"].startswith("lens.f_number: read 0.4, but")
    assert all(way.setup is None and way.budget is None for way in found if way.refusal)


def test_costs_name_what_changes() -> None:
    """Ratios of the figures asked for, and only of those that change."""
    groups = {"depth_of_field_mm": "geometry", "object_pixel_x_um": "geometry"}
    told = {way.title: ratios for way, ratios in costs(alternatives(BASE), groups)}
    assert told["light x4"] == {}
    assert told["aperture +2 stops"] == {"depth_of_field_mm": pytest.approx(0.5)}
    assert set(told["binning 2x2"]) == set(groups)
