"""All groups of the built-in bar target in a simulated image, found by the setup that made it."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial

import numpy as np

from linesim.figures.resolution import mtf_across, mtf_along
from linesim.forward.geometry import Figure
from linesim.forward.station import Station, station
from linesim.forward.transport import first_line_um
from linesim.metrics.bars.figures import RESOLVED_CYC_PX, BarFigures, bar_figures, coltman
from linesim.metrics.bars.place import BarPlace, Box, Ground, ground_of
from linesim.setup.arrays import FloatArray
from linesim.setup.errors import refuse
from linesim.setup.setup import Setup
from linesim.studies.measure.sharpness_input import Direction, Plane
from linesim.targets.bars import BarLayout, BarSet, bar_layout
from linesim.targets.catalogue import built_in
from linesim.targets.load import target_size


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredSet:
    """Three bars and what they show."""

    name: str
    alternates: Direction
    frequency_cyc_px: float
    pitch_um: float | None
    figures: BarFigures | None
    expected_mtf: float | None = None
    expected_contrast: float | None = None

    @property
    def frequency_lp_mm(self) -> float | None:
        """On the target. [lp/mm]."""
        return None if self.pitch_um is None else 1000.0 * self.frequency_cyc_px / self.pitch_um

    @property
    def bar_um(self) -> float | None:
        """Width of a bar on the target. [µm]."""
        return None if self.pitch_um is None else 0.5 * self.pitch_um / self.frequency_cyc_px

    @property
    def resolved(self) -> bool:
        """Whether the figures do not depend on how the bars lie on the pixels."""
        return self.frequency_cyc_px <= RESOLVED_CYC_PX

    @property
    def contrast(self) -> float:
        """Between bars and spaces; 0 where the bars are lost in the noise."""
        return 0.0 if self.figures is None else self.figures.contrast.value

    def as_dict(self) -> dict[str, object]:
        """As JSON has it; what there is not is left out."""
        found: dict[str, object] = {
            "name": self.name,
            "frequency_cyc_px": self.frequency_cyc_px,
            "frequency_lp_mm": self.frequency_lp_mm,
            "bar_um": self.bar_um,
        }
        if self.figures is not None:
            found |= {
                "contrast": self.figures.contrast.value,
                "contrast_sd": self.figures.contrast.sd,
                "mtf": self.figures.mtf.value,
                "mtf_sd": self.figures.mtf.sd,
            }
        found |= {
            "expected_contrast": self.expected_contrast,
            "expected_mtf": self.expected_mtf,
            "depends_on_phase": not self.resolved,
        }
        return {name: value for name, value in found.items() if value is not None}


_Transfer = Callable[[FloatArray], FloatArray]
"""Response with its sign, over frequencies on the target [lp/mm]."""


def _expected_transfer(setup: Setup, direction: Direction) -> _Transfer:
    """
    Give the response from a drawn target to the image, with its sign.

    Lens, pixel and motion as the budget has them, and the reference's own pixels: what is drawn is
    averaged over each, and the value then fills it, two boxes.
    """
    made = _across if direction == "across" else _along
    return partial(made, station(setup).green, setup.target.pixel_size_um / 1000)


def _lens_sign(numbers: Station, frequency_lp_mm: FloatArray) -> FloatArray:
    """Sign of the lens, which a defocus disc turns."""
    return np.sign(numbers.optics.round_mtf(frequency_lp_mm / numbers.optics.magnification))


def _across(numbers: Station, reference_mm: float, frequency_lp_mm: FloatArray) -> FloatArray:
    pixel = np.sinc(frequency_lp_mm * numbers.geometry.object_pixel_x_um / 1000)
    size = mtf_across(numbers, frequency_lp_mm) * np.sinc(frequency_lp_mm * reference_mm) ** 2
    return np.asarray(size * np.sign(pixel) * _lens_sign(numbers, frequency_lp_mm))


def _along(numbers: Station, reference_mm: float, frequency_lp_mm: FloatArray) -> FloatArray:
    place, advance_um = numbers.geometry, numbers.timing.exposed_advance_um
    per_um = frequency_lp_mm / 1000
    sign = (
        np.sign(np.sinc(per_um * place.row_side_um))
        * np.sign(np.sinc(per_um * numbers.motion_um))
        * _comb_sign(place.lines_joined, per_um * advance_um)
        * _comb_sign(place.stages, per_um * (advance_um - place.row_side_um))
    )
    size = mtf_along(numbers, frequency_lp_mm) * np.sinc(frequency_lp_mm * reference_mm) ** 2
    return np.asarray(size * sign * _lens_sign(numbers, frequency_lp_mm))


def _comb_sign(count: Figure, cycles: Figure) -> FloatArray:
    """Sign of sin(πNx)/sin(πx), x the cycles from one look to the next."""
    part = np.asarray(cycles) - np.rint(cycles)
    turned = (np.rint(cycles) * (np.asarray(count) - 1)) % 2
    return np.asarray(np.sign(np.sinc(np.asarray(count) * part)) * (1 - 2 * turned))


_NYQUIST_CYC_PX = 0.5


def layout_sets(plane: Plane, setup: Setup) -> list[MeasuredSet]:
    """
    Measure every group of three bars that a simulated image shows whole, up to Nyquist.

    The target lies centred across, its row 0 where line 0 starts to expose; a line looks half its
    footprint and half its travel further on.
    """
    numbers = station(setup)
    _refuse_another(plane, setup, numbers)
    frame, layout = _Frame(setup, numbers), _layout(setup)
    ground = ground_of(plane.values, [frame.box(box) for box in layout.boxes])
    found = [] if ground is None else list(_measured(plane, setup, frame, layout, ground))
    if not found:
        refuse(
            f'image "{plane.name}": {plane.values.shape[1]} columns x {plane.values.shape[0]} '
            "lines read, which show no group of three bars whole and below Nyquist; expected a "
            "longer scan, or a finer one"
        )
    return found


class _Frame:
    """From the target to pixels of the image; pixel 0 reaches from 0 to 1."""

    def __init__(self, setup: Setup, numbers: Station) -> None:
        place, when = numbers.geometry, numbers.timing
        self.pitch_um = (float(place.object_pixel_x_um), float(when.line_advance_um))
        columns = target_size(setup).columns
        middle_um = columns * setup.target.pixel_size_um / 2
        # a line's middle lies half its footprint and half its travel behind its start
        behind_um = (float(place.object_pixel_y_um) + float(numbers.motion_um)) / 2
        behind_um += first_line_um(setup, numbers)
        self.shift_px = (
            float(place.image_width_px) / 2 - middle_um / self.pitch_um[0],
            0.5 - behind_um / self.pitch_um[1],
        )

    def box(self, box_mm: Box) -> Box:
        left, top, right, bottom = (
            1000 * side / self.pitch_um[axis] + self.shift_px[axis]
            for side, axis in zip(box_mm, (0, 1, 0, 1), strict=True)
        )
        return left, top, right, bottom


def _layout(setup: Setup) -> BarLayout:
    target, usual = setup.target, built_in("bars")
    return bar_layout(
        pixel_size_um=target.pixel_size_um,
        width_mm=target.width_mm or usual.width_mm,
        height_mm=target.height_mm or usual.height_mm,
    )


def _refuse_another(plane: Plane, setup: Setup, numbers: Station) -> None:
    if setup.target.image != "bars":
        refuse(
            f'--setup: its target.image is "{setup.target.image}"; expected "bars", the built-in '
            "target whose layout is known, or a --region for each group"
        )
    width = int(numbers.geometry.image_width_px)
    if plane.values.shape[1] != width:
        refuse(
            f'image "{plane.name}": {plane.values.shape[1]} columns read; expected {width}, which '
            "the setup makes"
        )


def _measured(
    plane: Plane, setup: Setup, frame: _Frame, layout: BarLayout, ground: Ground
) -> Iterator[MeasuredSet]:
    missing = ground.level - plane.values
    wanted = {direction: _expected_transfer(setup, direction) for direction in ("across", "along")}
    for bars in layout.sets:
        place = _place(bars, frame)
        if not place.within(plane.values.shape) or place.bar_px <= 0.5 / _NYQUIST_CYC_PX:
            continue
        profile, averaged = place.profile(missing)
        noise, offset = ground.doubt(bars.alternates, averaged)
        transfer, frequency_lp_mm = wanted[bars.alternates], np.array([bars.frequency_lp_mm])
        yield MeasuredSet(
            name=f"{bars.group}/{bars.element}",
            alternates=bars.alternates,
            frequency_cyc_px=0.5 / place.bar_px,
            pitch_um=frame.pitch_um[0 if bars.alternates == "across" else 1],
            figures=bar_figures(
                profile, centre_px=place.centre_px, bar_px=place.bar_px, noise=noise, offset=offset
            ),
            expected_mtf=float(transfer(frequency_lp_mm)[0]),
            expected_contrast=float(coltman(transfer, frequency_lp_mm)[0]),
        )


def _place(bars: BarSet, frame: _Frame) -> BarPlace:
    size_mm = bars.size_mm
    box_mm = (bars.x_mm, bars.y_mm, bars.x_mm + size_mm, bars.y_mm + size_mm)
    return BarPlace(alternates=bars.alternates, box=frame.box(box_mm))
