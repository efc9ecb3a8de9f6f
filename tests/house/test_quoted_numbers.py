"""
Numbers that the first page and the guides to the commands quote, worked out again.

To quote another number, add a row to `QUOTED`: the words as they stand, with braces for each
number, and a function that gives the numbers. What is quoted and not worked out goes to `EXEMPT`.
"""

import importlib.util
import io
import re
import shlex
import sys
from collections.abc import Callable
from contextlib import redirect_stdout
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from scipy.optimize import brentq

from linesim.cli import REFUSED, STOPPED, main
from linesim.dataset.plan.plan import LabelRule
from linesim.dataset.plan.plan_file import load_plan
from linesim.figures.budget import budget
from linesim.figures.safety import BRIGHT_W_M2
from linesim.files.images_in import MAX_PIXELS
from linesim.forward.draws import FUSED_SD_E
from linesim.preview import uploads
from linesim.setup.light.spectra import VISIBLE_NM, Spectrum
from linesim.setup.light.thermal import whole_light
from linesim.setup.load import changed, load_setup, sample_setup
from linesim.studies.compare.lights import light_variants
from linesim.studies.measure.against.agreement import OFF_SHARE, OFF_SIGMA
from linesim.studies.scan.streamed import MOST_HELD
from linesim.targets.windowed import LEAST_PIXELS

ROOT = Path(__file__).parents[2]
SAID = (
    ("budget foil_dim.toml", "Misses 2 of 4"),
    (
        "vary foil_dim.toml light.illuminance=0.5klx:400klx:log12 --binning 1x1,2x2 --out vary",
        "At the same exposure time, with 1x1 everything",
    ),
)
"""Commands, and how the sentence begins that the first page quotes of each."""
UNITS = (
    "%|µm|um|mm|m|km|nm|lx|klx|W/m²|kW/m²|e|ke|DN|s|ms|µs|us|Hz|kHz|dB|m²|m/min|MB|GB|MB/s|lp/mm|"
    "deg|bit|pixels|million"
)
NUMBER = re.compile(rf"(?<![\w.])[\d.,]*\d[ -]?(?:{UNITS})(?![\w²/-])|f/\d[\d.]*")
# the physics, the gallery and the setups have tests of their own, the list of cautions is made
PAGES = [ROOT / "README.md", *sorted((ROOT / "linesim").rglob("README.md"))]
APART = ("forward", "figures")
TEXT = "\n".join(path.read_text("utf-8") for path in PAGES if path.parent.name not in APART)
PAGE = " ".join(TEXT.split())
Values = Callable[[], tuple[Any, ...]]


@dataclass(frozen=True, slots=True)
class Quoted:
    """
    What the page says.

    Parameters
    ----------
    words : str
        As they stand there, each number in braces with its format.
    values : callable
        Gives the numbers.
    """

    words: str
    values: Values


@cache
def bench(name: str) -> ModuleType:
    """Load one of the benchmarks, which lie outside of any package."""
    spec = importlib.util.spec_from_file_location(name, ROOT / "tests" / "bench" / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def sample(name: str) -> Path:
    """Name a file of the sample setups."""
    return ROOT / "sample_targets" / name


def figure(name: str, group: str, key: str) -> float:
    """Give a figure of the budget of a sample setup."""
    return budget(load_setup(sample(name))).number(group, key)


@cache
def printed(arguments: str, folder: Path) -> str:
    """Run a command in this process; give what it prints on one line."""
    words = [str(sample(each)) if each.endswith(".toml") else each for each in arguments.split()]
    out = io.StringIO()
    with pytest.MonkeyPatch.context() as patch, redirect_stdout(out):
        patch.setattr(sys, "argv", ["linesim", *shlex.split(" ".join(words))])
        patch.chdir(folder)
        patch.setattr("linesim.studies.vary.plots.png_bytes", lambda _: b"undrawn")
        with pytest.raises(SystemExit) as end:
            main()
    assert not end.value.code
    return " ".join(out.getvalue().split())


def crossing_base() -> tuple[float, ...]:
    """Give what the plot of the crossing stands on."""
    base = bench("crossing").BASE
    return (
        100 * base.requirement.defect_contrast,
        base.camera.pixel_width_um,
        base.camera.read_noise_e,
        base.lens.magnification,
        base.lens.f_number,
        base.transport.speed_mm_s * 60 / 1000,
    )


def tungsten() -> tuple[float, float, float]:
    """Give light, power in the table and power in all, of a lamp like illuminant A."""
    bright = changed(sample_setup(), {"light.illuminance": "150 klx", "light.spectrum": "A"})
    inside = budget(bright).number("signal", "irradiance_target_w_m2")
    total = inside * whole_light(Spectrum.named("A")).total_ratio
    return 150, inside, total / 1000


def power_of_ten(number: int) -> str:
    """Write 10 to the power of a digit."""
    return f"10{'⁰¹²³⁴⁵⁶⁷⁸⁹'[round(np.log10(number))]}"


def binned_klx() -> tuple[float]:
    """Find the light at which 2x2 of the dim foil has SNR 20, exposed as a single pixel. [klx]."""
    base = load_setup(sample("foil_dim.toml"))
    exposure_us = budget(base).number("exposure", "exposure_us")
    exposure = {"acquisition.binning": "2x2", "acquisition.exposure": f"{exposure_us!r} us"}
    binned = changed(base, exposure)

    def lacking(klx: float) -> float:
        lit = budget(changed(binned, {"light.illuminance": f"{klx:.9g} klx"}))
        return lit.number("signal", "snr_product") - 20

    return (float(brentq(lacking, 0.5, 400, xtol=1e-4)),)


def light_swing() -> tuple[float]:
    """Give by how much the light of the sample plan swings. [%]."""
    texts = load_plan(sample("foil_set.toml")).texts["vary"]["light"]["illuminance"]
    low, high = (float(each.split()[0]) for each in texts.split(":"))
    return (100 * (high - low) / (high + low),)


def as_seen() -> tuple[float, float]:
    """Say how the sample sheet's groove changes the product's level, in dark and bright field."""
    setup = load_setup(sample("sheet_light.toml"))
    dark, bright = (
        budget(each.setup).number("detection", "defect_contrast")
        for each in light_variants(setup, ("dark field", "bright field"))
    )
    return 1 + dark, -100 * bright


def fed() -> tuple[str, ...]:
    """Take out of the table of benchmarks how many images a second a device feeds."""
    page = (ROOT / "tests/bench/README.md").read_text("utf-8")
    rows = re.findall(r"^\| (?:light|speed and ripple) \| 14 \| (\d+) \|", page, re.MULTILINE)
    return tuple(rows)


QUOTED = (
    Quoted(
        'the groove is {:.0f} times as bright as the product, with "bright field" {:.1f} % darker',
        as_seen,
    ),
    Quoted(
        "finds {:.0f} um, {:.0f} um asked: {:.1f} times too coarse; SNR on the product is {:.2f}, "
        "{:g} wanted.",
        lambda: (
            found := figure("foil_dim.toml", "detection", "smallest_detectable_um"),
            300,
            found / 300,
            figure("foil_dim.toml", "signal", "snr_product"),
            20,
        ),
    ),
    Quoted("2x2 charge reaches SNR 20 on this dark foil at {:.2f} klx", binned_klx),
    Quoted(
        "for discs {:.0f} % darker than it, with {:g} µm pixels of {:g} e read noise and deep "
        "wells at {:g} times and f/{:g}, {:g} m/min",
        crossing_base,
    ),
    Quoted(
        "with the same exposure of 75 µs 1x1 overtakes 2x2 from {:.1f} klx on",
        lambda: (bench("crossing").crossing_klx("75 us"),),
    ),
    Quoted("2x2 stays ahead up to {:.0f} klx", lambda: (bench("crossing").crossing_klx("full"),)),
    Quoted(
        "is found in {:.0f} % of cases (`detection_rate`) at one false alarm in {:.0f} m²",
        lambda: (
            100 * sample_setup().wanted_detection_rate,
            1 / sample_setup().allowed_false_alarms_per_m2,
        ),
    ),
    Quoted(
        "finds in {:.0f} % of cases at one false alarm in {:.0f} m²",
        lambda: (
            100 * sample_setup().wanted_detection_rate,
            1 / sample_setup().allowed_false_alarms_per_m2,
        ),
    ),
    Quoted("it writes {} images of a coated foil", lambda: (load_plan().count,)),
    Quoted(
        "An own image may have {:g} MB and {:g} million pixels",
        lambda: (uploads.MOST_BYTES / 1e6, uploads.MOST_PIXELS / 1e6),
    ),
    Quoted("`threshold` ({:g})", lambda: (LabelRule().threshold,)),
    Quoted("`least_cover` ({:g}) samples", lambda: (LabelRule().least_cover_px,)),
    Quoted(
        "14 processes it feeds {} images of 1024 x 1024 a second where the light varies, {} where",
        fed,
    ),
    Quoted("a read noise of {:g} electrons or more", lambda: (FUSED_SD_E,)),
    Quoted("From {:.0f} million samples on", lambda: (MOST_HELD / 1e6,)),
    Quoted("A TIFF target of {:g} million pixels", lambda: (LEAST_PIXELS / 1e6,)),
    Quoted("of more than {} pixels are refused", lambda: (power_of_ten(MAX_PIXELS),)),
    Quoted("Ctrl-C ends with exit code {}", lambda: (STOPPED,)),
    Quoted("refused input with {}.", lambda: (REFUSED,)),
    Quoted("speaks up above {:g} kW/m²", lambda: (BRIGHT_W_M2 / 1000,)),
    Quoted("known from {:g} to {:g} nm", lambda: VISIBLE_NM),
    Quoted('{:g} klx of "A" are {:.0f} W/m² in its table and {:.1f} kW/m² in all', tungsten),
    Quoted("(light ± {:.0f} %,", light_swing),
    Quoted(
        "by over {:g} standard errors and over {:g} % (our choice)",
        lambda: (OFF_SIGMA, 100 * OFF_SHARE),
    ),
)
"""What the page quotes, and how it is worked out."""
EXEMPT = {
    "8 and 16 bit": "kinds of image that are read",
    "12- and 16-bit samples": "the same",
    "grey or RGB, 8 or 16 bit, or 32-bit floats": "the same",
    "to 1 % of the defects": "a claim that tests/studies/measure/test_injection.py tries",
    "every figure comes with its 95 % interval": "a definition",
    "more than 4 GB": "what the format holds",
    "10,000 lines of 4096 pixels and a million of them": "an example",
}
"""Numbers with a unit on the first page that are not worked out here, each with the reason."""


def pattern(words: str) -> str:
    """Find the words with any number in the place of a brace."""
    return r"\S+?".join(map(re.escape, re.split(r"\{[^}]*\}", words)))


@pytest.mark.parametrize("quoted", QUOTED, ids=lambda quoted: quoted.words)
def test_a_number_is_what_comes_out(quoted: Quoted) -> None:
    """The words stand on the page with the numbers that the program gives now."""
    there = re.search(pattern(quoted.words), PAGE)
    assert there, f'no page says "{quoted.words}" any more: mend or drop that row'
    now = quoted.words.format(*quoted.values())
    assert now in PAGE, f'a page says "{there[0]}", and it is now "{now}"'


@pytest.mark.parametrize(("command", "start"), SAID)
def test_a_sentence_is_what_is_printed(command: str, start: str, tmp_path: Path) -> None:
    """A sentence that the first page quotes in italics is one that the command prints."""
    found = [
        each
        for each in re.findall(r"(?<!\*)\*(?!\*)([^*]+)\*(?!\*)", PAGE)
        if each.startswith(start)
    ]
    assert found, f'no page quotes a sentence that begins with "{start}" any more'
    told = printed(command, tmp_path)
    at = told.find(start)
    assert all(each in told for each in found), (
        f'a page quotes "{found[0]}", and it is now "{told[at : at + 250]}"'
    )


def test_every_number_with_a_unit_is_worked_out() -> None:
    """On the first page, outside of code: each is in a row above, or exempt with a reason."""
    page = re.sub(r"```.*?```", " ", TEXT, flags=re.DOTALL)
    page = " ".join(re.sub(r"^    .*$", " ", page, flags=re.MULTILINE).split())
    ours = [pattern(each.words) for each in QUOTED]
    ours += [re.escape(start) + r"[^*]*" for _, start in SAID]
    known = [
        each.span()
        for one in (*ours, *map(re.escape, EXEMPT))
        for each in re.finditer(one, page, re.IGNORECASE)
    ]
    known += [each.span() for each in re.finditer(r"`[^`]*`", page)]
    stray = [
        page[max(each.start() - 40, 0) : each.end() + 20]
        for each in NUMBER.finditer(page)
        if not any(low <= each.start() and each.end() <= high for low, high in known)
    ]
    assert stray == []


def test_every_exemption_is_needed() -> None:
    """What the page no longer says is no exemption."""
    page = PAGE.lower()
    assert [each for each in EXEMPT if each.lower() not in page] == []
