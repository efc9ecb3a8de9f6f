"""Tasks: results in order, refusals as at home, workers that stop, clean up or are lost."""

import os
import pickle
import runpy
import sys
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from itertools import count
from pathlib import Path
from typing import Any

import distributed
import numpy as np
import pytest
from numpy.testing import assert_array_equal

from linesim.setup.errors import InputError
from linesim.setup.load import load_setup
from linesim.workers import tasks
from linesim.workers.runners import cluster, processes
from linesim.workers.shared_array import attached, shared
from linesim.workers.tasks import Alone, Pool, Runner, in_order

ENDLESS = """\
import time
from pathlib import Path
mark = Path(__file__).with_suffix(".part")
mark.touch()
try:
    while True:
        time.sleep(0.01)
finally:
    mark.unlink()
"""
"""Begins a file, and takes it away again when it is stopped."""


def nothing(_done: int, _total: int) -> None:
    """Tell nobody."""


def backwards(open_tasks: list[int]) -> Pool:
    """Lend a runner whose last task ends first; it notes how many tasks wait in line."""

    def submit(work: Callable[[Any], Any], task: object) -> "Future[Any]":
        found: Future[Any] = Future()
        try:
            found.set_result(pickle.loads(pickle.dumps(work(pickle.loads(pickle.dumps(task))))))  # noqa: S301 -- our own
        except (InputError, ValueError) as fault:
            found.set_exception(fault)
        order[found] = next(numbers)
        return found

    def ended(some: set[Any]) -> set[Any]:
        open_tasks.append(len(some))
        return {max(some, key=order.__getitem__)}

    order, numbers = dict["Future[Any]", int](), count()
    return Pool(submit=submit, ended=ended, workers=2, here=0)


@pytest.fixture(scope="module")
def pair() -> Iterator[Runner]:
    """Lend two processes."""
    with processes(2) as runner:
        yield runner


def test_results_stand_in_line_however_they_end() -> None:
    """The last ends first here; each end is told; six tasks at most wait for two workers."""
    told: list[tuple[int, int]] = []
    waiting: list[int] = []
    runner = backwards(waiting)
    assert [place for place, _ in runner.done(float, ["1"] * 7)] != list(range(7))
    found = in_order(runner, float, list("123456789"), lambda *each: told.append(each))
    assert found == tuple(float(each) for each in range(1, 10))
    assert told == [(done, 9) for done in range(1, 10)]
    assert max(waiting) == 6


def test_the_first_fault_in_line_is_told() -> None:
    """As one after the other would tell it, though a later one fails before it."""
    for runner in (Alone(), backwards([])):
        with pytest.raises(ValueError, match="'b'"):
            in_order(runner, float, ["1", "b", "2", "c", "3"], nothing)


def test_after_a_fault_no_task_begins() -> None:
    """The sixth fails first; the five before it end, for they might have failed; no more begin."""
    texts, found = iter("12345b6789"), list[float]()
    with pytest.raises(ValueError, match="'b'"):
        found.extend(result for _, result in backwards([]).done(float, texts))
    assert sorted(found) == [1, 2, 3, 4, 5]
    assert list(texts) == list("6789")


def test_a_refusal_is_the_same_from_a_worker(pair: Runner, tmp_path: Path) -> None:
    """All its sentences, and nothing of where it was made."""
    (tmp_path / "a.toml").write_text("[bla]\n[blub]\n", "utf-8")
    files = [tmp_path / "a.toml", tmp_path / "b.toml"]
    told = []
    for runner in (Alone(), pair):
        with pytest.raises(InputError) as refusal:
            in_order(runner, load_setup, files, nothing)
        told.append((refusal.value.faults, refusal.value.__cause__))
    assert told[0] == told[1]
    assert len(told[0][0]) > 1


def test_libraries_of_a_worker_have_one_thread(pair: Runner) -> None:
    """For a product in more threads adds in another order; this process gets its own back."""
    names = ["OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"]
    assert in_order(pair, os.getenv, names, nothing) == ("1", "1")
    before = [os.environ.get(name) for name in names]
    with processes(2) as runner:
        assert runner.threads == 1
        assert os.environ["OPENBLAS_NUM_THREADS"] == "1"
    with processes(1) as runner:
        assert (runner.threads, runner.apart) == (1, False)
    assert [os.environ.get(name) for name in names] == before


def test_other_versions_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """A worker with another numpy says so before it makes other bytes."""
    own = tasks.versions()
    each = iter([own, {**own, "numpy": "1.0"}])
    monkeypatch.setattr(tasks, "versions", lambda: next(each))
    with pytest.raises(InputError, match=rf"numpy 1\.0 there and {own['numpy']} here"):
        in_order(Alone(), float, ["1"], nothing)


def test_a_stopped_worker_cleans_up(tmp_path: Path) -> None:
    """
    Ctrl-C here: tasks without end are left, and take away what they began.

    Both workers are at it when it comes, and more tasks wait.
    """
    scripts = [tmp_path / f"{each}.py" for each in "abcdef"]
    for script in scripts:
        script.write_text(ENDLESS, "utf-8")

    def begin() -> None:
        with processes(2) as runner:
            assert isinstance(runner, Pool)
            for script in scripts:
                runner.submit(runpy.run_path, str(script))
            while len(list(tmp_path.glob("*.part"))) < 2:
                time.sleep(0.01)
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        begin()
    assert list(tmp_path.glob("*.part")) == []


def test_a_lost_worker_is_told() -> None:
    """In one sentence that says what may be done, with what else the caller knows."""

    def lose() -> None:
        with processes(2, after="; begin again") as runner:
            list(runner.done(os._exit, [1, 1]))

    with pytest.raises(InputError, match=r"a worker was ended .*--workers; begin again"):
        lose()


@pytest.mark.skipif(sys.platform != "linux", reason="files without a name are Linux's")
def test_an_array_is_lent_while_the_block_lasts(pair: Runner) -> None:
    """Workers see its values; who asks with another token, or later, sees nothing."""
    data = np.arange(6, dtype=np.float32).reshape(2, 3)
    with shared(data) as where:
        for found in in_order(pair, attached, [where, where], nothing):
            assert_array_equal(found, data)
        own = attached(where)
        assert own is not None
        assert not own.flags.writeable
        assert attached(type(where)(path=where.path, token=b"x" * 64, shape=(2, 3))) is None
    assert attached(where) is None


@pytest.mark.nightly
def test_a_client_that_reaches_nobody_is_closed_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Collected later, it would find its loop gone, and say so in the middle of others."""
    ended: list[int] = []
    close: Any = distributed.Client.__del__

    def watched(client: Any) -> None:  # noqa: ANN401 -- of an optional library
        ended.append(1)
        close(client)

    monkeypatch.setattr(distributed.Client, "__del__", watched)
    with pytest.raises(InputError, match='found no scheduler at "nowhere"'), cluster("nowhere"):
        pass
    assert ended == [1]
