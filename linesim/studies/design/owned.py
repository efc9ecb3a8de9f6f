"""What is there already: cameras, lenses, lamps, each with the keys of a setup file."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from linesim.setup.errors import InputError
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from linesim.setup.shown import shown

_SECTIONS = {"cameras": "camera", "lenses": "lens", "lamps": "light"}
_NEEDED = {
    "cameras": (("pixels", "8192"), ("pixel_width", '"5 um"')),
    "lenses": (("focal_length", '"60 mm"'),),
    "lamps": (("illuminance", '"80 klx"'),),
}
_WORKED_OUT = {
    "cameras": (),
    "lenses": ("magnification", "field_of_view"),
    "lamps": ("irradiance", "lamp_illuminance"),
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Owned:
    """One of them: its name, its keys, and the job's base with these."""

    name: str
    keys: Mapping[str, Any]
    setup: Setup


def owned(table: Mapping[str, Any], kind: str, base: Setup, faults: list[str]) -> tuple[Owned, ...]:
    """Read those of a kind; a sentence for each fault is added."""
    found = table.get(kind, {})
    if not isinstance(found, Mapping) or not all(
        isinstance(each, Mapping) for each in found.values()
    ):
        faults.append(
            f"have.{kind}: read {shown(found)}, but expected a table for each, as "
            f'[have.{kind}."ours"]'
        )
        return ()
    return tuple(_read(kind, base, found, faults))


def _read(
    kind: str, base: Setup, found: Mapping[str, Mapping[str, Any]], faults: list[str]
) -> Iterator[Owned]:
    section = _SECTIONS[kind]
    for name, keys in found.items():
        where = f'have.{kind}."{name}"'
        wrong = [*_missing(kind, where, keys), *_too_much(kind, where, keys)]
        if wrong:
            faults += wrong
            continue
        try:
            setup = changed(base, {f"{section}.{key}": value for key, value in keys.items()})
        except InputError as refusal:
            faults += [each.replace(f"{section}.", f"{where}.", 1) for each in refusal.faults]
            continue
        yield Owned(name=name, keys=keys, setup=setup)


def _missing(kind: str, where: str, keys: Mapping[str, Any]) -> Iterator[str]:
    for key, example in _NEEDED[kind]:
        if key not in keys:
            yield f"{where}.{key}: nothing was read, but this key is needed, for example {example}"


def _too_much(kind: str, where: str, keys: Mapping[str, Any]) -> Iterator[str]:
    for key in _WORKED_OUT[kind]:
        if key in keys:
            yield (
                f"{where}.{key}: read {shown(keys[key])}, but design works this out; expected "
                f"{' and '.join(name for name, _ in _NEEDED[kind])} in its place"
            )
