"""The product that is inspected: how light it is, how rough its picture, what relief is a fault."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

from linesim.setup.errors import InputError, after_key
from linesim.setup.fields import Choice, Kind, Number, Quantity
from linesim.setup.quantity import PERCENT
from linesim.setup.shown import shown

WHITE = "white"
TARGET = "target"
_SHARE = Number("a share of the light sent back", "0.3", low=1e-4, high=1.0)
_RMS = Number("a share of the product's level", "0.02", low=0.0, high=1.0)
_LENGTH = Quantity("a length", '"0.3 mm"', unit="um", low=1.0, high=1e6)
_GRAIN_EXAMPLE = '{ rms = 0.02, correlation = "0.3 mm" }'


class GrainTexts(NamedTuple):
    """A texture by two numbers."""

    rms: float  # standard deviation, as a share of the product's level
    correlation_um: float  # distance over which the correlation falls to 1/e [µm]


class ImageTexture(NamedTuple):
    """A texture by an image of good product, of the target's pixel size."""

    name: str  # of the file, as written


@dataclass(frozen=True, slots=True, kw_only=True)
class ProductKind(Kind):
    """A reflectance, or the word "white"."""

    def read(self, value: object, folder: Path) -> float | str:
        """Take the number or the word."""
        if isinstance(value, str):
            if value == WHITE:
                return WHITE
            if not value.rstrip().endswith(PERCENT):
                msg = 'this is neither a share nor "white"'
                raise ValueError(msg)
        return _SHARE.read(value, folder)


def read_texture(value: object, folder: Path) -> str | GrainTexts | ImageTexture:
    """Read the word "target", {rms, correlation}, or the name of an image of good product."""
    if isinstance(value, dict):
        return _grain(value, folder)
    if not isinstance(value, str):
        msg = f'this is neither "target", nor an image file, nor {_GRAIN_EXAMPLE}'
        raise ValueError(msg)  # noqa: TRY004 -- pydantic collects ValueErrors only
    if value == TARGET:
        return TARGET
    if not (folder / value).is_file():
        msg = f'there is no such image file, and it is not the word "{TARGET}"'
        raise ValueError(msg)
    return ImageTexture(value)


def _grain(value: dict[str, object], folder: Path) -> GrainTexts:
    found = read_table(value, {"rms": _RMS, "correlation": _LENGTH}, folder)
    return GrainTexts(rms=found["rms"], correlation_um=found["correlation"])


def read_table(
    value: dict[str, object],
    kinds: Mapping[str, Kind],
    folder: Path,
    free: tuple[str, ...] = (),
    name: str = "key",
) -> dict[str, Any]:
    """Read a table of known keys; all are needed but those that are free."""
    faults = [
        f".{key}: read {shown(value[key])}, but there is no such {name}; known here are "
        f"{', '.join(kinds)}"
        for key in value
        if key not in kinds
    ]
    found: dict[str, Any] = {}
    for key, kind in kinds.items():
        if key in free and key not in value:
            continue
        try:
            if key not in value:
                msg = f"nothing was read, but this {name} is needed, for example {kind.example}"
                raise ValueError(msg)  # noqa: TRY301 -- told with the others
            found[key] = kind.checked(value[key], folder)
        except ValueError as fault:
            faults += after_key(f".{key}", fault)
    if faults:
        raise InputError(*faults)
    return found


ROUND_RELIEF = ("dent", "pit", "bump")
LONG_RELIEF = {"groove": 10.0, "wrinkle": 5.0, "fibre": 20.0}
"""Faults with relief that have a direction, and how many times as long as wide they are."""
_RAISED = ("bump", "wrinkle", "fibre")
_RELIEF_KINDS = (*ROUND_RELIEF, *LONG_RELIEF)
_DIRECTIONS = ("along", "across")
_RELIEF: dict[str, Kind] = {
    "kind": Choice(
        '"dent", "pit", "bump", "groove", "wrinkle" or "fibre"', '"groove"', allowed=_RELIEF_KINDS
    ),
    "width": Quantity("a length", '"80 um"', unit="um", low=0.1, high=1e6),
    "depth": Quantity("a depth or height", '"3 um"', unit="um", low=1e-3, high=1e6),
    "length": Quantity("a length", '"3 mm"', unit="um", low=0.1, high=1e6),
    "direction": Choice('"along" travel or "across"', '"across"', allowed=_DIRECTIONS),
}


class ReliefNeed(NamedTuple):
    """The smallest fault with relief that must be found."""

    kind: str  # "dent", "pit", "bump", "groove", "wrinkle" or "fibre"
    # across its own axis, down or up, and along the axis [µm]
    width_um: float
    depth_um: float
    length_um: float
    direction: str  # of the axis: "along" travel or "across"

    @property
    def raised(self) -> bool:
        """Whether it stands up."""
        return self.kind in _RAISED

    @property
    def sides_um(self) -> tuple[float, float]:
        """Across and along. [µm]."""
        sides = self.width_um, self.length_um
        return sides if self.direction == "along" else sides[::-1]


def read_relief(value: object, folder: Path) -> ReliefNeed:
    """Read {kind, width, depth}, of a long fault {length, direction} too."""
    if not isinstance(value, dict):
        msg = "this is no table of kind, width and depth"
        raise ValueError(msg)  # noqa: TRY004 -- pydantic collects ValueErrors only
    found = read_table(value, _RELIEF, folder, free=("length", "direction"))
    long_by = LONG_RELIEF.get(found["kind"], 1.0)
    need = ReliefNeed(
        kind=found["kind"],
        width_um=found["width"],
        depth_um=found["depth"],
        length_um=found.get("length", long_by * found["width"]),
        direction=found.get("direction", "along"),
    )
    faults = tuple(_unlikely(need, value))
    if faults:
        raise InputError(*faults)
    return need


def _unlikely(need: ReliefNeed, texts: dict[str, object]) -> Iterator[str]:
    if need.depth_um > need.width_um:
        yield (
            f".depth: read {shown(texts['depth'])}, but its walls would hide its floor; expected "
            f"at most the width, {shown(texts['width'])}"
        )
    if need.kind in ROUND_RELIEF:
        for key in ("length", "direction"):
            if key in texts:
                yield f".{key}: read {shown(texts[key])}, but a {need.kind} is round; leave it out"
        return
    shortest_um = need.width_um * (2 if need.kind == "wrinkle" else 1)
    if need.length_um < shortest_um:
        yield (
            f".length: read {shown(texts['length'])}, but a {need.kind} of that width has ends of "
            f"{shortest_um:g} um together; expected at least that"
        )
