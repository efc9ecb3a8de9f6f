"""Random jobs that a station drawn first is known to do: one is found for each of them."""

from dataclasses import dataclass

import numpy as np
import pytest

from linesim.figures.budget import Budget, budget
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from linesim.studies.design import catalogue
from linesim.studies.design.job import Job, job_from
from linesim.studies.design.study import design

SPARE = 1.03
"""By which a planted station passes what is then asked."""
CASES = [each if each < 1 else pytest.param(each, marks=pytest.mark.nightly) for each in range(10)]


@dataclass(frozen=True, kw_only=True)
class Planted:
    """A station drawn from what the trade builds, and what it reaches."""

    setup: Setup
    budget: Budget
    object_um: float


def drawn(rng: np.random.Generator) -> Planted:
    """Draw stations until one neither clips nor drowns in noise."""
    while True:
        body = catalogue.bodies()[rng.integers(len(catalogue.bodies()))]
        binning = int(rng.integers(1, 4))
        object_um = catalogue.round_up(float(np.exp(rng.uniform(np.log(15), np.log(1500)))))
        field_mm = body.pixels // binning * object_um / 1000
        sensor_mm = body.pixels * body.side_um / 1000
        fits = [each for each in catalogue.FOCAL_LENGTHS_MM if each >= sensor_mm]
        rate_hz = body.rate_hz * rng.uniform(0.1, 0.9)
        setup = changed(
            job_from({"title": "drawn", "job": {"field_of_view": "1 m", "speed": "1 m/s"}}).base,
            {
                "transport.speed": f"{rate_hz * object_um / 1000:.4g} mm/s",
                "lens.field_of_view": f"{field_mm:.6g} mm",
                "lens.focal_length": f"{rng.choice(fits):g} mm",
                "lens.f_number": float(rng.choice(catalogue.F_NUMBERS)),
                "light.illuminance": f"{rng.choice(catalogue.lights_lx()):g} lx",
                "camera.pixels": body.pixels,
                "camera.pixel_width": f"{body.side_um:g} um",
                "camera.full_well": body.keys["full_well"],
                "camera.read_noise": body.keys["read_noise"],
                "camera.rows": binning,
                "acquisition.binning": f"{binning}x{binning}",
                "requirement.product_reflectance": 0.4,
            },
        )
        found = budget(setup)
        if found["limits"]["clipping_share"] * SPARE < 1 and found["signal"]["snr_product"] > 5:
            return Planted(setup=setup, budget=found, object_um=object_um)


def job_of(one: Planted) -> Job:
    """Ask for what a station does, a few per cent less, and allow a few per cent more."""
    setup, numbers = one.setup, one.budget
    seen = numbers["detection"]
    smallest_um = max(seen["smallest_detectable_um"], seen.get("smallest_detectable_ends_um", 0.0))
    snr = min(numbers["signal"]["snr_product"], numbers["signal"].get("snr_product_ends", np.inf))
    geometry = numbers["geometry"]
    sensor_mm = setup.camera.pixels * setup.camera.pixel_width_um / 1000
    return job_from(
        {
            "title": "planted",
            "job": {
                "field_of_view": f"{geometry['field_of_view_mm'] / 1.0005:.6g} mm",
                "speed": setup.texts["transport"]["speed"],
                "smallest_defect": f"{max(smallest_um, 3 * one.object_um) * SPARE:.4g} um",
                "snr": snr / SPARE,
                "product_reflectance": 0.4,
            },
            "limits": {
                "most_cameras": 1,
                "most_illuminance": f"{setup.light.illuminance_lx} lx",
                "most_working_distance": f"{geometry['working_distance_mm'] * SPARE:.5g} mm",
                "least_depth_of_field": f"{geometry['depth_of_field_mm'] / SPARE:.5g} mm",
                "most_sensor_length": f"{sensor_mm * SPARE:.5g} mm",
            },
        }
    )


@pytest.mark.parametrize("seed", CASES)
def test_what_a_station_does_is_found(seed: int) -> None:
    """A job that a drawn station does has a solution, which its own budget lets pass."""
    job = job_of(drawn(np.random.default_rng([2207, seed])))
    best = design(job).best
    assert best is not None
    assert {each.state for each in best.verdicts} == {"met"}
    assert best.candidate.cameras == 1
    assert best.budget["geometry"]["field_of_view_mm"] >= job.field_of_view_mm * (1 - 1e-9)


def test_more_pixels_than_needed_are_no_obstacle() -> None:
    """A large defect in a narrow field is found with a camera that is finer than it takes."""
    job = {"field_of_view": "30 mm", "speed": "1 m/s", "smallest_defect": "3 mm"}
    have = {"cameras": {"ours": {"pixels": 2048, "pixel_width": "7 um"}}}
    best = design(job_from({"title": "coarse", "job": job, "have": have})).best
    assert best is not None
    assert best.met
