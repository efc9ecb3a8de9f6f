"""Making images by workers: tasks of a few images each, and what to do after a worker is lost."""

from collections.abc import Iterable, Iterator
from contextlib import AbstractContextManager
from itertools import groupby

from linesim.dataset.write import write_images
from linesim.workers import runners
from linesim.workers.tasks import Runner

_TASK = 16
"""Images of one scene that go to a worker at once."""


def images(
    runner: Runner, folder: str, indices: Iterable[int], each_scene: int, device: str | None = None
) -> Iterator[int]:
    """Make images of the set in a folder, in any order."""
    most = _TASK if runner.apart else 1
    tasks = ((folder, some, device) for some in _tasks(indices, each_scene, most))
    for _, made in runner.done(_made, tasks):
        yield made


def _tasks(indices: Iterable[int], each_scene: int, most: int) -> Iterator[tuple[int, ...]]:
    """Cut indices into tasks; images of one scene go together, for a scene costs time to draw."""
    for _, run in groupby(indices, lambda index: index // each_scene):
        members = tuple(run)
        for first in range(0, len(members), most):
            yield members[first : first + most]


def _made(task: tuple[str, tuple[int, ...], str | None]) -> int:
    return write_images(*task)


def processes(workers: int) -> AbstractContextManager[Runner]:
    """Lend processes of this machine, as `linesim.workers.runners`; a set can be gone on with."""
    return runners.processes(workers, after="; --resume goes on from here")


def cluster(address: str) -> AbstractContextManager[Runner]:
    """Lend the workers of a Dask scheduler, as `linesim.workers`; a set can be gone on with."""
    return runners.cluster(address, after="; --resume goes on from there")
