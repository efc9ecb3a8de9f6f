"""
One page that can be sent to a customer: a single HTML file that asks for nothing over a network.

The template escapes whatever is inserted, and a content policy in the file keeps a browser from
running or fetching anything else.
"""

import base64
import hashlib
import re
from functools import cache
from importlib.resources import files
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

from linesim.files.atomic import write_text
from linesim.report.page_parts import Page
from linesim.setup.errors import InputError

if TYPE_CHECKING:
    from jinja2 import Environment

_NEEDS = ("jinja2", "matplotlib")
_TAG = re.compile(r"<[^<>]*>")
_NAMES = re.compile(r'(?<=\sid=")|(?<=url\(#)|(?<=href="#)')
"""Places in a tag at which the name of an element begins."""
_METADATA = re.compile(r"\s*<metadata>.*?</metadata>", flags=re.DOTALL)
_MICRO = re.compile(r"(?<=\d )u(?=[ms]\b)|(?<=, )u(?=[ms](?:$|,))")
_TIMES = re.compile(r"(?<=[\dmx]) x (?=\d)")


def refuse_without_extra() -> None:
    """
    Refuse to start where a page could not be written in the end.

    Raises
    ------
    InputError; where jinja2 or matplotlib is not installed
    """
    missing = [name for name in _NEEDS if find_spec(name) is None]
    if missing:
        msg = (
            f"--report: needs {' and '.join(missing)}, not installed here; expected: "
            'pip install "linesim[report]"'
        )
        raise InputError(msg)


def typeset(text: str) -> str:
    """Write units and products in a page as print does: µm, µs and ×."""
    return _TIMES.sub(" × ", _MICRO.sub("µ", text))


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


def page_text(page: Page) -> str:
    """
    Lay a page out as HTML.

    Returns
    -------
    str; a whole file; the same page gives the same text

    Raises
    ------
    InputError; where jinja2 or matplotlib is not installed
    """
    script = _text("page.js")
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    template = _environment().get_template("page.html.j2")
    return template.render(page=page, style=_text("page.css"), script=script, digest=digest)


def write_report(path: Path, page: Page) -> None:
    """
    Write a page, whole or not at all.

    Parameters
    ----------
    path : pathlib.Path; the final name
    page : Page

    Raises
    ------
    InputError; where it cannot be written, or jinja2 or matplotlib is not installed
    """
    write_text(path, page_text(page))
