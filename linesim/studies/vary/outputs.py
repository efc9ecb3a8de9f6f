"""What a study along ranges leaves on disk, each file whole or not there at all."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from linesim.files.atomic import write_bytes, write_json
from linesim.files.csv_out import write_csv
from linesim.forward.device.choice import rendered_on
from linesim.setup.channels import COLOURS
from linesim.studies.batch.judged import LIMIT
from linesim.studies.batch.ranges import Range
from linesim.studies.vary.answers import Answer, Joint
from linesim.studies.vary.crossing import Span
from linesim.studies.vary.maps import maps
from linesim.studies.vary.plots import line_plots
from linesim.studies.vary.rendered import Seen
from linesim.studies.vary.study import Curve, Varied
from linesim.studies.vary.table import safety_texts
from linesim.studies.vary.words import answer

Cell = float | str | None


def write_vary(found: Varied, seen: tuple[Seen, ...], folder: Path) -> tuple[Path, ...]:
    """Write plots, table and figures, with those that were measured on rendered images."""
    paths = tuple(folder / name for name in ("vary.png", "vary.csv", "vary.json"))
    write_bytes(paths[0], line_plots(found, seen) if len(found.ranges) == 1 else maps(found))
    rows = list(_rows(found))
    names = list(dict.fromkeys(name for row in rows for name in row))
    write_csv(paths[1], names, [[row.get(name) for name in names] for row in rows])
    write_json(paths[2], vary_json(found, seen))
    return paths


def vary_json(found: Varied, seen: tuple[Seen, ...]) -> dict[str, object]:
    """Give all figures of a study, as vary.json has them; one without a value is absent."""
    data: dict[str, object] = {
        "title": found.setup.title,
        "ranges": [
            {"key": each.key.dotted, "unit": each.unit, "values": list(each.values)}
            for each in found.ranges
        ],
        "exposure": found.exposure or "as in the setup",
        "figures": list(found.shown_figures),
        "points": list(_rows(found)),
        "requirements": [_answer(found, each) for each in found.answers],
        "together": [_joint(found, each) for each in found.joints],
        "met": found.met,
        "answer": list(answer(found)),
        "cautions": list(safety_texts(found)),
    }
    if not seen:
        return data
    rendered = [_seen(found, each) for each in seen]
    return data | {"rendered": rendered, **rendered_on(seen[0].device)}


def _place(found: Varied, place: tuple[float, ...]) -> dict[str, float]:
    pairs = zip(found.ranges, place, strict=True)
    return {each.name: each.shown(value) for each, value in pairs}


def _rows(found: Varied) -> Iterator[dict[str, Cell]]:
    """Give every point: the binning, its place, and the figures that have a value."""
    for curve in found.curves:
        columns = dict(_columns(found, curve))
        for index, place in enumerate(curve.space.places):
            values = ((name, column[index]) for name, column in columns.items())
            yield {
                "binning": curve.title,
                **_place(found, place),
                **{name: float(value) for name, value in values if np.isfinite(value)},
            }


def _columns(found: Varied, curve: Curve) -> Iterator[tuple[str, np.ndarray]]:
    """Give every figure as a column of all points, one a colour where they differ."""
    for name in dict.fromkeys((*found.shown_figures, LIMIT)):
        values = curve.figures[name]
        flat = values.reshape(-1, values.shape[-1])
        if flat.shape[1] == 1:
            yield name, flat[:, 0]
        else:
            yield from ((f"{name}.{colour}", flat[:, k]) for k, colour in enumerate(COLOURS))


def _answer(found: Varied, row: Answer) -> dict[str, object]:
    data: dict[str, object] = {
        "binning": row.title,
        "exposure": row.exposure or "as in the setup",
        "requirement": row.demand.requirement,
        "figure": row.demand.figure,
        "wanted": row.demand.wanted,
    }
    if row.second is not None:
        data[found.ranges[1].name] = found.ranges[1].shown(row.second)
    over = found.ranges[0]
    return {
        **data,
        "met": [_span(over, each) for each in row.met],
        "met_able": [_span(over, each) for each in row.able],
    }


def _joint(found: Varied, joint: Joint) -> dict[str, object]:
    """Give where everything holds, what is missed beyond, or what stands against each other."""
    over = found.ranges[0]
    data: dict[str, object] = {
        "binning": joint.title,
        "exposure": joint.exposure or "as in the setup",
    }
    if joint.second is not None:
        data[found.ranges[1].name] = found.ranges[1].shown(joint.second)
    held = [
        {
            **_span(over, each.span),
            **{
                side: demand.requirement
                for side, demand in (("missed_below", each.below), ("missed_above", each.above))
                if demand is not None
            },
        }
        for each in joint.held
    ]
    return {**data, "met": held, "against": [demand.requirement for demand in joint.against]}


def _span(over: Range, span: Span) -> dict[str, object]:
    """Give a part of the range; an end where the range itself ends is marked as such."""
    return {
        "from": over.shown(span.low),
        "to": over.shown(span.high),
        "crossed_at_from": span.begins,
        "crossed_at_to": span.ends,
    }


def _seen(found: Varied, each: Seen) -> dict[str, object]:
    return {
        "binning": each.title,
        **_place(found, each.place),
        "figure": each.figure,
        "value": each.estimate.value,
        "sd": each.estimate.sd,
        "clipped": each.clipped,
    }
