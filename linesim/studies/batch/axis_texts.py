"""Axes as they are written: lists and ranges of one key, and choices of several at once."""

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from linesim.setup.errors import InputError
from linesim.setup.fields import Number
from linesim.setup.load import changed, known_keys
from linesim.setup.setup import Setup
from linesim.setup.sheet.names import plain_name
from linesim.setup.sheet.notes import hanging, hung_on
from linesim.setup.shown import shown
from linesim.studies.batch.ranges import ranges_of
from linesim.studies.batch.space import (
    SHARE,
    VECTOR_KEYS,
    Axis,
    Point,
    asked_by_face,
    field_of,
    is_free,
)

_PAIRS = (
    ("lens.magnification", "lens.field_of_view"),
    ("lens.magnification", "lens.working_distance"),
    ("lens.field_of_view", "lens.working_distance"),
    ("light.illuminance", "light.irradiance"),
    ("light.illuminance", "light.lamp_illuminance"),
    ("light.irradiance", "light.lamp_illuminance"),
    ("acquisition.lines", "acquisition.length"),
)
"""Of each pair only one can hold: choosing one takes the base's other out."""
_ORDERED_PAIRS = (*_PAIRS, *((other, one) for one, other in _PAIRS))
_SHARE_KIND = Number(what="a share from 0.001 to 1", example="0.5", low=0.001, high=1.0)
_LONGEST_LIST = 1000
_RANGE_MARKS = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """What was read."""

    axes: tuple[Axis, ...] = ()
    faults: tuple[str, ...] = ()  # a sentence for each fault; none where all is well


def axes_of(options: object, choices: object, base: Setup) -> Reading:
    """Read all axes: lists, ranges or values by key, and choices of keys that go together."""
    faults: list[str] = []
    axes = (*_choice_axes(choices, base, faults), *_option_axes(options, base, faults))
    faults += _clashes(axes)
    axes = tuple(_without_others(axis, base) for axis in axes)
    return Reading(axes=_one_by_one(axes, base), faults=tuple(faults))


def displaced(setup: Setup, keys: Collection[str]) -> dict[str, None]:
    """Name keys whose place others take, as the field of view does the magnification's."""
    return {
        other: None
        for one, other in _ORDERED_PAIRS
        if one in keys
        and other not in keys
        and other.partition(".")[2] in setup.texts[other.partition(".")[0]]
    }


def flat_keys(table: Mapping[str, Any]) -> dict[str, Any]:
    """Read dotted keys, which TOML nests unless they stand in quotes."""
    found: dict[str, Any] = {}
    for name, value in table.items():
        if isinstance(value, Mapping) and name in known_keys(()):
            found.update({plain_name(f"{name}.{key}"): inner for key, inner in value.items()})
        else:
            found[plain_name(name)] = value
    return found


def _one_by_one(axes: tuple[Axis, ...], base: Setup) -> tuple[Axis, ...]:
    """Take what an encoder must follow alone, not as an array."""
    chosen = [point.changes.get("transport.trigger") for axis in axes for point in axis.points]
    triggers = (base.transport.trigger, *chosen)
    faced = asked_by_face(base, {key for axis in axes for key in axis.keys}) | hung_on(base)
    faced |= hanging(
        pair for axis in axes for point in axis.points for pair in point.changes.items()
    )
    return tuple(
        axis
        if is_free(axis.name, triggers, faced)
        else replace(axis, points=tuple(replace(point, number=None) for point in axis.points))
        for axis in axes
    )


def _without_others(axis: Axis, base: Setup) -> Axis:
    """Take out what the base has of a pair of which a point chooses the other."""
    return replace(
        axis,
        points=tuple(
            replace(point, changes={**point.changes, **displaced(base, point.changes)})
            for point in axis.points
        ),
    )


def _clashes(axes: tuple[Axis, ...]) -> Iterator[str]:
    """Find keys that two axes set, and pairs of which each sets one."""
    for place, axis in enumerate(axes):
        for other in axes[:place]:
            for key in sorted(axis.keys & other.keys):
                yield (
                    f"options: read {key} in {other.name} and in {axis.name}; expected it in one "
                    "of the two"
                )
            for one, two in _ORDERED_PAIRS:
                if one in other.keys and two in axis.keys:
                    yield f"options: read {one} and {two}, but only one of the two can hold"


def _choice_axes(choices: object, base: Setup, faults: list[str]) -> Iterator[Axis]:
    if not isinstance(choices, Mapping):
        faults.append(f"choices: read {shown(choices)}, but expected [choices.NAME.LABEL]")
        return
    for name, labels in choices.items():
        if not isinstance(labels, Mapping) or not labels:
            faults.append(
                f"choices.{name}: read {shown(labels)}, but expected labels with keys, for example "
                f'[choices.{name}."4k"] and camera.pixels = 4096'
            )
            continue
        yield Axis(
            name=name,
            points=tuple(
                Point(label=label, changes=_choice(f"choices.{name}.{label}", table, base, faults))
                for label, table in labels.items()
            ),
        )


def _choice(where: str, table: object, base: Setup, faults: list[str]) -> dict[str, Any]:
    if not isinstance(table, Mapping) or not table:
        faults.append(
            f"{where}: read {shown(table)}, but expected keys with a value, for example "
            "camera.pixels = 4096"
        )
        return {}
    changes = flat_keys(table)
    for key, value in changes.items():
        if value == "" and _is_known(key):
            changes[key] = None  # as with --set, no value takes a key out
            continue
        faults += [f"{where}: {fault}" for fault in _read(key, value, base)[1]]
    return changes


def _is_known(key: str) -> bool:
    section, _, name = key.partition(".")
    return bool(name) and name in known_keys((section,))


def _option_axes(options: object, base: Setup, faults: list[str]) -> Iterator[Axis]:
    if not isinstance(options, Mapping):
        faults.append(f"options: read {shown(options)}, but expected [options] and its keys")
        return
    for key, written in flat_keys(options).items():
        own: list[str] = []
        if isinstance(written, str) and written.count(":") == _RANGE_MARKS and key != SHARE:
            points = _range_points(key, written, base, own)
        else:
            points = _list_points(key, written, base, own)
        faults += [f"options.{fault}" for fault in own]
        yield Axis(name=key, points=points)


def _range_points(key: str, written: str, base: Setup, faults: list[str]) -> tuple[Point, ...]:
    """Give the values of a range; between two legal ends, all are legal."""
    try:
        (found,) = ranges_of(base, {key: written})
    except InputError as refusal:
        faults += refusal.faults
        return ()
    return tuple(
        Point(
            label=found.said(value),
            changes={key: found.written(value)},
            number=float(value) if key in VECTOR_KEYS else None,
        )
        for value in found.base_values
    )


def _list_points(key: str, written: object, base: Setup, faults: list[str]) -> tuple[Point, ...]:
    values = written if isinstance(written, list) else [written]
    if not values:
        faults.append(f"{key}: read an empty list; expected at least one value")
    if len(values) > _LONGEST_LIST:
        faults.append(f"{key}: read {len(values)} values; expected at most {_LONGEST_LIST}")
        return ()
    points = []
    for value in values:
        number, refused = _read(key, value, base)
        faults += refused
        label = value if isinstance(value, str) else shown(value)
        changes = {"acquisition.exposure": "full"} if key == SHARE else {key: value}
        points.append(Point(label=label, changes=changes, number=number))
    labels = [point.label for point in points]
    for label in sorted({label for label in labels if labels.count(label) > 1}):
        faults.append(f"{key}: read {shown(label)} twice; expected each value once")
    return tuple(points)


def _read(key: str, value: object, base: Setup) -> tuple[float | None, tuple[str, ...]]:
    """Read one value by its own key; give the number where it may be one of many."""
    if key == SHARE:
        return _share(value)
    section, known = key.partition(".")[0], _is_known(key)
    if section == "requirement" and known:
        return None, (f"{key}: read {shown(value)}, but requirements stand in [requirement]",)
    inside = _inside(section, key, value, base) if known else None
    if inside is None:
        return None, _refused(key, value, base)
    return (inside if key in VECTOR_KEYS and isinstance(inside, float) else None), ()


def _inside(section: str, key: str, value: object, base: Setup) -> object:
    """Give a value as a checked setup has it; nothing where its key refuses it."""
    table = {**base.texts.get(section, {}), key.partition(".")[2]: value}
    model = type(getattr(base.sections, section) or base.light)
    try:
        checked = model.model_validate(table, context={"folder": base.folder})
    except ValidationError:
        return None
    return getattr(checked, field_of(key)[1])


def _share(value: object) -> tuple[float | None, tuple[str, ...]]:
    try:
        return float(str(_SHARE_KIND.checked(value, Path()))), ()
    except ValueError as fault:
        return None, (f"{SHARE}: {fault}",)


def _refused(key: str, value: object, base: Setup) -> tuple[str, ...]:
    """Say what a check of all finds wrong with one key, and leave out what follows from it."""
    try:
        changed(base, {key: value})
    except InputError as refusal:
        starts = (f"{key}:", f"{key}.", f"{key.partition('.')[0]}:")
        return (
            tuple(fault for fault in refusal.faults if fault.startswith(starts)) or refusal.faults
        )
    return (f"{key}: read {shown(value)}, but this is nothing to choose",)
