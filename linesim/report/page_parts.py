"""
What a page is made of: frozen parts that know nothing of HTML, in sections.

``page`` turns them into one file; every command that reports makes its page of these.
"""

from dataclasses import dataclass
from typing import ClassVar

from linesim.report.judged_rows import Judged, Outcome

PEOPLE = "Eyes, heat and machines"
"""Title of the cautions about people."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Text:
    """Plain paragraphs."""

    kind: ClassVar[str] = "text"
    paragraphs: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """
    A table; the first cell of each row names the row.

    Parameters
    ----------
    head : tuple of str; names of the columns; empty where the title says enough
    is_folded : bool; whether only its title is seen until it is opened; in print it is open
    """

    kind: ClassVar[str] = "table"
    title: str
    head: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...]
    is_folded: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Tables:
    """Short tables that stand in columns where there is room."""

    kind: ClassVar[str] = "tables"
    tables: tuple[Table, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """A few figures to be seen first."""

    kind: ClassVar[str] = "facts"
    facts: tuple[tuple[str, str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """
    A drawing, a plot or a picture.

    Parameters
    ----------
    image : str or bytes; SVG text, or a whole PNG file
    alt : str; what is to be seen, for those who do not see it
    """

    image: str | bytes
    alt: str
    caption: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Pictures:
    """
    Pictures that stand side by side where there is room.

    Parameters
    ----------
    pictures : tuple of Picture; in reading order
    """

    kind: ClassVar[str] = "pictures"
    pictures: tuple[Picture, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Divider:
    """
    Two pictures of one place, with a line between them that can be moved.

    Parameters
    ----------
    names : tuple of str; what the two are, in a word or two
    alts : tuple of str; what is to be seen in them
    bar : tuple of str and float; label of a scale bar, and its length over the pictures' width
    """

    kind: ClassVar[str] = "divider"
    before: bytes
    after: bytes
    names: tuple[str, str]
    alts: tuple[str, str]
    size_px: tuple[int, int]
    bar: tuple[str, float]
    caption: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """One row of a bar chart."""

    label: str
    note: str
    value: str
    ratio: float
    is_limit: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Bars:
    """A bar chart that is a table as well."""

    kind: ClassVar[str] = "bars"
    title: str
    rows: tuple[Bar, ...]
    ticks: int
    scale: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdicts:
    """Requirements and how they are met."""

    kind: ClassVar[str] = "verdicts"
    rows: tuple[Judged, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Cautions:
    """
    What to mind.

    Parameters
    ----------
    rows : tuple of tuple of str
        Fixed word for machines, empty where there is none, and sentences for people.
    """

    kind: ClassVar[str] = "cautions"
    title: str
    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Listing:
    """A file's text, folded away until it is asked for."""

    kind: ClassVar[str] = "listing"
    title: str
    text: str


Part = Text | Table | Tables | Facts | Pictures | Divider | Bars | Verdicts | Cautions | Listing


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """
    Parts under one heading.

    Parameters
    ----------
    parts : tuple of Part; in reading order
    """

    title: str
    parts: tuple[Part, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """
    A whole page.

    Parameters
    ----------
    job : str; what kind of page it is
    outcome : tuple of Outcome; what stands first: one a station
    lead : tuple of str; below it, a paragraph each
    first : tuple of Part; on the first page below that: picture, four figures, what limits
    sections : tuple of Section; behind the first page, in reading order
    """

    title: str
    job: str
    outcome: tuple[Outcome, ...] = ()
    lead: tuple[str, ...] = ()
    first: tuple[Part, ...] = ()
    sections: tuple[Section, ...]

    @property
    def people(self) -> tuple[Cautions, ...]:
        """What is to be minded about people, which a first page by itself says too."""
        parts = (part for section in self.sections for part in section.parts)
        return tuple(part for part in parts if isinstance(part, Cautions) and part.title == PEOPLE)
