"""
The CIE tables that lie in the package: V(λ) and the illuminants.

References
----------
CIE 1924 photopic observer; CIE 15:2018, Colorimetry, for the illuminants. How the files in
``data/`` were made stands in their first lines.
"""

from difflib import get_close_matches
from functools import cache
from importlib.resources import files

import numpy as np

from linesim.setup.arrays import FloatArray
from linesim.setup.errors import refuse
from linesim.setup.light.sums import Curve


@cache
def _table(file_name: str) -> dict[str, Curve]:
    text = (files("linesim.setup") / "data" / file_name).read_text(encoding="utf-8")
    head, *rows = [line for line in text.splitlines() if not line.startswith("#")]
    table: FloatArray = np.loadtxt(rows, delimiter=",")
    table.setflags(write=False)  # the cache hands the same arrays to everyone
    grid = table[:, 0]
    return {name: (grid, table[:, i]) for i, name in enumerate(head.split(",")) if i > 0}


def photopic_curve() -> Curve:
    """Give V(λ), the CIE 1924 photopic observer, at every whole nanometre from 360 to 830."""
    return _table("photopic_observer.csv")["v"]


def illuminant_curves() -> dict[str, Curve]:
    """Give the CIE illuminants, at every whole nanometre from 380 to 780."""
    return dict(_table("illuminants.csv"))


def illuminant_name(name: str) -> str:
    """Find the CIE name of an illuminant."""
    known = {each.casefold(): each for each in illuminant_curves()}
    wanted = name.strip().casefold()
    if wanted not in known:
        near = [known[each] for each in get_close_matches(wanted, known)]
        hint = f" (nearest: {', '.join(near)})" if near else ""
        names = ", ".join(known.values())
        refuse(f"spectrum {name!r} is not known{hint}, expected one of {names}")
    return known[wanted]
