"""Processes that help: they are asked in turn, and what they answer is collected by threads."""

import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from multiprocessing import get_context
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from pathlib import Path
from queue import SimpleQueue
from tempfile import NamedTemporaryFile, TemporaryDirectory
from threading import Thread
from typing import Any, NamedTuple, Protocol

import numpy as np
from threadpoolctl import threadpool_limits

from linesim.dataset.feed.helper import Helper, Scene
from linesim.dataset.plan.plan import Plan
from linesim.metrics.detection.texture import Texture
from linesim.setup.errors import InputError

_PATIENCE_S = 5.0
_EACH = 3
MOST_WORKERS = 256
PlanOf = Callable[[], Plan]
"""Reads the plan; it can be pickled."""


class Answer(NamedTuple):
    """What came of a question."""

    helper: int
    kind: str  # "prepare", "judge" or "scene", as asked; "fault" where it failed
    number: int  # of the image or of the scene
    data: Any


class Helpers(Protocol):
    """Whoever helps."""

    @property
    def preparers(self) -> int:
        """How many of them prepare images."""

    @property
    def drawers(self) -> int:
        """How many scenes are drawn ahead."""

    @property
    def together(self) -> int:
        """How many images the device is given at once."""

    @property
    def ahead(self) -> int:
        """How many images are asked for before the first one is waited for."""

    @property
    def waiting(self) -> int:
        """How many such batches are under way, the last one on the device."""

    def ask(self, helper: int, kind: str, number: int, *given: object) -> None:
        """Ask one of them."""

    def answer(self) -> Answer:
        """Wait for the next answer."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Here:
    """No process but this one."""

    helper: Helper
    answers: "SimpleQueue[Answer]" = field(default_factory=SimpleQueue)
    preparers: int = 1
    drawers: int = 0
    together: int = 1
    ahead: int = 1
    waiting: int = 1

    def ask(self, helper: int, kind: str, number: int, *given: object) -> None:
        """Do it at once."""
        # a product of matrices adds in another order where it takes more threads
        with threadpool_limits(limits=1):
            self.answers.put(Answer(helper, kind, number, done(self.helper, kind, number, given)))

    def answer(self) -> Answer:
        """Give the next answer."""
        return self.answers.get_nowait()


@dataclass(frozen=True, slots=True, kw_only=True)
class Processes:
    """Processes of this machine; the last ones draw scenes."""

    pipes: "list[Connection[Any, Any]]"
    answers: "SimpleQueue[Answer]"
    preparers: int
    together: int = 8
    waiting: int = 3

    @property
    def drawers(self) -> int:
        """Those that do not prepare images."""
        return len(self.pipes) - self.preparers

    @property
    def ahead(self) -> int:
        """Some for each helper, and those that the device is given next."""
        return _EACH * self.preparers + self.together

    def ask(self, helper: int, kind: str, number: int, *given: object) -> None:
        """Send a question."""
        at = self.preparers + number % self.drawers if kind == "scene" else helper
        try:
            self.pipes[at].send((kind, number, given))
        except OSError:
            raise _lost() from None

    def answer(self) -> Answer:
        """Wait for the next answer."""
        found = self.answers.get()
        if found.kind == "fault":
            raise found.data
        return found


def done(helper: Helper, kind: str, number: int, given: tuple[Any, ...]) -> Any:  # noqa: ANN401 -- by kind
    """Do what is asked."""
    if kind == "scene":
        return helper.scene(number)
    return helper.prepare(number) if kind == "prepare" else helper.judge(number, *given)


@contextmanager
def lend_helpers(plan_of: PlanOf, workers: int, *, by_kernels: bool) -> Iterator[Helpers]:
    """
    Lend help.

    Parameters
    ----------
    plan_of : callable; reads the plan, in each process
    workers : int; processes of this machine, two or more; 0: none but this one
    by_kernels : bool; how the device takes matrices

    Yields
    ------
    Helpers
    """
    if workers == 0:
        yield Here(helper=Helper(plan=plan_of(), by_kernels=by_kernels))
        return
    with _processes(plan_of, workers, by_kernels=by_kernels) as lent:
        yield lent


@contextmanager
def _processes(plan_of: PlanOf, workers: int, *, by_kernels: bool) -> Iterator[Processes]:
    """Lend processes of this machine; a quarter of them draw scenes."""
    answers: SimpleQueue[Answer] = SimpleQueue()
    lent: list[_Lent] = []
    folder = TemporaryDirectory(prefix="linesim_")
    try:
        work = _Work(plan_of=plan_of, by_kernels=by_kernels, folder=Path(folder.name))
        lent.extend(_lent(number, work, answers) for number in range(workers))
        yield Processes(
            pipes=[each.pipe for each in lent],
            answers=answers,
            preparers=workers - max(1, workers // 4),
        )
    finally:
        for each in lent:
            each.process.terminate()
        for each in lent:
            each.process.join(_PATIENCE_S)
            each.reader.join(_PATIENCE_S)
            each.pipe.close()
        folder.cleanup()


class _Lent(NamedTuple):
    """One process, and the thread that collects what it answers."""

    process: BaseProcess
    reader: Thread
    pipe: "Connection[Any, Any]"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Work:
    """What a process is told first."""

    plan_of: PlanOf
    by_kernels: bool
    folder: Path  # for scenes, which are too large for a pipe

    def helper(self) -> Helper:
        """Begin."""
        return Helper(plan=self.plan_of(), by_kernels=self.by_kernels)

    def sent(self, data: Any) -> Any:  # noqa: ANN401 -- whatever is answered
        """Lay a scene down; all else goes by the pipe."""
        if not isinstance(data, Scene):
            return data
        with NamedTemporaryFile(dir=self.folder, delete=False) as file:
            data.data.tofile(file)
        return _Laid(Path(file.name), data.data.shape, data.texture)


class _Laid(NamedTuple):
    """A scene in a file."""

    path: Path
    shape: tuple[int, ...]
    texture: Texture | None

    def taken(self) -> Scene:
        """Read it, and remove the file."""
        data = np.fromfile(self.path, dtype=np.float32).reshape(self.shape)
        self.path.unlink()
        return Scene(data, self.texture)


def _lent(number: int, work: _Work, answers: "SimpleQueue[Answer]") -> _Lent:
    """Begin a process."""
    spawn = get_context("spawn")
    here, there = spawn.Pipe()
    process = spawn.Process(target=_work, args=(there, work), daemon=True)
    process.start()
    there.close()
    reader = Thread(target=_read, args=(here, number, answers), daemon=True)
    reader.start()
    return _Lent(process, reader, here)


def _read(pipe: "Connection[Any, Any]", helper: int, answers: "SimpleQueue[Answer]") -> None:
    """Collect what one process answers, so that it never waits."""
    try:
        while True:
            kind, number, data = pipe.recv()
            taken = data.taken() if isinstance(data, _Laid) else data
            answers.put(Answer(helper, kind, number, taken))
    except (EOFError, OSError):
        answers.put(Answer(helper, "fault", 0, _lost()))


def _lost() -> InputError:
    msg = (
        "a process that prepares images was lost; expected enough memory for all, or fewer workers"
    )
    return InputError(msg)


def _work(pipe: "Connection[Any, Any]", work: _Work) -> None:
    """Answer what is asked, until nobody asks."""
    import torch  # noqa: PLC0415 -- an extra

    signal.signal(signal.SIGINT, signal.SIG_IGN)  # whoever asks ends it
    torch.set_num_threads(1)
    with threadpool_limits(limits=1), suppress(EOFError, OSError):
        helper: Helper | None = None
        while True:
            kind, number, given = pipe.recv()
            try:
                helper = helper or work.helper()
                pipe.send((kind, number, work.sent(done(helper, kind, number, given))))
            except InputError as fault:
                pipe.send(("fault", number, fault))
