"""What a user should mind about a setup, each a code and a sentence."""

from collections.abc import Callable
from dataclasses import asdict, dataclass

import numpy as np

from linesim.figures.case import Case, Found, Groups, values
from linesim.figures.faults import fault_cautions
from linesim.figures.level_cautions import clip_cautions, texture_cautions
from linesim.figures.noise_limits import noise_cautions
from linesim.figures.plain_numbers import digits, percent, rate
from linesim.figures.relief_cautions import relief_cautions
from linesim.figures.safety import safety_cautions
from linesim.figures.verdicts import FEWEST_PIXELS
from linesim.forward.conversion import ROUNDING_DN
from linesim.forward.geometry import wanted_advance_um
from linesim.forward.station import Station
from linesim.setup.setup import Setup
from linesim.targets.load import TargetSize

_SAME = 0.005
"""Rates and shapes closer than this share are taken as equal; our choice."""
_DARK_SHARE = 0.1
_FEWEST_REFERENCE_PIXELS = 2.0


@dataclass(frozen=True, slots=True)
class Caution:
    """One thing to mind."""

    code: str  # fixed word for machines
    text: str

    def as_dict(self) -> dict[str, str]:
        """As JSON has it."""
        return asdict(self)


def _timing(case: Case) -> Found:
    when, camera = case.numbers.timing, case.setup.camera
    longest_us = float(when.longest_exposure_us)
    if when.exposure_us > longest_us * (1 + 1e-9):
        text = (
            f"The exposure of {digits(float(when.exposure_us), 4)} us is longer than the line "
            f"period leaves at peak speed: at most {digits(longest_us, 4)} us ({_turn(case)}period "
            "less dead time). Figures and image are as asked; a real camera would lose lines."
        )
        yield "exposure_over_period", text
    if camera.max_line_rate_hz and when.peak_rate_hz > camera.max_line_rate_hz * (1 + 1e-9):
        text = (
            f"The line rate reaches {rate(float(when.peak_rate_hz), 4)}, over the camera's "
            f"{rate(camera.max_line_rate_hz, 4)}: lines will be lost and the picture is compressed."
        )
        yield "rate_over_camera_at_peak", text
    share = float(when.peak_rate_hz / when.exposed_rate_hz)
    data_mb_s = case.figure("geometry", "data_rate_mb_s") * share
    if camera.link_mb_s and data_mb_s > camera.link_mb_s * (1 + 1e-9):
        text = (
            f"The image data reach {digits(data_mb_s, 4)} MB/s, over the "
            f"{digits(camera.link_mb_s, 4)} MB/s of the link."
        )
        yield "rate_over_link", text


def _turn(case: Case) -> str:
    """Say which part of the period is one light's."""
    return f"1/{case.setup.turn.lights} of the " if case.setup.turn.lights > 1 else ""


def _divided(along: int) -> str:
    return f"; binning divides it by {along} along travel" if along > 1 else ""


def _shape(case: Case) -> Found:
    coverage, aspect = case.figure("geometry", "coverage"), case.figure("geometry", "pixel_aspect")
    matched_hz = case.figure("geometry", "matched_line_rate_hz")
    if coverage > 1 + _SAME:
        text = (
            f"Lines overlap: each strip of the target is seen {coverage:.3g} times. The matched "
            f"line rate is {rate(matched_hz, 4)}{_divided(case.setup.acquisition.binning.along)}."
        )
        yield "overlap", text
    if coverage < 1 - _SAME:
        text = (
            f"Lines leave gaps: only {percent(coverage)} of the target is looked at while "
            f"lines start. The matched line rate is {rate(matched_hz, 4)}."
        )
        yield "gap", text
    if abs(aspect - 1) > _SAME:
        change = "compressed" if aspect > 1 else "stretched"
        text = (
            f"The picture is {change} along travel by {max(aspect, 1 / aspect):.3g}: the line "
            f"advance is {aspect:.3g} of the object pixel's width. True shape needs "
            f'{rate(case.figure("geometry", "square_line_rate_hz"), 4)} (line_rate = "square").'
        )
        yield "aspect", text


def _encoder(case: Case) -> Found:
    wanted_um = float(wanted_advance_um(case.setup, case.numbers.geometry))
    advance_um = float(case.numbers.timing.exposed_advance_um) * (1 - case.setup.missed_counts)
    left = advance_um / wanted_um - 1
    if case.setup.transport.trigger == "encoder" and abs(left) > _SAME:
        text = (
            f"The encoder's counts do not divide into the wanted line advance: "
            f"{advance_um:.4g} um instead of {wanted_um:.4g} um "
            f"({100 * left:+.1f} %). A multiplier with a larger divider comes nearer."
        )
        yield "encoder_fraction", text


def _levels(case: Case) -> Found:
    yield from clip_cautions(case)
    sensor = case.numbers.sensor
    above_dn = case.least("signal", "dn_white") - sensor.black_level_dn
    scale = float(above_dn / (sensor.full_scale_dn - sensor.black_level_dn))
    if scale < _DARK_SHARE:
        text = (
            f"White reaches only {percent(scale, 2)} of full scale. More light, a wider aperture, "
            "a longer exposure or binning bring electrons; gain only lifts signal and noise alike."
        )
        yield "dark", text
    # joined numbers are rounded one by one, and each conversion has its own share of the noise
    one_dn = sensor.gain_dn_e / np.sqrt(case.numbers.reads)
    dark_dn = float(one_dn * case.numbers.dark_noise_e)
    white_e = np.min(np.asarray(case.numbers.electrons_white))
    white_dn = float(np.hypot(dark_dn, one_dn * np.sqrt(white_e)))
    if dark_dn < ROUNDING_DN:
        text = (
            f"The dark noise of a conversion is {dark_dn:.2g} DN (with white's "
            f"own {white_dn:.2g} DN), under 0.4 DN: rounding is coarser than the noise there "
            "and no longer adds 1/12 DN² (EMVA 1288). More bits or more gain help."
        )
        yield "quantisation", text


def _sharpness(case: Case) -> Found:
    blur = case.figure("exposure", "motion_blur_px")
    if blur > 1 + _SAME:
        text = (
            f"The target moves {blur:.3g} object pixels during the exposure; the MTF of motion "
            f"at Nyquist is {case.figure('resolution', 'mtf_motion_nyquist_y'):.2f}."
        )
        yield "blur_over_one", text
    place, pitch_um = case.numbers.geometry, case.setup.target.pixel_size_um
    fine = float(min(place.object_pixel_x_um, place.object_pixel_y_um)) / pitch_um
    if fine < _FEWEST_REFERENCE_PIXELS * (1 - 1e-9):
        text = (
            f"An object pixel holds {fine:.3g} pixels of the reference image, under 2: the "
            "scan shows the reference's own pixels. Use a finer image or larger pixels."
        )
        yield "reference_coarse", text


def _defect(case: Case) -> Found:
    detection = case.groups["detection"]
    pixels = min(
        min(values(detection.get(name, np.inf))) for name in ("defect_px_x", "defect_px_y")
    )
    if pixels < FEWEST_PIXELS:
        text = (
            f"The smallest defect covers {pixels:.2g} object pixels, under 3 (common practice, "
            "no source); how well it shows also depends on contrast and noise."
        )
        yield "defect_px", text


def _depth(case: Case) -> Found:
    depth_mm = case.figure("geometry", "depth_of_field_mm")
    off_mm = np.max(np.abs(case.numbers.ends_optics.defocus_mm)) + case.setup.transport.flutter_mm
    if 2 * off_mm > depth_mm:
        text = (
            f"The target leaves best focus by up to {off_mm:.3g} mm (defocus and flutter), "
            f"over half the depth of field of {depth_mm:.3g} mm."
        )
        yield "depth_of_field", text


def _late_mm(case: Case) -> float:
    """Give the travel in the trigger's delay, by which a scan starts later. [mm]."""
    delay_us = case.setup.acquisition.trigger_delay_us or 0.0
    return delay_us * case.setup.transport.speed_mm_s * 1e-6


def _reference(case: Case) -> Found:
    pitch_mm = case.setup.target.pixel_size_um / 1000
    wide_mm, long_mm = case.size.columns * pitch_mm, case.size.rows * pitch_mm
    seen_mm = case.figure("geometry", "field_of_view_mm")
    scan_mm = case.figure("geometry", "scan_length_mm") + _late_mm(case)
    beyond = seen_mm > wide_mm * (1 + _SAME) or scan_mm > long_mm * (1 + _SAME)
    if beyond and not case.setup.target.repeat:
        text = (
            f"The scan of {seen_mm:.4g} mm x {scan_mm:.4g} mm is larger than the target of "
            f"{wide_mm:.4g} mm x {long_mm:.4g} mm: outside, the target's border value goes on. "
            "target.repeat = true goes round instead."
        )
        yield "reference_ends", text
    for text in case.size.cautions:
        yield "image_read", text


_CHECKS: tuple[Callable[[Case], Found], ...] = (
    _timing,
    _shape,
    _encoder,
    _levels,
    _sharpness,
    _defect,
    texture_cautions,
    relief_cautions,
    _depth,
    _reference,
    fault_cautions,
    noise_cautions,
)


def cautions(
    setup: Setup, numbers: Station, groups: Groups, size: TargetSize
) -> tuple[Caution, ...]:
    """Find all there is to mind."""
    case = Case(setup=setup, numbers=numbers, groups=groups, size=size)
    found = [pair for check in _CHECKS for pair in check(case)]
    return tuple(Caution(code, text) for code, text in (*found, *safety_cautions(setup)))
