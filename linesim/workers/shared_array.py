"""
One array for all workers of this machine, without a copy for each.

It lies in a file of the memory that has no name (Linux): what is left of it is gone with the last
process that looks at it, however that ends (``multiprocessing.shared_memory`` stays behind when
a whole group of processes is killed, its tracker too). Workers reach it by the number of the
process that made it; where they do not, each must get the array in another way.
"""

import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from linesim.setup.arrays import ImageArray
from linesim.workers.tasks import Runner

_TOKEN_BYTES = 64
"""In front of the array: it keeps it aligned, and no other file has it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shared:
    """Where an array of single precision lies."""

    path: str  # for processes of this machine
    token: bytes
    shape: tuple[int, ...]


def can_share(runner: Runner) -> bool:
    """Say whether all processes of a runner are on this machine, which has files in memory."""
    return runner.apart and runner.here == runner.workers and hasattr(os, "memfd_create")


@contextmanager
def shared(data: ImageArray) -> Iterator[Shared]:
    """
    Lend an array to other processes, until the end of the block.

    Parameters
    ----------
    data : ndarray of float32; it is copied once
    """
    token = secrets.token_bytes(_TOKEN_BYTES)
    with os.fdopen(os.memfd_create("linesim"), "wb") as file:
        file.write(token)
        file.write(np.ascontiguousarray(data, dtype=np.float32).data)
        file.flush()
        path = f"/proc/{os.getpid()}/fd/{file.fileno()}"
        where = Shared(path=path, token=token, shape=data.shape)
        del data  # the caller may have no more use for it
        yield where


def attached(where: Shared) -> ImageArray | None:
    """Look at a lent array, to be read only; None where this process does not reach it."""
    try:
        with Path(where.path).open("rb") as file:
            if file.read(_TOKEN_BYTES) != where.token:
                return None
            return np.asarray(
                np.memmap(file, np.float32, mode="r", offset=_TOKEN_BYTES, shape=where.shape)
            )
    except OSError:
        return None
