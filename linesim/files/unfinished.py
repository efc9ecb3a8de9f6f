"""
What an unfinished run has left of a growing file, and whether another may go on with it.

A note in JSON lies beside the file: how many lines are safe, of how many, where line 0 begins, and
what a run must have in common with the one that began.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from math import prod
from pathlib import Path
from typing import Any

import numpy as np

from linesim.files.atomic import own_place
from linesim.files.pixels import RefusedImageError
from linesim.files.tiff_rows import rows_of_tiff
from linesim.setup.errors import refuse

Note = tuple[int, int]
"""Lines that are safe, and where line 0 begins."""
_COUNTS = ("lines", "of", "offset")
"""What a note counts; all else is what runs must have in common."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Planned:
    """What a growing file is to become."""

    path: Path
    shape: tuple[int, ...]  # (lines, width) or (lines, width, 3)
    kind: np.dtype[Any]  # of a sample: uint8 or uint16
    full_scale_dn: int  # largest sample that can be [DN]
    # what a run must have in common with the one that began, to go on: plain data by name
    like: Mapping[str, Any]

    @property
    def line_bytes(self) -> int:
        """Bytes of a line."""
        return prod(self.shape[1:]) * self.kind.itemsize

    @property
    def size_bytes(self) -> int:
        """Bytes of all lines."""
        return self.shape[0] * self.line_bytes

    @property
    def final(self) -> Path:
        """Where it will lie; a link of that name is not followed."""
        return own_place(self.path)

    @property
    def part(self) -> Path:
        """The file while it grows."""
        return self.final.with_name(f"{self.final.stem}.unfinished{self.final.suffix}")

    @property
    def note(self) -> Path:
        """The note beside it."""
        return note_of(self.path)


def note_of(path: Path) -> Path:
    """Name the note that an unfinished run leaves."""
    final = own_place(path)
    return final.with_name(f"{final.stem}.unfinished.json")


def left_before(planned: Planned, *, resume: bool) -> Note | None:
    """Read how far a run before came."""
    there = planned.part if planned.part.exists() else planned.final
    if there.is_symlink() or not (there.exists() and planned.note.exists()):
        return None  # a link leads to what no run has left
    state = _state(planned.note)
    lines, offset = state["lines"], state["offset"]
    if there == planned.final and lines < state["of"]:
        return None  # an older scan beside a note whose file has been removed
    if not resume:
        refuse(
            f'output "{there}" holds a scan that was broken off after {lines} of {state["of"]} '
            "lines; expected --resume to go on with it, another --out, or that file removed"
        )
    _refuse_other(planned, state, there)
    if there.stat().st_size != offset + planned.size_bytes or not _has_head(there, planned):
        refuse(
            f'--resume: "{there}" is not as it was made (size or head differ); expected that file '
            "removed, to begin anew"
        )
    return lines, offset


def _has_head(there: Path, planned: Planned) -> bool:
    """Tell whether a file of the right size begins as it should."""
    try:
        opened = rows_of_tiff(there)
    except RefusedImageError:
        return False
    return opened is not None and (opened.shape, opened.kind) == (planned.shape, planned.kind)


def _refuse_other(planned: Planned, state: Mapping[str, Any], there: Path) -> None:
    """Refuse to go on with another run, and say what differs."""
    now = {**planned.like, "of": planned.shape[0]}
    keys = dict.fromkeys([*now, *(key for key in state if key not in _COUNTS)])
    other = [_difference(key, state.get(key), now.get(key)) for key in keys]
    found = [each for each in other if each]
    if found:
        refuse(
            f'--resume: "{there}" was begun otherwise ({"; ".join(found)}); expected what it began '
            "with, or another --out"
        )


def _difference(key: str, then: object, now: object) -> str:
    """Say what differs; nothing where it is the same."""
    if then == now:
        return ""
    if isinstance(then, Mapping) and isinstance(now, Mapping):
        names = sorted(name for name in {*then, *now} if then.get(name) != now.get(name))
        return f"other {key}: {', '.join(names)}"
    if isinstance(now, int):
        return f"{'lines' if key == 'of' else key} {then} then, {now} now"
    return "another --device" if key == "rendered_on" else f"another {key}"


def _state(note: Path) -> dict[str, Any]:
    try:
        state = json.loads(note.read_text("utf-8"))
        numbers = [state[key] for key in _COUNTS]
        whole = all(type(each) is int for each in numbers) and 0 <= numbers[0] <= numbers[1]
    except (ValueError, TypeError, KeyError, RecursionError):
        whole = False
    if not whole:
        refuse(f'"{note}" cannot be read; expected the note that linesim scan wrote there')
    return dict(state)
