"""What scoring writes: a JSON file, and a page where its libraries are installed."""

from collections.abc import Mapping
from dataclasses import asdict
from importlib.util import find_spec
from pathlib import Path

from linesim.dataset.score.groups import Group
from linesim.dataset.score.page import score_page
from linesim.dataset.score.scored import Scored
from linesim.dataset.score.study import Score
from linesim.files.atomic import write_json
from linesim.report.page import write_report

FILE, PAGE = "score.json", "report.html"
_MOST_MISSED = 50


def figures(found: Score) -> dict[str, object]:
    """Give a score for machines."""
    return {
        "simulated": True,
        "title": found.title,
        "splits": list(found.splits),
        "iou": found.rule.limit,
        "least_score": found.least_score,
        "images": found.images,
        "labels": len(found.faults),
        "predictions": found.given,
        "found": sum(each.found for each in found.faults),
        "recall": found.recall,
        "false_alarms": found.false_alarms,
        "area_m2": found.area_m2,
        "false_alarms_per_m2": found.alarms_per_m2,
        "average_precision_50": found.precision_at_limit,
        "average_precision": found.mean_precision,
        "by": {name: [_row(each) for each in rows] for name, rows in found.groups.items()},
        "missed": [_missed(each) for each in found.missed[:_MOST_MISSED]],
    }


def _row(group: Group) -> Mapping[str, object]:
    row = {key: value for key, value in asdict(group).items() if value is not None}
    if group.recall is not None and group.interval is not None:
        row |= {"recall": group.recall, "recall_interval": list(group.interval)}
    return row


def _missed(each: Scored) -> Mapping[str, object]:
    keys = ("index", "kind", "bbox", "size_um", "contrast", "dprime", "most", "linear")
    return {key: getattr(each, key) for key in keys}


def write_score(found: Score, folder: Path) -> tuple[Path, ...]:
    """Write a score: a JSON file, and the page where the extra `report` is installed."""
    write_json(folder / FILE, figures(found))
    if find_spec("jinja2") is None or find_spec("matplotlib") is None:
        return (folder / FILE,)
    write_report(folder / PAGE, score_page(found))
    return folder / FILE, folder / PAGE
