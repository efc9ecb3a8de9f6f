"""
Random and damaged input of every kind: a value or a sentence, never a trace.

Always the same few inputs; with ``LINESIM_NIGHTLY=1`` new ones for a minute a kind. What the tests
of the preview do with requests is in ``test_fuzz_requests.py``.
"""

import os
import random
import shutil
import sys
import time
from collections.abc import Callable, Iterator
from functools import partial
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from linesim.dataset.draw import drawn
from linesim.dataset.make import make_set
from linesim.dataset.plan.plan_file import load_plan
from linesim.dataset.verify import verify
from linesim.figures.budget import budget
from linesim.files.images_in import read_image
from linesim.files.samples_in import load_samples
from linesim.setup.errors import InputError
from linesim.setup.infiles import starter_text
from linesim.setup.load import load_setup, setup_from
from linesim.setup.shown import visible
from linesim.studies.rank.space import load_space
from linesim.studies.rank.study import rank
from linesim.studies.scan.study import scan
from linesim.targets.windowed import windowed
from linesim.workers.tasks import Alone

NIGHTLY = "LINESIM_NIGHTLY" in os.environ
SECONDS = 60.0
LONGEST_SENTENCE = 4000
SLOW_S = 60.0
"""A single input; a busy machine is three times slower."""
ROOT = Path(__file__).parents[2]
SET_PLAN = """
setup = "station.toml"
count = 2
[scenes]
images_each = 1
[images]
good_share = 0
[faults]
kinds = ["spot"]
count = "1:1"
"""


@pytest.fixture(scope="module")
def fuzz() -> ModuleType:
    """Load the mutations of tests/bench/fuzz.py."""
    spec = spec_from_file_location("fuzz", ROOT / "tests" / "bench" / "fuzz.py")
    assert spec is not None
    assert spec.loader is not None
    found = module_from_spec(spec)
    sys.modules[spec.name] = found  # its dataclasses look themselves up
    spec.loader.exec_module(found)
    return found


def chances(few: int, seed: int) -> Iterator[random.Random]:
    """Give as many sources of chance as there are inputs to try."""
    first = seed + (time.time_ns() if NIGHTLY else 0)
    end_s, number = time.monotonic() + SECONDS, 0
    while time.monotonic() < end_s if NIGHTLY else number < few:
        yield random.Random(first + number)  # noqa: S311 -- no secrets
        number += 1


def stands(work: Callable[[], object], what: object) -> bool:
    """Tell whether the input was let in; anything but a value or sentences fails."""
    begun_s = time.monotonic()
    try:
        work()
    except InputError as refusal:
        for fault in refusal.faults:
            assert fault.strip(), what
            assert len(fault) < LONGEST_SENTENCE, what
            assert visible(fault).isprintable(), what
        return False
    except Exception as fault:
        msg = f"{type(fault).__name__} for {what!r}"[:3000]
        raise AssertionError(msg) from fault
    finally:
        assert time.monotonic() - begun_s < SLOW_S, what
    return True


WORDS: list[Any] = [
    "", "nan um", "-1", "9" * 400, True, [], {}, 0, -1, 1e308, 1e-308, "\u202e", "none",
]  # fmt: skip
VALUES: dict[str, list[Any]] = {
    "target.image": ["flat", "edge", "bars", "star", "steps", "foil", "tile", "no.png"],
    "target.pixel_size": ["1 um", "20 um", "75 um", "1 mm"],
    "target.repeat": [True, False],
    "target.white_reflectance": [0.0, 1e-9, 0.5, 1.0],
    "transport.speed": ["1e-3 mm/s", "60 m/min", "200 m/s"],
    "transport.trigger": ["clock", "encoder"],
    "transport.encoder_step": ["1e-3 um", "20 um", "1 m"],
    "transport.slowest_speed": ["1 mm/s", "61 m/min"],
    "transport.assumed_speed": ["1 mm/s", "61 m/min"],
    "transport.speed_ripple": [0.0, 0.02, 0.9],
    "transport.line_jitter": ["0 um", "5 um", "100 mm"],
    "transport.skew": ["0 deg", "1 deg", "-10 deg"],
    "transport.lateral_wander": ["0 um", "40 um", "1 m"],
    "transport.flutter": ["0 mm", "0.5 mm", "10 m"],
    "lens.magnification": [1e-4, 1e-3, 0.05, 0.1, 1.0, 100.0],
    "lens.f_number": [0.5, 4.0, 256.0],
    "lens.blur": ["0 um", "2 um", "10 mm"],
    "lens.defocus": ["0 mm", "0.5 mm", "-10 m"],
    "lens.focal_length": ["0.1 mm", "50 mm", "10 m"],
    "lens.transmission": [0.0, 0.9],
    "light.illuminance": ["0 lx", "40 klx", "1e9 lx"],
    "light.spectrum": ["A", "D65", {"peak": "850 nm", "width": "40 nm"}, "no.csv"],
    "light.ambient": ["0 lx", "1 klx", "2 W/m^2"],
    "light.edge_falloff": [0.0, 0.4, 1.0],
    "light.flicker": [0.0, 0.1, 1.0],
    "camera.kind": ["mono", "three-line", "prism"],
    "camera.pixels": [1, 2, 37, 64],
    "camera.pixel_width": ["0.1 um", "7.5 um", "1 mm"],
    "camera.pixel_height": ["0.1 um", "10 um", "1 mm"],
    "camera.line_spacing": ["0 um", "30 um", "100 mm"],
    "camera.row_heights": [["6 um", "6 um", "9 um", "9 um"], ["1 um"]],
    "camera.light_share": [0.0, 0.5, {"red": 0.9, "green": 0.9, "blue": 0.8}, {"red": 1}],
    "camera.quantum_efficiency": [0.0, 0.6, {"red": 0.4, "green": 0.5, "blue": 0.5}],
    "camera.read_noise": ["0 e", "20 e", "1e9 e"],
    "camera.dark_current": ["0 e/s", "1e12 e/s"],
    "camera.full_well": ["1 e", "40 ke", "1e9 e"],
    "camera.dsnu": ["0 e", "1e9 e"],
    "camera.prnu": [0.0, 0.9],
    "camera.bit_depth": [8, 12, 16],
    "camera.gain": ["1e-9 DN/e", "0.1 DN/e", "1e6 DN/e"],
    "camera.black_level": ["0 DN", "127 DN", "2047 DN"],
    "camera.max_line_rate": ["1e-3 Hz", "48 kHz"],
    "camera.tdi_stages": [1, 4, 1024],
    "camera.dead_time": ["0 us", "2 us", "1e9 us"],
    "acquisition.line_rate": ["matched", "square", "1e-3 Hz", "8 kHz", "1e8 Hz"],
    "acquisition.exposure": ["full", "1e-3 us", "100 us", "1e9 us"],
    "acquisition.binning": ["1x1", "2x2", "4x4", "1x4", "3x1"],
    "acquisition.binning_domain": ["charge", "digital"],
    "acquisition.binning_mode": ["sum", "average"],
    "acquisition.binning_along": ["rows", "lines"],
    "acquisition.colour_alignment": ["whole-lines", "fractional", "none"],
    "acquisition.white_balance": ["off", "grey-card"],
    "acquisition.flat_field": [True, False],
    "acquisition.flat_field_lines": [1, 256],
    "requirement.smallest_defect": ["1e-3 um", "300 um", "1 m"],
    "requirement.defect_contrast": [0.0, 0.2, 1.0],
    "requirement.defect_shape": ["disc", "scratch-along", "scratch-across"],
    "requirement.snr": [0.0, 40, 1e5],
}


def random_texts(chance: random.Random) -> dict[str, Any]:
    """Put a setup together out of values at the ends and in the middle of what is allowed."""
    texts: dict[str, Any] = {
        "title": chance.choice(["a", "=1+1", "$\\frac$", "<b>", "é\u00a0"]),
        "target": {"image": "flat", "pixel_size": "20 um", "width": "4 mm", "height": "2 mm"},
        "transport": {"speed": "60 m/min"},
        "lens": {"magnification": 0.1},
        "light": {"illuminance": "40 klx"},
        "camera": {"pixels": 32, "pixel_width": "7.5 um"},
        "acquisition": {"lines": chance.choice([1, 7, 70])},
    }
    for dotted in chance.sample(sorted(VALUES), chance.choice([1, 3, 6, 10])):
        section, key = dotted.split(".")
        wild = chance.random() < 0.03
        texts.setdefault(section, {})[key] = chance.choice(WORDS if wild else VALUES[dotted])
    return texts


def used_texts(texts: dict[str, Any], seed: int) -> None:
    """Do what a user does with a setup."""
    setup = setup_from(texts)
    budget(setup)
    scan(setup, seed)


def test_random_setups_are_scanned_or_refused() -> None:
    """Values far apart in any combination: figures and an image, or sentences."""
    let_in = 0
    for number, chance in enumerate(chances(12, 1)):
        texts = random_texts(chance)
        let_in += stands(partial(used_texts, texts, number), texts)
    assert let_in > 0


def damaged(
    fuzz: ModuleType, corpus: list[bytes], path: Path, few: int
) -> Iterator[tuple[Path, bytes]]:
    """Write damaged files, one after the other under one name."""
    for chance in chances(few, len(corpus)):
        data = fuzz.mutated(chance.choice(corpus), chance.choice(corpus), chance)
        path.write_bytes(data)
        yield path, data


def small(text: str) -> bytes:
    """Keep a setup file's work small."""
    return (
        text.replace("pixels = 1024", "pixels = 32").replace("# lines = 1800", "lines = 4").encode()
    )


def read_and_used(path: Path) -> None:
    """Read a setup file and work out its figures."""
    budget(load_setup(path))


def read_and_drawn(path: Path) -> None:
    """Read a plan and draw its first image."""
    drawn(load_plan(path), 0)


def test_damaged_setup_files_are_read_or_refused(fuzz: ModuleType, tmp_path: Path) -> None:
    """The starter file, damaged in a few places."""
    for path, data in damaged(fuzz, [small(starter_text())], tmp_path / "a.toml", 40):
        stands(partial(read_and_used, path), data)


def test_damaged_plans_are_drawn_from_or_refused(fuzz: ModuleType, tmp_path: Path) -> None:
    """Plans of sets, damaged in a few places; what is let in is drawn."""
    samples = ROOT / "linesim" / "dataset" / "sample_set.toml"
    (tmp_path / "station.toml").write_bytes(small(starter_text()))
    for path, data in damaged(
        fuzz, [samples.read_bytes(), SET_PLAN.encode()], tmp_path / "a.toml", 3
    ):
        stands(partial(read_and_drawn, path), data)


def test_damaged_spaces_are_ranked_or_refused(fuzz: ModuleType, tmp_path: Path) -> None:
    """Spaces of options, damaged in a few places; small ones that are let in are ranked."""
    text = (ROOT / "sample_targets" / "foil_space.toml").read_bytes().replace(b"log40", b"log4")
    for name in ("foil_dim.toml", "foil.png"):
        shutil.copy(ROOT / "sample_targets" / name, tmp_path)

    def judged(path: Path) -> None:
        space = load_space(path)
        if space.count <= 3000:
            rank(space, top=2)

    for path, data in damaged(fuzz, [text], tmp_path / "a.toml", 8):
        stands(partial(judged, path), data)


def test_damaged_images_are_read_or_refused(
    fuzz: ModuleType, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """PNG, TIFF and JPEG files, damaged; no library says a word of its own on the console."""
    limit = fuzz.MOST_PIXELS
    for path, data in damaged(fuzz, fuzz.images(), tmp_path / "a.png", 80):
        for work in (
            partial(read_image, path, encoding="srgb", max_pixels=limit),
            partial(load_samples, path, max_pixels=limit),
            partial(windowed, path, "image", encoding="srgb", pixel_size_um=20.0),
        ):
            stands(work, data[:300])
    told = capfd.readouterr()
    assert (told.out, told.err) == ("", "")


def test_damaged_sets_are_told(fuzz: ModuleType, tmp_path: Path) -> None:
    """One file of a set damaged: verifying says what is wrong, or a sentence that it cannot."""
    (tmp_path / "station.toml").write_bytes(small(starter_text()))
    (tmp_path / "plan.toml").write_text(SET_PLAN, "utf-8")
    made = make_set(load_plan(tmp_path / "plan.toml"), tmp_path / "set", Alone()).folder
    files = sorted(each for each in made.rglob("*") if each.is_file())
    for chance in chances(8, 6):
        file = chance.choice(files)
        good = file.read_bytes()
        file.write_bytes(fuzz.mutated(good, good, chance))
        try:
            stands(lambda: verify(made, 0), (file.name, file.read_bytes()[:300]))
        finally:
            file.write_bytes(good)
