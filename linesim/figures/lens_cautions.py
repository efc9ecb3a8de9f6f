"""Cautions about what a lens does towards the ends of the line."""

import numpy as np

from linesim.figures.case import Case, Found, values
from linesim.figures.groups import ENDS
from linesim.figures.plain_numbers import digits
from linesim.forward.sampling.zones import places_um

_SOFT = 0.5
"""MTF at Nyquist at the ends over that in the middle, our choice."""
_FRINGE_PX = 0.25
"""As along travel, our choice."""
_OFF_PX = 1.0


def lens_cautions(case: Case) -> Found:
    """Tell where ends are soft, coloured, or not where they seem."""
    for check in (_soft_ends, _colours_apart, _distorted):
        yield from check(case)


def _soft_ends(case: Case) -> Found:
    sharp = case.groups["resolution"]
    pairs = [
        (middle, ends, where)
        for name, where in (("mtf_nyquist_x", "across"), ("mtf_nyquist_y", "along"))
        if name + ENDS in sharp
        for middle, ends in zip(values(sharp[name]), values(sharp[name + ENDS]), strict=True)
    ]
    soft = [pair for pair in pairs if pair[1] < _SOFT * pair[0]]
    if soft:
        middle, ends, where = min(soft, key=lambda pair: pair[1] / pair[0])
        text = (
            f"Where the lens is worst along the line, the MTF at Nyquist {where} is {ends:.2f}, "
            f"under half of the {middle:.2f} in the middle (our threshold). Stop the lens down, "
            "take one made for a longer line, or square the camera up if focus is what differs."
        )
        yield "soft_ends", text


def _colours_apart(case: Case) -> Found:
    shift_px = case.groups["geometry"].get("misregistration_x_px")
    worst = 0.0 if shift_px is None else max(map(abs, values(shift_px)))
    if worst > _FRINGE_PX:
        text = (
            f"At an end of the line a colour lies {worst:.2g} pixels off green across, over "
            "0.25 (ours): edges along travel get coloured fringes there, whatever the "
            "alignment of lines. A lens better corrected for lateral colour, or a prism set "
            "up more closely, has less."
        )
        yield "fringe_across", text


def _distorted(case: Case) -> Found:
    place = case.numbers.geometry
    if case.setup.lens.distortion is None:
        return
    side_um = float(place.object_pixel_x_um)
    half_um = side_um * float(place.image_width_px) / 2
    nominal_um = np.array([-half_um, side_um - half_um, half_um - side_um, half_um])
    seen_um = places_um(case.setup, 1 if case.setup.camera.kind != "mono" else 0, nominal_um)
    off_um = float(np.abs(seen_um - nominal_um).max())
    wide_um = np.diff(seen_um)[[0, 2]]
    if off_um > _OFF_PX * side_um:
        text = (
            f"By the lens's distortion the ends of the line look {off_um / 1000:.3g} mm beside "
            f"where the magnification alone has them, and an object pixel there is "
            f"{digits(float(wide_um.max()))} um wide, not {digits(side_um)}: measure lengths "
            "after calibration only."
        )
        yield "distortion", text
