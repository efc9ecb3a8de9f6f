"""
Ten jobs of the trade, each worked by hand first: the station found is no worse.

By hand, as with pocket calculator and lens formula (derived; the numbers of the jobs are ours):

* object pixel p: the field, with 1 % of it or 5 mm of overlap a camera, over the pixels; at most a
  third of the defect (three pixels on it: common practice, no source);
* line rate: speed over p; magnification m: pixel side over p; distance from lens to web f(1 + 1/m);
* electrons N needed: a defect of contrast c on n object pixels stands out by
  0.7 c √n N / √(N + r²), where 0.7 is what blur leaves of it (rule of thumb, no source), r the read
  noise, and must stand out by 8: 95 % found, 0.01 false alarms on a square metre;
* electrons there, a lux: E ρ τ / (4 (f# (1 + m))²) on the sensor, times pixel area, line period and
  0.6 electrons a photon; white LED light of 312 lm/W and 0.56 um (from memory); at the ends of the
  line cos⁴ of the angle of view is left.
"""

from dataclasses import dataclass, replace
from math import atan, cos, pi, sqrt
from typing import Any

import numpy as np
import pytest

from linesim.studies.design.job import Job, job_from
from linesim.studies.design.outputs import defect_scan
from linesim.studies.design.study import Proposal, design

PHOTONS_W_UM_S = 1 / (6.626e-34 * 2.998e8) * 0.56e-6
LM_W, TRANSMISSION, EFFICIENCY = 312.0, 0.9, 0.6
FREE_KLX = 20.0
"""Light that design counts as no trouble: any lamp gives it."""


@dataclass(frozen=True, kw_only=True)
class ByHand:
    """A station as worked out by hand."""

    cameras: int
    pixels: int
    side_um: float
    focal_mm: float
    f_number: float
    object_um: float
    rate_hz: float
    light_klx: float


def hand(cameras: int, pixels: int, side_um: float, lens: tuple[float, float]) -> ByHand:
    """Give the choices made by hand; what follows from them stands in for now."""
    return ByHand(
        cameras=cameras,
        pixels=pixels,
        side_um=side_um,
        focal_mm=lens[0],
        f_number=lens[1],
        object_um=0.0,
        rate_hz=0.0,
        light_klx=0.0,
    )


def by_night(name: str) -> Any:  # noqa: ANN401 -- what pytest takes as a case
    """Leave a job to the nightly run."""
    return pytest.param(name, marks=pytest.mark.nightly)


# name: what is asked, limits, choices by hand and what comes of them (p, rate, klx)
JOBS: dict[str, tuple[str, dict[str, Any], dict[str, Any], ByHand, tuple[float, float, float]]] = {
    # 1.6 m in pixels of 0.4/3 mm is 12 000: a line of 16384. 2000/0.0977 = 20.5 kHz. 57.3 mm of
    # sensor, m 0.0358: 60 mm stand 1.74 m away, room is 2 m. N 309 at the ends, where 68 % is left
    "rolled sheet": ("1.6 m at 120 m/min, 0.4 mm", {"product_reflectance": 0.4},
     {"most_working_distance": "2 m"}, hand(1, 16384, 3.5, (60, 4)), (97.7, 20470, 26.8)),
    # 0.6 m in 0.1/3 mm is 18 000: 2 lines of 12288. 1000/0.0247 = 40.6 kHz. 43 mm of sensor,
    # m 0.142: 120 mm stand 0.97 m away, room is 1 m. N 79: such a pinhole shows
    "coated foil": ("0.6 m at 60 m/min, 0.1 mm",
     {"defect_contrast": 0.5, "product_reflectance": 0.6}, {"most_working_distance": "1 m"},
     hand(2, 12288, 3.5, (120, 4)), (24.7, 40550, 7.87)),
    # 2.2 m in 0.5/3 mm is 13 300: 2 lines of 8192. 5000/0.1356 = 36.9 kHz. A tenth of contrast
    # needs N 1480, so large pixels and an open lens
    "clear film": ("2.2 m at 300 m/min, 0.5 mm",
     {"defect_contrast": 0.1, "product_reflectance": 0.5}, {}, hand(2, 8192, 7.0, (75, 2.8)),
     (135.6, 36870, 20.3)),
    # 0.25 m in 0.4/3 mm is 1 900: a line of 2048. 3000/0.122 = 24.6 kHz. A crack of 10 mm lies on
    # 268 pixels: N 84 does, were there no grain; grain asks for pixels, not for light
    "timber": ("0.25 m at 180 m/min, 0.4 mm",
     {"defect_shape": "scratch-along", "defect_length": "10 mm", "defect_contrast": 0.3,
      "texture": {"rms": 0.05, "correlation": "0.5 mm"}, "product_reflectance": 0.45}, {},
     hand(1, 2048, 14.0, (35, 8)), (122.1, 24580, 1.97)),
    # 1.8 m in 0.3/3 mm is 18 000: 2 lines of 12288. 1000/0.074 = 13.5 kHz. A missed thread of 20 mm
    # lies on 1100 pixels: N 11 does
    "woven cloth": ("1.8 m at 60 m/min, 0.3 mm",
     {"defect_shape": "scratch-across", "defect_length": "20 mm", "defect_contrast": 0.3,
      "product_reflectance": 0.5}, {}, hand(2, 12288, 3.5, (60, 8)), (74.0, 13520, 1.70)),
    # 1.2 m in 4/3 mm is 900: a line of 1024. 2000/1.17 = 1.7 kHz. 14.3 mm of sensor; f/16 for
    # 60 mm of depth; dark stones of a third of contrast need N 530 with so few pixels on each
    "gravel belt": ("1.2 m at 120 m/min, 4 mm",
     {"defect_contrast": 0.3, "product_reflectance": 0.3}, {"least_depth_of_field": "60 mm"},
     hand(1, 1024, 14.0, (25, 16)), (1172.0, 1707, 3.84)),
    # 3.2 m in 0.3/3 mm is 32 000: 2 lines of 16384. 400/0.0986 = 4.06 kHz, much time for N 260
    "float glass": ("3.2 m at 24 m/min, 0.3 mm",
     {"defect_contrast": 0.3, "product_reflectance": 0.5}, {}, hand(2, 16384, 3.5, (75, 5.6)),
     (98.6, 4055, 6.10)),
    # 0.4 m in 0.2/3 mm is 6 000: a line of 6144. 3000/0.0651 = 46.1 kHz, 290 MB/s. N 650
    "printed web": ("0.4 m at 60 m/min:180 m/min, 0.2 mm", {"product_reflectance": 0.7}, {},
     hand(1, 6144, 7.0, (50, 4)), (65.1, 46080, 18.6)),
    # 0.6 m in 0.3/3 mm is 6 000: a line of 6144, three colours. 500/0.0977 = 5.1 kHz. N 650 in
    # each; a third of the light each
    "decorated tile": ("0.6 m at 30 m/min, 0.3 mm", {"colour": True, "product_reflectance": 0.5},
     {}, hand(1, 6144, 7.0, (50, 4)), (97.7, 5120, 8.26)),
    # One of 4 views: 30 mm in 0.05/3 mm is 1 800: a line of 2048. 1000/0.0146 is 68.3 kHz. m 0.48:
    # 90 mm stand 0.28 m away, room is 0.3 m; a round tube needs 1 mm of depth: f/11, an f-number of
    # 16 at that magnification, and so N 314 takes 320 klx
    "extruded tube": ("30 mm at 60 m/min, 0.05 mm",
     {"defect_contrast": 0.3, "product_reflectance": 0.3},
     {"most_working_distance": "300 mm", "least_depth_of_field": "1 mm"},
     hand(1, 2048, 7.0, (90, 11)), (14.6, 68270, 317.0)),
}  # fmt: skip
DAY = ("rolled sheet", "float glass")


def job_named(name: str) -> Job:
    """Write a job down, and read it."""
    asked, more, limits, _, _ = JOBS[name]
    field, rest = asked.split(" at ")
    speed, defect = rest.split(", ")
    job = {"field_of_view": field, "speed": speed, "smallest_defect": defect, **more}
    return job_from({"title": name, "job": job, "limits": limits})


def worked(job: Job, one: ByHand) -> ByHand:
    """Work the rest out by hand, as the head of this file says."""
    overlap_mm = max(0.01 * job.field_of_view_mm, 5) * (one.cameras - 1)
    object_um = 1000 * (job.field_of_view_mm + overlap_mm) / one.cameras / one.pixels
    rate_hz = 1000 * job.speeds_mm_s[1] / object_um
    across_um, along_um = job.base.defect_sides_um or (0.0, 0.0)
    round_or_not = pi / 4 if job.base.requirement.defect_shape == "disc" else 1.0
    count = round_or_not * across_um * along_um / object_um**2
    need = 8 / (0.7 * job.base.requirement.defect_contrast * sqrt(count))
    noise_e = 2.5 * one.side_um
    needed_e = (need**2 + need * sqrt(need**2 + 4 * noise_e**2)) / 2
    m = one.side_um / object_um
    ends = cos(atan(one.pixels * one.side_um / 2000 / one.focal_mm / (1 + m))) ** 4
    found = replace(one, object_um=object_um, rate_hz=rate_hz, light_klx=1.0)
    return replace(found, light_klx=needed_e / electrons(job, found) / ends)


def electrons(job: Job, one: ByHand) -> float:
    """Work out the electrons of the product in the middle of the line, as the head says."""
    working = one.f_number * (1 + one.side_um / one.object_um)
    w_m2 = 1000 * one.light_klx / LM_W * float(str(job.base.requirement.product_reflectance))
    sensor_w_m2 = w_m2 * TRANSMISSION / (4 * working**2) * (1 / 3 if job.colour else 1)
    joule = sensor_w_m2 * (one.side_um * 1e-6) ** 2 / one.rate_hz
    return EFFICIENCY * joule * PHOTONS_W_UM_S


def found_as_hand(one: Proposal) -> ByHand:
    """Take out of a station found what is worked out by hand."""
    each = one.candidate
    return ByHand(
        cameras=each.cameras,
        pixels=each.pixels // each.binning,
        side_um=each.side_um * each.binning,
        focal_mm=each.focal_mm,
        f_number=one.setup.lens.f_number,
        object_um=each.object_um,
        rate_hz=each.rate_hz,
        light_klx=one.light_lx / 1000,
    )


@pytest.mark.parametrize("name", JOBS)
def test_the_comment_says_what_is_worked_out(name: str) -> None:
    """Object pixel, rate and light that stand beside each job are those of the formulas."""
    _, _, _, choice, (object_um, rate_hz, light_klx) = JOBS[name]
    found = worked(job_named(name), choice)
    assert found.object_um == pytest.approx(object_um, rel=0.005)  # three digits
    assert found.rate_hz == pytest.approx(rate_hz, rel=0.005)
    assert found.light_klx == pytest.approx(light_klx, rel=0.005)


@pytest.mark.parametrize("name", [name if name in DAY else by_night(name) for name in JOBS])
def test_no_worse_than_by_hand(name: str) -> None:
    """All is met with no more cameras and at most twice the light, and its picture is scanned."""
    job = job_named(name)
    mine, best = worked(job, JOBS[name][3]), design(job).best
    assert best is not None
    assert best.verdicts
    assert {each.state for each in best.verdicts} == {"met"}
    assert best.candidate.cameras <= mine.cameras
    # what blur leaves is a rule of thumb, and light comes in steps: a factor of two
    assert best.light_lx / 1000 <= max(2 * mine.light_klx, FREE_KLX)
    seen = defect_scan(best.setup)
    assert seen is not None
    assert float(np.ptp(seen.image)) > 0
    _check_its_figures(job, best)


def _check_its_figures(job: Job, best: Proposal) -> None:
    """Hold electrons, rate and distance of what was found against the hand."""
    one = found_as_hand(best)
    m = one.side_um / one.object_um
    geometry, signal = best.budget["geometry"], best.budget["signal"]
    # constants of the light to two and three digits, the field rounded to four: 3 %
    assert geometry["line_rate_hz"] == pytest.approx(one.rate_hz, rel=0.002)
    away_mm = one.focal_mm * (1 + 1 / m)
    assert geometry["working_distance_mm"] == pytest.approx(away_mm, rel=0.002)
    if job.colour:  # the weakest of three gets less than a third
        assert 0 < min(signal["electrons_product"].values()) < electrons(job, one)
    else:
        got_e = float(signal["electrons_product"])
        assert got_e == pytest.approx(electrons(job, one), rel=0.03)
        # read noise grows with the side; 12 bits round to steps of the full well over 4095
        camera = best.setup.camera
        step_e = camera.full_well_e / 4095
        noise_e = sqrt(got_e + camera.read_noise_e**2 + step_e**2 / 12)
        assert signal["snr_product"] == pytest.approx(got_e / noise_e, rel=0.03)
