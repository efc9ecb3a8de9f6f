"""All groups of the built-in bar target in a simulated image, found by the setup that made it."""

from collections.abc import Iterator

import numpy as np

from linesim.forward.station import Station, station
from linesim.metrics.bars.figures import bar_figures
from linesim.metrics.bars.place import BarPlace, Box, Ground, ground_of
from linesim.setup.errors import InputError
from linesim.setup.setup import Setup
from linesim.studies.measure.bars.expected import expected_contrast, expected_transfer
from linesim.studies.measure.bars.group import MeasuredSet
from linesim.studies.measure.sharpness_input import Plane
from linesim.targets.bars import BarLayout, BarSet, bar_layout
from linesim.targets.catalogue import built_in
from linesim.targets.load import target_size

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
        msg = (
            f'image "{plane.name}": {plane.values.shape[1]} columns x {plane.values.shape[0]} '
            "lines read, which show no group of three bars whole and below Nyquist; expected a "
            "longer scan, or a finer one"
        )
        raise InputError(msg)
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
        msg = (
            f'--setup: its target.image is "{setup.target.image}"; expected "bars", the built-in '
            "target whose layout is known, or a --region for each group"
        )
        raise InputError(msg)
    width = int(numbers.geometry.image_width_px)
    if plane.values.shape[1] != width:
        msg = (
            f'image "{plane.name}": {plane.values.shape[1]} columns read; expected {width}, which '
            "the setup makes"
        )
        raise InputError(msg)


def _measured(
    plane: Plane, setup: Setup, frame: _Frame, layout: BarLayout, ground: Ground
) -> Iterator[MeasuredSet]:
    missing = ground.level - plane.values
    wanted = {way: expected_transfer(setup, way) for way in ("across", "along")}
    for bars in layout.sets:
        place = _place(bars, frame)
        if not place.within(plane.values.shape) or place.bar_px <= 0.5 / _NYQUIST_CYC_PX:
            continue
        profile, averaged = place.profile(missing)
        noise, offset = ground.doubt(bars.alternates, averaged)
        transfer = wanted[bars.alternates]
        yield MeasuredSet(
            name=f"{bars.group}/{bars.element}",
            alternates=bars.alternates,
            frequency_cyc_px=0.5 / place.bar_px,
            pitch_um=frame.pitch_um[0 if bars.alternates == "across" else 1],
            figures=bar_figures(
                profile,
                centre_px=place.centre_px,
                bar_px=place.bar_px,
                noise=noise,
                offset=offset,
            ),
            expected_mtf=float(transfer(np.array([bars.frequency_lp_mm]))[0]),
            expected_contrast=expected_contrast(transfer, bars.frequency_lp_mm),
        )


def _place(bars: BarSet, frame: _Frame) -> BarPlace:
    size_mm = bars.size_mm
    box_mm = (bars.x_mm, bars.y_mm, bars.x_mm + size_mm, bars.y_mm + size_mm)
    return BarPlace(alternates=bars.alternates, box=frame.box(box_mm))
