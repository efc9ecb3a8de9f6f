"""What a ranking leaves on disk, each file whole or not there at all."""

from collections.abc import Iterator
from importlib.util import find_spec
from pathlib import Path

import numpy as np

from linesim.figures.safety import people_lines
from linesim.files.atomic import write_bytes, write_json, write_text
from linesim.files.csv_out import write_csv
from linesim.setup.resolve import resolved_text
from linesim.studies.rank.plots import rank_picture
from linesim.studies.rank.row import Row
from linesim.studies.rank.study import Ranking
from linesim.studies.rank.words import answer, rank_people

CSV_ROWS = 10_000
"""The best so many options are listed, and all of the front."""
JSON_FRONT = 200
"""Options of the front in rank.json."""


def rank_json(found: Ranking) -> dict[str, object]:
    """Give a ranking as rank.json has it."""
    demands = {
        name: {"options": count, "nearest_margin": found.least_missed(name)}
        for name, count in found.misses.items()
    }
    plain: dict[str, object] = {
        "title": found.space.title,
        "options": found.space.count,
        "passing": len(found.order),
        "axes": {axis.name: [p.label for p in axis.points] for axis in found.space.axes},
        "missed_first": demands,
        "refused": [{"why": why, "options": count} for why, count in found.refused.items()],
        "best": [_checked(row) for row in found.rows],
        "front": {
            "options": len(found.front),
            "listed": [_listed(found, int(index)) for index in found.front[:JSON_FRONT]],
        },
    }
    if found.nearest is not None:
        plain["nearest"] = _checked(found.nearest)
    return {**plain, "cautions": people_lines(rank_people(found)), "answer": list(answer(found))}


def _checked(row: Row) -> dict[str, object]:
    figures = row.budget.as_dict()
    return {
        "choice": dict(row.choice),
        "alternatives": {name: list(labels) for name, labels in row.alternatives.items()},
        **row.figures,
        "cautions": figures["cautions"],
        "verdicts": figures["verdicts"],
    }


def _listed(found: Ranking, index: int) -> dict[str, object]:
    points = found.space.option(index)
    choice = {axis.name: p.label for axis, p in zip(found.space.axes, points, strict=True)}
    figures = {name: float(column[index]) for name, column in found.figures.items()}
    return {"choice": choice, **{k: v for k, v in figures.items() if np.isfinite(v)}}


def write_ranking(found: Ranking, folder: Path) -> tuple[Path, ...]:
    """Write table, figures, picture (with matplotlib) and the best setup, where one passes."""
    paths = [folder / "rank.csv", folder / "rank.json"]
    names = tuple(found.figures)
    axes = tuple(axis.name for axis in found.space.axes)
    write_csv(paths[0], ("rank", "on_front", *axes, *names), _csv_rows(found))
    write_json(paths[1], rank_json(found))
    if find_spec("matplotlib") is not None:
        paths.append(folder / "rank.png")
        write_bytes(paths[-1], rank_picture(found))
    best = folder / "best.toml"
    if found.rows:
        paths.append(best)
        write_text(best, resolved_text(found.rows[0].setup, folder))
    else:
        best.unlink(missing_ok=True)  # of a run before, when something passed
    return tuple(paths)


def _csv_rows(found: Ranking) -> Iterator[list[object]]:
    """List the best, and behind them what else is on the front, by their places."""
    on_front = np.isin(found.order, found.front)
    listed = np.flatnonzero(on_front | (np.arange(len(found.order)) < CSV_ROWS))
    for place in listed.tolist():
        index = int(found.order[place])
        labels = [point.label for point in found.space.option(index)]
        figures = (float(column[index]) for column in found.figures.values())
        shown = [value if np.isfinite(value) else None for value in figures]
        yield [place + 1, int(on_front[place]), *labels, *shown]
