"""Faults at random places, of random sizes and strengths."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import hypot
from typing import Literal

import numpy as np

from linesim.defects.kinds import Placed, Value
from linesim.defects.pose import Pose
from linesim.defects.recipes import Recipe
from linesim.setup.errors import InputError, refuse

EdgeRule = Literal["inside", "cut"]
"""Whole faults only, or such as the area's edge may cut: their middle lies inside."""
Box = tuple[float, float, float, float]
"""Left, top, right, bottom. [mm]"""

_TRIES = 400
_FORMS = 1 << 31


class NoRoomError(InputError):
    """A fault that is larger than the area, or finds no free place."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOut:
    """A fault that was asked for and found no room."""

    kind: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Area:
    """Part of a target."""

    # its sides: across from the optical axis, along from the leading edge [mm]
    left_mm: float
    top_mm: float
    right_mm: float
    bottom_mm: float

    def __post_init__(self) -> None:
        """Refuse an empty one."""
        if not (self.left_mm < self.right_mm and self.top_mm < self.bottom_mm):
            refuse(
                f"area: read {self.left_mm:g} to {self.right_mm:g} mm across and "
                f"{self.top_mm:g} to {self.bottom_mm:g} mm along, expected a size above 0"
            )


def draw_faults(
    random: np.random.Generator,
    recipes: Sequence[Recipe],
    area: Area,
    *,
    min_distance_mm: float = 0.0,
    edge_rule: EdgeRule = "inside",
) -> tuple[Placed, ...]:
    """
    Draw faults in the recipes' order: how many, how large, how strong, and where.

    Places are even over the area, but for those refused: each fault's upright box, its halo with
    it, keeps its distance from those of the faults before it, and so do the faults themselves.
    """
    ground = Ground(area=area, min_distance_mm=min_distance_mm, edge_rule=edge_rule)
    drawn, left_out = draw_with_room(random, recipes, ground)
    if left_out:
        raise InputError(left_out[0].why)
    return drawn


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """Where faults may lie."""

    area: Area
    min_distance_mm: float = 0.0
    edge_rule: EdgeRule = "inside"
    # callable, optional; tells whether a fault of a kind may lie in an upright box
    allowed: Callable[[str, Box], bool] | None = None


def draw_with_room(
    random: np.random.Generator, recipes: Sequence[Recipe], ground: Ground
) -> tuple[tuple[Placed, ...], tuple[LeftOut, ...]]:
    """Draw faults as `draw_faults` does, and leave out those that find no room."""
    boxes: list[Box] = []
    drawn: list[Placed] = []
    left_out: list[LeftOut] = []
    for recipe in recipes:
        for _ in range(int(random.integers(recipe.fewest, recipe.most, endpoint=True))):
            try:
                placed, box = _with_room(random, recipe, ground, boxes)
            except NoRoomError as refusal:
                left_out.append(LeftOut(kind=recipe.kind, why=str(refusal)))
                continue
            drawn.append(placed)
            boxes.append(box)
    return tuple(drawn), tuple(left_out)


def _with_room(
    random: np.random.Generator, recipe: Recipe, ground: Ground, boxes: list[Box]
) -> tuple[Placed, Box]:
    """Draw one fault, and places for it until one is free."""
    fault = _at_origin(random, recipe)
    own = fault.fault().box_mm
    left_mm, top_mm, right_mm, bottom_mm = _places(recipe.kind, own, ground.area, ground.edge_rule)
    allowed = ground.allowed or (lambda _kind, _box: True)
    for _ in range(_TRIES):
        x_mm = left_mm + float(random.random()) * (right_mm - left_mm)
        y_mm = top_mm + float(random.random()) * (bottom_mm - top_mm)
        box = own[0] + x_mm, own[1] + y_mm, own[2] + x_mm, own[3] + y_mm
        if all(gap_mm(box, other) >= ground.min_distance_mm for other in boxes) and allowed(
            recipe.kind, box
        ):
            return replace(fault, pose=replace(fault.pose, x_mm=x_mm, y_mm=y_mm)), box
    or_region = " or region" if ground.allowed else ""
    msg = (
        f"{recipe.kind}: found no room for it in {_TRIES} tries beside {len(boxes)} other faults; "
        f"expected fewer or smaller faults, a larger area{or_region} or a smaller distance"
    )
    raise NoRoomError(msg)


def _at_origin(random: np.random.Generator, recipe: Recipe) -> Placed:
    values: dict[str, Value] = {name: part.drawn(random) for name, part in recipe.ranges.items()}
    if "form" in recipe.which.parameters and "form" not in values:
        values["form"] = int(random.integers(_FORMS))
    pose = Pose(x_mm=0.0, y_mm=0.0, turn_deg=recipe.turn.drawn(random))
    return Placed(kind=recipe.kind, pose=pose, values=values, own=recipe.own)


def _places(kind: str, own: Box, area: Area, edge_rule: EdgeRule) -> Box:
    """Give the places that the middle of a fault may take."""
    if edge_rule == "cut":
        return area.left_mm, area.top_mm, area.right_mm, area.bottom_mm
    left_mm, top_mm = area.left_mm - own[0], area.top_mm - own[1]
    right_mm, bottom_mm = area.right_mm - own[2], area.bottom_mm - own[3]
    if left_mm > right_mm or top_mm > bottom_mm:
        msg = (
            f"{kind}: read a size of {own[2] - own[0]:.3g} x {own[3] - own[1]:.3g} mm, expected "
            f"up to the area's, {area.right_mm - area.left_mm:.3g} x "
            f"{area.bottom_mm - area.top_mm:.3g} mm, or faults that its edge may cut"
        )
        raise NoRoomError(msg)
    return left_mm, top_mm, right_mm, bottom_mm


def gap_mm(one: Box, two: Box) -> float:
    """Give the distance between two upright boxes."""
    across_mm = max(one[0] - two[2], two[0] - one[2], 0.0)
    along_mm = max(one[1] - two[3], two[1] - one[3], 0.0)
    return hypot(across_mm, along_mm)
