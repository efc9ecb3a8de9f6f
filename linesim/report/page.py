"""
One page that can be sent to a customer: a single HTML file that asks for nothing over a network.

The template escapes whatever is inserted, and a content policy in the file keeps a browser from
running or fetching anything else.
"""

import base64
import hashlib
import re
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING

from linesim.files.atomic import write_text
from linesim.report.console import typeset
from linesim.setup.arguments import refuse_not_installed

if TYPE_CHECKING:  # a command that writes no page needs neither
    from jinja2 import Environment

    from linesim.report.page_parts import Page

_TAG = re.compile(r"<[^<>]*>")
_NAMES = re.compile(r'(?<=\sid=")|(?<=url\(#)|(?<=href="#)')
"""Places in a tag at which the name of an element begins."""
_METADATA = re.compile(r"\s*<metadata>.*?</metadata>", flags=re.DOTALL)


def refuse_without_extra() -> None:
    """Refuse to start where a page could not be written in the end."""
    refuse_not_installed("--report", ("jinja2", "matplotlib"), "report")


def data_uri(png: bytes) -> str:
    """Put a picture into a page."""
    return f"data:image/png;base64,{base64.b64encode(png).decode()}"


def inline_svg(svg: str, prefix: str) -> str:
    """Make a drawing fit to stand in a page among others."""
    plain = _METADATA.sub("", svg).strip()
    return _TAG.sub(lambda tag: _NAMES.sub(prefix, tag[0]), plain)


@cache
def _text(name: str) -> str:
    return files("linesim.report").joinpath(name).read_text("utf-8")


def _environment() -> "Environment":
    refuse_without_extra()
    from jinja2 import Environment, FunctionLoader, StrictUndefined  # noqa: PLC0415 -- an extra

    found = Environment(
        loader=FunctionLoader(_text),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    found.filters |= {"typeset": typeset, "data_uri": data_uri, "inline_svg": inline_svg}
    return found


def page_text(page: "Page", *, one_page: bool = False) -> str:
    """Lay a page out as a whole HTML file, or its first page alone; same page, same text."""
    script = _text("page.js")
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    template = _environment().get_template("page.html.j2")
    return template.render(
        page=page, style=_text("page.css"), script=script, digest=digest, one_page=one_page
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """Which pages are to be written: the whole report, the first page alone, both or none."""

    report: bool = True
    one_page: bool = False

    def __bool__(self) -> bool:
        """Whether any is."""
        return self.report or self.one_page


WHOLE = Wanted()


def write_pages(
    folder: Path, page: "Page", wanted: Wanted = WHOLE, name: str = "report"
) -> tuple[Path, ...]:
    """Write a report, its first page alone, or both; a name is without its ending."""
    files = {folder / f"{name}.html": False} if wanted.report else {}
    files |= {folder / "one_page.html": True} if wanted.one_page else {}
    for path, one_page in files.items():
        write_report(path, page, one_page=one_page)
    return tuple(files)


def write_report(path: Path, page: "Page", *, one_page: bool = False) -> None:
    """Write a page, whole or not at all."""
    write_text(path, page_text(page, one_page=one_page))
