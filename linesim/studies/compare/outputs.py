"""What a comparison leaves on disk, each file whole or not there at all."""

import re
from collections.abc import Iterator, Mapping
from pathlib import Path

from linesim.files.atomic import write_json
from linesim.files.csv_out import write_csv
from linesim.files.images_out import write_png
from linesim.studies.compare.sheet import compare_sheet
from linesim.studies.compare.study import Compared, Comparison
from linesim.studies.compare.words import answer
from linesim.studies.scan.outputs import write_scan

_NOT_FIGURES = ("seed", "cautions", "verdicts")


def compare_json(found: Comparison) -> dict[str, object]:
    """Give all figures of all variants and the answer in words, as compare.json has them."""
    return {**found.metrics(), "answer": list(answer(found))}


def compare_rows(found: Comparison) -> list[list[object]]:
    """Give all figures as a table, a row each and a column a variant."""
    columns = [dict(_figures(one)) for one in found.variants]
    keys = dict.fromkeys(key for column in columns for key in column)
    return [[*key, *(column.get(key) for column in columns)] for key in keys]


def _figures(one: Compared) -> Iterator[tuple[tuple[str, str], object]]:
    for group, figures in one.scan.metrics().items():
        if group in _NOT_FIGURES or not isinstance(figures, Mapping):
            continue
        for name, value in figures.items():
            if isinstance(value, Mapping):
                yield from (((group, f"{name}.{colour}"), each) for colour, each in value.items())
            else:
                yield (group, name), value
    for verdict in one.verdicts:
        yield ("verdicts", f"{verdict.requirement}.margin"), verdict.margin
        yield ("verdicts", f"{verdict.requirement}.met"), verdict.met
        yield ("verdicts", f"{verdict.requirement}.state"), verdict.state
        yield ("verdicts", f"{verdict.requirement}.where"), verdict.where


def write_comparison(
    found: Comparison, folder: Path, *, true_proportion: bool = False, scans: bool = False
) -> tuple[Path, ...]:
    """Write sheet and figures, and where asked each variant's scan in a folder of its own."""
    names = ("compare.png", "compare.csv", "compare.json")
    paths = tuple(folder / name for name in names)
    write_png(paths[0], compare_sheet(found, true_proportion=true_proportion))
    titles = [one.title for one in found.variants]
    write_csv(paths[1], ["group", "figure", *titles], compare_rows(found))
    write_json(paths[2], compare_json(found))
    if not scans:
        return paths
    written = (
        write_scan(one.scan, folder / name, true_proportion=true_proportion)
        for name, one in zip(_folders(titles), found.variants, strict=True)
    )
    return (*paths, *(path for each in written for path in each))


def _folders(titles: list[str]) -> list[str]:
    """Name a folder for each title, with the signs that file systems take; no two are the same."""
    plain = [re.sub(r"[^A-Za-z0-9.]+", "_", title).strip("_.") or "variant" for title in titles]
    same = len({name.lower() for name in plain}) < len(plain)
    return [f"{place}_{name}" if same else name for place, name in enumerate(plain, 1)]
