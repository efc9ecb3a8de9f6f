"""One image with its labels: a pure function, and labels that say what is there."""

from collections.abc import Callable
from dataclasses import replace
from math import pi
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from linesim.dataset.draw import drawn
from linesim.dataset.item import Item, item
from linesim.dataset.plan.plan import Plan
from linesim.dataset.plan.plan_file import load_plan, plan_from
from linesim.dataset.record import record
from linesim.files.atomic import json_text
from linesim.forward.reference import ArrayReference
from linesim.forward.render import render

OneOf = Callable[[int], Item]


def flat(faults: dict[str, Any]) -> Plan:
    """Plan images of an even white, 19.2 mm each way."""
    return plan_from(
        {
            "images": {"good_share": 0.0, "length": "19.2 mm"},
            "scenes": {"kind": "flat", "width": "40 mm", "height": "60 mm"},
            "vary": {"camera": {"pixels": 256, "prnu": 0.0, "dsnu": "0 e"}},
            "faults": faults,
        }
    )


def same(one: Item, two: Item) -> None:
    """Compare all that an item holds."""
    assert_array_equal(one.image, two.image)
    assert_array_equal(one.mask, two.mask)
    assert one.drawn == two.drawn
    assert one.split == two.split


def test_an_image_is_the_same_alone_and_in_any_order(plan: Plan, plan_file: Path) -> None:
    """Image 7 after others, before others, in a plan of another length: equal to the last bit."""
    alone = item(plan, 7)
    for index in (11, 0, 3):
        item(plan, index)
    again = load_plan(plan_file, count=1000)
    same(alone, item(again, 7))
    assert json_text(record(plan, alone)) == json_text(record(again, item(again, 7)))


def test_images_differ(plan: Plan, one_of: OneOf, plan_file: Path) -> None:
    """Another index or seed gives another image, noise and all."""
    assert not np.array_equal(one_of(3).image, item(load_plan(plan_file, seed=6), 3).image)
    shots = [drawn(plan, index) for index in range(12)]
    assert len({shot.seed for shot in shots}) == 12
    assert len({str(shot.changes) for shot in shots}) == 12
    assert len({(shot.scene, shot.piece) for shot in shots}) == 12


def test_good_images_have_no_fault(plan: Plan, one_of: OneOf) -> None:
    """As many as the plan says, without a label; all others have a fault."""
    made = [one_of(index) for index in range(plan.count)]
    good = [each for each in made if not each.instances]
    assert len(good) == 3  # a quarter of 12
    assert all(not each.mask.any() for each in good)
    assert all(len(each.instances) > 0 for each in made if each not in good)


def test_the_image_is_the_stations_scan_of_the_piece(plan: Plan, one_of: OneOf) -> None:
    """A good image is what `render` gives for that part of the scene, no more."""
    index = next(k for k in range(plan.count) if not drawn(plan, k).faults)
    shot = drawn(plan, index)
    reference = ArrayReference(
        data=shot.piece.cut(plan.scene(shot.scene)), pixel_size_um=plan.scenes.pixel_size_um
    )
    scan = render(shot.setup, reference, shot.lines, shot.seed, workers=2)
    assert_array_equal(one_of(index).image, scan.image)


def test_two_hundred_faults_in_one_image() -> None:
    """
    All are labelled, apart, and their covers sum to their areas.

    With lines side by side every place of the target weighs alike, so the sum of a mask times the
    sample's area is pi r² exactly, but for rounding of float32 shares: 1e-4 is 30 times that. The
    first line and the last have no neighbour that sees the rest of what moves through them.
    """
    plan = flat(
        {
            "kinds": ["pinhole"],
            "edge": "inside",
            "min_distance": "0.4 mm",
            "pinhole": {"count": 200, "diameter": "400 um", "change": -0.5},
        }
    )
    made = item(plan, 0)
    assert len(made.labelled) == 200
    whole = [each for each in made.labelled if 0.35 < each.placed.pose.y_mm < 19.2 - 0.35]
    assert len(whole) > 180
    areas = np.array([each.cover_px for each in whole]) * 75.0**2
    assert_allclose(areas, pi * 200.0**2, rtol=1e-4)
    counted = sum(each.outline.area_px for each in made.labelled if each.outline)
    assert counted == np.count_nonzero(made.mask)


def test_a_thin_scratch_stays_in_one_piece() -> None:
    """A stroke of half a sample's width is labelled as one 8-connected line of its own length."""
    from scipy.ndimage import label  # noqa: PLC0415 -- here alone

    scratch = {"count": 1, "length": "8 mm", "width": "40 um", "change": -0.5, "taper": 0.1}
    made = item(flat({"kinds": ["scratch"], "edge": "inside", "scratch": scratch}), 4)
    (one,) = made.labelled
    assert one.outline is not None
    assert label(one.outline.mask, np.ones((3, 3)))[1] == 1
    assert np.hypot(*one.outline.mask.shape) * 0.075 == pytest.approx(8, rel=0.12)  # tapered ends


def test_what_no_sample_shows_enough_of_has_no_label() -> None:
    """Under the least cover a fault is drawn and told, not labelled."""
    small = {"count": 3, "diameter": "20 um", "change": 2.0}
    plan = flat({"kinds": ["pinhole"], "edge": "inside", "pinhole": small})
    made = item(plan, 0)
    # pi 10² over 75² is 0.06 samples, under 0.1
    assert len(made.instances) == 3
    assert made.labelled == ()
    assert not made.mask.any()
    told = record(plan, made)["faults"]
    assert [each["labelled"] for each in told] == [False] * 3
    assert all("bbox" not in each for each in told)


def test_invisible_faults_can_be_left_out() -> None:
    """`only_visible` drops the label, not the fault."""
    faint = {"count": 2, "diameter": "80 um", "change": -0.03}
    plan = flat({"kinds": ["pinhole"], "edge": "inside", "pinhole": faint})
    kept = item(plan, 0)
    assert [each.visible for each in kept.labelled] == [False, False]
    strict = replace(plan, labels=replace(plan.labels, only_visible=True))
    assert item(strict, 0).labelled == ()
    assert_array_equal(item(strict, 0).image, kept.image)


def test_faults_without_room_are_left_out_and_told() -> None:
    """The record names them; those that find room are there."""
    large = {"count": 1, "diameter": "25 mm", "change": -0.5}
    small = {"count": 2, "width": "1 mm", "height": "1 mm", "change": -0.5}
    plan = flat({"kinds": ["pinhole", "spot"], "edge": "inside", "pinhole": large, "spot": small})
    made = item(plan, 0)
    assert [each.placed.kind for each in made.instances] == ["spot", "spot"]
    (told,) = record(plan, made)["left_out"]
    assert told["kind"] == "pinhole"
    assert told["why"].startswith("pinhole: read a size of 25 x 25 mm, expected up to the area's")


def test_colour_stations_make_colour_images() -> None:
    """A prism camera on tiles: three channels, masks of one."""
    plan = plan_from(
        {
            "scenes": {"kind": "tile", "width": "12 mm", "height": "12 mm"},
            "images": {"lines": 64, "good_share": 0.0},
            "vary": {"camera": {"kind": "prism", "pixels": 64}},
            "faults": {
                "count": 0,
                "colour shift": {
                    "count": 1,
                    "width": "2 mm",
                    "height": "2 mm",
                    "change": [0.3, 0.0, -0.3],
                },
            },
        }
    )
    made = item(plan, 1)
    assert made.image.shape == (64, 64, 3)
    assert made.mask.shape == (64, 64)
    (one,) = made.labelled
    assert one.visible
    assert set(np.unique(made.mask)) == {0, 8}
