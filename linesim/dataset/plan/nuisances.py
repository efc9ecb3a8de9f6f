"""
What lies on good product and is no fault: dust, fibres, joints, wrinkles. Drawn, never labelled.

```toml
[nuisances]                     # left out: none
like = "foil"                   # sizes and strengths for a "foil" or a "tile" line
dust = "0:6"                    # how many in an image, good or not
[nuisances.fibre]               # goes over the list, key by key
count = "0:2"
length = "1 mm:4 mm:log"
```
"""

from collections.abc import Mapping

import numpy as np

from linesim.dataset.plan.fault_texts import FaultPlan, Wanted, recipe_of
from linesim.dataset.plan.fault_values import Reader, counts_of
from linesim.defects.draw import Area, draw_faults
from linesim.defects.kinds import Placed
from linesim.defects.nuisances import NUISANCES
from linesim.defects.recipes import Recipe
from linesim.setup.shown import shown

SOME: Mapping[str, object] = {
    "dust": "0:5",
    "fibre": [0, 0, 1],
    "joint": [0, 0, 0, 0, 0, 0, 0, 1],
    "wrinkle": [0, 0, 0, 1],
}
"""How many, where a plan wants some and says no more; our choice."""


def nuisances_of(table: object, line: str) -> tuple[FaultPlan, tuple[str, ...]]:
    """Read the table [nuisances] of a plan; ``line`` is the line of production if none is named."""
    if not isinstance(table, Mapping):
        said = f"nuisances: read {shown(table)}, but expected [nuisances] and its keys"
        return FaultPlan(), (said,)
    own_line = line if line in NUISANCES else "foil"
    reader, like = Reader(), table.get("like", own_line)
    if not isinstance(like, str) or like not in NUISANCES:
        reader.faults.append(f'nuisances.like: read {shown(like)}, but expected "foil" or "tile"')
        like = own_line
    own = {name: part for name, part in table.items() if name != "like"}
    reader.faults.extend(
        f"nuisances.{name}: read {shown(part)}, but expected one of {', '.join(NUISANCES[like])}"
        for name, part in own.items()
        if name not in NUISANCES[like]
    )
    wanted = [
        _wanted(recipe, own[name], reader)
        for name, recipe in NUISANCES[like].items()
        if name in own
    ]
    plan = FaultPlan(wanted=tuple(each for each in wanted if each), min_distance_mm=0.0)
    return plan, tuple(reader.faults)


def _wanted(known: Recipe, part: object, reader: Reader) -> Wanted | None:
    """Read one: how many, and perhaps more."""
    where = f"nuisances.{known.kind}"
    own: Mapping[str, object] = part if isinstance(part, Mapping) else {"count": part}
    recipe = recipe_of(where, known.which, own, known, reader)
    counts = counts_of(f"{where}.count", own.get("count", SOME[known.kind]), reader)
    return None if recipe is None else Wanted(recipe=recipe, counts=counts)


def drawn_nuisances(plan: FaultPlan, random: np.random.Generator, area: Area) -> tuple[Placed, ...]:
    """Draw what lies on one image's piece of product, anywhere, one over the other by chance."""
    found: list[Placed] = []
    for each in plan.wanted:
        count = each.counts[int(random.random() * len(each.counts))]
        recipe = Recipe(
            kind=each.recipe.kind,
            ranges=each.recipe.ranges,
            fewest=count,
            most=count,
            turn=each.recipe.turn,
            own=each.recipe.own,
        )
        found.extend(draw_faults(random, [recipe], area, edge_rule="cut"))
    return tuple(found)
