"""The console's tables of a study along ranges, and its answer."""

import textwrap
from collections.abc import Iterable, Iterator, Sequence

import numpy as np

from linesim.figures.safety import Shared, people_lines, shared_cautions
from linesim.report.console import paragraph, paragraphs
from linesim.setup.setup import Setup
from linesim.studies.batch.judged import asked_of, weakest
from linesim.studies.batch.ranges import evenly
from linesim.studies.vary.joint_words import brief_joint
from linesim.studies.vary.labels import demand_words, label, number_words, value_words
from linesim.studies.vary.study import Curve, Varied, states_of
from linesim.studies.vary.words import answer, brief

_MOST_ROWS = 25
_MOST_LIGHTS = 100
"""Of a range of light, evenly chosen with both ends; one of a few hundred hides no caution."""
_MOST_FIGURES = 6
_CELL, _WIDE_CELL = 12, 28
_EXPOSURES = {
    "same": "same exposure time for all",
    "full": "full exposure, each at its own line rate",
}
Rows = Sequence[Sequence[str]]


def vary_text(found: Varied) -> str:
    """Lay a study along ranges out for the console."""
    lines = paragraph(found.setup.title, "", "")
    if found.exposure and len(found.curves) > 1:
        lines += [f"  {_EXPOSURES[found.exposure]}"]
    if len(found.ranges) == 1:
        for curve in found.curves:
            lines += ["", curve.title, *_curve_lines(found, curve)]
    lines += _grid_lines(found)
    lines += ["", "cautions", *paragraphs(safety_texts(found))]
    lines += ["", "answer", *paragraphs(answer(found))]
    return "\n".join(lines)


def vary_people(found: Varied) -> tuple[Shared, ...]:
    """Find what to mind about the light along a study's ranges, both ends and all between."""
    return shared_cautions(_lit(found))


def safety_texts(found: Varied) -> list[str]:
    """Give the cautions about people at all points of a study, and the one about machines."""
    return people_lines(vary_people(found))


def _lit(found: Varied) -> Iterator[tuple[str, Setup]]:
    """Give the points whose light differs, each named by its light."""
    lights = [each.key.section == "light" for each in found.ranges]
    space = found.curves[0].space.at(
        [
            evenly(each.base_values, _MOST_LIGHTS) if light else each.base_values[:1]
            for each, light in zip(found.ranges, lights, strict=True)
        ]
    )
    for index, place in enumerate(space.places):
        said = [
            each.said(value)
            for each, value, light in zip(found.ranges, place, lights, strict=True)
            if light
        ]
        yield " and ".join(said), space.quick(index)


def laid_out(heads: Sequence[str], rows: Rows, *, cell: int = _CELL) -> list[str]:
    """Lay a table out, the first column to the left and the others to the right."""
    wrapped = [textwrap.wrap(head, cell - 1) or [""] for head in heads]
    high = max(map(len, wrapped))
    tops = [[""] * (high - len(each)) + each for each in wrapped]
    first = max(len(row[0]) for row in (*rows, *zip(*tops, strict=True))) + 2
    return [
        f"  {row[0]:<{first}}{''.join(f'{text:>{cell}}' for text in row[1:])}".rstrip()
        for row in (*zip(*tops, strict=True), *rows)
    ]


def curve_rows(found: Varied, curve: Curve, names: Iterable[str]) -> list[tuple[str, ...]]:
    """Give place, figures and verdict at the points of a curve, evenly chosen of many."""
    over, states = found.ranges[0], states_of(found, curve)
    columns = {name: weakest(name, curve.figures[name]) for name in names}
    return [
        (
            over.said(over.base_values[k]),
            *(
                number_words(name, column[k]) if np.isfinite(column[k]) else "-"
                for name, column in columns.items()
            ),
            str(states[k]),
        )
        for k in evenly(range(len(over.base_values)), _MOST_ROWS)
    ]


def _curve_lines(found: Varied, curve: Curve) -> list[str]:
    over, names = found.ranges[0], found.shown_figures[:_MOST_FIGURES]
    rows, count = curve_rows(found, curve, names), len(over.base_values)
    notes = []
    if len(rows) < count:
        notes.append(f"  {len(rows)} of {count} points are shown; vary.csv has all")
    if len(names) < len(found.shown_figures):
        notes.append(f"  {len(names)} of {len(found.shown_figures)} figures are shown")
    heads = [over.key.dotted.rpartition(".")[2].replace("_", " "), *map(label, names), "verdict"]
    return [*laid_out(heads, rows), *notes]


def joint_rows(found: Varied) -> list[tuple[str, ...]]:
    """Give where everything holds along the first range, a row a value of the second."""
    return _by_second(found, ((each.second, brief_joint(found, each)) for each in found.joints))


def _by_second(found: Varied, said: Iterable[tuple[float | None, str]]) -> list[tuple[str, ...]]:
    cells: dict[float, list[str]] = {}
    for second, text in said:
        cells.setdefault(second or 0.0, []).append(text)
    return [(value_words(found.ranges[1], value), *texts) for value, texts in cells.items()]


def _grid_lines(found: Varied) -> list[str]:
    """Tell for values of the second key from where on, or up to where, each requirement is met."""
    if len(found.ranges) == 1:
        return []
    over, heads = found.ranges[0], ["", *(curve.title for curve in found.curves)]
    lines = ["", f"where along {over.key.dotted} everything holds"]
    lines += laid_out(heads, joint_rows(found), cell=_WIDE_CELL)
    for demand in asked_of(found.judged_by):
        rows = (row for row in found.answers if row.demand == demand)
        cells = _by_second(found, ((row.second, brief(over, row)) for row in rows))
        lines += ["", f"where along {over.key.dotted} {demand_words(demand)} is met"]
        lines += laid_out(heads, cells, cell=_WIDE_CELL)
    return lines
