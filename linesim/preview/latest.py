"""One thread for pictures, and of each client the newest request alone."""

import asyncio
from collections.abc import Callable
from concurrent.futures import Executor
from dataclasses import dataclass, field

MOST_CLIENTS = 64


class BusyError(Exception):
    """More clients wait than are served."""


@dataclass(frozen=True, slots=True, eq=False)
class _Waiting:
    work: Callable[[], bytes]
    answer: asyncio.Future[bytes | None] = field(
        default_factory=lambda: asyncio.get_running_loop().create_future()
    )


class Latest:
    """A queue in which a newer request of a client takes the place of its older one."""

    def __init__(self, hand: Executor) -> None:
        self._hand = hand
        self._waiting: dict[str, _Waiting] = {}
        self._runner: asyncio.Task[None] | None = None

    async def ask(self, client: str, work: Callable[[], bytes]) -> bytes | None:
        """Have work done; ``None`` where the same client asked anew before its turn."""
        older = self._waiting.get(client)
        if older is None and len(self._waiting) >= MOST_CLIENTS:
            raise BusyError
        if older is not None and not older.answer.done():
            older.answer.set_result(None)
        mine = _Waiting(work)
        self._waiting[client] = mine  # an older one's turn in the queue is kept
        if self._runner is None or self._runner.done():
            self._runner = asyncio.create_task(self._run())
        return await mine.answer

    async def _run(self) -> None:
        while self._waiting:
            client = next(iter(self._waiting))
            await self._one(self._waiting.pop(client))

    async def _one(self, waiting: _Waiting) -> None:
        if waiting.answer.done():  # whoever asked has gone
            return
        done = asyncio.get_running_loop().run_in_executor(self._hand, waiting.work)
        try:
            result = await done
        except Exception as fault:  # noqa: BLE001 -- handed on to whoever asked
            if not waiting.answer.done():
                waiting.answer.set_exception(fault)
            return
        if not waiting.answer.done():
            waiting.answer.set_result(result)
