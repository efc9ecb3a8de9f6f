"""What the pages show is what comes out: commands run, and pictures and figures are theirs."""

import importlib.util
import os
import re
import shlex
import sys
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path
from shutil import copytree
from types import ModuleType

import numpy as np
import pytest
from numpy.testing import assert_allclose
from PIL import Image

from linesim.cli import main
from linesim.figures.budget import budget
from linesim.setup.load import load_setup
from linesim.targets import tile

ROOT = Path(__file__).parents[2]
PAGES = {
    name: (ROOT / name).read_text("utf-8")
    for name in (
        "README.md",
        "sample_targets/README.md",
        "outputs/README.md",
        *sorted(
            path.relative_to(ROOT).as_posix() for path in (ROOT / "linesim").rglob("README.md")
        ),
    )
}
WITHOUT = tuple(
    f"linesim/{room}/README.md"
    for room in (
        "figures",
        "preview",
        "dataset",
        "studies/compare",
        "studies/design",
        "studies/rank",
        "studies/vary",
        "targets/extend",
    )
)
"""Pages that show no command that runs each time: a list, a server that waits, slow ones."""
BLOCK = re.compile(r"```sh\n(.*?)```", flags=re.DOTALL)
OURS = ".venv/bin/linesim "
SLOW = (
    "--render",
    "dataset ",
    "rank ",
    "--set ",
    "--keep-line-rate",
    "scan sample_targets/tile",
    "vary sample_targets/star.toml",
    "lens.f_number=2:16:log20",
    "=0.5klx:400klx:log12",
    "measure edge",
    "scan sample_targets/star_",
    "scan sample_targets/foil_dark",
    "scan sample_targets/steps_",
    "scan sample_targets/foil_dim_2x2",
    "scan sample_targets/bars",
    "scan sample_targets/film_back",
    "scan sample_targets/sheet_light",
    "=2klx:200klx:log12",
    "measure bars",
    "--lights",
    "fit ",
    "--plot",
    "--stream",
    "compare sample_targets/foil_dim.toml --true-proportion",
    "scan sample_targets/foil_bright_field",
    "scan sample_targets/star.toml",
    "scan sample_targets/edge.toml",
    "target star",
    "target extend",
    "measure against",
    "target calibrate",
    "design",
)
"""What stands in commands that are too slow for every change."""
ENTRY = re.compile(r"!\[[^\]]*\]\((gallery/[^)]+)\)\n\n```sh\n\.venv/bin/linesim ([^\n]*)\n```")
GALLERY = ENTRY.findall(PAGES["outputs/README.md"])
SETUPS = sorted(path.name for path in (ROOT / "sample_targets").glob("*.toml"))
WORKED = load_setup(ROOT / "sample_targets" / "worked_example.toml")


def bench(name: str) -> ModuleType:
    """Load one of the benchmarks, which lie outside of any package."""
    spec = importlib.util.spec_from_file_location(name, ROOT / "tests" / "bench" / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def commands(page: str) -> list[str]:
    """Take the arguments of every linesim command out of a page's sh blocks, comments left out."""
    lines = [line for block in BLOCK.findall(page) for line in block.splitlines()]
    ours = [line.removeprefix(OURS).partition("  #")[0] for line in lines if line.startswith(OURS)]
    ours = [line.strip() for line in ours]
    return [line for line in ours if is_run(line)]


def is_run(arguments: str) -> bool:
    """Leave what is slow to the nightly run, ``LINESIM_NIGHTLY=1 pytest``."""
    return "LINESIM_NIGHTLY" in os.environ or not any(word in arguments for word in SLOW)


def run(arguments: str, patch: pytest.MonkeyPatch) -> int:
    """Run linesim in this process; give its exit code."""
    patch.setattr(sys, "argv", ["linesim", *shlex.split(arguments, comments=True)])
    with pytest.raises(SystemExit) as left:
        main()
    return int(left.value.code or 0)


@pytest.fixture(scope="module")
def ran(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, dict[str, int]]]:
    """Run every command of the pages once, page by page, beside a copy of the setups."""
    folder = tmp_path_factory.mktemp("docs")
    copytree(ROOT / "sample_targets", folder / "sample_targets")
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        # the setups with a tile have the same one, which takes longer to draw than to scan
        patch.setattr(tile, "_paint", lru_cache(maxsize=2)(tile._paint))  # noqa: SLF001 -- above
        wanted = dict.fromkeys(line for page in PAGES.values() for line in commands(page))
        yield folder, {line: run(line, patch) for line in wanted}


@pytest.mark.parametrize("page", PAGES)
def test_every_command_runs(page: str, ran: tuple[Path, dict[str, int]]) -> None:
    """A command that a page shows does what it says: exit code 0, in the order they stand in."""
    found = commands(PAGES[page])
    assert found or page in WITHOUT
    assert [line for line in found if ran[1][line] != 0] == []


RUN = [entry for entry in GALLERY if is_run(entry[1])]


@pytest.mark.parametrize(("name", "arguments"), RUN, ids=[name for name, _ in RUN])
def test_a_picture_comes_from_its_command(
    name: str, arguments: str, ran: tuple[Path, dict[str, int]]
) -> None:
    """
    The gallery shows what the command under a picture gives; tests.bench.gallery makes it again.

    Kinds of processor differ in the last bit of a sine, which moves some samples by 1 DN: up to
    5 grey levels in the darkest picture, where 28 DN span the range. Other noise would move most.
    """
    kept = Image.open(ROOT / "outputs" / name)
    made = Image.open(ran[0] / bench("gallery").picture_of(arguments)).convert(kept.mode)
    assert made.size == kept.size
    differ = np.asarray(made, dtype=np.int16) != np.asarray(kept, dtype=np.int16)
    assert differ.mean() < 0.01


def test_every_picture_of_the_gallery_is_shown() -> None:
    """The page shows each picture once; each setup has one, but for that of the numbers."""
    drawn = re.findall(
        r"\((gallery/(?:faults_\w+|lights_\w+|crossing|preview\w*)\.png)\)",
        PAGES["outputs/README.md"],
    )
    shown = [name for name, _ in GALLERY] + drawn
    assert sorted(shown) == sorted(
        path.relative_to(ROOT / "outputs").as_posix()
        for path in (ROOT / "outputs" / "gallery").iterdir()
    )
    asked = " ".join(arguments for _, arguments in GALLERY)
    without = [name for name in SETUPS if f"sample_targets/{name}" not in asked]
    assert without == ["worked_example.toml"]


def test_every_setup_is_listed() -> None:
    """The page of the setups names each of them once, in its table."""
    listed = re.findall(r"^\| `([^`]+\.toml)`", PAGES["sample_targets/README.md"], re.MULTILINE)
    assert sorted(listed) == SETUPS


def test_the_foil_image_is_the_one_its_command_draws(ran: tuple[Path, dict[str, int]]) -> None:
    """
    foil.png is what the command on its page writes.

    16 bit, of which a last-bit difference of a sine may move one step at a rounding edge.
    """
    made, kept = (
        np.asarray(Image.open(home / "sample_targets" / "foil.png"), dtype=np.int32)
        for home in (ran[0], ROOT)
    )
    assert np.abs(made - kept).max() <= 1


def test_the_table_names_the_commands(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The README's table has exactly the commands that ``linesim --help`` lists, in that order."""
    assert run("--help", monkeypatch) == 0
    listed = re.findall(
        r"^  (\w+) ", capsys.readouterr().out.partition("Commands:")[2], re.MULTILINE
    )
    assert listed
    assert re.findall(r"^\| `linesim (\w+)", PAGES["README.md"], re.MULTILINE) == listed


@pytest.mark.parametrize(
    ("group", "name", "text"),
    [
        ("signal", "irradiance_target_w_m2", "126.23 W/m² on the target"),
        ("signal", "irradiance_sensor_w_m2", "1.1736 W/m² on the sensor"),
        ("signal", "electrons_white", "4690.1 e"),
        ("signal", "noise_white_e", "69.27 e"),
        ("signal", "snr_white", "67.71, or 36.6 dB"),
        ("signal", "dn_white", "501.0 DN"),
    ],
)
def test_the_worked_example_is_reproduced(group: str, name: str, text: str) -> None:
    """A figure printed in the worked example is the code's, to the half of its last digit."""
    assert f" {text} |" in PAGES["linesim/forward/README.md"]
    printed = text.split(maxsplit=1)[0].strip(",")
    half = 0.5 * 10.0 ** -len(printed.partition(".")[2])
    got = float(budget(WORKED)[group][name])
    assert_allclose(got, float(printed), rtol=0, atol=half * (1 + 1e-9))


@pytest.mark.parametrize("label", ["f/4, 7.5 µm", "f/16, 7.5 µm", "f/4, 7.5 µm, disc 15 µm"])
def test_the_errors_of_the_lens_are_measured(label: str) -> None:
    """
    Some rows of both tables are what tests/bench/lens_terms.py measures now.

    Half of the last digit printed, and once more for eigenvectors of another linear algebra.
    """
    terms = bench("lens_terms")
    values = next(row[1:] for row in terms.SETUPS if row[0] == label)
    transfer, dot = (
        re.findall(r"[\d.]+", line.removeprefix(f"| {label} |"))
        for line in PAGES["linesim/forward/README.md"].splitlines()
        if line.startswith(f"| {label} |")
    )
    setup = terms.setup_of(*values)
    errors = terms.transfer_errors(terms.optics(setup), values[1])
    assert_allclose(errors, [float(part) for part in transfer[:-1]], rtol=0, atol=1e-4)
    assert terms.terms_used(*values) == int(transfer[-1])
    assert_allclose(
        terms.picture_errors(setup, 1), [float(part) for part in dot[1:3]], rtol=0, atol=0.01
    )
