"""Plots in which nothing is drawn, for tests that look at all but the plots."""

import base64
from io import BytesIO

import pytest

BARE = {
    "svg": b'<svg xmlns="http://www.w3.org/2000/svg"></svg>',
    "png": base64.b64decode(
        "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAAAAAA6fptVAAAACklEQVR4nGP4DwABAQEANl9ngAAAAABJRU5ErkJggg=="
    ),
}


def bare(_: object, out: BytesIO, **told: str) -> None:
    """Stand in for ``Figure.savefig``."""
    out.write(BARE[told["format"]])


def undraw(patch: pytest.MonkeyPatch) -> None:
    """Leave plots undrawn; looking for dollars in their texts would have every tick made too."""
    patch.setattr("matplotlib.figure.Figure.savefig", bare)
    patch.setattr("linesim.report.plots._take_dollars_as_they_are", lambda _: None)
