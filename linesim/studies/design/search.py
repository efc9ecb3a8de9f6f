"""
All candidates with every stop and every light, held against every demand, in closed form.

One table: a row an option, a column a demand, the share by which it is passed. What meets all of
them with room to spare is weighed by the trouble that it makes (ours): each further camera 3, each
dearer link 1, stages of time-delay integration 1.5, each doubling of the light over 20 klx 0.5, a
sensor over 60 mm 0.5, each doubling of the pixels over 2048 a quarter.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from linesim.figures.demands import Demand, demands
from linesim.setup.arrays import FloatArray
from linesim.setup.load import changed
from linesim.studies.batch.detected import dprime_share, signals_of, together
from linesim.studies.batch.figures import COSTLY, Progress, figures_of, figures_on, nobody
from linesim.studies.batch.judged import worst_of
from linesim.studies.batch.space import Axis, Point, Space
from linesim.studies.batch.station_arrays import Places
from linesim.studies.batch.stations import Block, blocks
from linesim.studies.design import catalogue
from linesim.studies.design.candidates import Candidate, candidates
from linesim.studies.design.job import Job

ROOM = 0.05
"""Share by which demands are passed where there is a choice, our choice."""
_SPARE = frozenset({"clipping", "smallest_defect", "snr", "line_rate", "link"})
"""Demands that are to be passed with room: others are met or not."""
_FEW_STOPS, _FEW_LIGHTS = 4, 3
"""One stop or light in so many, where a texture or a fault with relief takes its time."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Options:
    """All options, judged."""

    space: Space
    stations: tuple[Candidate, ...]  # without stop and light; options run through these last
    asked: tuple[Demand, ...]
    # name of a demand -> array of shape (options,); negative where it is missed
    margins: Mapping[str, FloatArray]
    got: Mapping[str, FloatArray]  # likewise, the value that is judged
    trouble: FloatArray  # shape (options,)
    light_lx: FloatArray  # shape (options,); [lx]

    @property
    def least(self) -> FloatArray:
        """The smallest margin of each option."""
        return np.asarray(np.min(np.stack(list(self.margins.values())), axis=0))

    @property
    def spare(self) -> FloatArray:
        """The smallest margin of what light and rate decide, where all else is met."""
        spare = [margin for name, margin in self.margins.items() if name in _SPARE]
        return np.asarray(np.where(self.least >= 0, np.min(np.stack(spare), axis=0), -1.0))

    def station(self, index: int) -> Candidate:
        """Give the candidate of an option."""
        return self.stations[index // (self.space.count // len(self.stations))]

    def ordered(self) -> Places:
        """Give what meets everything, least trouble first; with room to spare where that is."""
        spare, stop = self.spare, _column(self.space, 1)
        chosen = np.flatnonzero(spare >= ROOM)
        chosen = chosen if chosen.size else np.flatnonzero(spare >= 0)
        # of equal trouble, the smaller stop: it has more depth of field
        return chosen[np.lexsort((self.light_lx[chosen], -stop[chosen], self.trouble[chosen]))]


def options(job: Job, progress: Progress = nobody) -> Options:
    """Judge all that may be built for a job; with stages of integration where it is too dark."""
    found = _judged(job, candidates(job), progress)
    if found.ordered().size or job.colour or job.cameras:
        return found
    staged = _judged(job, candidates(job, catalogue.STAGES), progress)
    return staged if staged.ordered().size else found


def _judged(job: Job, stations: tuple[Candidate, ...], progress: Progress) -> Options:
    space = _space(job, stations)
    asked = (*job.limits, *demands(space.setup(0)))
    got = {each.requirement: np.full(space.count, np.nan) for each in asked}
    found = list(_cheap(space, stations, (asked, got), progress))
    _detect(space, found, (asked, got))
    margins = {
        each.requirement: np.where(
            np.isnan(got[each.requirement]), -1.0, each.spare(got[each.requirement])
        )
        for each in asked
    }
    light_lx = _column(space, 2)
    return Options(
        space=space,
        stations=stations,
        asked=asked,
        margins=margins,
        got=got,
        trouble=_trouble(space, stations, light_lx),
        light_lx=light_lx,
    )


def _space(job: Job, stations: tuple[Candidate, ...]) -> Space:
    relief = job.base.requirement.defect_relief is not None
    slow = relief or job.base.requirement.texture is not None
    stops = catalogue.F_NUMBERS[:: _FEW_STOPS if slow else 1]
    lights = catalogue.lights_lx()[:: _FEW_LIGHTS if relief else 1]
    stops = tuple(
        sorted({*stops, *(each.open_f_number for each in stations if each.open_f_number)})
    )
    given_lx = {each.most_lx for each in stations if each.most_lx < np.inf}
    lights = tuple(sorted({*lights, *given_lx}))
    shared = {"transport.speed": speed_text(job.speeds_mm_s[1])}
    return Space(
        base=changed(job.base, shared),
        axes=(
            Axis(
                name="station",
                points=tuple(Point(label=each.label, changes=each.changes) for each in stations),
            ),
            Axis(
                name="lens.f_number",
                points=tuple(
                    Point(label=f"f/{n:g}", changes={"lens.f_number": n}, number=n) for n in stops
                ),
            ),
            Axis(
                name="light.illuminance",
                points=tuple(
                    Point(
                        label=f"{lux / 1000:g} klx",
                        changes={"light.illuminance": f"{lux / 1000:g} klx"},
                        number=lux,
                    )
                    for lux in lights
                ),
            ),
        ),
    )


def speed_text(speed_mm_s: float) -> str:
    """Write a speed in the unit that takes fewer digits."""
    texts = (f"{speed_mm_s:.8g} mm/s", f"{0.06 * speed_mm_s:.8g} m/min")
    return min(texts, key=lambda text: len(text.split()[0]))


def _column(space: Space, axis: int) -> FloatArray:
    """Give the number that each option has on an axis."""
    numbers = np.array([point.number or 0.0 for point in space.axes[axis].points])
    return numbers[np.unravel_index(np.arange(space.count), space.shape)[axis]]


def _cheap(
    space: Space,
    stations: tuple[Candidate, ...],
    table: tuple[tuple[Demand, ...], dict[str, FloatArray]],
    progress: Progress,
) -> Iterator[Block]:
    """Fill in everything but detection; give the blocks that are legal setups."""
    (asked, got), each_has = table, space.count // len(stations)
    done = 0
    for block in blocks(space, np.arange(space.count)):
        done += block.index.size
        progress(done, space.count)
        if isinstance(block, Block):
            one = stations[int(block.index[0]) // each_has]
            block = _within(space, one, block)  # noqa: PLW2901 -- what is left of it
        if isinstance(block, Block) and block.index.size:
            figures = figures_on(block, _groups(asked))
            figures["cameras"] = np.full((len(block.index), 1), float(one.cameras))
            for each in (each for each in asked if each.group != COSTLY):
                got[each.requirement][block.index] = worst_of(each, figures)
            got["exposure"][block.index[~block.possible]] = np.nan
            yield block


def _within(space: Space, one: Candidate, block: Block) -> Block:
    """Leave what an owned lens opens to, and an owned lamp gives."""
    stop, light_lx = (_column(space, axis)[block.index] for axis in (1, 2))
    left = (stop >= one.open_f_number) & (light_lx <= one.most_lx)
    return block if left.all() else block.some(np.flatnonzero(left))


def _groups(asked: tuple[Demand, ...]) -> dict[str, str]:
    """Name the figures that are worked out for many at once."""
    return {
        name: each.group
        for each in asked
        if each.group != COSTLY and each.figure != "cameras"
        for name in each.figures
    }


def _detect(
    space: Space, found: list[Block], table: tuple[tuple[Demand, ...], dict[str, FloatArray]]
) -> None:
    """Fill in detection."""
    asked, got = table
    costly = [each for each in asked if each.group == COSTLY] if found else []
    if costly and space.base.requirement.defect_relief is not None:
        _detect_relief(space, found, costly, got)
        return
    for each in costly:
        # the share found and the false alarms are one demand with the size, at these rates
        got[each.requirement][:] = each.wanted
        if each.requirement == "smallest_defect":
            got[each.requirement][:] = np.nan
            _sizes(found, each, got, ends=False)
            _sizes(found, each, got, ends=True)


def _detect_relief(
    space: Space, found: list[Block], costly: list[Demand], got: dict[str, FloatArray]
) -> None:
    """Fill in what is seen of a fault with relief, option by option."""
    index = np.concatenate([block.index for block in found])
    figures = figures_of(space, index, {n: COSTLY for each in costly for n in each.figures})
    for each in costly:
        got[each.requirement][index] = worst_of(each, figures)


def _sizes(found: list[Block], demand: Demand, got: dict[str, FloatArray], *, ends: bool) -> None:
    """Fill in how surely the smallest defect is found, at the middle or the ends of the line."""
    parts = [block for block in found if not (ends and block.even)]
    if not parts:
        return
    signals = together([signals_of(block, ends=ends) for block in parts])
    share = np.maximum(dprime_share(signals, parts[0].wanted), 1e-12)
    index = np.concatenate([block.index for block in parts])
    # a demand on a size: counted as what d' would have to grow by
    got[demand.requirement][index] = np.fmax(got[demand.requirement][index], demand.wanted / share)


def _trouble(space: Space, stations: tuple[Candidate, ...], light_lx: FloatArray) -> FloatArray:
    """Weigh what options cost, by the sum in the head of this module."""
    own = np.array([_station_trouble(each) for each in stations])
    each = np.repeat(own, space.count // len(stations))
    return np.asarray(each + 0.5 * np.maximum(np.log2(light_lx / 2e4), 0))


def _station_trouble(one: Candidate) -> float:
    link = float(str(one.camera["link"]).split()[0])
    links = sum(each < link for each in catalogue.LINKS_MB_S)
    return (
        3.0 * (one.cameras - 1)
        + links
        + 1.5 * (one.stages > 1)
        + 0.5 * (one.sensor_mm > 60)  # noqa: PLR2004 -- as stated
        + 0.25 * max(float(np.log2(one.pixels / 2048)), 0.0)
    )
