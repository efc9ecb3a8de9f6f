"""Comparisons and data sets killed at any moment, twice in a row, and then made to the end."""

import json
import os
import random
import subprocess
import sys
from pathlib import Path

import pytest

from tests.stations import plain_toml

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="Windows does not fork")

NIGHTLY = "LINESIM_NIGHTLY" in os.environ
CUTS = 25 if NIGHTLY else 1
"""Runs that are killed twice each."""
STATION = plain_toml(
    "Killed",
    target={"image": "foil", "pixel_size": "25 um"},
    camera={"pixels": 64},
    acquisition={"lines": 64},
)
PLAN = """\
title = "Killed"
setup = "station.toml"
count = 6
seed = 5
[images]
good_share = 0.25
[scenes]
images_each = 3
[faults]
kinds = ["pinhole", "spot", "scratch"]
count = "0:2"
min_distance = "0.2 mm"
[labels]
box_files = true
"""
COMPARE = ["compare", "station.toml", "--binning", "1x1,2x1", "--scans"]
DATASET = ["dataset", "plan.toml", "--resume"]
COMMANDS = {"compare": COMPARE, "dataset": [*DATASET, "--workers", "1"]}
IN_PROCESSES = {
    "compare, two workers": [*COMPARE, "--workers", "2"],
    "dataset, two workers": [*DATASET, "--workers", "2"],
}
"""These take seconds each to begin."""
RUN = """\
import io, json, os, signal, sys, time
from contextlib import redirect_stdout
from shutil import copytree
from linesim.cli import main

def run(words, out):
    sys.argv = ["linesim", *words, "--out", out]
    try:
        with redirect_stdout(io.StringIO()):
            main()
    except SystemExit as end:
        return end.code or 0
    return 0

def started(words, out):
    child = os.fork()
    if not child:
        os._exit(run(words, out))
    return child

def ended(child):
    code = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    assert code == 0, code

def changed(out):
    return os.stat(out).st_mtime_ns if os.path.exists(out) else 0

def wait_for_writing(words, out):
    before, child = changed(out), started(words, out)
    while changed(out) == before:
        time.sleep(0.0005)
    return child

if __name__ == "__main__":
    words, cuts = json.load(sys.stdin)
    assert run(words, "whole") == 0  # also loads whatever the command needs
    child = wait_for_writing(words, "timed")
    begun = time.monotonic()
    ended(child)
    longest_s = time.monotonic() - begun
    for k, moments in enumerate(cuts):
        for each, moment in enumerate(moments):
            child = wait_for_writing(words, f"cut{k}")
            time.sleep(moment * longest_s)
            os.kill(child, signal.SIGKILL)
            os.waitpid(child, 0)
            copytree(f"cut{k}", f"left{k}_{each}")
        ended(started(words, f"cut{k}"))
"""
"""Forks after all is loaded; kills between a run's first file and its last."""


def files(folder: Path, *, hidden: bool = False) -> dict[str, bytes]:
    """Read all files, those of killed writers only if asked for."""
    return {
        each.relative_to(folder).as_posix(): each.read_bytes()
        for each in folder.rglob("*")
        if each.is_file() and (hidden or not each.name.startswith(".part-"))
    }


@pytest.mark.nightly
@pytest.mark.parametrize("name", [*COMMANDS, *(IN_PROCESSES if NIGHTLY else ())])
def test_killed_twice_and_made_to_the_end(name: str, tmp_path: Path) -> None:
    """SIGKILL: each file is whole or not there, and the next run ends with the same bytes."""
    (tmp_path / "station.toml").write_text(STATION, "utf-8")
    (tmp_path / "plan.toml").write_text(PLAN, "utf-8")
    chance = random.Random(11)  # noqa: S311 -- moments, no secrets
    cuts = [[chance.random(), chance.random()] for _ in range(CUTS)]
    done = subprocess.run(
        [sys.executable, "-c", RUN],
        cwd=tmp_path,
        input=json.dumps([(COMMANDS | IN_PROCESSES)[name], cuts]),
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    whole = files(tmp_path / "whole")
    left = [files(each) for each in tmp_path.glob("left*")]
    assert len(left) == 2 * CUTS
    for found in left:
        assert {file: data for file, data in found.items() if data != whole.get(file)} == {}
    for each in tmp_path.glob("cut*"):
        # a set is tidied; a comparison leaves alone what is not its own
        assert files(each, hidden="dataset" in name) == whole
