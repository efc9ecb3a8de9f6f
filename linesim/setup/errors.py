"""The one way in which linesim refuses its input."""

import re
from typing import NoReturn

_LONGEST_VALUE = 600
_LONGEST_FAULT = 3000
_MOST_FAULTS = 200
_VALUES = re.compile(r'"[^"]*"|\S+')


class InputError(ValueError):
    """
    Input that cannot be used; each fault is one sentence for the person at the keyboard.

    Whatever reads what a user gave, or writes a file, may raise it; a docstring names it where it
    is raised for more than that.

    Parameters
    ----------
    *faults : str
        One sentence a fault: the key or file, what was read, what is expected. Values of over 600
        characters are shortened; of over 200 faults the rest is counted.
    """

    def __init__(self, *faults: str) -> None:
        sentences = [_readable(fault) for fault in faults[:_MOST_FAULTS]]
        if len(faults) > _MOST_FAULTS:
            sentences.append(f"and {len(faults) - _MOST_FAULTS} more of such faults")
        super().__init__("\n".join(sentences))
        self.faults = tuple(sentences)

    def __reduce__(self) -> tuple[type["InputError"], tuple[str, ...]]:
        """Keep sentences apart on the way from a worker."""
        return type(self), self.faults


def refuse(*faults: str) -> NoReturn:
    """Raise an `InputError` of these sentences."""
    raise InputError(*faults)


def after_key(key: str, fault: ValueError) -> tuple[str, ...]:
    """Put a key in front of what is wrong with its value, or with what is under it."""
    sentences = fault.faults if isinstance(fault, InputError) else (str(fault),)
    return tuple(key + (each if each.startswith(".") else f": {each}") for each in sentences)


def _readable(fault: str) -> str:
    """Shorten what nobody would read to its end: a value, then the whole sentence."""
    if len(fault) <= _LONGEST_VALUE:
        return fault
    short = _VALUES.sub(lambda match: _shortened(match[0], _LONGEST_VALUE), fault)
    return _shortened(short, _LONGEST_FAULT)


def _shortened(text: str, most: int) -> str:
    half = most // 2 - 10
    return text if len(text) <= most else f"{text[:half]} [...] {text[-half:]}"
