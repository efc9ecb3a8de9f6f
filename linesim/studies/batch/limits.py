"""Limits: any figure of the budget as ``most_NAME`` or ``least_NAME``, its unit left out."""

from collections.abc import Collection, Mapping
from difflib import get_close_matches
from pathlib import Path
from types import MappingProxyType
from typing import NamedTuple

from linesim.figures.demands import SLACK, Demand
from linesim.setup.fields import Kind, Number, Quantity
from linesim.setup.setup import Setup
from linesim.setup.shown import shown
from linesim.studies.batch.figures import COSTLY, OWN, groups_of

_UNITS = {
    "_w_m2": ("an irradiance", '"1000 W/m^2"', "W/m^2"),
    "_mb_s": ("a data rate", '"850 MB/s"', "MB/s"),
    "_mm_s": ("a speed", '"60 m/min"', "mm/s"),
    "_w_m": ("a power a length", '"500 W/m"', "W/m"),
    "_mm": ("a length", '"1.5 m"', "mm"),
    "_um": ("a length", '"100 um"', "um"),
    "_us": ("a time", '"50 us"', "us"),
    "_hz": ("a rate", '"20 kHz"', "Hz"),
    "_lx": ("an illuminance", '"300 klx"', "lx"),
}
_OWN = ("working_distance_mm", "illuminance_lx", "sensor_length_mm")


class Limit(NamedTuple):
    """What may be limited: the demand that comes of it, its group, its figure, how to read it."""

    requirement: str
    group: str
    figure: str
    kind: Kind


def limits_of(
    table: object,
    base: Setup,
    more: tuple[str, ...] = (),
    own: Mapping[str, Limit] = MappingProxyType({}),
) -> tuple[tuple[Demand, ...], list[str]]:
    """
    Read limits; tell what is judged, and a sentence for each fault.

    Parameters
    ----------
    table : mapping; most_NAME or least_NAME -> value, as parsed
    more : tuple of str; further figures, that no station has by itself
    own : mapping; limits that are named or read otherwise
    """
    if not isinstance(table, Mapping):
        return (), [f"limits: read {shown(table)}, but expected [limits] and its keys"]
    all_groups = groups_of((base,)) if table else {}
    # what is found has demands of its own
    groups = {name: group for name, group in all_groups.items() if group != COSTLY}
    groups |= dict.fromkeys((*_OWN, *more), OWN)
    figures = {f"{bound}_{_bare(name)}": name for name in groups for bound in ("most", "least")}
    found, faults = [], []
    for key, value in table.items():
        if key not in own and key not in figures:
            faults.append(_unknown(key, value, (*figures, *own)))
            continue
        limit = own.get(key) or Limit(key, groups[figures[key]], figures[key], _kind(figures[key]))
        try:
            wanted = limit.kind.checked(value, Path())
        except ValueError as fault:
            faults.append(f"limits.{key}: {fault}")
            continue
        found.append(
            Demand(
                requirement=limit.requirement,
                group=limit.group,
                figure=limit.figure,
                wanted=float(wanted),  # type: ignore[arg-type]
                low_is_good=key.startswith("most"),
                place="middle",
                slack=SLACK,
            )
        )
    return tuple(found), faults


def _unknown(key: str, value: object, known: Collection[str]) -> str:
    bound, _, name = key.partition("_")
    near = get_close_matches(name, {each.partition("_")[2] for each in known}, n=1)
    hint = f"did you mean limits.{bound}_{near[0]}?" if near else "as in most_data_rate"
    return (
        f"limits.{key}: read {shown(value)}, but there is no such key; {hint} A limit is most_ or "
        "least_ and a figure of the budget without its unit"
    )


def unit_of(figure: str) -> str:
    """Give the unit of a figure; empty for a plain number."""
    return next((unit for end, (_, _, unit) in _UNITS.items() if figure.endswith(end)), "")


def _bare(figure: str) -> str:
    end = next((end for end in _UNITS if figure.endswith(end)), "")
    return figure.removesuffix(end)


def _kind(figure: str) -> Kind:
    for end, (what, example, unit) in _UNITS.items():
        if figure.endswith(end):
            return Quantity(what=what, example=example, unit=unit, low=0.0, high=1e12)
    return Number(what="a number", example="0.9", low=0.0, high=1e9)
