"""A long scan that is killed, and gone on with: the bytes of one that was left alone."""

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.stations import plain_toml

LONG = plain_toml(
    "killed",
    target={"pixel_size": "30 um"},
    transport={"speed": "1 m/s"},
    light={"illuminance": "60 klx"},
    camera={"pixels": 128},
    acquisition={"lines": 4000},
)
SLOW = """
import time
from linesim.cli import main
from linesim.files import growing_tiff
from linesim.studies.scan import streamed
growing_tiff._PAUSE_S = 0.0
quick = streamed.delivered_strip
streamed.delivered_strip = lambda *given: time.sleep(0.05) or quick(*given)
main()
"""
"""Notes every strip, and takes its time for each."""


@pytest.mark.nightly
def test_killed_and_gone_on_with(tmp_path: Path) -> None:
    """SIGKILL in the middle, then --resume: the bytes of a run that was left alone."""
    (tmp_path / "setup.toml").write_text(LONG)
    arguments = ["scan", "setup.toml", "--stream", "--resume", "--out"]
    command = [sys.executable, "-c", SLOW, *arguments, "cut"]
    run = subprocess.Popen(command, cwd=tmp_path, stdout=subprocess.DEVNULL)
    note, lines = tmp_path / "cut" / "scan.unfinished.json", 0
    while lines < 128:
        assert run.poll() is None
        time.sleep(0.01)
        lines = json.loads(note.read_text())["lines"] if note.exists() else 0
    os.kill(run.pid, signal.SIGKILL)
    run.wait()
    assert not (tmp_path / "cut" / "scan.tif").exists()
    for out in ("cut", "whole"):
        command = [str(Path(sys.executable).parent / "linesim"), *arguments, out]
        subprocess.run(command, cwd=tmp_path, check=True, capture_output=True)
    for name in ("scan.tif", "metrics.json", "preview.png"):
        assert (tmp_path / "cut" / name).read_bytes() == (tmp_path / "whole" / name).read_bytes()
