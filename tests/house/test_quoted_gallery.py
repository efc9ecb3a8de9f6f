"""Numbers that the pages of the gallery and of the sample setups quote, worked out again."""

import importlib.util
from collections.abc import Callable
from functools import cache
from math import floor, log2
from pathlib import Path
from tempfile import TemporaryDirectory
from types import ModuleType
from typing import Any

import pytest
from numpy.testing import assert_allclose
from PIL import Image

from linesim.figures.budget import budget
from linesim.setup.load import load_setup
from linesim.studies.rank.space import load_space
from linesim.targets.film import CLEAR
from linesim.targets.star import nyquist_radius_px
from linesim.targets.steps import STEPS

ROOT = Path(__file__).parents[2]
GALLERY, SETUPS = "outputs/README.md", "sample_targets/README.md"
WORDS = {4: "four", 8: "eight"}
CYCLES = 144
"""Of the built-in star."""
Row = tuple[str, str, Callable[[], tuple[Any, ...]]]
"""Page, words as they stand with each number in braces, and what gives the numbers."""


def sample(name: str) -> Path:
    """Name a file of the sample setups."""
    return ROOT / "sample_targets" / name


def figure(name: str, group: str, key: str) -> float:
    """Give a figure of the budget of a sample setup."""
    return budget(load_setup(sample(name))).number(group, key)


def text(name: str, section: str, key: str) -> str:
    """Give a number of a sample setup, as it was typed, without its unit."""
    return str(load_setup(sample(name)).texts[section][key]).split()[0]


def gap_of_rows() -> tuple[float]:
    """Give the lines between two rows of the three-line sample."""
    setup = load_setup(sample("tile_three_line.toml"))
    assert setup.camera.line_spacing_um is not None
    line_um = budget(setup).number("geometry", "line_advance_um")
    assert setup.lens.magnification is not None
    return (setup.camera.line_spacing_um / setup.lens.magnification / line_um,)


def joined() -> tuple[str]:
    """Say how many times the electrons 2x2 has on the dim foil."""
    one, four = (figure(f"foil_dim{end}.toml", "signal", "electrons_white") for end in ("", "_2x2"))
    assert_allclose(four / one, round(four / one))
    return (WORDS[round(four / one)],)


def swing(name: str) -> tuple[float, str]:
    """Give the ripple of a sample's drive and its frequency. [%, Hz]."""
    setup = load_setup(sample(name))
    return 100 * setup.transport.speed_ripple, text(name, "transport", "ripple_frequency")


def bars_at_nyquist() -> tuple[float, int, int, int]:
    """Give the Nyquist frequency of the sample of bars, and the elements around it."""
    nyquist = figure("bars.toml", "resolution", "nyquist_x_lp_mm")
    place = 6 * log2(nyquist)
    group, element = divmod(floor(place), 6)
    return nyquist, element + 1, element + 2, group


def gravel_size() -> tuple[int, int]:
    """Give the size of the photograph. [px]."""
    with Image.open(sample("gravel.png")) as image:
        return image.size


@cache
def lamps() -> ModuleType:
    """Load the program that draws the sheets of lamps."""
    path = ROOT / "tests" / "bench" / "light_sheet.py"
    spec = importlib.util.spec_from_file_location(path.stem, path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@cache
def mark(name: str, arrangement: str) -> Any:  # noqa: ANN401 -- of a program in no package
    """Measure a mark of the sheet under one arrangement of the lamp."""
    (found,) = (each for each in lamps().MARKS if each.name.startswith(name))
    return lamps().seen(scanned()[arrangement], found, arrangement)


@cache
def scanned() -> Any:  # noqa: ANN401 -- as above
    """Scan the sheet under all of them."""
    return lamps().scans()


def streaks() -> tuple[float, float]:
    """Give the rolling lines, as they run and turned. [%]."""
    with TemporaryDirectory() as folder:
        seen = (lamps().lines_scan(Path(folder), turned=turned) for turned in (False, True))
        one, other = (
            100 * lamps().streaks(each, turned=turned)
            for each, turned in zip(seen, (False, True), strict=True)
        )
    return one, other


ROWS: tuple[Row, ...] = (
    (
        GALLERY,
        "where product has {:.0f} e, not {:.0f} ke; in back light it is the hole, of {:.0f} ke",
        lambda: (
            round(mark("groove", "dark field").product_e, -1),
            mark("groove", "bright field").product_e / 1000,
            mark("hole", "back").mark_e / 1000,
        ),
    ),
    (
        GALLERY,
        "The groove is {:.0f} % darker in bright field and {:.0f} times as bright in dark field",
        lambda: (
            -100 * mark("groove", "bright field").change,
            1 + mark("groove", "dark field").change,
        ),
    ),
    (
        GALLERY,
        (
            "{:.1f} % rms. In the same piece turned by 90 degrees they lean along travel, "
            "to the lamp and from it: {:.1f} %"
        ),
        streaks,
    ),
    (GALLERY, "A hole is {:.0f} % brighter than the film", lambda: (100 * (1 / CLEAR - 1),)),
    (GALLERY, "binned 2x2 at half the line rate: {} times the electrons", joined),
    (GALLERY, "A wedge of {} grey steps", lambda: (STEPS,)),
    (
        GALLERY,
        "Nyquist frequency, {:.2f} lp/mm, lies between elements {} and {} of group {}",
        bars_at_nyquist,
    ),
    (GALLERY, "A sinusoidal star of {} cycles", lambda: (CYCLES,)),
    (GALLERY, "the inner {:.0f} pixels of radius", lambda: (nyquist_radius_px(CYCLES),)),
    (GALLERY, "The star {} mm out", lambda: (text("star_defocus.toml", "lens", "defocus"),)),
    (
        GALLERY,
        "Tiles on a drive whose speed swings by {:.0f} % at {} Hz",
        lambda: swing("tile_ripple.toml"),
    ),
    (
        GALLERY,
        "on a drive whose speed swings by {:.0f} % at {} Hz, lines from a clock. Look at the rings",
        lambda: swing("tile_three_line_ripple.toml"),
    ),
    (GALLERY, "by {} µm rms", lambda: (text("star_jitter.toml", "transport", "line_jitter"),)),
    (GALLERY, "rows of red, green and blue {:.0f} lines apart", gap_of_rows),
    (
        GALLERY,
        "The web sways by {} mm",
        lambda: (text("foil_long.toml", "transport", "lateral_wander"),),
    ),
    (SETUPS, "three-line colour camera, rows {:.0f} lines apart", gap_of_rows),
    (SETUPS, "{} mm out of focus", lambda: (text("star_defocus.toml", "lens", "defocus"),)),
    (SETUPS, "{} combinations", lambda: (load_space(sample("foil_space.toml")).count,)),
    (SETUPS, "{} x {}, public domain", gravel_size),
)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row[0]}: {row[1]}")
def test_a_number_is_what_comes_out(row: Row) -> None:
    """The words stand on the page with the numbers that the program gives now."""
    page, words, values = row
    now = words.format(*values())
    text = " ".join((ROOT / page).read_text("utf-8").split())
    assert now in text, f'{page} has another number, or other words; it is now "{now}"'
