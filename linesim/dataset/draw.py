"""What one image shall be, in plain numbers: station, place, faults. A function of its index."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import ceil
from typing import Any

import numpy as np

from linesim.dataset.allowed import allowed
from linesim.dataset.plan.keys import (
    FAULT_STREAM,
    NUISANCE_STREAM,
    PLACE_STREAM,
    STATION_STREAM,
    image_stream,
    scan_seed,
)
from linesim.dataset.plan.nuisances import drawn_nuisances
from linesim.dataset.plan.plan import Plan
from linesim.dataset.plan.wide import with_own_camera
from linesim.dataset.scenes import Piece, Room, piece_at, strip_at
from linesim.defects.draw import Area, Ground, LeftOut, draw_with_room
from linesim.defects.kinds import Placed
from linesim.defects.recipes import Recipe
from linesim.figures.budget import scan_lines
from linesim.forward.sampling.fineness import refuse_too_fine
from linesim.forward.station import Station, station
from linesim.forward.transport import first_line_um
from linesim.setup.errors import InputError
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from linesim.targets.load import TargetSize

_TRIES = 30
_MARGIN = 0.02
"""Of the field, around what is scanned, as far as the scene has it: blur and faults look there."""
_DIGITS = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """What one image shall be."""

    index: int
    changes: Mapping[str, Any]
    setup: Setup
    lines: int
    seed: int
    scene: int
    piece: Piece
    faults: tuple[Placed, ...]
    left_out: tuple[LeftOut, ...] = ()  # faults that were asked for and found no room
    nuisances: tuple[Placed, ...] = ()  # no faults, on good product too


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """The station of one image and what it scans."""

    changes: Mapping[str, Any]
    setup: Setup
    numbers: Station
    lines: int

    @property
    def width_px(self) -> int:
        """Samples of a line."""
        return int(self.numbers.geometry.image_width_px)

    @property
    def field_mm(self) -> tuple[float, float]:
        """Scanned across, and along up to the last line. [mm]."""
        advance_um = float(self.numbers.timing.line_advance_um)
        along_mm = self.lines * advance_um / 1000 + self.first_mm
        return float(self.numbers.geometry.field_of_view_mm), along_mm

    @property
    def area(self) -> Area:
        """The part of the target that is scanned."""
        across_mm, along_mm = self.field_mm
        half_mm = across_mm / 2
        return Area(left_mm=-half_mm, top_mm=self.first_mm, right_mm=half_mm, bottom_mm=along_mm)

    def grid_mm(self, plan: Plan) -> tuple[float, float, float]:
        """Sides of a scene's pixel across and along, and where along its first one lies. [mm]."""
        if not plan.scenes.real:
            return plan.scenes.pixel_size_um / 1000, plan.scenes.pixel_size_um / 1000, 0.0
        across_um = float(self.numbers.geometry.object_pixel_x_um)
        return across_um / 1000, float(self.numbers.timing.line_advance_um) / 1000, self.first_mm

    @property
    def first_mm(self) -> float:
        """Where the first line starts. [mm]."""
        return first_line_um(self.setup, self.numbers) / 1000


class PlanRefusedError(InputError):
    """A plan of which an image can never be made; what was made by it so far is of no use."""


def taken(plan: Plan, index: int) -> Taken:
    """Draw the station of an image."""
    random = image_stream(plan.seed, index, STATION_STREAM)
    changes: dict[str, Any] = {}
    for span in plan.spans:
        changes.update(span.drawn(random))
    if plan.cameras_apart:
        changes = with_own_camera(changes, plan.split(index))
    try:
        setup = changed(plan.base, changes)
        numbers = station(setup)
        refuse_too_fine(numbers, setup.target.pixel_size_um, setup.transport.flutter_mm)
    except InputError as refusal:
        said = ", ".join(f"{key} = {value}" for key, value in changes.items())
        raise PlanRefusedError(
            *(f"image {index}, drawn with {said}: {fault}" for fault in refusal.faults)
        ) from None
    return Taken(
        changes=changes,
        setup=setup,
        numbers=numbers,
        lines=scan_lines(setup, numbers, TargetSize(rows=1, columns=1)),
    )


def drawn(plan: Plan, index: int) -> Drawn:
    """Draw all of an image."""
    shot = taken(plan, index)
    scene = plan.scenes.of_image(index)
    piece = _piece(plan, index, shot, scene)
    faults, left_out = ((), ()) if plan.is_good(index) else _faults(plan, index, shot, piece)
    return Drawn(
        index=index,
        changes=shot.changes,
        setup=shot.setup,
        lines=shot.lines,
        seed=scan_seed(plan.seed, index),
        scene=scene,
        piece=piece,
        faults=faults,
        left_out=left_out,
        nuisances=drawn_nuisances(
            plan.nuisances, image_stream(plan.seed, index, NUISANCE_STREAM), shot.area
        ),
    )


def _piece(plan: Plan, index: int, shot: Taken, scene: int) -> Piece:
    """Choose where on its scene an image is taken."""
    random = image_stream(plan.seed, index, PLACE_STREAM)
    places = float(random.random()), float(random.random())
    name, shape = plan.scenes.name(scene), plan.scene_shape(scene)
    if plan.scenes.real:
        strip = Room(rows=shot.lines, columns=shot.width_px, margin_px=0)
        return strip_at(shape, strip, places, name)
    pitch_mm = plan.scenes.pixel_size_um / 1000
    across, along = (ceil(round(side_mm / pitch_mm, _DIGITS)) for side_mm in shot.field_mm)
    room = Room(rows=along, columns=across, margin_px=ceil(_MARGIN * across))
    return piece_at(shape, room, places, name)


def _faults(
    plan: Plan, index: int, shot: Taken, piece: Piece
) -> tuple[tuple[Placed, ...], tuple[LeftOut, ...]]:
    """Draw faults; those that find no room are left out."""
    ground = Ground(
        area=shot.area,
        min_distance_mm=plan.faults.min_distance_mm,
        edge_rule=plan.faults.edge,
        allowed=allowed(plan, plan.scenes.of_image(index), piece, shot.grid_mm(plan)),
    )
    for attempt in range(_TRIES):
        random = image_stream(plan.seed, index, FAULT_STREAM, attempt)
        recipes = _drawn_kinds(plan, random)
        if recipes:
            break
    else:
        random = image_stream(plan.seed, index, FAULT_STREAM, _TRIES)
        recipes = [_one_kind(plan, random)]
    return draw_with_room(random, recipes, ground)


def _drawn_kinds(plan: Plan, random: np.random.Generator) -> list[Recipe]:
    """Draw how many of each kind there are."""
    recipes = []
    for each in plan.faults.wanted:
        count = each.counts[int(random.random() * len(each.counts))]
        if count:
            recipes.append(replace(each.recipe, fewest=count, most=count))
    return recipes


def _one_kind(plan: Plan, random: np.random.Generator) -> Recipe:
    """Draw one kind by how likely each is, and how many of it; two at once hardly ever come."""
    some = [(each, [count for count in each.counts if count]) for each in plan.faults.wanted]
    chances = np.cumsum([len(counts) / len(each.counts) for each, counts in some])
    chosen = int(np.searchsorted(chances, random.random() * chances[-1], side="right"))
    each, counts = some[min(chosen, len(some) - 1)]
    count = counts[int(random.random() * len(counts))]
    return replace(each.recipe, fewest=count, most=count)
