"""A simulated camera, measured from its frames: what comes out is what the setup says."""

import csv
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from linesim.files.images_out import write_tiff
from linesim.forward.collect import pattern
from linesim.forward.station import station
from linesim.metrics.interval import Interval
from linesim.setup.load import changed, load_setup
from linesim.setup.resolve import resolved_text
from linesim.setup.setup import Setup
from linesim.studies.measure.camera.measured import MeasuredCamera
from linesim.studies.measure.camera.outputs import camera_toml
from linesim.studies.measure.camera.study import measure_camera
from linesim.studies.scan.study import scan
from tests.stations import plain_setup

LINES, WIDTH = 100, 128
SHARES = (0.03, 0.06, 0.1, 0.2, 0.3, 0.4, 0.48, 0.6, 0.7, 0.8, 0.88, 0.94, 1.1)
DARKS_US = (20.0, 40.0, 75.0)
SIDE = 1.959964

CAMERA = plain_setup(
    "To be measured",
    target={"pixel_size": "75 um", "width": "12 mm", "height": "15 mm"},
    light={
        "irradiance": "1 W/m^2",
        "spectrum": {"peak": "530 nm", "width": "20 nm"},
        "illuminance": None,
    },
    camera={
        "pixels": WIDTH,
        "pixel_height": "9 um",
        "quantum_efficiency": 0.55,
        "read_noise": "15 e",
        "dark_current": "2 Me/s",
        "gain": "0.1 DN/e",
        "black_level": "100 DN",
        "full_well": "60 ke",
        "dsnu": "12 e",
        "prnu": 0.01,
        "pattern_seed": 5,
    },
    acquisition={"lines": 2 * LINES, "exposure": "20 us"},
)


@dataclass(frozen=True)
class Light:
    """What a share of saturation means."""

    watt: float
    sensor_w_m2: float


def light(setup: Setup, share: float) -> Light:
    """Turn the lamp to a share of saturation."""
    numbers = station(setup)
    watt = float(numbers.saturation_e) * share / float(numbers.electrons_white)
    return Light(watt, watt * float(numbers.irradiance_sensor_w_m2))


def write_series(folder: Path, setup: Setup) -> Path:
    """Write two frames a step and a table; give the table."""
    rows: list[tuple[object, ...]] = []
    for place, share in enumerate(SHARES):
        lamp = light(setup, share)
        lit = changed(setup, {"light.irradiance": f"{lamp.watt!r} W/m^2"})
        rows += write_frames(folder, lit, place, ("flat", 20.0, lamp.sensor_w_m2))
    for place, exposure_us in enumerate(DARKS_US, start=50):
        dark = {"light.irradiance": "0 W/m^2", "acquisition.exposure": f"{exposure_us} us"}
        rows += write_frames(folder, changed(setup, dark), place, ("dark", exposure_us, ""))
    table = folder / "series.csv"
    with table.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.writer(stream)
        writer.writerow(("file", "kind", "exposure_us", "irradiance_w_m2"))
        writer.writerows(rows)
    return table


def write_frames(
    folder: Path, setup: Setup, seed: int, cells: tuple[object, ...]
) -> list[tuple[object, ...]]:
    """Write two frames of the same light, and give their rows."""
    halves = scan(setup, seed=seed).image.reshape(2, LINES, WIDTH)
    for half, image in enumerate(halves):
        write_tiff(folder / f"{seed}_{half}.tif", image)
    return [(f"{seed}_{half}.tif", *cells) for half in range(2)]


def measured(folder: Path, setup: Setup) -> MeasuredCamera:
    """Write a series and measure it."""
    return measure_camera(
        write_series(folder, setup), wavelength_nm=530, pixel_width_um=7.5, pixel_height_um=9
    )


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> MeasuredCamera:
    """Measure the camera once."""
    return measured(tmp_path_factory.mktemp("series"), CAMERA)


def near(figure: Interval, truth: float) -> None:
    """Hold a figure to 4.5 standard errors, and these to 3 % of it, so that they can tell."""
    sd = (figure.high - figure.low) / (2 * SIDE)
    assert figure.value == pytest.approx(truth, abs=4.5 * sd)
    assert sd < 0.03 * truth


def test_temporal_figures_are_those_of_the_setup(found: MeasuredCamera) -> None:
    """
    K, η, noise, black level, dark current, threshold, capacity at the saturated step, and ratios.

    The sensor's mean response and mean offset are the drawn pattern's own. Dark noise at 20 µs
    holds 40 dark electrons: √(15² + 40); the threshold is (26) of it with 1/12 DN².
    """
    drawn, figures = pattern(CAMERA, 0), found.transfer.figures
    response, offset_e = float(drawn.response.mean()), float(drawn.offset_e.mean())
    full_e = 0.94 * float(station(CAMERA).saturation_e) * response
    threshold_e = float(np.sqrt(15**2 + 40 + 100 / 12 + 0.25) + 0.5)
    near(figures["gain_dn_e"], 0.1)
    near(figures["gain_free_offset_dn_e"], 0.1)
    near(figures["efficiency"], 0.55 * response)
    near(figures["dark_noise_e"], float(np.sqrt(15**2 + 40)))
    near(figures["read_noise_e"], 15)
    near(figures["black_level_dn"], 100 + 0.1 * offset_e)
    near(figures["threshold_e"], threshold_e)
    near(figures["saturation_e"], full_e)
    near(figures["snr_max"], float(np.sqrt(full_e)))
    near(figures["dynamic_range"], full_e / threshold_e)
    near(figures["dynamic_range_db"], float(20 * np.log10(full_e / threshold_e)))


def test_dark_current_by_mean_and_variance(found: MeasuredCamera) -> None:
    """Both slopes are 2 Me/s, they agree, and the finer one is taken."""
    near(found.transfer.figures["dark_current_mean_e_s"], 2e6)
    variance = found.transfer.figures["dark_current_variance_e_s"]
    sd = (variance.high - variance.low) / (2 * SIDE)
    assert variance.value == pytest.approx(2e6, abs=4.5 * sd)
    assert found.dark_currents_agree
    assert found.dark_current_e_s == found.transfer.figures["dark_current_mean_e_s"]


def test_saturation_is_the_last_step_that_is_not_clipped(found: MeasuredCamera) -> None:
    """0.94 of full scale: 10 σ and 6 PRNU from the top; 1.1 is beyond it."""
    where = found.transfer.saturation
    assert (where.step, where.rule, found.top_dn) == (len(SHARES) - 2, "share", 4095)
    assert found.series.share_at_top is not None
    assert found.series.share_at_top[-1] > 0.99


def test_pattern_is_the_one_drawn(found: MeasuredCamera) -> None:
    """
    DSNU and PRNU of the columns are the drawn pattern's own; lines and the rest hold none.

    d offsets and r responses give S²·var r + 2·S·cov(r, d) between dark and half saturation.
    Elsewhere nothing is found where the lower end is 0: so for 97.5 % of seeds, and for these.
    """
    drawn = pattern(CAMERA, 0)
    response, offset_e = drawn.response[0], drawn.offset_e[0]
    near(found.dsnu_e.column, float(offset_e.std()))
    signal_e = 0.48 * float(station(CAMERA).saturation_e)
    shared = np.cov(response, offset_e, bias=True)
    prnu = np.sqrt(shared[0, 0] + 2 * shared[0, 1] / signal_e) / response.mean()
    near(found.prnu.column, float(prnu))
    for parts in (found.dsnu_e, found.prnu):
        assert parts.row.low == 0.0
        assert parts.pixel.low == 0.0
        assert parts.total.value == pytest.approx(parts.column.value, rel=0.1)
    assert np.corrcoef(found.dsnu_column_e, offset_e)[0, 1] > 0.99
    assert np.corrcoef(found.prnu_column, response)[0, 1] > 0.95


def test_a_straight_camera_has_no_linearity_error(found: MeasuredCamera) -> None:
    """The interval holds 0 (its lower end misses 2.5 % of seeds), and the rest is below 0.1 %."""
    assert found.linearity is not None
    assert found.linearity.linearity_error.low == 0.0
    assert found.linearity.linearity_error.high < 1e-3


def test_a_well_below_the_scale_is_found_by_the_variance(tmp_path: Path) -> None:
    """
    A well of 20 ke at 0.1 DN/e fills at 2100 DN, where hardly a sample is at the top.

    The peak of the variance is the step of 0.94, or that of 0.88 next to it: at 0.94 the well is
    8 σ away, but PRNU brings columns of +3 σ, 1 %, to 0.97. What is written says so.
    """
    camera = changed(CAMERA, {"camera.full_well": "20 ke"})
    seen = measured(tmp_path, camera)
    where = seen.transfer.saturation
    assert (where.rule, where.by_share) == ("variance", None)
    assert where.step in (len(SHARES) - 3, len(SHARES) - 2)
    near(seen.transfer.figures["gain_dn_e"], 0.1)
    capacity_e = seen.transfer.figures["saturation_e"].value
    assert 0.87 * 20_000 < capacity_e < 0.95 * 20_000
    assert f'full_well = "{capacity_e:.6g} e"' in camera_toml(seen)


def test_the_written_section_makes_the_camera_again(found: MeasuredCamera, tmp_path: Path) -> None:
    """
    camera.toml in place of the setup's own section loads, and the camera is the measured one.

    Values are written to 6 digits; the full well is that of the end of the scale, (4095 − black)/K.
    """
    before, _, rest = resolved_text(CAMERA, tmp_path).partition("[camera]")
    _, mark, after = rest.partition("[acquisition]")
    path = tmp_path / "setup.toml"
    path.write_text(before + camera_toml(found) + mark + after, "utf-8")
    camera, figures = load_setup(path).camera, found.transfer.figures
    assert (camera.pixels, camera.bit_depth) == (WIDTH, 12)
    assert (camera.pixel_width_um, camera.pixel_height_um) == (7.5, 9.0)
    assert found.dark_current_e_s is not None
    full_e = (4095 - figures["black_level_dn"].value) / figures["gain_dn_e"].value
    for written, value in (
        (camera.gain_dn_e, figures["gain_dn_e"].value),
        (camera.quantum_efficiency, figures["efficiency"].value),
        (camera.read_noise_e, figures["read_noise_e"].value),
        (camera.dark_current_e_s, found.dark_current_e_s.value),
        (camera.full_well_e, full_e),
        (camera.dsnu_e, found.dsnu_e.column.value),
        (camera.prnu, found.prnu.column.value),
        (camera.black_level_dn, figures["black_level_dn"].value),
    ):
        assert written == pytest.approx(value, rel=5e-5)
