"""The product that is inspected: how light it is, and how rough its own picture."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

from linesim.setup.errors import InputError
from linesim.setup.fields import Kind, Number, Quantity
from linesim.setup.shown import shown

WHITE = "white"
TARGET = "target"
_SHARE = Number(what="a share of the light sent back", example="0.3", low=1e-4, high=1.0)
_RMS = Number(what="a share of the product's level", example="0.02", low=0.0, high=1.0)
_LENGTH = Quantity(what="a length", example='"0.3 mm"', unit="um", low=1.0, high=1e6)
_GRAIN_EXAMPLE = '{ rms = 0.02, correlation = "0.3 mm" }'


class GrainTexts(NamedTuple):
    """
    A texture by two numbers.

    Parameters
    ----------
    rms : float
        Standard deviation, as a share of the product's level.
    correlation_um : float
        Distance over which the correlation falls to 1/e. [µm]
    """

    rms: float
    correlation_um: float


class ImageTexture(NamedTuple):
    """
    A texture by an image of good product, of the target's pixel size.

    Parameters
    ----------
    name : str
        Of the file, as written.
    """

    name: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ProductKind(Kind):
    """A reflectance, or the word "white"."""

    def read(self, value: object, folder: Path) -> float | str:
        """Take the number or the word."""
        if isinstance(value, str):
            if value == WHITE:
                return WHITE
            msg = 'this is neither a share nor "white"'
            raise ValueError(msg)
        return _SHARE.read(value, folder)


@dataclass(frozen=True, slots=True, kw_only=True)
class TextureKind(Kind):
    """The word "target", {rms, correlation}, or an image file of good product."""

    def read(self, value: object, folder: Path) -> str | GrainTexts | ImageTexture:
        """Tell which of the three it is."""
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
    kinds: dict[str, Kind] = {"rms": _RMS, "correlation": _LENGTH}
    faults = [
        f".{key}: read {shown(value[key])}, but there is no such key; known here are rms, "
        "correlation"
        for key in value
        if key not in kinds
    ]
    found: dict[str, Any] = {}
    for key, kind in kinds.items():
        try:
            if key not in value:
                msg = f"nothing was read, but this key is needed, for example {kind.example}"
                raise ValueError(msg)  # noqa: TRY301 -- told with the others
            found[key] = kind.checked(value[key], folder)
        except ValueError as fault:
            faults.append(f".{key}: {fault}")
    if faults:
        raise InputError(*faults)
    return GrainTexts(rms=found["rms"], correlation_um=found["correlation"])
