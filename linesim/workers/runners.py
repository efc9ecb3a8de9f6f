"""
Lending workers: processes of this machine, or the workers of a Dask scheduler.

Each worker runs one thread. Processes are spawned, for a fork would copy locks and streams. They
hold the end of a line to the process that started them: when it hangs up they stop what they do,
clean up and wait; when it is gone they end by themselves.
"""

import gc
import logging
import os
import signal
import threading
from _thread import interrupt_main
from collections.abc import Callable, Iterator
from concurrent.futures import FIRST_COMPLETED, CancelledError, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from multiprocessing import get_context, parent_process, resource_tracker
from multiprocessing.connection import Connection
from multiprocessing.connection import wait as ended
from traceback import clear_frames
from types import FrameType
from typing import Any

from linesim.setup.arguments import checked_workers
from linesim.setup.errors import InputError, refuse
from linesim.workers.tasks import Alone, Pool, Result, Runner, Task

_THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMEXPR_NUM_THREADS")
_AGAIN_S = 0.1
"""How often a worker that is to stop is told so: a task may just have begun."""
_PATIENCE_S = 15.0
"""How often a cluster that finishes nothing is asked for its workers; twice without is the end."""
_LOOPBACK = ("127.0.0.1", "::1")


@contextmanager
def processes(workers: int, *, after: str = "") -> Iterator[Runner]:
    """
    Lend processes of this machine; this one alone, in one thread, where one is asked for.

    `after` says what the user may do after a worker was ended, beside taking fewer: the end of a
    sentence.
    """
    checked_workers(workers)
    if workers == 1:
        yield Alone(threads=1)
        return
    spawn = get_context("spawn")
    ear, line = spawn.Pipe(duplex=False)
    with (
        ear,
        _one_thread_each(),
        ProcessPoolExecutor(
            workers, mp_context=spawn, initializer=_listen, initargs=(ear,)
        ) as pool,
    ):
        try:
            yield Pool(submit=_submitter(pool), ended=_first_done, workers=workers, here=workers)
        except BrokenProcessPool:
            msg = (
                "a worker was ended from outside, perhaps for lack of memory; expected fewer "
                f"--workers{after}"
            )
            raise InputError(msg) from None
        finally:
            line.close()
            pool.shutdown(cancel_futures=True)


def _first_done(futures: set[Future[Any]]) -> set[Future[Any]]:
    return wait(futures, return_when=FIRST_COMPLETED).done


def _submitter(pool: ProcessPoolExecutor) -> Callable[[Callable[[Any], Any], Any], Any]:
    def submit(work: Callable[[Any], Any], task: object) -> Future[Any]:
        with _deaf_children():
            return pool.submit(_stoppable, work, task)

    return submit


@contextmanager
def _deaf_children() -> Iterator[None]:
    """Have processes that start now not hear Ctrl-C themselves, not even while they begin."""
    if not hasattr(signal, "pthread_sigmask"):  # Windows, where `_listen` does what can be done
        yield
        return
    resource_tracker.ensure_running()  # its start would end the silence
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


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


def _listen(ear: Connection) -> None:
    """Begin a worker: what it does is ended over the line, for Ctrl-C may be heard by one alone."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_watch, args=(ear,), daemon=True).start()


def _watch(ear: Connection) -> None:
    parent = parent_process()
    if parent is None:
        return
    first = ended([parent.sentinel, ear])
    while parent.sentinel not in first:
        interrupt_main(signal.SIGINT)
        first = ended([parent.sentinel], _AGAIN_S)
    os._exit(1)


def _stoppable(work: Callable[[Task], Result], task: Task) -> Result:
    """Run a task in a worker so that it can be stopped, and cleans up behind itself."""
    signal.signal(signal.SIGINT, _stop_once)
    try:
        return work(task)
    finally:
        signal.signal(signal.SIGINT, signal.SIG_IGN)


def _stop_once(_number: int, _frame: FrameType | None) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # so that nothing disturbs the cleaning up
    raise KeyboardInterrupt


@contextmanager
def cluster(address: str, *, after: str = "") -> Iterator[Runner]:
    """
    Lend the workers of a Dask scheduler, which all see files under the same paths.

    The address is "tcp://HOST:PORT", or "local:N" for N processes behind a scheduler on loopback;
    `after` is as for `processes`.
    """
    distributed = _library()
    with _quiet(), _started(distributed, address) as client:
        threads: dict[str, int] = client.nthreads()
        if not threads:
            refuse(f"--cluster: {address} has no workers; expected at least one")
        near = [count for at, count in threads.items() if any(name in at for name in _LOOPBACK)]
        try:
            yield Pool(
                submit=lambda work, task: client.submit(work, task, pure=False),
                ended=lambda some: _first_ended(distributed, client, some),
                workers=sum(threads.values()),
                here=sum(near),
            )
        except distributed.KilledWorker as fault:
            msg = f"--cluster: workers were ended from outside ({fault}){after}"
            raise InputError(msg) from None
        except CancelledError:
            msg = f"--cluster: the scheduler at {address} has gone{after}"
            raise InputError(msg) from None
        except _NoWorkersError:
            msg = f"--cluster: {address} has no workers left{after}"
            raise InputError(msg) from None


def _first_ended(distributed: Any, client: Any, some: set[Any]) -> set[Any]:  # noqa: ANN401 -- an optional library
    """Wait for the first; a scheduler would wait for new workers for ever."""
    was_empty = False
    while True:
        try:
            return set(distributed.wait(some, _PATIENCE_S, return_when="FIRST_COMPLETED").done)
        except TimeoutError:
            is_empty = not client.nthreads()
        if was_empty and is_empty:
            raise _NoWorkersError
        was_empty = is_empty


class _NoWorkersError(Exception):
    """No worker has come for as long as one that died may take to come back."""


def _library() -> Any:  # noqa: ANN401 -- an optional library
    try:
        import distributed  # noqa: PLC0415 -- of the extra "cluster"
    except ImportError:
        msg = '--cluster: distributed is not installed; expected pip install "linesim[cluster]"'
        raise InputError(msg) from None
    return distributed


@contextmanager
def _quiet() -> Iterator[None]:
    """Leave what goes wrong to our own sentence: the library writes traces to stderr too."""
    handlers = logging.getLogger("distributed").handlers
    before = [(each, each.level) for each in handlers]
    for each in handlers:
        each.setLevel(logging.CRITICAL)
    try:
        yield
    finally:
        for each, level in before:
            each.setLevel(level)


@contextmanager
def _started(distributed: Any, address: str) -> Iterator[Any]:  # noqa: ANN401 -- an optional library
    """Connect to a scheduler, or start one that nobody outside of this machine sees."""
    kind, _, number = address.partition(":")
    if kind == "local":
        if not number.isdigit() or int(number) < 1:
            refuse(f'--cluster: read "{address}", expected "local:2" or "tcp://HOST:PORT"')
        with (
            _one_thread_each(),
            _local(distributed, int(number)) as here,
            distributed.Client(here) as client,
        ):
            yield client
        return
    with _connected(distributed, address) as client:
        yield client


def _connected(distributed: Any, address: str) -> Any:  # noqa: ANN401 -- an optional library
    """Reach a scheduler; a client that reaches none is closed at once, while its loop runs."""
    try:
        return distributed.Client(address, timeout="10s")
    except (OSError, ValueError, TimeoutError) as fault:
        reason = str(fault)
        clear_frames(fault.__traceback__)
    gc.collect()
    msg = f'--cluster: found no scheduler at "{address}" ({reason}); expected "tcp://HOST:PORT"'
    raise InputError(msg)


def _local(distributed: Any, number: int) -> Any:  # noqa: ANN401 -- an optional library
    with _deaf_children():
        return distributed.LocalCluster(
            n_workers=number,
            threads_per_worker=1,
            host="127.0.0.1",
            dashboard_address=None,
            silence_logs=logging.CRITICAL,
        )
