"""Kinds of values in a setup file; each knows what it expects and says so when it gets another."""

import math
import sys
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import ValidationInfo
from pydantic_core import CoreSchema, core_schema

from linesim.setup.errors import InputError
from linesim.setup.quantity import PERCENT, parse_percent, parse_quantity
from linesim.setup.shown import shown

_TURNS = frozenset("\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
"""Bidi_Control of Unicode (UAX #9, table 4): what stands there may read as something else."""


def within(number: float, low: float, high: float, unit: str = "") -> float:
    """Check a range, both ends allowed; NaN fails."""
    if not low <= number <= high:
        # a bare number is told as it was read; a quantity also in the unit of its range
        given, tail = (f"{number:g} {unit}", f" {unit}") if unit else ("this", "")
        msg = f"{given} is outside {low:g} to {high:g}{tail}"
        raise ValueError(msg)
    return number


@dataclass(frozen=True, slots=True)
class Kind:
    """What a key expects, in words."""

    what: str  # "a speed", "a fraction from 0 to 1"
    example: str  # a value as it would stand in the file, quotes included

    def read(self, value: object, folder: Path) -> object:
        """Turn a value of the file into the one used; ValueError is a sentence's middle part."""
        raise NotImplementedError

    def checked(self, value: object, folder: Path) -> object:
        """Read a value; ValueError, of InputError several, is a sentence to put after the key."""
        try:
            return self.read(value, folder)
        except InputError:
            raise
        except ValueError as fault:
            msg = f"read {shown(value)}, but {fault}; expected {self.expected}"
            raise ValueError(msg) from None

    @property
    def expected(self) -> str:
        """What is expected, with an example."""
        return f"{self.what}, for example {self.example}"

    def _from_pydantic(self, value: object, info: ValidationInfo) -> object:
        return self.checked(value, info.context["folder"] if info.context else Path())

    def __get_pydantic_core_schema__(
        self, _source: object, _handler: Callable[[Any], CoreSchema]
    ) -> CoreSchema:
        """Hand pydantic the one reader of this kind."""
        return core_schema.with_info_plain_validator_function(self._from_pydantic)


@dataclass(frozen=True, slots=True, kw_only=True)
class Parsed(Kind):
    """A value of several parts, which a function of its own reads."""

    by: Callable[[object, Path], object]

    def read(self, value: object, folder: Path) -> object:
        """Let the function read it."""
        return self.by(value, folder)


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity(Kind):
    """A text with its unit."""

    unit: str
    # physical range, both ends allowed [unit]
    low: float = 0.0
    high: float
    bare: bool = False  # a bare number is taken too, for counts of the camera's own steps
    # words that stand for a rule instead of a number; they pass as they are
    words: tuple[str, ...] = ()

    def read(self, value: object, folder: Path) -> float | str:  # noqa: ARG002 -- of the face
        """Read the text, then judge its range."""
        if isinstance(value, str):
            if value in self.words:
                return value
            return within(parse_quantity(value, self.unit), self.low, self.high, self.unit)
        if isinstance(value, bool) or not isinstance(value, int | float):
            msg = "this is not a text with a unit"
            raise ValueError(msg)  # noqa: TRY004 -- pydantic collects ValueErrors only
        if not self.bare:
            msg = "a bare number has no unit"
            raise ValueError(msg)
        # TOML knows whole numbers beyond all floats
        number = math.inf if abs(value) > sys.float_info.max else float(value)
        return within(number, self.low, self.high, self.unit)


@dataclass(frozen=True, slots=True, kw_only=True)
class Number(Kind):
    """A bare number; a share may also be a text in per cent."""

    # range, both ends allowed
    low: float
    high: float
    whole: bool = False

    @property
    def is_share(self) -> bool:
        """Whether it is part of a whole: up to 1, and no count."""
        return not self.whole and self.high <= 1

    def read(self, value: object, folder: Path) -> float:  # noqa: ARG002 -- of the face
        """Judge type and range."""
        if self.is_share and isinstance(value, str) and value.rstrip().endswith(PERCENT):
            value = parse_percent(value)
        if isinstance(value, bool) or not isinstance(value, int if self.whole else int | float):
            whole = "whole " if self.whole else ""
            text = f"a text, and a bare {whole}number is due"
            msg = f"this is {text if isinstance(value, str) else f'not a {whole}number'}"
            raise ValueError(msg)  # noqa: TRY004 -- pydantic collects ValueErrors only
        within(value, self.low, self.high)
        return int(value) if self.whole else float(value)


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice(Kind):
    """One of a few words or numbers."""

    allowed: tuple[object, ...]

    @property
    def expected(self) -> str:
        """All of them; an example would repeat one."""
        return self.what

    def read(self, value: object, folder: Path) -> object:  # noqa: ARG002 -- of the face
        """Look the value up."""
        for allowed in self.allowed:
            # TOML tells 12 from 12.0, and so does the code behind the door
            if type(value) is type(allowed) and value == allowed:
                return value
        msg = "this is not among the values allowed"
        raise ValueError(msg)


@dataclass(frozen=True, slots=True, kw_only=True)
class Flag(Kind):
    """True or false."""

    def read(self, value: object, folder: Path) -> bool:  # noqa: ARG002 -- of the face
        """Take a TOML boolean."""
        if not isinstance(value, bool):
            msg = "this is neither of the two"
            raise ValueError(msg)  # noqa: TRY004 -- pydantic collects ValueErrors only
        return value

    @property
    def expected(self) -> str:
        """Both; an example would repeat one."""
        return f"{self.what}, without quotes"


@dataclass(frozen=True, slots=True, kw_only=True)
class Text(Kind):
    """A text that is not empty."""

    def read(self, value: object, folder: Path) -> str:  # noqa: ARG002 -- of the face
        """Take a text."""
        if not isinstance(value, str) or not value.strip():
            msg = "the text is empty" if isinstance(value, str) else "this is not a text"
            raise ValueError(msg)
        if any(unicodedata.category(sign) in ("Cc", "Cs") for sign in value):
            msg = "it holds a line break or another control character"
            raise ValueError(msg)
        if not _TURNS.isdisjoint(value):
            msg = "it holds a character that changes the direction in which text is shown"
            raise ValueError(msg)
        return value
