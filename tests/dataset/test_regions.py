"""Faults lie where their kind is meant to lie, whichever way that is said."""

from pathlib import Path
from typing import Any

import imagecodecs
import numpy as np
import pytest

from linesim.dataset.draw import drawn
from linesim.dataset.dry import dry_run
from linesim.dataset.make import make_set
from linesim.dataset.plan.plan import Plan
from linesim.dataset.plan.plan_file import load_plan, plan_from
from linesim.defects.labels import footprints
from linesim.forward.reference import ArrayReference
from linesim.setup.errors import InputError
from linesim.workers.tasks import Alone

SIZE = 480
WEB = (slice(None), slice(150, 330))
"""Of a photograph: a dark web between two bright rails."""


@pytest.fixture
def photographs(tmp_path: Path) -> Path:
    """Write two photographs, a mask of the web and one of its right half."""
    grey = np.full((SIZE, SIZE), 220, dtype=np.uint8)
    grey[WEB] = 90
    web, half = np.zeros_like(grey), np.zeros_like(grey)
    web[WEB] = half[:, 240:330] = 255
    pictures = {"one": grey, "two": grey - 5, "web": web, "half": half, "small": web[:100, :100]}
    for name, each in pictures.items():
        data = imagecodecs.png_encode(np.ascontiguousarray(each))
        (tmp_path / f"{name}.png").write_bytes(bytes(data))
    return tmp_path


def planned(folder: Path, regions: dict[str, Any], *, count: int = 24, **faults: object) -> Plan:
    """Plan images of 32 lines of both photographs."""
    return plan_from(
        {
            "count": count,
            "images": {"lines": 64, "good_share": 0.0},
            "scenes": {"files": ["one.png", "two.png"], "images_each": 1},
            "vary": {"camera": {"pixels": 110}},
            "faults": {"kinds": ["pinhole", "scratch"], "count": 2, **faults},
            "regions": regions,
        },
        folder,
    )


def columns(plan: Plan, kind: str) -> list[float]:
    """Say where on its scene each sample of each fault of a kind lies, by the label's own way."""
    found: list[float] = []
    for index in range(plan.count):
        shot = drawn(plan, index)
        base = ArrayReference(
            data=shot.piece.cut(plan.scene(shot.scene)), pixel_size_um=plan.scenes.pixel_size_um
        )
        seen = footprints(shot.setup, base, shot.lines, shot.seed)
        for each in shot.faults:
            if each.kind == kind:
                for label in seen.labels(each.fault()):
                    samples = label.first_column + np.flatnonzero(label.mask.any(axis=0))
                    middle = shot.piece.left + shot.piece.columns / 2
                    found.extend(middle + (samples + 0.5 - 55) * 75 / plan.scenes.pixel_size_um)
    return found


@pytest.mark.parametrize(
    "region", [{"masks": ["web.png"]}, {"reflectance": "0.05:0.3"}], ids=["mask", "lightness"]
)
def test_no_fault_lies_beside_the_web(photographs: Path, region: dict[str, Any]) -> None:
    """
    Every sample that shows any of a fault is on the web, to within a sample of its edge.

    A sample is four reference pixels wide. Without a region faults lie on the rails too.
    """
    plan = planned(photographs, {"all": region})
    inside = columns(plan, "pinhole")
    assert len(inside) > 20
    assert 150 - 4 <= min(inside) <= max(inside) <= 330 + 4
    free = columns(planned(photographs, {}), "pinhole")
    assert min(free) < 140
    assert max(free) > 340


def test_kinds_have_regions_of_their_own(photographs: Path) -> None:
    """A mask for one kind, and one for each photograph; the others lie where they like."""
    plan = planned(photographs, {"pinhole": {"masks": ["half.png", "web.png"]}})
    assert min(columns(plan, "pinhole")) >= 150 - 4
    assert max(columns(plan, "scratch")) > 340


def test_what_finds_no_room_in_its_region_is_told(photographs: Path) -> None:
    """A fault wider than the web is left out, and the sentence names the region."""
    large = {"count": 1, "diameter": "6 mm", "change": -0.5}
    plan = planned(photographs, {"all": {"masks": ["web.png"]}}, kinds=["pinhole"], pinhole=large)
    found = dry_run(plan)
    assert found.left_out == {"pinhole": 24}
    assert "a larger area or region" in found.why["pinhole"]


def test_only_regions_of_masks_name_files(photographs: Path) -> None:
    """A region by reflectance has no file: the plan that a set keeps is one to be read again."""
    plan = planned(
        photographs, {"pinhole": {"masks": ["web.png"]}, "scratch": {"reflectance": "0.05:0.3"}}
    )
    assert {keys for keys in plan.files if keys[0] == "regions"} == {
        ("regions", "pinhole", "masks")
    }


def test_a_set_with_masks_can_be_gone_on_with(photographs: Path) -> None:
    """Its own plan names the masks as seen from the set."""
    plan = planned(photographs, {"all": {"masks": ["web.png"]}}, count=4)
    made = make_set(plan, photographs / "set", Alone()).folder
    again = load_plan(made / "plan.toml")
    assert [path.resolve() for path in again.regions["all"].masks] == [photographs / "web.png"]
    assert make_set(again, made, Alone(), resume=True).kept == 4


@pytest.mark.parametrize(
    ("regions", "told"),
    [
        ({"web": {"masks": ["web.png"]}}, "regions.web: read {"),
        ({"all": "web.png"}, 'regions.all: read "web.png", but expected { reflectance'),
        ({"all": {"masks": ["gone.png"]}}, 'regions.all.masks "gone.png" does not exist'),
        ({"all": {"masks": ["web.png"] * 3}}, "expected one mask for all scenes, or 2"),
        ({"all": {"reflectance": "0.3:0.1"}}, "two numbers from 0 to 1, the lower one first"),
    ],
)
def test_refusals(photographs: Path, regions: dict[str, Any], told: str) -> None:
    """In a sentence, with the key."""
    with pytest.raises(InputError) as refusal:
        planned(photographs, regions)
    assert told in str(refusal.value)


def test_a_mask_of_another_size_is_refused(photographs: Path) -> None:
    """By the dry run, before anything is written."""
    with pytest.raises(InputError, match=r"small.png. has 100 x 100 pixels, but scene one"):
        dry_run(planned(photographs, {"all": {"masks": ["small.png"]}}))
