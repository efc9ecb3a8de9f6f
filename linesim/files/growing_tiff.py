"""
A TIFF file that grows over a long time, and can be gone on with after a break.

While it grows it bears another name, and a note beside it tells how many of its lines are safe on
the disk. When it is whole it gets its final name in one step. A run that is stopped or killed
leaves both, and `resume` goes on from what the note says; nothing under the final name is ever half
written.
"""

import contextlib
import json
import os
import shutil
import threading
import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from math import prod
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray

from linesim.files.atomic import refuse_special, refusing, write_json
from linesim.files.images_out import lay_out_tiff
from linesim.setup.errors import InputError

_PAUSE_S = 2.0
"""Between two notes: what a killed run has to do again."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Planned:
    """
    What a growing file is to become.

    Parameters
    ----------
    path : Path
        Its final name.
    shape : tuple of int
        (lines, width) or (lines, width, 3).
    kind : dtype
        Of a sample: uint8 or uint16.
    full_scale_dn : int
        Largest sample that can be. [DN]
    like : mapping
        What a run must have in common with the one that began, to go on: plain data by name.
    """

    path: Path
    shape: tuple[int, ...]
    kind: np.dtype[Any]
    full_scale_dn: int
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
    def part(self) -> Path:
        """The file while it grows."""
        return self.path.with_name(f"{self.path.stem}.unfinished{self.path.suffix}")

    @property
    def note(self) -> Path:
        """The note beside it."""
        return self.path.with_name(f"{self.path.stem}.unfinished.json")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Growing:
    """
    A file that is being written.

    Parameters
    ----------
    planned : Planned
        What it is to become.
    stream : BinaryIO
        Open for writing, without a buffer.
    offset : int
        Where line 0 begins. [byte]
    done : int
        Lines that were there when it was opened.
    lock : threading.Lock
        Of the place in the stream.
    """

    planned: Planned
    stream: BinaryIO
    offset: int
    done: int
    lock: threading.Lock

    def put(self, first: int, lines: NDArray[Any]) -> None:
        """Write some lines, as an array, from line ``first`` on; from any thread."""
        left = memoryview(lines.astype(self.planned.kind.newbyteorder("<"), copy=False).tobytes())
        with self.lock:
            self.stream.seek(self.offset + first * self.planned.line_bytes)
            while left:  # without a buffer a write may take a part of it only
                left = left[self.stream.write(left) :]

    def record(self, done: int) -> None:
        """Have all on the disk, and note that so many lines are there."""
        with self.lock:
            os.fsync(self.stream.fileno())
        told = {"lines": done, "of": self.planned.shape[0], "offset": self.offset}
        write_json(self.planned.note, {**told, **self.planned.like})

    def recorded(self, steps: Iterator[int]) -> Iterator[int]:
        """Hand on how many lines are done, and note it every few seconds."""
        noted_s = time.monotonic()
        for done in steps:
            if time.monotonic() - noted_s > _PAUSE_S:
                self.record(done)
                noted_s = time.monotonic()
            yield done


@contextlib.contextmanager
def growing_tiff(planned: Planned, *, resume: bool, force: bool = False) -> Iterator[Growing]:
    """
    Open a file to grow, or to go on growing; on leaving, it gets its final name.

    Parameters
    ----------
    planned : Planned
        What it is to become.
    resume : bool
        Go on with what a run before has left, or begin where nothing lies.
    force : bool
        Begin although the disk has too little room.

    Yields
    ------
    Growing
        To put lines into, by several threads.

    Raises
    ------
    InputError
        What lies there is of another run, or `resume` is not asked for; somebody else is writing;
        too little room on the disk, or it cannot be written.
    """
    with refusing(planned.path):
        planned.path.parent.mkdir(parents=True, exist_ok=True)
        refuse_special(planned.path.resolve(), planned.path)
        before = _before(planned, resume=resume)
        if before is None:
            _refuse_no_room(planned, force=force)
        with _locked(planned) as stream:
            lines, offset = before or _anew(planned)
            yield Growing(
                planned=planned, stream=stream, offset=offset, done=lines, lock=threading.Lock()
            )
            os.fsync(stream.fileno())
        planned.part.replace(planned.path)
        planned.note.unlink(missing_ok=True)


def _anew(planned: Planned) -> tuple[int, int]:
    """Make the file with room for all lines."""
    planned.note.unlink(missing_ok=True)
    scale = planned.full_scale_dn
    return 0, lay_out_tiff(planned.part, planned.shape, planned.kind, full_scale_dn=scale)


def _before(planned: Planned, *, resume: bool) -> tuple[int, int] | None:
    """Read how far a run before came, and where its line 0 begins; None to begin anew."""
    if not (planned.part.exists() and planned.note.exists()):
        return None
    told = _told(planned.note)
    if not resume:
        msg = (
            f'output "{planned.part}" holds a scan that was broken off after {told["lines"]} of '
            f"{told['of']} lines; expected --resume to go on with it, another --out, or that file "
            "removed"
        )
        raise InputError(msg)
    other = [key for key, value in planned.like.items() if told.get(key) != value]
    if other:
        msg = (
            f'--resume: "{planned.part}" was begun with another {" and ".join(other)}; expected '
            "what it began with, or another --out"
        )
        raise InputError(msg)
    if planned.part.stat().st_size != told["offset"] + planned.size_bytes:
        msg = (
            f'--resume: "{planned.part}" is not as long as it was made; expected that file '
            "removed, to begin anew"
        )
        raise InputError(msg)
    return int(told["lines"]), int(told["offset"])


def _told(note: Path) -> dict[str, Any]:
    try:
        told = json.loads(note.read_text("utf-8"))
        whole = isinstance(told, dict) and all(
            isinstance(told.get(key), int) for key in ("lines", "of", "offset")
        )
    except ValueError:
        whole = False
    if not whole:
        msg = f'"{note}" cannot be read; expected the note that linesim scan wrote there'
        raise InputError(msg)
    return dict(told)


def _refuse_no_room(planned: Planned, *, force: bool) -> None:
    """Refuse before hours of work what the disk cannot hold."""
    there = shutil.disk_usage(planned.path.parent).free
    if planned.size_bytes > there and not force:
        msg = (
            f'output "{planned.path}": {planned.shape[0]} lines need '
            f"{planned.size_bytes / 1e9:.3g} GB, but the disk has {there / 1e9:.3g} GB left; "
            "expected fewer acquisition.lines, a shorter acquisition.length or another --out; "
            "--force goes on all the same"
        )
        raise InputError(msg)


@contextlib.contextmanager
def _locked(planned: Planned) -> Iterator[BinaryIO]:
    """Open the growing file for this process alone, where the system can see to that."""
    planned.part.touch()
    with planned.part.open("r+b", buffering=0) as stream:
        try:
            import fcntl  # noqa: PLC0415 -- not on every system

            fcntl.flock(stream, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except ImportError:
            pass
        except BlockingIOError as error:
            msg = f'output "{planned.part}" is being written by another run; expected another --out'
            raise InputError(msg) from error
        yield stream
