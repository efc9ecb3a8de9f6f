"""A folder that the user may read and not write to: a sentence that names it, and nothing left."""

import ctypes
import io
import os
import sys
from concurrent.futures import ThreadPoolExecutor
from contextlib import chdir, redirect_stderr, redirect_stdout
from pathlib import Path
from unittest.mock import patch

import imagecodecs
import numpy as np
import pytest

from linesim.cli import main
from tests.stations import plain_toml

pytestmark = pytest.mark.skipif(
    sys.platform == "win32", reason="there the bits of a folder keep nobody from writing"
)
SETUP = plain_toml("Read only", camera={"pixels": 32}, acquisition={"lines": 8})
SPACE = """\
title = "Read only"
setup = "setup.toml"
[options]
"light.illuminance" = ["10 klx", "40 klx"]
[requirement]
snr = 5
"""
COMMANDS = {
    "scan": (["scan", "setup.toml", "--out", "shut"], "shut"),
    "scan, below": (["scan", "setup.toml", "--out", "shut/new"], "shut"),
    "scan, by default": (["scan", "setup.toml"], "outputs"),
    "scan --stream": (["scan", "setup.toml", "--stream", "--out", "shut"], "shut"),
    "compare": (["compare", "setup.toml", "--out", "shut"], "shut"),
    "vary": (["vary", "setup.toml", "light.illuminance=1klx,2klx", "--out", "shut"], "shut"),
    "rank": (["rank", "space.toml", "--out", "shut"], "shut"),
    "dataset": (["dataset", "--out", "shut"], "shut"),
    "dataset, by default": (["dataset"], "outputs"),
    "target": (["target", "steps", "--pixel-size", "1 mm", "--out", "shut/steps.png"], "shut"),
    "measure": (["measure", "uniformity", "even.png", "--plot", "shut/even.png"], "shut"),
    "new": (["new", "shut/setup.toml"], "shut"),
    "new, replacing": (["new", "shut/there.toml", "--force"], "shut"),
}


def no_longer_root() -> None:
    """Take from this thread what lets root pass by the bits of files; other threads keep it."""
    head, none = (ctypes.c_uint32 * 2)(0x20080522, 0), (ctypes.c_uint32 * 6)()
    if os.geteuid() == 0 and ctypes.CDLL(None, use_errno=True).capset(head, none):
        raise OSError(ctypes.get_errno(), "capset")


def ran() -> dict[str, tuple[object, str, str]]:
    """Run all commands one after the other in the working folder, as a user who is not root."""
    no_longer_root()
    told: dict[str, tuple[object, str, str]] = {}
    for name, (words, _) in COMMANDS.items():
        out, err = io.StringIO(), io.StringIO()
        with (
            patch("sys.argv", ["linesim", *words]),
            redirect_stdout(out),
            redirect_stderr(err),
            pytest.raises(SystemExit) as end,
        ):
            main()
        told[name] = (end.value.code, out.getvalue(), err.getvalue())
    return told


def entries(folder: Path) -> dict[str, bytes]:
    """Read everything in a folder."""
    return {
        each.relative_to(folder).as_posix(): each.read_bytes() if each.is_file() else b""
        for each in folder.rglob("*")
    }


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> dict[str, tuple[object, str, str]]:
    """Run all of them in a folder that takes no files; give exit code, stdout and stderr."""
    here = tmp_path_factory.mktemp("read_only")
    (here / "setup.toml").write_text(SETUP, "utf-8")
    (here / "space.toml").write_text(SPACE, "utf-8")
    even = np.random.default_rng(5).normal(100, 3, (48, 64)).astype(np.uint8)
    (here / "even.png").write_bytes(imagecodecs.png_encode(even))
    folders = [here / "shut", here / "outputs"]
    for folder in folders:
        folder.mkdir()
        (folder / "there.toml").write_text(SETUP, "utf-8")
        folder.chmod(0o555)
    before = entries(here)
    with chdir(here), ThreadPoolExecutor(1) as alone:
        told = alone.submit(ran).result()
    for folder in folders:
        folder.chmod(0o755)
    assert entries(here) == before
    return told


@pytest.mark.parametrize("name", COMMANDS)
def test_a_folder_that_may_not_be_written_to(
    name: str, told: dict[str, tuple[object, str, str]]
) -> None:
    """Exit 2, one sentence with the folder's name, no traceback; the fixture sees nothing left."""
    code, out, err = told[name]
    assert (code, out) == (2, "")
    assert err.startswith('linesim: output "')
    assert err.count("\n") == 1
    assert COMMANDS[name][1] in err
    assert "that you may write to" in err
