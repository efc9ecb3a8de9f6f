"""Cautions about people: of one light over all its wavelengths, and of many stations at once."""

import numpy as np
import pytest

from linesim.figures.budget import budget
from linesim.figures.safety import CODES, safety_cautions, shared_cautions, total_w_m2
from linesim.setup.light.spectra import Spectrum
from linesim.setup.light.thermal import whole_light
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from tests.stations import plain_setup

BASE = plain_setup(
    "Light",
    target={"pixel_size": "18.75 um", "width": "30 mm", "height": "20 mm"},
    transport={"speed": "1 m/s"},
    acquisition={"lines": 100},
)


def codes(setup: Setup) -> list[str]:
    """Codes about people, in order."""
    return [code for code, _ in safety_cautions(setup)]


def lit(lux: str, spectrum: object = "A", **more: object) -> Setup:
    """Give the station in another light."""
    others = {f"light.{key}": value for key, value in more.items()}
    return changed(BASE, {"light.illuminance": lux, "light.spectrum": spectrum, **others})


def test_a_tungsten_lamp_is_told_with_its_heat() -> None:
    """150 klx of illuminant A: 960 W/m² in the table, 9.1 kW/m² in all, 89 % of it infrared."""
    setup = lit("150 klx")
    told = dict(safety_cautions(setup))
    assert list(told) == ["bright_light", "heat_on_stop", "invisible_light"]
    assert "About 9126 W/m² over all wavelengths (960 W/m² at 380-780 nm" in told["bright_light"]
    assert "89 % of the power is outside 380-780 nm" in told["invisible_light"]


def test_what_is_told_does_not_touch_the_image() -> None:
    """Irradiance and electrons keep to the table, 156.198 lm/W for A (see tests/outside)."""
    setup = lit("150 klx")
    told_w_m2 = budget(setup)["signal"]["irradiance_target_w_m2"]
    assert told_w_m2 == setup.irradiance_w_m2 == pytest.approx(150e3 / 156.198, rel=4e-6)


def test_the_threshold_is_that_of_the_total() -> None:
    """A is bright from 1000 W/m² in all on: 16.44 klx, at 105 W/m² in its table."""
    low, high = (total_w_m2(lit(lux)) for lux in ("16.4 klx", "16.5 klx"))
    assert low < 1000 < high
    assert "bright_light" not in codes(lit("16.4 klx"))
    assert "bright_light" in codes(lit("16.5 klx"))


def test_ambient_light_counts() -> None:
    """Two halves of a bright light are bright."""
    assert "bright_light" not in codes(lit("200 klx", "LED-B3"))
    assert "bright_light" in codes(lit("200 klx", "LED-B3", ambient="200 klx"))


@pytest.mark.parametrize("temperature_k", [1500.0, 2856.0, 3200.0, 6000.0])
def test_any_black_body_is_known_as_one(temperature_k: float) -> None:
    """From a table at 400 to 900 nm; its total and shares by numerical integration (derived)."""
    c2_nm_k = 1.438776877e7  # CODATA 2018
    grid = np.arange(400.0, 901.0)
    wide = np.geomspace(100.0, 1e6, 200_001)

    def planck(wave: np.ndarray) -> np.ndarray:
        return np.asarray(wave**-5 / np.expm1(np.minimum(c2_nm_k / (wave * temperature_k), 700)))

    found = whole_light(Spectrum.tabulated(grid, planck(grid), "measured"))
    total = np.trapezoid(planck(wide), wide)
    assert found.temperature_k == pytest.approx(temperature_k, rel=1e-4)
    inside = np.trapezoid(planck(grid), grid) / total
    assert found.total_ratio == pytest.approx(1 / inside, rel=1e-4)
    beyond = np.where(wide > 780, planck(wide), 0)
    assert found.infrared_share == pytest.approx(np.trapezoid(beyond, wide) / total, rel=1e-4)


@pytest.mark.parametrize("name", ["D50", "D65", "E"])
def test_a_light_that_is_cut_off_is_bounded_from_below(name: str) -> None:
    """No black body, and strong at the end of its table: at least what the table says."""
    told = dict(safety_cautions(lit("40 klx", name)))
    assert list(told) == ["light_beyond_table"]
    assert "known at 380-780 nm only" in told["light_beyond_table"]
    assert "is the least that falls on the target" in told["light_beyond_table"]


@pytest.mark.parametrize("name", ["FL2", "FL11", "LED-B1", "LED-B3", "LED-RGB1", "LED-V2"])
def test_a_light_that_fades_within_its_table_is_told_as_it_is(name: str) -> None:
    """Fluorescent lamps and LEDs: nothing beyond 780 nm, and so no words about it."""
    assert codes(lit("40 klx", name)) == []
    assert total_w_m2(lit("40 klx", name)) == lit("40 klx", name).irradiance_w_m2


def test_ultraviolet_names_skin_as_well_as_eyes() -> None:
    """A 395 nm lamp: 78 % below 400 nm though 1 % below 380 nm; a blue one at 420 nm has none."""
    watts: dict[str, object] = {"light.irradiance": "50 W/m^2", "light.illuminance": None}
    lamp = {"peak": "395 nm", "width": "15 nm"}
    near = changed(BASE, {**watts, "light.spectrum": lamp})
    assert codes(near) == ["ultraviolet"]
    assert (
        "78 % of the power of 395 nm, 15 nm wide is below 400 nm"
        in dict(safety_cautions(near))["ultraviolet"]
    )
    assert "skin" in dict(safety_cautions(near))["ultraviolet"]
    assert codes(changed(BASE, {**watts, "light.spectrum": {**lamp, "peak": "420 nm"}})) == []


@pytest.mark.parametrize(
    ("frequency", "told"),
    [
        ("2.9 Hz", ["stroboscopic"]),
        ("3 Hz", ["visible_flicker", "stroboscopic"]),
        ("60 Hz", ["visible_flicker", "stroboscopic"]),
        ("20 kHz", ["stroboscopic"]),
    ],
)
def test_light_that_swings_makes_rollers_seem_to_stand(frequency: str, told: list[str]) -> None:
    """At any frequency, for the roller's own beats with it; seen to flash from 3 to 60 Hz."""
    swinging = lit("40 klx", "LED-B3", flicker=0.05, flicker_frequency=frequency)
    assert codes(swinging) == told
    assert codes(changed(swinging, {"light.flicker": 0.0})) == []


def test_many_stations_share_one_line_a_code() -> None:
    """The brightest gives the figures; who it holds for is said unless it is all."""
    stations = [(f"{lux} klx", lit(f"{lux} klx", "LED-B3")) for lux in (100, 350, 400, 500, 600)]
    found = shared_cautions(stations)
    assert [each.code for each in found] == ["bright_light", "heat_on_stop"]
    assert found[0].who == "350 klx to 600 klx, 4 of 5"
    assert "1893 W/m²" in found[0].text  # 600 klx / 316.88 lm/W
    assert shared_cautions(stations[2:])[0].who == ""
    assert shared_cautions(stations[:2])[0].line.startswith("bright_light (350 klx): ")
    assert shared_cautions([]) == ()


def test_a_narrow_lamp_is_bright_though_the_target_is_not() -> None:
    """
    E = π L sin(w/2) straight above: 100 W/m² take L = 1000/π W/(m² sr) at sin(w/2) = 0.1, 11.48°.

    1000/π is the radiance of a white in 1 kW/m² (derived): narrower lamps are told of.
    """
    lamp = {
        "light.illuminance": None,
        "light.irradiance": "100 W/m^2",
        "light.arrangement": "line",
        "light.angle": "0 deg",
    }
    for width, told in (("11.4 deg", ["bright_lamp"]), ("11.6 deg", [])):
        setup = changed(BASE, {**lamp, "light.angular_width": width})
        assert codes(setup) == told, width
    brighter = {**lamp, "light.angular_width": "2 deg"}
    text = dict(safety_cautions(changed(BASE, brighter)))["bright_lamp"]
    assert "1824 W/(m² sr)" in text  # 100/(π sin 1°)


def test_every_code_is_listed() -> None:
    """The lights above bring out all codes, and no other; each names local help and no class."""
    laser = {
        "light.irradiance": "2 kW/m^2",
        "light.illuminance": None,
        "light.spectrum": {"peak": "370 nm", "width": "1 nm"},
        "light.flicker": 0.5,
        "light.flicker_frequency": "10 Hz",
        "light.arrangement": "line",
        "light.angle": "30 deg",
        "light.angular_width": "10 deg",
    }
    told = [*safety_cautions(changed(BASE, laser)), *safety_cautions(lit("1 klx", "E"))]
    assert {code for code, _ in told} == set(CODES)
    assert not any("group 1" in text or "class" in text.lower() for _, text in told)
