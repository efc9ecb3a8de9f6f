"""Kinds of values in a setup file; each knows what it expects and says so when it gets another."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import ValidationInfo
from pydantic_core import CoreSchema, core_schema

from linesim.setup.quantity import parse_quantity

_LONGEST = 60


def shown(value: object) -> str:
    """
    Show a value as it stands in the file, shortened to some 60 characters.

    Parameters
    ----------
    value : object
        As TOML gives it.

    Returns
    -------
    str
        One line.
    """
    if isinstance(value, bool):
        return str(value).lower()
    text = f'"{value}"' if isinstance(value, str) else str(value)
    text = text.encode("unicode_escape").decode() if not text.isprintable() else text
    return text if len(text) <= _LONGEST else f"{text[: _LONGEST - 3]}..."


def within(number: float, low: float, high: float, unit: str = "") -> float:
    """
    Check a range, both ends allowed; NaN fails.

    Parameters
    ----------
    number, low, high : float
        Value and ends.
    unit : str
        For the message.

    Returns
    -------
    float
        The value.

    Raises
    ------
    ValueError
        Where the value lies outside.
    """
    if not low <= number <= high:
        tail = f" {unit}" if unit else ""
        msg = f"{number:g}{tail} is outside {low:g} to {high:g}{tail}"
        raise ValueError(msg)
    return number


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """
    What a key expects, in words.

    Parameters
    ----------
    what : str
        "a speed", "a fraction from 0 to 1".
    example : str
        A value as it would stand in the file, quotes included.
    """

    what: str
    example: str

    def read(self, value: object, folder: Path) -> object:
        """Turn a value of the file into the one behind the door; ValueError says what is wrong."""
        raise NotImplementedError

    def _checked(self, value: object, info: ValidationInfo) -> object:
        folder = info.context["folder"] if info.context else Path()
        try:
            return self.read(value, folder)
        except ValueError as fault:
            msg = (
                f"read {shown(value)}, but {fault}; "
                f"expected is {self.what}, for example {self.example}"
            )
            raise ValueError(msg) from None

    def __get_pydantic_core_schema__(
        self, _source: object, _handler: Callable[[Any], CoreSchema]
    ) -> CoreSchema:
        """Hand pydantic the one reader of this kind."""
        return core_schema.with_info_plain_validator_function(self._checked)


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity(Kind):
    """
    A text with its unit.

    Parameters
    ----------
    unit : str
        Unit behind the door.
    low, high : float
        Physical range, both ends allowed. [unit]
    bare : bool
        A bare number is taken too, for counts of the camera's own steps.
    words : tuple of str
        Words that stand for a rule instead of a number; they pass as they are.
    """

    unit: str
    low: float = 0.0
    high: float
    bare: bool = False
    words: tuple[str, ...] = ()

    def read(self, value: object, folder: Path) -> float | str:  # noqa: ARG002 -- of the face
        """Read the text, then judge its range."""
        if isinstance(value, int | float) and not isinstance(value, bool) and self.bare:
            return within(float(value), self.low, self.high, self.unit)
        if not isinstance(value, str):
            number = isinstance(value, int | float) and not isinstance(value, bool)
            msg = "a bare number has no unit" if number else "this is not a text with a unit"
            raise ValueError(msg)  # noqa: TRY004 -- pydantic collects ValueErrors only
        if value in self.words:
            return value
        return within(parse_quantity(value, self.unit), self.low, self.high, self.unit)


@dataclass(frozen=True, slots=True, kw_only=True)
class Number(Kind):
    """
    A bare number.

    Parameters
    ----------
    low, high : float
        Range, both ends allowed.
    whole : bool
        Only whole numbers.
    """

    low: float
    high: float
    whole: bool = False

    def read(self, value: object, folder: Path) -> float:  # noqa: ARG002 -- of the face
        """Judge type and range."""
        if isinstance(value, bool) or not isinstance(value, int if self.whole else int | float):
            msg = f"this is not a {'whole ' if self.whole else ''}number without a unit"
            raise ValueError(msg)  # noqa: TRY004 -- pydantic collects ValueErrors only
        within(value, self.low, self.high)
        return int(value) if self.whole else float(value)


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice(Kind):
    """
    One of a few words or numbers.

    Parameters
    ----------
    allowed : tuple
        The values allowed.
    """

    allowed: tuple[object, ...]

    def read(self, value: object, folder: Path) -> object:  # noqa: ARG002 -- of the face
        """Look the value up."""
        if isinstance(value, bool | list | dict) or value not in self.allowed:
            msg = "this is not among the values allowed"
            raise ValueError(msg)
        return value


@dataclass(frozen=True, slots=True, kw_only=True)
class Flag(Kind):
    """True or false."""

    def read(self, value: object, folder: Path) -> bool:  # noqa: ARG002 -- of the face
        """Take a TOML boolean."""
        if not isinstance(value, bool):
            msg = "this is neither true nor false"
            raise ValueError(msg)  # noqa: TRY004 -- pydantic collects ValueErrors only
        return value


@dataclass(frozen=True, slots=True, kw_only=True)
class Text(Kind):
    """A text that is not empty."""

    def read(self, value: object, folder: Path) -> str:  # noqa: ARG002 -- of the face
        """Take a text."""
        if not isinstance(value, str) or not value.strip():
            msg = "the text is empty" if isinstance(value, str) else "this is not a text"
            raise ValueError(msg)
        return value
