"""
Many workers: processes of this machine, or those of a Dask scheduler. Folder and indices travel.

Each worker runs one thread. Processes are spawned, for a fork would copy locks and streams, and end
by themselves when the one that started them is gone.
"""

import os
import signal
import threading
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from itertools import islice
from typing import Any, Protocol

from linesim.dataset.write import write_images
from linesim.setup.errors import InputError

Indices = tuple[int, ...]
_AHEAD = 3
"""Tasks for each worker that wait in line: a set of millions must not fill the memory."""


class Crew(Protocol):
    """Workers that make images."""

    def made(self, folder: str, tasks: Iterable[Indices]) -> Iterator[int]:
        """Make them; yield how many each finished task made."""


class Alone:
    """No worker but this process."""

    def made(self, folder: str, tasks: Iterable[Indices]) -> Iterator[int]:
        """
        Make images one after the other.

        Parameters
        ----------
        folder : str
            Of the set.
        tasks : iterable of tuple of int
            Indices.

        Yields
        ------
        int
            1 for each image.
        """
        for task in tasks:
            for index in task:
                yield write_images(folder, (index,))


class Pool:
    """
    Workers behind an executor.

    Parameters
    ----------
    submit : callable
        Takes a function and its arguments, gives a future.
    ended : callable
        Waits until one of some futures is done; gives those that are.
    workers : int
        How many there are.
    """

    def __init__(
        self,
        submit: Callable[..., Any],
        ended: Callable[[set[Any]], set[Any]],
        workers: int,
    ) -> None:
        self.submit, self.ended, self.workers = submit, ended, workers

    def made(self, folder: str, tasks: Iterable[Indices]) -> Iterator[int]:
        """
        Make images, a few tasks ahead of what is done.

        Parameters
        ----------
        folder : str
            Of the set.
        tasks : iterable of tuple of int
            Indices.

        Yields
        ------
        int
            Images of each task that is done, in any order.
        """
        queue = iter(tasks)
        open_tasks: set[Any] = set()
        while True:
            free = self.workers * _AHEAD - len(open_tasks)
            open_tasks |= {self.submit(write_images, folder, task) for task in islice(queue, free)}
            if not open_tasks:
                return
            done = self.ended(open_tasks)
            open_tasks -= done
            for each in done:
                yield _result(each)


def _result(task: Any) -> int:  # noqa: ANN401 -- a future of whatever library
    """Give what a task made; its refusal comes home as one text."""
    try:
        return int(task.result())
    except InputError as refusal:
        raise InputError(*str(refusal).split("\n")) from None


@contextmanager
def processes(workers: int) -> Iterator[Crew]:
    """
    Lend processes of this machine.

    Parameters
    ----------
    workers : int
        How many.

    Yields
    ------
    Crew
        The workers; this process alone where one is asked for.

    Raises
    ------
    InputError
        Where a worker was ended from outside.
    """
    if workers == 1:
        yield Alone()
        return
    from multiprocessing import get_context  # noqa: PLC0415 -- only for several

    with (
        _one_thread_each(),
        ProcessPoolExecutor(
            workers, mp_context=get_context("spawn"), initializer=_end_with_parent
        ) as pool,
    ):
        try:
            yield Pool(pool.submit, _first_done, workers)
        except BrokenProcessPool:
            msg = (
                "a worker was ended from outside, perhaps for lack of memory; expected fewer "
                "--workers; --resume goes on from here"
            )
            raise InputError(msg) from None
        finally:
            pool.shutdown(cancel_futures=True)


def _first_done(futures: set[Future[int]]) -> set[Future[int]]:
    return wait(futures, return_when=FIRST_COMPLETED).done


_THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMEXPR_NUM_THREADS")


@contextmanager
def _one_thread_each() -> Iterator[None]:
    """Have libraries of new processes start no threads of their own."""
    before = {name: os.environ.get(name) for name in _THREADS}
    os.environ.update(dict.fromkeys(_THREADS, "1"))
    try:
        yield
    finally:
        for name, value in before.items():
            os.environ.pop(name)
            os.environ.update({} if value is None else {name: value})


def _end_with_parent() -> None:
    """Watch the process that started this one, which alone hears Ctrl-C: it may be killed."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_watch, daemon=True).start()


def _watch() -> None:
    from multiprocessing import parent_process  # noqa: PLC0415 -- in workers alone
    from multiprocessing.connection import wait as ended  # noqa: PLC0415 -- the same

    parent = parent_process()
    if parent is not None:
        ended([parent.sentinel])
        os._exit(1)


@contextmanager
def cluster(address: str) -> Iterator[Crew]:
    """
    Lend the workers of a Dask scheduler, which all see the set's folder under the same path.

    Parameters
    ----------
    address : str
        "tcp://HOST:PORT", or "local:N" for N processes behind a scheduler on loopback.

    Yields
    ------
    Crew
        The workers.

    Raises
    ------
    InputError
        Where the library is not installed, there is no scheduler, or it has no workers.
    """
    try:
        import distributed  # noqa: PLC0415 -- of the extra "cluster"
    except ImportError:
        msg = '--cluster: distributed is not installed; expected pip install "linesim[cluster]"'
        raise InputError(msg) from None
    with _started(distributed, address) as client:
        workers = sum(client.nthreads().values())
        waiting: Any = distributed.wait
        if not workers:
            msg = f"--cluster: {address} has no workers; expected at least one"
            raise InputError(msg)
        try:
            yield Pool(
                lambda work, *given: client.submit(work, *given, pure=False),
                lambda futures: set(waiting(futures, return_when="FIRST_COMPLETED").done),
                workers,
            )
        except distributed.KilledWorker as fault:
            msg = (
                f"--cluster: workers were ended from outside ({fault}); --resume goes on from there"
            )
            raise InputError(msg) from None


@contextmanager
def _started(distributed: Any, address: str) -> Iterator[Any]:  # noqa: ANN401 -- an optional library
    """Connect to a scheduler, or start one that nobody outside of this machine sees."""
    kind, _, number = address.partition(":")
    if kind == "local":
        if not number.isdigit() or int(number) < 1:
            msg = f'--cluster: read "{address}", expected "local:2" or "tcp://HOST:PORT"'
            raise InputError(msg)
        with (
            _one_thread_each(),
            distributed.LocalCluster(
                n_workers=int(number),
                threads_per_worker=1,
                host="127.0.0.1",
                dashboard_address=None,
            ) as here,
            distributed.Client(here) as client,
        ):
            yield client
        return
    try:
        client = distributed.Client(address, timeout="10s")
    except (OSError, ValueError, TimeoutError) as fault:
        msg = f'--cluster: found no scheduler at "{address}" ({fault}); expected "tcp://HOST:PORT"'
        raise InputError(msg) from None
    with client:
        yield client
