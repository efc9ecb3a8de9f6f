"""Of each page the newest question is answered; no page has to wait for another's old ones."""

import asyncio
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from threading import Event

import pytest

from linesim.preview.latest import MOST_CLIENTS, BusyError, Latest


def held_up(gate: Event, log: list[str], name: str) -> Callable[[], bytes]:
    """Make work that waits to be let go, and writes down that it was done."""

    def work() -> bytes:
        assert gate.wait(10)
        log.append(name)
        return name.encode()

    return work


async def asked(
    latest: Latest, client: str, work: Callable[[], bytes]
) -> "asyncio.Task[bytes | None]":
    """Ask, and let the queue take it up."""
    task = asyncio.create_task(latest.ask(client, work))
    await asyncio.sleep(0.02)
    return task


def test_a_newer_question_takes_the_place_of_an_older_one() -> None:
    """While one is worked on, of those that follow the last alone is worked out."""

    async def play() -> None:
        gate, log = Event(), list[str]()
        with ThreadPoolExecutor(1) as hand:
            latest = Latest(hand)
            tasks = [await asked(latest, "one", held_up(gate, log, name)) for name in "abcd"]
            gate.set()
            assert await asyncio.gather(*tasks) == [b"a", None, None, b"d"]
        assert log == ["a", "d"]

    asyncio.run(play())


def test_pages_take_turns() -> None:
    """A page that asks all the time keeps its place in the queue, and others keep theirs."""

    async def play() -> None:
        gate, log = Event(), list[str]()
        with ThreadPoolExecutor(1) as hand:
            latest = Latest(hand)
            asks = [("x", "x1"), ("y", "y1"), ("z", "z1"), ("y", "y2"), ("x", "x2"), ("y", "y3")]
            tasks = [await asked(latest, who, held_up(gate, log, what)) for who, what in asks]
            gate.set()
            await asyncio.gather(*tasks)
        assert log == ["x1", "y3", "z1", "x2"]

    asyncio.run(play())


def test_a_fault_reaches_the_one_who_asked() -> None:
    """Others are served all the same."""

    def broken() -> bytes:
        msg = "broken"
        raise RuntimeError(msg)

    async def play() -> None:
        with ThreadPoolExecutor(1) as hand:
            latest = Latest(hand)
            with pytest.raises(RuntimeError, match="broken"):
                await latest.ask("one", broken)
            assert await latest.ask("one", lambda: b"well") == b"well"

    asyncio.run(play())


def test_the_queue_is_bounded() -> None:
    """One page too many is sent away at once; those that wait are served."""

    async def play() -> None:
        gate, log = Event(), list[str]()
        with ThreadPoolExecutor(1) as hand:
            latest = Latest(hand)
            first = await asked(latest, "first", held_up(gate, log, "first"))
            tasks = [
                asyncio.create_task(latest.ask(str(k), held_up(gate, log, str(k))))
                for k in range(MOST_CLIENTS)
            ]
            await asyncio.sleep(0.05)
            with pytest.raises(BusyError):
                await latest.ask("late", lambda: b"")
            gate.set()
            await asyncio.gather(first, *tasks)
        assert len(log) == MOST_CLIENTS + 1

    asyncio.run(play())
