"""A few threads for pictures, and of each client the newest request alone."""

import asyncio
from collections.abc import Callable
from concurrent.futures import Executor
from dataclasses import dataclass, field
from threading import Event

MOST_CLIENTS = 64


class BusyError(Exception):
    """More clients wait than are served."""


class SupersededError(Exception):
    """Nobody waits for this work any more."""


@dataclass(frozen=True, slots=True, eq=False)
class _Asked:
    work: Callable[[Event], bytes]
    stop: Event = field(default_factory=Event)
    answer: asyncio.Future[bytes | None] = field(
        default_factory=lambda: asyncio.get_running_loop().create_future()
    )

    def deliver(self, result: bytes) -> None:
        """Answer, where that is still waited for."""
        if not self.answer.done():
            self.answer.set_result(result)

    def fail(self, fault: Exception) -> None:
        """Hand a fault on, where an answer is still waited for."""
        if not self.answer.done():
            self.answer.set_exception(fault)

    def let_go(self) -> None:
        """Answer with nothing, and have the work stopped where it has begun."""
        self.stop.set()
        if not self.answer.done():
            self.answer.set_result(None)


class Latest:
    """A queue in which a newer request of a client takes the place of its older one."""

    def __init__(self, hand: Executor, threads: int = 1) -> None:
        self._hand = hand
        self._threads = threads
        self._waiting: dict[str, _Asked] = {}
        self._working: dict[str, _Asked] = {}
        self._tasks: set[asyncio.Task[None]] = set()

    async def ask(
        self, client: str, work: Callable[[Event], bytes], drops: str | None = None
    ) -> bytes | None:
        """
        Have work done; ``None`` where the same client asked anew before it was done.

        ``drops`` names another client whose requests are not wanted any more.
        """
        older = self._waiting.get(client)
        if older is None and len(self._waiting) >= MOST_CLIENTS:
            raise BusyError
        for name in {client, drops} - {None}:
            self._let_go(str(name))
        mine = _Asked(work)
        self._waiting[client] = mine  # an older one's turn in the queue is kept
        self._start()
        return await mine.answer

    def _let_go(self, client: str) -> None:
        for each in (self._waiting.get(client), self._working.pop(client, None)):
            if each is not None:
                each.let_go()

    def _start(self) -> None:
        while self._waiting and len(self._tasks) < self._threads:
            client = next(iter(self._waiting))
            asked = self._waiting.pop(client)
            if asked.answer.done():  # whoever asked has gone
                continue
            self._working[client] = asked
            task = asyncio.create_task(self._one(client, asked))
            self._tasks.add(task)
            task.add_done_callback(self._over)

    def _over(self, task: "asyncio.Task[None]") -> None:
        self._tasks.discard(task)
        self._start()

    async def _one(self, client: str, asked: _Asked) -> None:
        done = asyncio.get_running_loop().run_in_executor(self._hand, asked.work, asked.stop)
        try:
            asked.deliver(await done)
        except SupersededError:
            asked.let_go()
        except Exception as fault:  # noqa: BLE001 -- handed on to whoever asked
            asked.fail(fault)
        finally:
            if self._working.get(client) is asked:
                del self._working[client]
