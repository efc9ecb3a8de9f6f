"""Which set-up at all: every option of a space judged in closed form, and the best of them."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from linesim.figures.verdicts import worst_state
from linesim.setup.arguments import refuse_other
from linesim.setup.arrays import FloatArray
from linesim.setup.errors import refuse
from linesim.studies.batch.figures import Progress, nobody
from linesim.studies.batch.judged import DEMANDS, PASSED
from linesim.studies.batch.ranges import evenly
from linesim.studies.batch.station_arrays import Places, alike
from linesim.studies.rank.front import front_of
from linesim.studies.rank.option_table import DETECTION, Table, detect_all, judge_all, worst_size_um
from linesim.studies.rank.row import Alternatives, Row, alternatives, checked_rows, same_as
from linesim.studies.rank.space import Space

TOP = 10
LIGHT_KEYS = frozenset({"light.illuminance", "light.irradiance"})
"""What sets the amount of light, and nothing else."""
_SAME_DIGITS = 9
_SAME_SIZE_DIGITS = 4
"""What agrees in so many digits counts as equal; sizes are that much less exact."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ranking:
    """A space of set-ups, judged."""

    space: Space  # what may be chosen
    # name -> one value an option; not a number where it was not worked out
    figures: Mapping[str, FloatArray]
    # of these, the size that is just found: of a disc, or the width of the scratch asked for
    size_name: str
    first: NDArray[np.int8]  # shape (options,); place among the demands of the first that is missed
    margin: FloatArray  # shape (options,); by which share it is missed; 0 where none is
    # options that pass: least light first, then most area a second, then the smallest size
    order: Places
    front: Places  # of these, those that no other beats in light, speed and size, in the same order
    refused: Mapping[str, int]  # the sentence of a refusal -> options that it refuses
    # the best, each checked as a file is; options that differ in nothing that counts are one
    rows: tuple[Row, ...] = ()
    # of those that differ in the amount of light alone, the one of the least, checked likewise
    distinct: tuple[Row, ...] = ()
    front_rows: tuple[Row, ...] = ()  # some of the front from end to end, checked likewise
    nearest: Row | None = None  # where nothing passes: the option that is missed last and by least

    @property
    def size_um(self) -> FloatArray:
        """Size that each option just finds at the worst place of the line. [µm]."""
        return worst_size_um(self.figures, self.size_name)

    @property
    def misses(self) -> dict[str, int]:
        """Options that miss each demand first, in the order in which demands are judged."""
        counts = np.bincount(self.first, minlength=PASSED + 1)
        return {name: int(n) for name, n in zip(DEMANDS, counts, strict=False) if n}

    def least_missed(self, demand: str) -> float:
        """Give the margin of the option that misses a demand first, and by least."""
        return float(self.margin[self.first == DEMANDS.index(demand)].max())


def rank(space: Space, top: int = TOP, progress: Progress = nobody) -> Ranking:
    """
    Judge every option of a space, and rank those that meet all demands.

    Parameters
    ----------
    space : Space; what may be chosen, as `load_space` reads it
    top : int; how many of the best, and of the front, are checked as files are, and shown
    progress : callable, optional; is told how many options are judged, and of how many

    Raises
    ------
    InputError; where no option at all is a legal setup
    """
    refuse_other(space, Space, "space", "what load_space gives")
    table = Table.empty(space.count, _size_name(space))
    judge_all(space, table, progress)
    if sum(table.refused.values()) == space.count:
        why = "\n".join(dict.fromkeys(table.refused))
        refuse(f"options: none of the {space.count} options is a legal setup: {why}")
    detect_all(space, table)
    found = None
    while found is None:
        found = _ranked(space, table, top)
    return found


def _size_name(space: Space) -> str:
    """Name the size that is just found, of what is looked for."""
    need = space.base.requirement
    if need.defect_relief is not None:
        return "smallest_relief_um"
    return "smallest_detectable_um" if need.defect_shape == "disc" else "smallest_width_um"


def _ranked(space: Space, table: Table, top: int) -> Ranking | None:
    """Rank what passes; nothing where the budget of one that is shown says no after all."""
    order = _ordered(np.flatnonzero(table.first == PASSED), table)
    front = order[np.sort(front_of(_objectives(order, table)))]
    nearest = _nearest(table) if order.size == 0 else order[:0]
    along = front[evenly(range(len(front)), top)]
    best = _best(space, table, order, top)
    distinct = _best(space, table, _least_lit(space, order), top)
    shown = {**{int(k): _instead(space, table, int(k)) for k in (*along, *nearest)}, **best}
    rows = checked_rows(space, shown, table.figures)
    rows |= _beside(space, table, {k: each for k, each in distinct.items() if k not in rows})
    if _struck(table, rows):
        return None
    return Ranking(
        space=space,
        figures=table.figures,
        size_name=table.size_name,
        first=table.first,
        margin=table.margin,
        order=order,
        front=front,
        refused=table.refused,
        rows=tuple(rows[k] for k in best),
        distinct=tuple(rows[k] for k in distinct),
        front_rows=tuple(rows[int(k)] for k in along),
        nearest=rows[int(nearest[0])] if nearest.size else None,
    )


def _best(space: Space, table: Table, order: Places, top: int) -> dict[int, Alternatives]:
    """Choose the first so many; what does as well as one before is not chosen again."""
    chosen: dict[int, Alternatives] = {}
    covered: set[int] = set()
    for index in order.tolist():
        if len(chosen) == top:
            break
        if index not in covered:
            chosen[index] = _instead(space, table, index)
            covered.update(chosen[index].index.tolist())
    return chosen


def _beside(space: Space, table: Table, shown: Mapping[int, Alternatives]) -> dict[int, Row]:
    """Check further options, and leave the figures of the table as they are."""
    if not shown:
        return {}
    places = np.array(list(shown), dtype=np.intp)
    kept = {name: column[places].copy() for name, column in table.figures.items()}
    rows = checked_rows(space, shown, table.figures)
    for name, values in kept.items():
        table.figures[name][places] = values
    return rows


def _least_lit(space: Space, order: Places) -> Places:
    """Keep the first, which has the least light, of options that differ in its amount alone."""
    chosen = np.unravel_index(order, space.shape)
    is_light = [bool(axis.keys) and axis.keys <= LIGHT_KEYS for axis in space.axes]
    kept = [place for place, light in zip(chosen, is_light, strict=True) if not light]
    if len(kept) == len(chosen) or not order.size:
        return order
    columns = np.stack(kept) if kept else np.zeros((1, order.size), dtype=np.intp)
    first = np.unique(columns, axis=1, return_index=True)[1]
    return order[np.sort(first)]


def _instead(space: Space, table: Table, index: int) -> Alternatives:
    """Find what makes no difference that counts: to light, throughput, SNR and what is found."""
    figures = table.figures
    snr = np.minimum(figures["snr_product"], figures["snr_product_ends"])
    exact = [figures[name] for name in ("irradiance_target_w_m2", "area_rate_m2_s")]
    close = [snr, table.size_um, figures["depth_of_field_mm"]]
    same = same_as(index, table.first == PASSED, exact, close)
    return alternatives(space, index, same)


def _struck(table: Table, rows: Mapping[int, Row]) -> bool:
    """Count options as missed whose own budget misses what all at once met: ties, by rounding."""
    wrong = [
        index
        for index, row in rows.items()
        if table.first[index] == PASSED and worst_state(row.budget.verdicts) != "met"
    ]
    table.first[wrong], table.margin[wrong] = DETECTION, 0.0
    return bool(wrong)


def _ordered(passing: Places, table: Table) -> Places:
    light, area = (
        alike(table.figures[name][passing], _SAME_DIGITS)
        for name in ("irradiance_target_w_m2", "area_rate_m2_s")
    )
    size = alike(table.size_um[passing], _SAME_SIZE_DIGITS)
    return passing[np.lexsort((passing, size, -area, light))]


def _objectives(order: Places, table: Table) -> FloatArray:
    """Give what the front is about, all to be small: light, speed with its sign turned, size."""
    light = alike(table.figures["irradiance_target_w_m2"][order], _SAME_DIGITS)
    speed = alike(table.figures["speed_mm_s"][order], _SAME_DIGITS)
    return np.stack([light, -speed, alike(table.size_um[order], _SAME_SIZE_DIGITS)], axis=1)


def _nearest(table: Table) -> Places:
    """Find the option that is missed last, and by least; of equal ones the one of least light."""
    light = np.nan_to_num(table.figures["irradiance_target_w_m2"], nan=np.inf)
    legal = np.flatnonzero(table.first > 0)
    order = np.lexsort((light[legal], -table.margin[legal], -table.first[legal]))
    return legal[order[:1]]
