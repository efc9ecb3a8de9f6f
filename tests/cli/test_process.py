"""The command line as a process: help and its texts, versions, pipes, Ctrl-C."""

import gc
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
import typer

from linesim.cli.app import app
from linesim.figures.budget import Budget
from linesim.figures.budget import budget as figures_of
from linesim.setup.setup import Setup

Call = Callable[..., tuple[int, str]]
LONGEST = 300


def test_version_names_what_the_bytes_depend_on(run: Call) -> None:
    """The versions that go with "same versions, same bytes"."""
    _, out = run("--version")
    assert out.startswith("linesim 0.")
    assert f"numpy {np.__version__}" in out
    assert f"tifffile {tifffile.__version__}" in out


def test_help_names_every_command(run: Call) -> None:
    """Help is there for the whole and for each command."""
    _, out = run("--help")
    for name in ("new", "budget", "scan", "target"):
        assert f"  {name} " in out
        assert "--help" in run(name, "--help")[1]


def test_python_runs_the_package(tmp_path: Path) -> None:
    """``python -m linesim`` is the command, exit code and sentence included."""
    (tmp_path / "there.toml").touch()
    command = [sys.executable, "-m", "linesim", "new", "there.toml"]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, check=False, text=True)
    assert done.returncode == 2
    assert done.stderr.startswith('linesim: output "there.toml" is there already')


HEAVY = (
    "numpy",
    "numpy.f2py.crackfortran",
    "numpy.testing._private",
    "pydantic",
    "rich",
    "scipy",
    "scipy.fft",
    "scipy.interpolate",
    "scipy.ndimage",
    "scipy.optimize",
    "scipy.signal",
    "scipy.sparse",
    "scipy.special",
    "scipy.stats",
    "skimage",
    "imageio",
    "imagecodecs",
    "tifffile",
    "PIL",
    "matplotlib",
    "jinja2",
    "pint",
    "dask",
    "multiprocessing",
)
"""What takes long to load, or brings others that do."""
SCIPY = ("scipy", "scipy.special")
FILES = ("imagecodecs", "tifffile", "PIL")


@pytest.fixture(scope="module")
def special() -> set[str]:
    """Name what scipy's special functions bring with them, which hangs on its version."""
    code = f"import sys, scipy.special; print(*(name for name in {HEAVY} if name in sys.modules))"
    return set(subprocess.check_output([sys.executable, "-c", code], text=True).split())


@pytest.mark.parametrize(
    "commands",
    [
        {
            ("--help",): set[str](),
            ("new", "station.toml"): {"pydantic"},
            ("budget", "tiny.toml"): {"numpy", "pydantic", *SCIPY},
            ("scan", "tiny.toml"): {"numpy", "pydantic", *SCIPY, *FILES},
        },
        {("budget",): {"numpy", "pydantic", "scipy.sparse", *SCIPY}},
        {("target", "draw", "flat", "--out", "flat.png"): {"numpy", "pydantic", "scipy", *FILES}},
    ],
    ids=["each more than the last", "texture of the sample", "target"],
)
@pytest.mark.usefixtures("tiny")
def test_a_command_loads_what_it_needs(
    commands: dict[tuple[str, ...], set[str]], special: set[str], tmp_path: Path
) -> None:
    """Nobody waits for a library that his command has no use for."""
    code = f"""
import sys
from linesim.cli import main
for words in {list(commands)}:
    sys.argv = ["linesim", *words]
    try:
        main()
    except SystemExit as end:
        assert not end.code
    print("loaded:", *(name for name in {HEAVY} if name in sys.modules))
"""
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, cwd=tmp_path, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    told = [line.split()[1:] for line in done.stdout.splitlines() if line.startswith("loaded:")]
    for (words, needed), names in zip(commands.items(), told, strict=True):
        assert set(names) <= needed | (special if "scipy.special" in needed else set()), words


def test_cycles_are_collected_while_a_command_works(
    run: Call, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The collector rests while modules load, and no longer: what a long run drops goes."""
    seen: list[bool] = []

    def noted(setup: Setup) -> Budget:
        seen.append(gc.isenabled())
        return figures_of(setup)

    monkeypatch.setattr("linesim.cli.budget.figures_of", noted)
    run("--help")
    seen.append(gc.isenabled())
    run("budget")
    assert seen == [True, True]


def test_output_pipe_may_close(tmp_path: Path) -> None:
    """A reader that has seen enough, such as head, brings no traceback."""
    command = str(Path(sys.executable).parent / "linesim")
    with subprocess.Popen(
        [command, "budget", "--json"], cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.close()
        assert process.stderr.read() == b""


@pytest.mark.skipif(sys.platform == "win32", reason="Windows sends no SIGINT to one process")
def test_ctrl_c_leaves_nothing_behind(tiny: str, tmp_path: Path) -> None:
    """Stopped in the middle of a long scan: exit 130, one line, no file under a final name."""
    text = tiny.replace("pixels = 48", "pixels = 2048").replace("lines = 80", "lines = 30000")
    (tmp_path / "long.toml").write_text(text, "utf-8")
    # the word on stdout tells when rendering has begun; a parent may have had SIGINT ignored
    code = """
import signal, sys
import linesim.studies.scan.study as study
signal.signal(signal.SIGINT, signal.default_int_handler)
render_by = study.render_by
def told(device):
    print("rendering", flush=True)
    return render_by(device)
study.render_by = told
sys.argv = ["linesim", "scan", "long.toml"]
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
        assert process.stdout.readline() == "rendering\n"
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=60)
    assert process.returncode == 130
    assert (out, err.count("\n")) == ("", 1)
    assert err.startswith("linesim: stopped")
    assert sorted(each.name for each in tmp_path.rglob("*")) == ["long.toml", "tiny.toml"]


def commands(command: Any, path: str = "linesim") -> Iterator[tuple[str, Any]]:  # noqa: ANN401 -- typer's own click
    """Walk over all commands, those in groups too."""
    yield path, command
    if hasattr(command, "list_commands"):
        for name in command.list_commands(None):
            yield from commands(command.get_command(None, name), f"{path} {name}")


def test_commands_and_options_have_a_help_text() -> None:
    """A sentence each, which ends as one; arguments too, and those of commands in groups."""
    found = dict(commands(typer.main.get_command(app)))
    wanted = {"linesim scan", "linesim compare", "linesim measure edge", "linesim measure camera"}
    assert wanted <= set(found)
    texts = {path: command.help or "" for path, command in found.items()}
    for path, command in found.items():
        for parameter in command.params:
            if parameter.name != "help":
                texts[f"{path} {parameter.name}"] = str(getattr(parameter, "help", "") or "")
    for name, text in texts.items():
        assert text.strip(), name
        assert len(text) <= LONGEST or name in found, name
        said = text.strip().split("  [")[0].rstrip()
        assert said.endswith((".", ":", "?", ")", '"')), (name, text)
