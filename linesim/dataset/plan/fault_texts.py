"""
The faults of a plan as they are written: which kinds, how many of each, how large, how strong.

```toml
[faults]
like = "foil"                   # sizes and strengths of "foil" or "tile" lines
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
from dataclasses import dataclass
from typing import Any

from linesim.dataset.plan.fault_values import (
    Reader,
    counts_of,
    key_of,
    needed_of,
    range_of,
    value_of,
)
from linesim.defects.draw import EdgeRule
from linesim.defects.kinds import KINDS, Placed, kind_named
from linesim.defects.pose import Pose
from linesim.defects.ranges import Each
from linesim.defects.recipes import ANY_WAY, FOIL, TILE, Recipe
from linesim.setup.errors import InputError
from linesim.setup.fields import Quantity
from linesim.setup.shown import shown

LINES = {"foil": FOIL, "tile": TILE}
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


def faults_of(table: object, line: str) -> tuple[FaultPlan, tuple[str, ...]]:
    """Read the faults of a plan."""
    if not isinstance(table, Mapping):
        return FaultPlan(), (f"faults: read {shown(table)}, but expected [faults] and its keys",)
    reader = Reader()
    like = table.get("like", line)
    if like not in LINES:
        reader.told.append(f'faults.like: read {shown(like)}, but expected "foil" or "tile"')
        like = line
    edge = table.get("edge", "cut")
    if edge not in {"inside", "cut"}:
        reader.told.append(f'faults.edge: read {shown(edge)}, but expected "inside" or "cut"')
    apart_mm = reader.checked("faults.min_distance", _DISTANCE, table.get("min_distance", "0.5 mm"))
    counts = counts_of("faults.count", table.get("count", "0:1"), reader)
    wanted = tuple(_wanted(table, LINES[like], counts, reader))
    return (
        FaultPlan(wanted=wanted, min_distance_mm=apart_mm or 0.0, edge=edge),
        tuple(reader.told),
    )


def _wanted(
    table: Mapping[str, Any], line: tuple[Recipe, ...], counts: tuple[int, ...], reader: Reader
) -> Iterator[Wanted]:
    """Read all kinds, each with what its own table says."""
    known = {recipe.kind: recipe for recipe in line}
    own = {name: part for name, part in table.items() if name not in _OWN}
    kinds = table.get("kinds", [*known, *(name for name in own if name not in known)])
    if not isinstance(kinds, list) or not kinds:
        reader.told.append(
            f'faults.kinds: read {shown(kinds)}, but expected a list such as ["pinhole", "scratch"]'
        )
        return
    names = [*map(str, kinds), *(name for name in own if name not in kinds)]
    for name in _in_order(names, reader):
        part = own.get(name, {})
        recipe = _lot(name, part, known.get(name), reader)
        if recipe is not None:
            given = "count" in part
            found = counts_of(f"faults.{name}.count", part["count"], reader) if given else counts
            yield Wanted(recipe=recipe, counts=found)


def _in_order(names: list[str], reader: Reader) -> list[str]:
    order = []
    for name in dict.fromkeys(names):
        try:
            order.append(kind_named(name))
        except InputError as refusal:
            reader.told.extend(f"faults.{name}: {told}" for told in refusal.faults)
    return [kind.name for kind in sorted(order, key=KINDS.index)]


def _lot(name: str, table: object, known: Recipe | None, reader: Reader) -> Recipe | None:
    """Read sizes and strengths of one kind over those known of it."""
    where, before = f"faults.{name}", len(reader.told)
    if not isinstance(table, Mapping):
        reader.told.append(f"{where}: read {shown(table)}, but expected [{where}] and its keys")
        return None
    found = _ranges(name, table, reader)
    turn = found.pop("turn", known.turn if known else ANY_WAY)
    have = {**(known.ranges if known else {}), **found}
    reader.told.extend(
        f"{where}.{key_of(each)}: nothing was read, but this key is needed"
        for each in needed_of(kind_named(name))
        if each not in have
    )
    if len(reader.told) > before:
        return None
    try:
        recipe = Recipe(kind=name, ranges=have, turn=turn)
        _refuse_ends(recipe)
    except InputError as refusal:
        reader.told.extend(f"{where}: {told}" for told in refusal.faults)
        return None
    return recipe


def _ranges(name: str, table: Mapping[str, Any], reader: Reader) -> dict[str, Any]:
    """Read what a kind's own table says, but for how many."""
    names = {key_of(each): each for each in kind_named(name).parameters if each != "form"}
    found: dict[str, Any] = {}
    for key, value in table.items():
        where = f"faults.{name}.{key}"
        if key == "turn":
            found["turn"] = range_of(where, "turn_deg", value, reader)
        elif key in names:
            found[names[key]] = value_of(where, names[key], value, reader)
        elif key != "count":
            reader.told.append(
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
        Placed(kind=recipe.kind, pose=Pose(x_mm=0.0, y_mm=0.0), values=values).fault()
