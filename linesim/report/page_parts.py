"""
What a page is made of: frozen parts that know nothing of HTML, in sections.

``page`` turns them into one file; every command that reports makes its page of these.
"""

from dataclasses import dataclass
from typing import ClassVar

from linesim.report.judged_rows import Judged, Outcome

PEOPLE = "Eyes, heat and machines"
"""Title of the cautions about people."""


@dataclass(frozen=True, slots=True)
class Text:
    """Plain paragraphs."""

    kind: ClassVar[str] = "text"
    paragraphs: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A table; the first cell of each row names the row."""

    kind: ClassVar[str] = "table"
    title: str
    head: tuple[str, ...] = ()  # names of the columns; empty where the title says enough
    rows: tuple[tuple[str, ...], ...]
    # whether only its title is seen until it is opened; in print it is open
    is_folded: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Tables:
    """Short tables that stand in columns where there is room."""

    kind: ClassVar[str] = "tables"
    tables: tuple[Table, ...]


@dataclass(frozen=True, slots=True)
class Facts:
    """A few figures to be seen first."""

    kind: ClassVar[str] = "facts"
    facts: tuple[tuple[str, str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """A drawing, a plot or a picture."""

    image: str | bytes  # SVG text, or a whole PNG file
    alt: str  # what is to be seen, for those who do not see it
    caption: str


@dataclass(frozen=True, slots=True)
class Pictures:
    """Pictures that stand side by side where there is room."""

    kind: ClassVar[str] = "pictures"
    pictures: tuple[Picture, ...]  # in reading order


@dataclass(frozen=True, slots=True, kw_only=True)
class Divider:
    """Two pictures of one place, with a line between them that can be moved."""

    kind: ClassVar[str] = "divider"
    before: bytes
    after: bytes
    names: tuple[str, str]  # what the two are, in a word or two
    alts: tuple[str, str]  # what is to be seen in them
    size_px: tuple[int, int]
    bar: tuple[str, float]  # label of a scale bar, and its length over the pictures' width
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


@dataclass(frozen=True, slots=True)
class Cautions:
    """What to mind."""

    kind: ClassVar[str] = "cautions"
    title: str
    # fixed word for machines, empty where there is none, and sentences for people
    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Listing:
    """A file's text, folded away until it is asked for."""

    kind: ClassVar[str] = "listing"
    title: str
    text: str


Part = Text | Table | Tables | Facts | Pictures | Divider | Bars | Verdicts | Cautions | Listing


@dataclass(frozen=True, slots=True)
class Section:
    """Parts under one heading."""

    title: str
    parts: tuple[Part, ...]  # in reading order


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """A whole page."""

    title: str
    job: str  # what kind of page it is
    outcome: tuple[Outcome, ...] = ()  # what stands first: one a station
    lead: tuple[str, ...] = ()  # below it, a paragraph each
    first: tuple[Part, ...] = ()  # on the first page below that: picture, four figures, what limits
    sections: tuple[Section, ...]  # behind the first page, in reading order

    @property
    def people(self) -> tuple[Cautions, ...]:
        """What is to be minded about people, which a first page by itself says too."""
        parts = (part for section in self.sections for part in section.parts)
        return tuple(part for part in parts if isinstance(part, Cautions) and part.title == PEOPLE)
