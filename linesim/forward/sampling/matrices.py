"""Both matrices of a station: what its lens, pixels and motion make of the reference."""

from collections.abc import Callable
from functools import partial
from math import ceil
from typing import NamedTuple

import numpy as np

from linesim.forward.channels import Channel
from linesim.forward.reference import Reference
from linesim.forward.sampling.across import (
    TILE_COLUMNS,
    AcrossPlan,
    across_tiles,
    blurred_sides,
    leaked,
    phases_over,
)
from linesim.forward.sampling.coarse import CoarseReference
from linesim.forward.sampling.placement import AS_SET_UP, Placement
from linesim.forward.sampling.sampler import Sampler
from linesim.forward.sampling.smear import leaning, smears_of
from linesim.forward.sampling.zones import Sides, places_um, stretched, zones_of
from linesim.forward.spread import LensSpread
from linesim.forward.station import Station
from linesim.setup.arrays import FloatArray
from linesim.setup.setup import Setup

_TILE_STEP = 0.1
"""Change of shift, by skew or scale, over a tile of columns: at most that part of a pixel."""
LensAt = Callable[[float], LensSpread]
"""The lens's spread at a place of the line, from -1 to 1."""


class Made(NamedTuple):
    """
    What matrices are made of, besides the station.

    Parameters
    ----------
    lens_at : callable; the lens's spread at a place of the line
    split : (int, int); pixels kept apart in a delivered one, across and along
    white : ndarray of shape (columns,); what a column gives on white
    crosstalk : float; share of a pixel's charge in each neighbour
    placement : Placement; where the target lies
    """

    lens_at: LensAt
    split: tuple[int, int]
    white: FloatArray
    crosstalk: float = 0.0
    placement: Placement = AS_SET_UP


def sampler(
    setup: Setup,
    numbers: Station,
    reference: Reference,
    channel: Channel,
    made_of: "Made",
) -> Sampler:
    """Build both matrices."""
    (across, along), lies = made_of.split, made_of.placement
    place = numbers.geometry
    width_um, side_um = float(place.object_pixel_x_um) / across, float(place.row_side_um) / along
    columns = int(place.image_width_px) * across
    nominal_um = (np.arange(columns, dtype=np.float64) - columns / 2) * width_um
    sides_at = partial(
        _sides, setup, numbers, (width_um, side_um), (made_of.lens_at, made_of.crosstalk)
    )
    zones = zones_of(setup, nominal_um + width_um / 2, sides_at)
    ends_um = places_um(setup, channel.index, np.append(nominal_um, nominal_um[-1] + width_um))
    ends_um = lies.across_um + lies.scale_across * ends_um
    bent = setup.lens.distortion is not None or setup.lens.lateral_colour_um is not None
    bent = bent or lies.scale_across != 1
    smears = smears_of(setup, numbers, width_um)
    axis_um, lead_um = _axis_um(reference)
    plan = AcrossPlan(
        zones=zones,
        axis_um=axis_um,
        left_um=axis_um + ends_um[:-1],
        side_um=width_um,
        profile=np.asarray(made_of.white, dtype=np.float32),
        widths_um=np.diff(ends_um) if bent else None,
        smears=smears,
    )
    slope = _slope(setup) + lies.tilt
    cut = _cut(setup, (width_um, side_um), reference.pixel_size_um, (slope, lies.sways))
    tile_columns, phases = cut
    along_feet = (zone.sides.along for zone in zones)
    return Sampler(
        reference=reference,
        repeat=setup.target.repeat,
        bands=channel.bands.astype(np.float32),
        zones=tuple((*feet, *leaning(feet, smears.orders)) for feet in along_feet),
        side_um=side_um,
        tiles=across_tiles(plan, reference, columns=tile_columns, phases=phases),
        slope=slope,
        smears=smears,
        lead_um=lead_um,
    )


def _axis_um(reference: Reference) -> tuple[float, float]:
    """Tell where the optical axis lies from the left edge, and row 0 from the leading one."""
    if isinstance(reference, CoarseReference):
        width_um = reference.fine.shape[1] * reference.fine.pixel_size_um
        return reference.lead_um + width_um / 2, reference.lead_um
    return reference.shape[1] * reference.pixel_size_um / 2, 0.0


def _slope(setup: Setup) -> float:
    """Give the shift along travel over the distance from the axis."""
    return float(np.tan(np.deg2rad(setup.transport.skew_deg)))


def _sides(
    setup: Setup,
    numbers: Station,
    sides_um: tuple[float, float],
    blur: tuple[LensAt, float],
    position: float,
) -> Sides:
    """Blur both sides of a pixel at a place of the line."""
    (width_um, side_um), (lens_at, crosstalk) = sides_um, blur
    place, stages = numbers.geometry, setup.camera.tdi_stages
    lens, finer = lens_at(position), float(stretched(setup, np.array([position]))[0])
    row_um = float(place.row_side_um)
    out_of_step_um = float(numbers.timing.exposed_advance_um - place.row_side_um)
    across = blurred_sides(lens.terms, width_um, stages, _slope(setup) * row_um)
    along = blurred_sides(lens.along, side_um, stages, out_of_step_um)
    return Sides(
        across=leaked(across, crosstalk, float(place.object_pixel_x_um) / int(place.across)),
        along=tuple(foot.shrunk(finer) for foot in along),
        weights=lens.weights,
    )


def _cut(
    setup: Setup, sides_um: tuple[float, float], pitch_um: float, leans: tuple[float, bool]
) -> tuple[int, int]:
    """Choose the columns of a tile, and the shifts to work out for each."""
    (width_um, side_um), moves, (slope, also) = sides_um, setup.transport, leans
    stretch = moves.flutter_mm / setup.view_distance_mm
    step = max(abs(slope) * width_um / side_um, stretch, _TILE_STEP / TILE_COLUMNS)
    columns = ceil(_TILE_STEP / step)
    sways = moves.lateral_wander_um > 0 or moves.flutter_mm > 0 or also
    if not sways and not (slope != 0 and setup.camera.kind == "three-line"):
        return columns, 1
    return columns, phases_over(stretch * columns * width_um / pitch_um)
