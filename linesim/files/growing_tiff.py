"""
A TIFF file that grows over a long time, and can be gone on with after a break.

While it grows it bears another name, and a note beside it tells how many of its lines are safe on
the disk. When it is whole it gets its final name in one step. A run that is stopped or killed
leaves both, and `resume` goes on from what the note says; nothing under the final name is ever half
written: tifffile writes a file in one go or appends pages, and knows nothing of what reached the
disk. One run at a time writes into a folder, where the system can see to that.
"""

import contextlib
import os
import shutil
import threading
import time
from collections.abc import Generator, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

from numpy.typing import NDArray

from linesim.files.atomic import refuse_special, refusing, write_json
from linesim.files.images_out import lay_out_tiff
from linesim.files.unfinished import Note, Planned, left_before, note_of
from linesim.setup.errors import InputError, refuse

_PAUSE_S = 2.0
"""Between two notes: what a killed run has to do again."""
_SECTOR_BYTES = 512


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Growing:
    """A file that is being written."""

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
        state = {"lines": done, "of": self.planned.shape[0], "offset": self.offset}
        write_json(self.planned.note, {**state, **self.planned.like})

    def recorded(self, steps: Iterator[int]) -> Generator[int]:
        """Hand on how many lines are done, and note it every few seconds and at the end."""
        done, noted_s = self.done, time.monotonic()
        try:
            for done in steps:
                if time.monotonic() - noted_s > _PAUSE_S:
                    self.record(done)
                    noted_s = time.monotonic()
                yield done
        finally:
            # why it ends is told by whoever ended it, such as a full disk
            with contextlib.suppress(InputError, OSError):
                self.record(done)


@contextlib.contextmanager
def growing_tiff(planned: Planned, *, resume: bool, force: bool = False) -> Iterator[Growing]:
    """
    Open a file to grow, or to go on growing; on leaving, it gets its final name.

    Several threads may put lines into it; where its ``done`` counts all lines, nothing is to do.
    The note stays until `settle` is called, so that what is read off a whole file can be made up
    for after a break as well. `force` begins although the disk has too little room.
    """
    with refusing(planned.path):
        planned.final.parent.mkdir(parents=True, exist_ok=True)
        for each in (planned.final, planned.part, planned.note):
            refuse_special(each, planned.path if each == planned.final else each)
        with _alone_in(planned.final.parent):
            before = left_before(planned, resume=resume)
            lines, offset = _anew(planned, force=force) if before is None else before
            whole = lines == planned.shape[0] and not planned.part.exists()
            with (planned.final if whole else planned.part).open("r+b", buffering=0) as stream:
                file = Growing(
                    planned=planned, stream=stream, offset=offset, done=lines, lock=threading.Lock()
                )
                if before is None:
                    file.record(0)
                yield file
                file.record(planned.shape[0])
            if not whole:
                planned.part.replace(planned.final)


def settle(path: Path) -> None:
    """Take the note away: nothing is left to be gone on with."""
    note_of(path).unlink(missing_ok=True)


def _anew(planned: Planned, *, force: bool) -> Note:
    """Make the file with room for all lines."""
    _refuse_no_room(planned, force=force)
    for each in (planned.note, planned.part):  # a link of that name must not be written through
        each.unlink(missing_ok=True)
    scale = planned.full_scale_dn
    return 0, lay_out_tiff(planned.part, planned.shape, planned.kind, full_scale_dn=scale)


def _refuse_no_room(planned: Planned, *, force: bool) -> None:
    """Refuse before hours of work what the disk cannot hold."""
    there = shutil.disk_usage(planned.final.parent).free
    if planned.part.exists():  # made anew, it gives back what it takes
        there += getattr(planned.part.stat(), "st_blocks", 0) * _SECTOR_BYTES
    if planned.size_bytes > there and not force:
        refuse(
            f'output "{planned.path}": {planned.shape[0]} lines need '
            f"{planned.size_bytes / 1e9:.3g} GB, but the disk has {there / 1e9:.3g} GB left; "
            "expected fewer acquisition.lines, a shorter acquisition.length or another --out; "
            "--force goes on all the same"
        )


@contextlib.contextmanager
def _alone_in(folder: Path) -> Iterator[None]:
    """Keep other runs out of a folder, where the system can see to that."""
    try:
        import fcntl  # noqa: PLC0415 -- not on every system
    except ImportError:
        yield
        return
    # the folder itself, for a file that is renamed or removed takes its lock along
    handle = os.open(folder, os.O_RDONLY)
    try:
        with contextlib.suppress(OSError):  # some network disks have no locks
            try:
                fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError as error:
                msg = (
                    f'output "{folder}" is being written to by another run; expected another --out'
                )
                raise InputError(msg) from error
        yield
    finally:
        os.close(handle)
