"""A plan run dry: what it would make is told, and what cannot be made is refused beforehand."""

import re
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

import imagecodecs
import numpy as np
import pytest

from linesim.cli.dataset_words import dry_text
from linesim.dataset.draw import drawn
from linesim.dataset.dry import dry_run
from linesim.dataset.item import Item
from linesim.dataset.make import ready
from linesim.dataset.plan.plan import Plan
from linesim.dataset.plan.plan_file import load_plan, plan_from
from linesim.dataset.plan.splits import SPLITS
from linesim.dataset.scenes import scene_of
from linesim.setup.errors import InputError

OneOf = Callable[[int], Item]

ROOT = Path(__file__).parents[2]


def test_a_dry_run_counts_what_is_made(plan: Plan, one_of: OneOf) -> None:
    """Images, good ones and faults of each kind in each split, against the images themselves."""
    found, made = dry_run(plan), [one_of(index) for index in range(plan.count)]
    assert found.images == Counter(each.split for each in made)
    assert {name: found.good[name] for name in SPLITS} == {
        name: sum(each.split == name and not each.instances for each in made) for name in SPLITS
    }
    assert found.faults == Counter(
        (fault.placed.kind, each.split) for each in made for fault in each.instances
    )
    assert not found.short


def test_nothing_is_drawn_or_read_for_it() -> None:
    """Scenes that linesim draws stay undrawn: 2000 images of ten scenes take no scene."""
    before = scene_of.cache_info().misses
    found = dry_run(plan_from({"count": 200, "faults": {"kinds": ["pinhole"]}}))
    assert sum(found.images.values()) == 200
    assert scene_of.cache_info().misses == before


@pytest.mark.parametrize(
    "texts",
    [
        pytest.param({"faults": {"kinds": ["pinhole"], "count": [0] * 29 + [2]}}, id="rare counts"),
        pytest.param(
            {"images": {"lines": 24}, "vary": {"camera": {"pixels": 48}}}, id="small frames"
        ),
        pytest.param({"vary": {"lens": {"magnification": "0.06:0.12"}}}, id="magnification"),
        pytest.param(
            {"vary": {"acquisition": {"line_rate": "2 kHz:20 kHz"}}, "images": {"lines": 128}},
            id="line rate",
        ),
    ],
)
def test_a_plan_that_loads_can_be_drawn(texts: dict[str, Any]) -> None:
    """Whatever the counts, the frame and the ranges: each image that is not good has been tried."""
    holes = {"kinds": ["pinhole", "streak"]}
    plan = plan_from({"scenes": {"kind": "flat"}, "count": 40, "faults": holes, **texts})
    shots = [drawn(plan, index) for index in range(plan.count)]
    assert sum(plan.is_good(shot.index) for shot in shots) == 10
    assert all(plan.is_good(shot.index) or shot.faults or shot.left_out for shot in shots)


def test_counts_that_are_all_none_are_refused() -> None:
    """Unless all images are good."""
    none = {"faults": {"kinds": ["pinhole"], "count": 0}}
    with pytest.raises(InputError, match="faults: read no count above 0, but 75% of the images"):
        plan_from(none)
    assert plan_from({**none, "images": {"good_share": 1.0}}).faults.wanted


def test_rare_faults_are_as_common_as_their_counts_say() -> None:
    """
    Of two rare kinds, the one twice as likely comes twice as often.

    Each image has one fault, of the one kind with probability 2/3: over n = 200 images the count
    has a standard error of sqrt(n 2/9) = 6.7; 4.5 of it.
    """
    rare = {
        "pinhole": {"count": [0] * 998 + [1, 1]},
        "spot": {"count": [0] * 999 + [1]},
        "kinds": ["pinhole", "spot"],
    }
    plan = plan_from(
        {"scenes": {"kind": "flat"}, "images": {"good_share": 0.0}, "count": 200, "faults": rare}
    )
    found = dry_run(plan).faults
    pinholes = sum(count for (kind, _), count in found.items() if kind == "pinhole")
    assert sum(found.values()) >= 200
    assert pinholes == pytest.approx(200 * 2 / 3, abs=4.5 * 6.7)


@pytest.mark.parametrize(("count", "each"), [(2, 1), (2, 8), (3, 4), (5, 1)])
def test_each_scene_shows_its_share_of_good_images(count: int, each: int) -> None:
    """Of 240 images from a few scenes a quarter of each scene's are good, to within one."""
    plan = plan_from(
        {
            "scenes": {"kind": "flat", "count": count, "images_each": each},
            "images": {"good_share": 0.25},
            "count": 240,
        }
    )
    good = Counter(plan.scenes.of_image(k) for k in range(240) if plan.is_good(k))
    shown = Counter(plan.scenes.of_image(k) for k in range(240))
    assert len(good) == count
    assert all(abs(good[scene] - shown[scene] / 4) <= 1 for scene in shown)
    assert abs(sum(good.values()) - 60) <= 2


def test_good_images_come_from_both_files(tmp_path: Path) -> None:
    """Two photographs, an image of each in turn: good and faulty images from either."""
    grey = np.full((1200, 1200), 128, dtype=np.uint8)
    for name in ("one.png", "two.png"):
        (tmp_path / name).write_bytes(bytes(imagecodecs.png_encode(grey + ord(name[0]) % 7)))
    texts = {
        "scenes": {"files": ["one.png", "two.png"], "images_each": 1},
        "images": {"lines": 64},
        "vary": {"camera": {"pixels": 64}},
        "faults": {"kinds": ["pinhole"], "count": 1},
        "splits": {"train": 1.0},
    }
    found = dry_run(plan_from(texts, tmp_path))
    assert found.good_scenes == {0, 1}


def test_a_scene_that_is_too_small_is_refused_before_anything_is_written(tmp_path: Path) -> None:
    """In a sentence for each of the first images, with how many there are."""
    plan = plan_from(
        {
            "scenes": {"kind": "flat", "width": "80 mm", "height": "200 mm"},
            "vary": {"lens": {"magnification": "0.08:0.12"}},
        }
    )
    with pytest.raises(InputError) as told:
        ready(plan, tmp_path / "set", resume=False)
    assert len(told.value.faults) == 6
    assert "expected a larger scene" in told.value.faults[0]
    assert "of the 24 images cannot be made" in told.value.faults[-1]
    assert not (tmp_path / "set").exists()


def test_a_scene_holds_the_widest_and_the_longest_image(plan_file: Path) -> None:
    """The ends of a magnification: the field is pixels x pitch over it, 1.1 times that is drawn."""
    plan = plan_from(
        {"vary": {"lens": {"magnification": "0.05:0.2"}}, "setup": "station.toml"},
        plan_file.parent,
    )
    assert plan.scenes.width_mm == pytest.approx(1.1 * 96 * 7.5e-3 / 0.05)
    assert load_plan(plan_file).scenes.width_mm == pytest.approx(1.1 * 96 * 7.5e-3 / 0.1)


def test_the_guide_quotes_what_comes_out() -> None:
    """The table of the guide is that of the command above it."""
    plan = load_plan(ROOT / "sample_targets" / "foil_set.toml")
    text = dry_text(plan, dry_run(plan))
    guide = (ROOT / "linesim" / "dataset" / "README.md").read_text("utf-8")
    quoted = re.findall(r"```text\n(.*?)```", guide, flags=re.DOTALL)
    assert text.split("\n\n")[1].strip("\n") == quoted[0].strip("\n")
    assert "guard and lock out by local code" in text


def test_relief_in_light_from_everywhere_is_told() -> None:
    """Of a dent on foil nothing would be seen; a cloth has no such faults, and its own title."""
    relief = plan_from({"count": 2, "images": {"lines": 32}, "faults": {"like": "metal"}})
    assert 'light from everywhere (light.arrangement "even") shows' in " ".join(
        dry_text(relief, dry_run(relief)).split()
    )
    cloth = plan_from({"count": 2, "images": {"lines": 32}, "scenes": {"kind": "cloth"}})
    text = dry_text(cloth, dry_run(cloth))
    assert text.startswith("Cloth\n")
    assert "relief" not in text
