"""A folder of broken files, and a runner that checks what every refusal has in common."""

import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import imagecodecs
import numpy as np
import pytest

from linesim.cli import main
from tests.stations import plain_toml

BASE = plain_toml("Base", camera={"pixels": 32}, acquisition={"lines": 8})


TINY = plain_toml(
    "Tiny",
    camera={"pixels": 48},
    acquisition={"lines": 80},
    requirement={"snr": 20, "smallest_defect": "300 um"},
)


@dataclass(frozen=True)
class Run:
    """How the command line ended."""

    code: object
    out: str
    err: str


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Give a working folder with one good setup, one good image, and every broken file."""
    image = imagecodecs.png_encode(np.full((40, 60), 128, dtype=np.uint8))
    (tmp_path / "folder.png").mkdir()
    for name, data in {
        "base.toml": BASE.encode(),
        "whole.png": image,
        "cut.png": image[: len(image) // 2],
        "one.png": imagecodecs.png_encode(np.full((1, 1), 128, dtype=np.uint8)),
        "empty.png": b"",
        "text.png": b"not an image",
        "drawing.gif": b"GIF89a" + bytes(40),
        "noise.tif": b"II*\0" + bytes(range(200)),
        "empty.csv": b"",
        "comma.csv": b"nm;power\n400;0,5\n500;0,7\n",
        "latin1.csv": "nm,größe\n400,1\n500,2\n".encode("latin-1"),
        "dark.csv": b"400,0\n500,0\n",
        "high.csv": b"400,0.5\n500,1.5\n",
    }.items():
        (tmp_path / name).write_bytes(data)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def listing(folder: Path) -> dict[str, int]:
    """Name every file and folder, hidden ones too, with its size."""
    return {each.relative_to(folder).as_posix(): each.stat().st_size for each in folder.rglob("*")}


def check_refusal(code: object, out: str, err: str) -> None:
    """Exit code 2, sentences on stderr alone: no traceback, no repr, nothing a terminal obeys."""
    assert (code, out) == (2, "")
    assert err.endswith("\n")
    assert all(line.isprintable() for line in err.splitlines())
    for slip in ("Traceback", "<class", "object at 0x", "None", ";;", ": :", "; ;"):
        assert slip not in err


@pytest.fixture
def refused(
    here: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Callable[..., str]:
    """Give a function that runs refused arguments in this process, and gives stderr."""

    def run(*arguments: str) -> str:
        before = listing(here)
        monkeypatch.setattr(sys, "argv", ["linesim", *arguments])
        with pytest.raises(SystemExit) as end:
            main()
        told = capsys.readouterr()
        check_refusal(end.value.code, told.out, told.err)
        assert listing(here) == before
        return told.err

    return run


@pytest.fixture
def installed(here: Path) -> Callable[..., Run]:
    """Give a function that runs the installed command in a process of its own."""
    command = Path(sys.executable).parent / "linesim"

    def run(*arguments: str) -> Run:
        before = listing(here)
        done = subprocess.run(
            [command, *arguments], cwd=here, capture_output=True, check=False, encoding="utf-8"
        )
        if done.returncode == 2:
            check_refusal(done.returncode, done.stdout, done.stderr)
            assert listing(here) == before
        return Run(done.returncode, done.stdout, done.stderr)

    return run


@pytest.fixture
def tiny(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    """Give the text of a small setup that stands as tiny.toml in an empty working folder."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "tiny.toml").write_text(TINY, "utf-8")
    return TINY


@pytest.fixture
def run(
    tiny: str,  # noqa: ARG001 -- brings the working folder
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> Callable[..., tuple[int, str]]:
    """Give a function that runs the command line there; it gives exit code and stdout."""

    def call(*arguments: str) -> tuple[int, str]:
        monkeypatch.setattr(sys, "argv", ["linesim", *arguments])
        with pytest.raises(SystemExit) as end:
            main()
        told = capsys.readouterr()
        assert told.err == ""
        assert end.value.code is None or isinstance(end.value.code, int)
        return end.value.code or 0, told.out

    return call
