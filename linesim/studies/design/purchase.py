"""Each choice with its reason, and the list that any supplier can quote on. No maker is named."""

import numpy as np

from linesim.figures.plain_numbers import digits, rate
from linesim.forward.lens import optics
from linesim.studies.design.job import Job
from linesim.studies.design.study import COUNTS_A_LINE, Proposal

Lines = list[tuple[str, str, str]]
"""What, which value, and why or what else."""
_NEW = 1.4
"""Light of a lamp when new over that at the end of its service; common practice, no source."""
_LONGER, _FASTER = 1.1, 1.1
_MOST_MTF = 0.99


def reasons(job: Job, one: Proposal) -> Lines:
    """Give each choice with its value and the reason."""
    each, numbers = one.candidate, one.budget["geometry"]
    object_um, speed_mm_s = digits(each.object_um), digits(job.speeds_mm_s[1])
    depth_mm = digits(float(numbers["depth_of_field_mm"]))
    away_mm, long_mm = digits(one.setup.working_distance_mm), digits(each.sensor_mm)
    why_focal = f"{away_mm} mm from lens to web; the line is {long_mm} mm long on the sensor"
    why_stop = f"{depth_mm} mm of depth of field; a stop more takes twice the light"
    why_light = "at the target; the least of the usual steps with room to spare"
    counts = f"{COUNTS_A_LINE} counts a line of {object_um} um"
    return [
        ("object pixel", f"{object_um} um", _why_pixel(one)),
        *_more_light(one),
        ("line rate", rate(each.rate_hz), f"{speed_mm_s} mm/s over {object_um} um"),
        ("focal length", f"{each.focal_mm:g} mm", why_focal),
        ("f-number", f"f/{one.setup.lens.f_number:g}", why_stop),
        ("light", f"{digits(one.light_lx / 1000)} klx", why_light),
        ("encoder", f"{_counts(one)} counts a mm", counts),
    ]


def _why_pixel(one: Proposal) -> str:
    each, defect_um = one.candidate, one.setup.smallest_defect_um
    several = f"{each.cameras} x " if each.cameras > 1 else ""
    found = f"{several}{digits(each.field_mm)} mm over {each.pixels // each.binning} pixels"
    return (
        found if defect_um is None else f"{found}: {defect_um / each.object_um:.2g} on the defect"
    )


def _more_light(one: Proposal) -> Lines:
    each = one.candidate
    found = []
    if each.binning > 1:
        why = f"{each.binning**2} pixels give their light to one"
        found.append(("binning", f"{each.binning}x{each.binning}", why))
    if each.stages > 1:
        found.append(("stages", str(each.stages), "one row alone does not collect enough light"))
    return found


def _counts(one: Proposal) -> str:
    return digits(1000 * COUNTS_A_LINE / one.candidate.object_um)


def to_buy(one: Proposal) -> Lines:
    """List what any supplier can quote on: what, how much, and what else."""
    each = one.candidate
    pixels = f"{each.pixels} pixels or more of {each.side_um:g} um"
    counts = (
        f"behind the camera's divider of {COUNTS_A_LINE}: a line each {digits(each.object_um)} um"
    )
    light = digits(one.light_lx / 1000)
    many = f"camera, {each.cameras} of them" if each.cameras > 1 else "camera"
    long_mm = digits(_LONGER * each.field_mm * each.cameras)
    new = digits(_NEW * one.light_lx / 1000)
    lamp = f"{long_mm} mm or longer, {one.setup.light.spectrum.name}, {new} klx when new"
    return [
        (many, pixels, _camera(one)),
        ("lens", f"{each.focal_mm:g} mm, f/{one.setup.lens.f_number:g} or faster", _lens(one)),
        ("lamp", f"{light} klx at the target at the end of its service", lamp),
        ("encoder", f"{_counts(one)} counts a mm of travel", counts),
    ]


def _camera(one: Proposal) -> str:
    each, camera = one.candidate, one.setup.camera
    parts = [
        f"{rate(_FASTER * each.rate_hz)} or more",
        f"full well {digits(camera.full_well_e / 1000)} ke or more",
        f"read noise {digits(camera.read_noise_e)} e or less",
        f"{camera.bit_depth} bit",
        f"{digits(float(one.budget['geometry']['data_rate_mb_s']))} MB/s on the link",
    ]
    if each.binning > 1:
        parts.append(f"binning {each.binning}x{each.binning} in the charge domain")
    if each.stages > 1:
        parts.append(f"{each.stages} stages of time-delay integration")
    if camera.kind != "mono":
        parts.append(f"{camera.kind} colour")
    return ", ".join(parts)


def _lens(one: Proposal) -> str:
    each = one.candidate
    frequency = 500 / (each.side_um * each.binning)
    mtf = min(_MOST_MTF, float(np.min(optics(one.setup).mtf(frequency))))
    away_mm, half_mm = digits(one.setup.working_distance_mm), digits(each.sensor_mm / 2)
    return (
        f"image circle {digits(each.sensor_mm)} mm or more, for {away_mm} mm and a magnification "
        f"of {each.magnification:.3g}; MTF at {digits(frequency)} lp/mm on the sensor {mtf:.2f} "
        f"in the middle and {half_mm} mm from it"
    )
