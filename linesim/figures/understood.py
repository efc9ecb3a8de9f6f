"""What was understood of a data sheet's figures: a group of numbers, and its words."""

from linesim.figures.case import Value
from linesim.figures.plain_numbers import digits
from linesim.setup.setup import Setup
from linesim.setup.sheet.notes import Note, notes

_DIGITS = 4


def understood_group(setup: Setup) -> dict[str, Value]:
    """Give the figures that follow from those of a data sheet; none where none do."""
    return {note.name: note.number for note in notes(setup) if note.number is not None}


def understood_words(setup: Setup) -> tuple[tuple[str, str], ...]:
    """Say which figures follow from those of a data sheet, and from which."""
    return tuple((note.label, f"{_stated(note)} from {note.source}") for note in notes(setup))


def _stated(note: Note) -> str:
    number = note.number
    if number is None:
        return "a curve"
    if isinstance(number, dict):
        return ", ".join(f"{colour} {digits(each, _DIGITS)}" for colour, each in number.items())
    return f"{digits(number, _DIGITS)} {note.unit}".rstrip()
