"""Workers of a cluster that die while a set is made: others go on, or a sentence says so."""

import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from hashlib import sha256
from pathlib import Path

import pytest

from linesim.dataset.make import make_set
from linesim.dataset.plan.plan_file import load_plan
from linesim.workers.tasks import Alone

ONE_DIES = """\
import os, signal, sys
from pathlib import Path
import distributed
from linesim.cli import _refuse
from linesim.dataset.make import make_set
from linesim.dataset.plan.plan_file import load_plan
from linesim.dataset.workers import cluster
from linesim.setup.errors import InputError
from linesim.workers import runners

class Mortal(distributed.WorkerPlugin):
    name = "mortal"

    def setup(self, worker):
        from linesim.files import atomic
        left, flush = [6], atomic._flush_to_disk

        def flush_or_die(file):
            left[0] -= 1
            if left[0] == 0:
                os.kill(os.getpid(), signal.SIGKILL)
            flush(file)

        atomic._flush_to_disk = flush_or_die

if __name__ == "__main__":
    plan, folder, address, who = sys.argv[1:]
    runners._PATIENCE_S = 0.5 if who == "all" else 15.0  # others come again
    try:
        with cluster(address) as runner:
            client = distributed.default_client()
            mortal = sorted(client.nthreads())[: 1 if who == "one" else None]
            if who == "each":
                client.register_plugin(Mortal())
            else:
                client.run(Mortal().setup, None, workers=mortal)
            make_set(load_plan(plan), Path(folder), runner)
            assert not set(mortal) & set(client.nthreads())
            print("finished")
            sys.stdout.flush()
            os._exit(0)  # workers end by themselves, sooner than they are closed
    except InputError as refusal:
        _refuse(refusal.faults)
"""
"""
Makes a set while one worker, each one, or each one that ever comes is killed at its sixth file.

A worker writes the file whole and dies before it has its name.
"""


def digests(folder: Path) -> dict[str, str]:
    """Hash every file of a set, hidden ones too."""
    return {
        path.relative_to(folder).as_posix(): sha256(path.read_bytes()).hexdigest()
        for path in folder.rglob("*")
        if path.is_file()
    }


def run(*words: str) -> "subprocess.CompletedProcess[str]":
    """Run the script above."""
    return subprocess.run(
        [sys.executable, "-c", ONE_DIES, *words], capture_output=True, text=True, check=False
    )


@pytest.mark.nightly
def test_a_worker_dies_and_others_go_on(plan_file: Path, made: Path, tmp_path: Path) -> None:
    """SIGKILL of one of two workers in the midst of writing: every file is the same, none more."""
    done = run(str(plan_file), str(tmp_path / "set"), "local:2", "one")
    assert (done.returncode, done.stdout) == (0, "finished\n"), done.stderr
    assert digests(tmp_path / "set") == digests(made)


@pytest.mark.nightly
def test_workers_that_die_again_and_again(plan_file: Path, made: Path, tmp_path: Path) -> None:
    """Every worker that the cluster starts dies: a sentence, and --resume gives the same bytes."""
    done = run(str(plan_file), str(tmp_path / "set"), "local:2", "each")
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.startswith("linesim: --cluster: workers were ended from outside (")
    assert done.stderr.endswith("; --resume goes on from there\n")
    assert done.stderr.count("\n") == 1
    make_set(load_plan(plan_file), tmp_path / "set", Alone(), resume=True)
    assert digests(tmp_path / "set") == digests(made)


@contextmanager
def two_workers(folder: Path) -> Iterator[tuple[str, list["subprocess.Popen[bytes]"]]]:
    """Start a scheduler on loopback and two workers that nobody starts again; give its address."""
    here = ["--no-dashboard", "--scheduler-file", str(folder / "there.json")]
    scheduler = [sys.executable, "-m", "distributed.cli.dask_scheduler", *here]
    worker = [sys.executable, "-m", "distributed.cli.dask_worker", *here, "--no-nanny"]
    with subprocess.Popen(
        [*scheduler, "--host", "127.0.0.1", "--port", "0"], stderr=subprocess.PIPE, text=True
    ) as first:
        assert first.stderr is not None
        told = next(line for line in first.stderr if "Scheduler at:" in line)
        workers = [
            subprocess.Popen([*worker, "--nthreads", "1"], stderr=subprocess.DEVNULL)
            for _ in range(2)
        ]
        try:
            joined = (line for line in first.stderr if "Register worker" in line)
            assert len([next(joined) for _ in workers]) == 2
            yield told.split()[-1], workers
        finally:
            for each in workers:
                each.kill()
                each.wait()
            first.kill()


@pytest.mark.nightly
def test_the_last_worker_is_gone(plan_file: Path, made: Path, tmp_path: Path) -> None:
    """Nobody starts another: a sentence, where the scheduler itself would wait for ever."""
    with two_workers(tmp_path) as (address, workers):
        done = run(str(plan_file), str(tmp_path / "set"), address, "all")
        assert [each.wait(timeout=20) for each in workers] == [-signal.SIGKILL] * 2
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == (
        f"linesim: --cluster: {address} has no workers left; --resume goes on from there\n"
    )
    make_set(load_plan(plan_file), tmp_path / "set", Alone(), resume=True)
    assert digests(tmp_path / "set") == digests(made)


# starting clusters takes some ten seconds
