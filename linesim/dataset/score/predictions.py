"""Reading what a detector found: the results format of the COCO data set, boxes with scores."""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from math import isfinite
from pathlib import Path
from typing import Any

from linesim.setup.errors import InputError, refuse
from linesim.setup.infiles import existing_file
from linesim.setup.shown import shown

_EXPECTED = 'a JSON list of {"image_id", "category_id", "bbox", "score"}, as COCO results have it'
_MOST_NAMED = 5
_SIDES = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Prediction:
    """One box that a detector gave."""

    image_id: int
    category_id: int
    bbox: tuple[float, float, float, float]  # left, top, width, height [px]
    score: float


def read_predictions(path: Path, images: int, categories: Mapping[int, str]) -> list[Prediction]:
    """Read and check predictions."""
    file = existing_file(path, key="--score", expected=_EXPECTED)
    try:
        given: Any = json.loads(file.read_text("utf-8"))
    except (ValueError, RecursionError):
        given = None
    if not isinstance(given, list):
        refuse(f'--score "{path}" is no such list; expected {_EXPECTED}')
    faults = [text for k, each in enumerate(given) for text in _faults(k, each, images, categories)]
    if faults:
        more = len(faults) - _MOST_NAMED
        left = (f"--score: {more} more entries are wrong",) if more > 0 else ()
        raise InputError(*faults[:_MOST_NAMED], *left)
    return [
        Prediction(
            image_id=each["image_id"],
            category_id=each["category_id"],
            bbox=_box(each["bbox"]),
            score=float(each["score"]),
        )
        for each in given
    ]


def _faults(place: int, each: object, images: int, categories: Mapping[int, str]) -> Iterator[str]:
    """Say what is wrong with an entry; the first thing alone."""
    where = f"--score: entry {place}"
    if not isinstance(each, Mapping):
        yield f"{where}: read {shown(each)}, but expected an object with image_id and bbox"
        return
    checks = (
        ("image_id", f"the number of an image, 1 to {images}", _is_one_of(range(1, images + 1))),
        ("category_id", f"one of {_listed(categories)}", _is_one_of(categories)),
        ("bbox", "four numbers: left, top, width, height", _is_box),
        ("score", "a number, the higher the surer", _is_number),
    )
    for key, expected, is_right in checks:
        if not is_right(each.get(key)):
            yield f"{where}: {key}: read {shown(each.get(key))}, but expected {expected}"
            return


def _listed(categories: Mapping[int, str]) -> str:
    return ", ".join(f"{number} ({name})" for number, name in categories.items())


def _is_one_of(known: Any) -> Any:  # noqa: ANN401 -- a range or a mapping; a check
    return lambda value: type(value) is int and value in known


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and isfinite(value)


def _box(values: list[float]) -> tuple[float, float, float, float]:
    left, top, wide, high = map(float, values)
    return left, top, wide, high


def _is_box(value: object) -> bool:
    is_list = isinstance(value, list) and len(value) == _SIDES and all(map(_is_number, value))
    return is_list and isinstance(value, list) and value[2] >= 0 and value[3] >= 0
