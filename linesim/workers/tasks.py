"""
Independent tasks, and the workers that run them: the one seam for all that can be spread.

A task is plain data that can be pickled, the work a function at the top of a module. Whoever writes
files takes results as they end, `Runner.done`; who puts them together takes them in order,
`in_order`. Which runner it is changes no byte.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.metadata import version
from itertools import islice
from math import inf
from typing import Any, Protocol, TypeVar

from linesim import __version__
from linesim.forward.render import one_blas_thread
from linesim.setup.errors import InputError, refuse

Task = TypeVar("Task")
Result = TypeVar("Result")
Progress = Callable[[int, int], None]
"""Is told how many tasks are done, and of how many."""
_AHEAD = 3
"""Tasks for each worker that wait in line: a set of millions must not fill the memory."""
_version = cache(version)  # read from a file each time


class Runner(Protocol):
    """Whoever runs tasks."""

    @property
    def workers(self) -> int:
        """How many tasks run at once."""

    @property
    def threads(self) -> int | None:
        """Threads of a task; one a processor where there is none."""

    @property
    def apart(self) -> bool:
        """Whether tasks run in other processes, to which they travel."""

    @property
    def here(self) -> int:
        """How many of these processes take memory of this machine."""

    def done(
        self, work: Callable[[Task], Result], tasks: Iterable[Task]
    ) -> Iterator[tuple[int, Result]]:
        """Run tasks; yield the place in line and the result of each as it ends."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Alone:
    """No worker but this process."""

    threads: int | None = None  # of each task; one a processor where left out

    @property
    def workers(self) -> int:
        """One task at a time."""
        return 1

    @property
    def apart(self) -> bool:
        """Nothing travels."""
        return False

    @property
    def here(self) -> int:
        """No other process."""
        return 0

    def done(
        self, work: Callable[[Task], Result], tasks: Iterable[Task]
    ) -> Iterator[tuple[int, Result]]:
        """Run tasks one after the other."""
        for index, task in enumerate(tasks):
            yield index, work(task)


@dataclass(frozen=True, slots=True, kw_only=True)
class Pool:
    """Workers of one thread each, behind an executor."""

    submit: Callable[[Callable[[Any], Any], Any], Any]
    ended: Callable[[set[Any]], set[Any]]
    workers: int
    here: int

    @property
    def threads(self) -> int | None:
        """One."""
        return 1

    @property
    def apart(self) -> bool:
        """All tasks travel."""
        return True

    def done(
        self, work: Callable[[Task], Result], tasks: Iterable[Task]
    ) -> Iterator[tuple[int, Result]]:
        """
        Run tasks, a few ahead of what is done.

        Of several that fail the first in line is told, as it would be one after the other.
        """
        line, faults = enumerate(tasks), dict[int, BaseException]()
        open_tasks: dict[Any, int] = {}
        while True:
            free = 0 if faults else self.workers * _AHEAD - len(open_tasks)
            open_tasks |= {self.submit(work, task): place for place, task in islice(line, free)}
            if min(faults, default=inf) < min(open_tasks.values(), default=inf):
                raise _home(faults[min(faults)])
            if not open_tasks:
                return
            for each in self.ended(set(open_tasks)):
                place, fault = open_tasks.pop(each), each.exception()
                if fault is None:
                    yield place, each.result()
                else:
                    faults[place] = fault


def _home(fault: BaseException) -> BaseException:
    """Tell a refusal as though it were made here, without the trace of the worker."""
    return type(fault)(*fault.faults) if isinstance(fault, InputError) else fault


def in_order(
    runner: Runner, work: Callable[[Task], Result], tasks: Sequence[Task], progress: Progress
) -> tuple[Result, ...]:
    """Run tasks and put their results in line; the libraries of each have one thread."""
    known = versions()
    found: dict[int, Result] = {}
    for place, result in runner.done(_alike, [(work, task, known) for task in tasks]):
        found[place] = result
        progress(len(found), len(tasks))
    return tuple(found[place] for place in range(len(tasks)))


def _alike(given: tuple[Callable[[Task], Result], Task, Mapping[str, str]]) -> Result:
    """Run a task so that it gives the same bytes anywhere, or refuse to."""
    work, task, known = given
    own = versions()
    strange = [
        f"{name} {own[name]} there and {known[name]} here"
        for name in own
        if own[name] != known[name]
    ]
    if strange:
        refuse(
            f"--cluster: a worker has other versions ({', '.join(strange)}); expected the same, "
            "which give the same bytes"
        )
    with one_blas_thread():
        return work(task)


def versions() -> dict[str, str]:
    """Name the versions that shape samples, figures and files."""
    libraries = ("numpy", "scipy", "imagecodecs", "tifffile")
    return {"linesim": __version__, **{name: _version(name) for name in libraries}}
