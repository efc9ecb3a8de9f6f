"""
The faults of a plan as they are written: which kinds, how many of each, how large, how strong.

```toml
[faults]
like = "foil"                   # sizes and strengths of a line: "tile", "metal", "cloth", …
count = "0:1"                   # of each kind in an image that is not good
min_distance = "0.5 mm"
edge = "cut"                    # or "inside"
kinds = ["pinhole", "scratch"]  # left out: all of that line, and those with a table here
[faults.pinhole]                # goes over it, key by key
count = [0, 0, 3]
diameter = "60 um:400 um:log"
change = "0.8:4:log"            # three in a list: red, green, blue
```
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from linesim.dataset.plan.fault_values import (
    Reader,
    counts_of,
    key_of,
    needed_of,
    range_of,
    value_of,
)
from linesim.dataset.plan.own_faults import OWN_KEYS, OwnKinds, own_kinds
from linesim.defects.draw import EdgeRule
from linesim.defects.kinds import Kind, Placed, kind_named
from linesim.defects.lines.cloth import CLOTH
from linesim.defects.lines.metal import METAL
from linesim.defects.lines.printed import PRINTED
from linesim.defects.lines.timber import TIMBER
from linesim.defects.pose import Pose
from linesim.defects.ranges import Each
from linesim.defects.recipes import ANY_TURN, FOIL, TILE, Recipe
from linesim.files.srgb import Encoding
from linesim.setup.errors import InputError
from linesim.setup.fields import Quantity
from linesim.setup.shown import shown

LINES = {
    "foil": FOIL,
    "tile": TILE,
    "metal": METAL,
    "cloth": CLOTH,
    "timber": TIMBER,
    "print": PRINTED,
}
"""Lists of faults by name."""
_OWN = ("like", "count", "min_distance", "edge", "kinds")
_DISTANCE = Quantity(what="a distance", example='"0.5 mm"', unit="mm", low=0.0, high=1e4)


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What to draw of one kind."""

    recipe: Recipe
    counts: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultPlan:
    """The faults of a set."""

    wanted: tuple[Wanted, ...] = ()
    min_distance_mm: float = 0.5
    edge: EdgeRule = "cut"
    files: Mapping[str, tuple[Path, ...]] = field(default_factory=dict)
    """Of kinds that are cut out of images, by name."""

    @property
    def kinds(self) -> tuple[Kind, ...]:
        """All kinds that it may draw, by class number."""
        return tuple(sorted((each.recipe.which for each in self.wanted), key=_class_id))


def faults_of(
    table: object, line: str, folder: Path | None = None, encoding: Encoding = "linear"
) -> tuple[FaultPlan, tuple[str, ...]]:
    """Read the faults of a plan; files are named from its folder, coded as its target is."""
    if not isinstance(table, Mapping):
        return FaultPlan(), (f"faults: read {shown(table)}, but expected [faults] and its keys",)
    reader = Reader()
    like = table.get("like", line)
    if not isinstance(like, str) or like not in LINES:
        reader.faults.append(
            f"faults.like: read {shown(like)}, but expected one of {', '.join(LINES)}"
        )
        like = line
    edge = table.get("edge", "cut")
    if edge not in {"inside", "cut"}:
        reader.faults.append(f'faults.edge: read {shown(edge)}, but expected "inside" or "cut"')
    apart_mm = reader.checked("faults.min_distance", _DISTANCE, table.get("min_distance", "0.5 mm"))
    counts = counts_of("faults.count", table.get("count", "0:1"), reader)
    own = own_kinds(table, folder or Path(), encoding, reader)
    wanted = tuple(_wanted(table, LINES[like], (counts, own), reader))
    return (
        FaultPlan(wanted=wanted, min_distance_mm=apart_mm or 0.0, edge=edge, files=own.files),
        tuple(reader.faults),
    )


def _class_id(kind: Kind) -> int:
    return kind.class_id


def _wanted(
    table: Mapping[str, Any],
    line: tuple[Recipe, ...],
    common: tuple[tuple[int, ...], OwnKinds],
    reader: Reader,
) -> Iterator[Wanted]:
    """Read all kinds, each with what its own table says."""
    counts, mine = common
    known = {recipe.kind: recipe for recipe in line}
    own = {name: part for name, part in table.items() if name not in _OWN}
    kinds = table.get("kinds", [*known, *(name for name in own if name not in known)])
    if not isinstance(kinds, list) or not kinds:
        reader.faults.append(
            f'faults.kinds: read {shown(kinds)}, but expected a list such as ["pinhole", "scratch"]'
        )
        return
    names = [*map(str, kinds), *(name for name in own if name not in kinds)]
    refused = {name for name in own if _makes_one(own[name]) and name not in mine.kinds}
    for kind in _in_order([name for name in names if name not in refused], mine, reader):
        name = kind.name
        part = own.get(name, {})
        if kind.identity:
            part = {key: value for key, value in part.items() if key not in OWN_KEYS}
        recipe = recipe_of(f"faults.{name}", kind, part, known.get(name), reader)
        if recipe is not None:
            given = "count" in part
            found = counts_of(f"faults.{name}.count", part["count"], reader) if given else counts
            yield Wanted(recipe=recipe, counts=found)


def _makes_one(part: object) -> bool:
    return isinstance(part, Mapping) and bool({"images", "outline_mm"} & set(part))


def _in_order(names: list[str], mine: OwnKinds, reader: Reader) -> list[Kind]:
    order = []
    for name in dict.fromkeys(names):
        try:
            order.append(mine.kinds.get(name) or kind_named(name))
        except InputError as refusal:
            reader.faults.extend(f"faults.{name}: {sentence}" for sentence in refusal.faults)
    return sorted(order, key=_class_id)


def recipe_of(
    where: str, kind: Kind, table: object, known: Recipe | None, reader: Reader
) -> Recipe | None:
    """Read sizes and strengths of one kind over those known of it."""
    before = len(reader.faults)
    if not isinstance(table, Mapping):
        reader.faults.append(f"{where}: read {shown(table)}, but expected [{where}] and its keys")
        return None
    found = _ranges(where, kind, table, reader)
    turn = found.pop("turn", known.turn if known else ANY_TURN)
    have = {**(known.ranges if known else {}), **found}
    reader.faults.extend(
        f"{where}.{key_of(each)}: nothing was read, but this key is needed"
        for each in needed_of(kind)
        if each not in have
    )
    if len(reader.faults) > before:
        return None
    try:
        own = kind if kind.identity else None
        recipe = Recipe(kind=kind.name, ranges=have, turn=turn, own=own)
        _refuse_ends(recipe)
    except InputError as refusal:
        reader.faults.extend(f"{where}: {sentence}" for sentence in refusal.faults)
        return None
    return recipe


def _ranges(above: str, kind: Kind, table: Mapping[str, Any], reader: Reader) -> dict[str, Any]:
    """Read what a kind's own table says, but for how many."""
    names = {key_of(each): each for each in kind.parameters if each != "form"}
    found: dict[str, Any] = {}
    for key, value in table.items():
        where = f"{above}.{key}"
        if key == "turn":
            found["turn"] = range_of(where, "turn_deg", value, reader)
        elif key in names:
            found[names[key]] = value_of(where, names[key], value, reader)
        elif key != "count":
            reader.faults.append(
                f"{where}: read {shown(value)}, but there is no such key; known here are "
                f"{', '.join(['count', 'turn', *names])}"
            )
    return found


def _refuse_ends(recipe: Recipe) -> None:
    """Make the fault at both ends of all its ranges; between legal ends, all are legal."""
    for end in ("low", "high"):
        values = {
            name: tuple(getattr(part, end) for part in each.ranges)
            if isinstance(each, Each)
            else getattr(each, end)
            for name, each in recipe.ranges.items()
        }
        middle = Pose(x_mm=0.0, y_mm=0.0)
        Placed(kind=recipe.kind, pose=middle, values=values, own=recipe.own).fault()
