"""Whatever goes wrong while a run is on: no half file under a final name, and a sentence."""

import errno
import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import imagecodecs
import numpy as np
import pytest

from linesim.cli import main
from linesim.setup.errors import InputError
from linesim.setup.load import load_setup
from linesim.studies.compare import tasks as comparing
from linesim.studies.compare.study import compare
from linesim.studies.scan import study as scanning

LINESIM = Path(sys.executable).parent / "linesim"
KILLS = 50 if "LINESIM_NIGHTLY" in os.environ else 2


def start(folder: Path, *arguments: str) -> "subprocess.Popen[bytes]":
    """Start the installed command, its words thrown away."""
    return subprocess.Popen(
        [str(LINESIM), *arguments], cwd=folder, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )


def finals(folder: Path) -> dict[str, bytes]:
    """Read all files under a final name."""
    return {
        each.relative_to(folder).as_posix(): each.read_bytes()
        for each in folder.rglob("*")
        if each.is_file() and not each.name.startswith(".part-")
    }


@pytest.mark.nightly
def test_killed_at_any_moment(tiny: str, tmp_path: Path) -> None:
    """SIGKILL of the installed command: each file is whole or not there; the next run ends."""
    assert tiny
    begun = time.monotonic()
    whole_run = start(tmp_path, "scan", "tiny.toml", "--out", "whole")
    assert whole_run.wait(timeout=120) == 0
    longest_s = time.monotonic() - begun
    whole = finals(tmp_path / "whole")
    chance = random.Random(7)  # noqa: S311 -- moments, no secrets
    for _ in range(KILLS):
        killed = start(tmp_path, "scan", "tiny.toml", "--out", "cut")
        # the first half is start-up, in which nothing can be cut
        time.sleep(longest_s * chance.uniform(0.3, 1.1))
        killed.kill()
        killed.wait(timeout=60)
        left = finals(tmp_path / "cut")
        assert all(data == whole[name] for name, data in left.items())
    assert start(tmp_path, "scan", "tiny.toml", "--out", "cut").wait(timeout=120) == 0
    assert finals(tmp_path / "cut") == whole


@pytest.mark.nightly
def test_two_runs_at_once_into_one_folder(tiny: str, tmp_path: Path) -> None:
    """Each file is that of the one run or of the other, never a mixture."""
    assert tiny
    for seed in ("1", "2"):
        alone = start(tmp_path, "scan", "tiny.toml", "--seed", seed, "--out", f"alone{seed}")
        assert alone.wait(timeout=120) == 0
    pair = [start(tmp_path, "scan", "tiny.toml", "--seed", s, "--out", "both") for s in "12"]
    assert [each.wait(timeout=120) for each in pair] == [0, 0]
    one, other = finals(tmp_path / "alone1"), finals(tmp_path / "alone2")
    assert one["scan.tif"] != other["scan.tif"]
    for name, data in finals(tmp_path / "both").items():
        assert data in (one[name], other[name])


def run(monkeypatch: pytest.MonkeyPatch, *arguments: str) -> object:
    """Run the command line in this process; give its exit code."""
    monkeypatch.setattr(sys, "argv", ["linesim", *arguments])
    with pytest.raises(SystemExit) as end:
        main()
    return end.value.code or 0


@contextmanager
def no_file_over(size: int) -> Iterator[None]:
    """Let this process write no longer file for a while."""
    import resource  # noqa: PLC0415 -- not on Windows

    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    before = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
        signal.signal(signal.SIGXFSZ, before)


@pytest.mark.skipif(sys.platform == "win32", reason="Windows limits no file sizes")
@pytest.mark.parametrize("command", ["scan", pytest.param("compare", marks=pytest.mark.nightly)])
def test_a_file_that_cannot_grow(
    command: str,
    tiny: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """The system stops a file at 4 kB, as a quota does: exit 2, a sentence, nothing left."""
    assert tiny
    with no_file_over(4096):
        code = run(monkeypatch, command, "tiny.toml", "--out", "full")
    told = capsys.readouterr()
    assert (code, told.out) == (2, "")
    assert "cannot be written (" in told.err
    assert not list((tmp_path / "full").glob("*.tif"))
    assert not list(tmp_path.rglob(".part-*"))


def test_a_full_disk(
    tiny: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """No space left when the third file is forced to the disk: the first two stay, whole."""
    assert tiny
    assert run(monkeypatch, "scan", "tiny.toml", "--out", "whole") == 0
    flushed, fsync = [], os.fsync

    def full(file: int) -> None:
        flushed.append(file)
        if len(flushed) > 2:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        fsync(file)

    monkeypatch.setattr(os, "fsync", full)
    capsys.readouterr()
    assert run(monkeypatch, "scan", "tiny.toml", "--out", "full") == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert "No space left on device" in told.err
    assert told.err.count("\n") == 1
    whole, left = finals(tmp_path / "whole"), finals(tmp_path / "full")
    assert sorted(left) == ["preview.png", "scan.tif"]
    assert all(data == whole[name] for name, data in left.items())
    assert not list((tmp_path / "full").glob(".part-*"))


@pytest.mark.skipif(not Path("/proc/self").exists(), reason="needs a folder that takes no files")
def test_a_folder_that_takes_no_files(
    tiny: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A file system that cannot be written to, even by root."""
    assert tiny
    assert run(monkeypatch, "scan", "tiny.toml", "--out", "/proc/linesim") == 2
    told = capsys.readouterr()
    assert "/proc" in told.err
    assert "write" in told.err or "written" in told.err
    assert "Traceback" not in told.err


def textured(tmp_path: Path, tiny: str) -> Path:
    """Write a setup whose target is an image file."""
    noise = np.random.default_rng(3).integers(0, 255, (60, 80), dtype=np.uint8)
    (tmp_path / "web.png").write_bytes(imagecodecs.png_encode(noise))
    text = tiny.replace('image = "flat"', 'image = "web.png"')
    (tmp_path / "web.toml").write_text(text, "utf-8")
    return tmp_path / "web.toml"


@pytest.mark.parametrize("what", ["changed", "removed"])
def test_the_image_may_change_while_a_comparison_runs(
    what: str, tiny: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every variant sees the image as it was at the start; what came after it changes nothing."""
    setup = load_setup(textured(tmp_path, tiny))
    before = compare(setup, ("1x1", "2x1"), 1)
    scan_held, image = scanning.scan_held, tmp_path / "web.png"

    def meddled(*given: object, **named: object) -> object:
        found = scan_held(*given, **named)  # type: ignore[arg-type]
        if what == "changed":
            image.write_bytes(imagecodecs.png_encode(np.full((50, 50), 9, dtype=np.uint8)))
            os.utime(image, ns=(1, time.time_ns()))
        else:
            image.unlink(missing_ok=True)
        return found

    monkeypatch.setattr(comparing, "scan_held", meddled)
    after = compare(setup, ("1x1", "2x1"), 1)
    for one, other in zip(before.variants, after.variants, strict=True):
        np.testing.assert_array_equal(one.scan.image, other.scan.image)
        assert one.scan.metrics() == other.scan.metrics()


def test_an_image_cut_while_it_is_read(
    tiny: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another program writes the image at that moment: a sentence."""
    setup = load_setup(textured(tmp_path, tiny))
    image = tmp_path / "web.png"
    image.write_bytes(image.read_bytes()[:300])
    with pytest.raises(InputError, match="is cut short"):
        compare(setup, ("1x1", "2x1"))
    image.unlink()
    assert run(monkeypatch, "scan", "web.toml") == 2


@pytest.mark.nightly
@pytest.mark.skipif(sys.platform == "win32", reason="Windows sends no SIGINT to one process")
def test_ctrl_c_in_a_comparison(tiny: str, tmp_path: Path) -> None:
    """Stopped between two variants: exit 130, one line, nothing written."""
    assert tiny
    code = """
import signal, sys
signal.signal(signal.SIGINT, signal.default_int_handler)
import linesim.studies.compare.tasks as study
scan = study.scan_held
def told(*given, **named):
    found = scan(*given, **named)
    print("scanned", flush=True)
    import time; time.sleep(30)
    return found
study.scan_held = told
sys.argv = ["linesim", "compare", "tiny.toml"]
from linesim.cli import main
main()
"""
    with subprocess.Popen(
        [sys.executable, "-c", code],
        cwd=tmp_path,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "scanned\n"
        process.send_signal(signal.SIGINT)
        _, err = process.communicate(timeout=60)
    assert process.returncode == 130
    assert err == "linesim: stopped; files that were not finished have been left out\n"
    assert [each.name for each in tmp_path.rglob("*")] == ["tiny.toml"]
