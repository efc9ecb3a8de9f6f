"""
Other names of keys, and keys that stand in the place of others.

References
----------
EMVA 1288 R4.0 RC (March 2021): names and symbols of the figures of a camera.
"""

from collections.abc import Iterator, Mapping
from typing import Any

from linesim.setup.errors import InputError
from linesim.setup.shown import shown

ALIASES = {
    "camera.saturation_capacity": "camera.full_well",
    "camera.temporal_dark_noise": "camera.read_noise",
    "camera.system_gain": "camera.gain",
    "camera.dsnu_1288": "camera.dsnu",
    "camera.prnu_1288": "camera.prnu",
}
"""A name of EMVA 1288, and the key's own."""
INSTEAD = {
    "camera.dynamic_range": "camera.read_noise",
    "camera.dynamic_range_1288": "camera.read_noise",
    "camera.responsivity": "camera.quantum_efficiency",
}
"""A key of a data sheet, and the key whose value follows from it."""

LAPSES = {"transport.speed": "transport.slowest_speed"}
"""A key, and one beside it that says nothing any more once the first is given anew."""


def plain_name(dotted: str) -> str:
    """Give the own name of a dotted key that may be written by another."""
    return ALIASES.get(dotted, dotted)


def refuse_two_names(changes: Mapping[str, Any]) -> None:
    """Refuse changes of one key under two names."""
    first: dict[str, str] = {}
    for dotted in changes:
        other = first.setdefault(plain_name(dotted), dotted)
        if other != dotted:
            raise InputError(_twice((other, dotted), (changes[other], changes[dotted])))


def renamed(texts: Mapping[str, Any]) -> tuple[Mapping[str, Any], dict[str, str], list[str]]:
    """Give a file by the keys' own names, which alias each was read by, and what stands twice."""
    typed: dict[str, str] = {}
    faults: list[str] = []
    found = dict(texts)
    for alias, own in ALIASES.items():
        section, key = own.split(".")
        table, other = found.get(section), alias.partition(".")[2]
        if not isinstance(table, Mapping) or other not in table:
            continue
        rest = {name: value for name, value in table.items() if name != other}
        if table[other] is not None:
            typed[own] = alias
            if rest.get(key) is not None:
                faults.append(_twice((own, alias), (rest[key], table[other])))
            rest[key] = table[other]
        found[section] = rest
    return found, typed, faults


def as_typed(sentence: str, typed: Mapping[str, str]) -> str:
    """Open a sentence with the name that the key was read by."""
    own = sentence.partition(":")[0]
    return typed.get(own, own) + sentence.removeprefix(own)


def _twice(names: tuple[str, str], values: tuple[object, object]) -> str:
    return (
        f"{', '.join(names)}: read {' and '.join(map(shown, values))}, but these are two names of "
        "one figure; leave one out"
    )


def superseded(dotted: str) -> Iterator[str]:
    """Name the keys in whose place a key stands, those that stand in its place, what lapses."""
    own = INSTEAD.get(plain_name(dotted), plain_name(dotted))
    group = (own, *(each for each, name in INSTEAD.items() if name == own))
    yield from (each for each in group if each != dotted)
    if own in LAPSES:
        yield LAPSES[own]


def without_defaults(merged: Mapping[str, Any], given: Mapping[str, Any]) -> dict[str, Any]:
    """Take out defaults in whose place a key of a data sheet is given."""
    found = dict(merged)
    for dotted, own in INSTEAD.items():
        section, key = own.split(".")
        table, said = found.get(section), given.get(section)
        if not isinstance(table, Mapping) or not isinstance(said, Mapping):
            continue
        if said.get(dotted.partition(".")[2]) is not None and said.get(key) is None:
            found[section] = {name: value for name, value in table.items() if name != key}
    return found
