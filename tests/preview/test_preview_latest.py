"""Of each page the newest question is answered; no page has to wait for another's old ones."""

import asyncio
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from threading import Event

import pytest

from linesim.preview.latest import MOST_CLIENTS, BusyError, Latest, SupersededError

Work = Callable[[Event], bytes]


def held_up(gate: Event, log: list[str], name: str) -> Work:
    """Make work that waits to be let go, and writes down that it was done."""

    def work(_stop: Event) -> bytes:
        assert gate.wait(10)
        log.append(name)
        return name.encode()

    return work


def slow(stop: Event) -> bytes:
    """Work until it is stopped, as a picture of very much blur does."""
    assert stop.wait(10)
    raise SupersededError


async def asked(
    latest: Latest, client: str, work: Work, drops: str | None = None
) -> "asyncio.Task[bytes | None]":
    """Ask, and let the queue take it up."""
    task = asyncio.create_task(latest.ask(client, work, drops))
    await asyncio.sleep(0.02)
    return task


def test_a_newer_question_takes_the_place_of_an_older_one() -> None:
    """Of those that follow one that is worked on, the last alone is worked out, and answered."""

    async def play() -> None:
        gate, log = Event(), list[str]()
        with ThreadPoolExecutor(1) as hand:
            latest = Latest(hand)
            tasks = [await asked(latest, "one", held_up(gate, log, name)) for name in "abcd"]
            gate.set()
            assert await asyncio.gather(*tasks) == [None, None, None, b"d"]
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


def test_slow_work_is_stopped_by_what_takes_its_place() -> None:
    """A newer question of the same page, or one that says so, ends what is worked on at once."""

    async def play() -> None:
        with ThreadPoolExecutor(1) as hand:
            latest = Latest(hand)
            for client, drops in (("one", None), ("one coarse", "one")):
                task = await asked(latest, "one", slow)
                quick = await asked(latest, client, lambda _stop: b"quick", drops)
                assert await task is None
                assert await quick == b"quick"

    asyncio.run(play())


def test_slow_work_holds_no_other_page_up() -> None:
    """While one page's picture takes long, another page gets its own."""

    async def play() -> None:
        with ThreadPoolExecutor(2) as hand:
            latest = Latest(hand, threads=2)
            task = await asked(latest, "one", slow)
            assert await latest.ask("other", lambda _stop: b"well") == b"well"
            assert not task.done()
            await latest.ask("one", lambda _stop: b"")
            assert await task is None

    asyncio.run(play())


def test_a_fault_reaches_the_one_who_asked() -> None:
    """Others are served all the same."""

    def broken(_stop: Event) -> bytes:
        msg = "broken"
        raise RuntimeError(msg)

    async def play() -> None:
        with ThreadPoolExecutor(1) as hand:
            latest = Latest(hand)
            with pytest.raises(RuntimeError, match="broken"):
                await latest.ask("one", broken)
            assert await latest.ask("one", lambda _stop: b"well") == b"well"

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
                await latest.ask("late", lambda _stop: b"")
            gate.set()
            await asyncio.gather(first, *tasks)
        assert len(log) == MOST_CLIENTS + 1

    asyncio.run(play())
