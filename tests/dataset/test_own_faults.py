"""Faults of the user's own in a plan: read, refused, drawn, exported."""

import json
from pathlib import Path
from typing import Any

import imagecodecs
import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray

from linesim.dataset.draw import drawn
from linesim.dataset.item import item
from linesim.dataset.make import make_set
from linesim.dataset.plan.plan import fingerprint
from linesim.dataset.plan.plan_file import load_plan, plan_from
from linesim.dataset.verify import verify
from linesim.defects.cutouts import CutOuts
from linesim.setup.errors import InputError
from linesim.workers.tasks import Alone

GOUGE = {"outline_mm": [[0, 0], [2, 0.1], [2.1, 0.4], [0.1, 0.3]], "change": -0.5, "count": 1}
PIT: dict[str, Any] = {"images": "pits/*.png", "pixel_size": "90 um", "encoding": "linear"}


def write(path: Path, grey: NDArray[np.float64], alpha: NDArray[np.float64], bits: int) -> None:
    """Write shares of full scale as grey with opacity."""
    kind, scale = (np.uint8, 255) if bits == 8 else (np.uint16, 65535)
    both = np.rint(np.stack([grey, alpha], axis=2) * scale).astype(kind)
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(imagecodecs.png_encode(both))


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Put two pictures of a pit beside a plan: product at 0.5, the pit at 0.2 and at 0.3 of it."""
    alpha = np.zeros((10, 12))
    alpha[2:8, 3:9] = 1
    for name, level, bits in (("a", 0.1, 16), ("b", 0.15, 8)):
        grey = np.where(alpha > 0, level, 0.5)
        write(tmp_path / "pits" / f"{name}.png", grey, alpha, bits)
    return tmp_path


def plan_with(folder: Path, faults: dict[str, Any], **keys: Any) -> Any:  # noqa: ANN401 -- a plan's tables
    """Plan images of an even white with such faults alone."""
    texts = {
        "images": {"good_share": 0.0, "length": "14.4 mm"},
        "scenes": {"kind": "flat", "width": "24 mm", "height": "40 mm"},
        "vary": {"camera": {"pixels": 192, "prnu": 0.0, "dsnu": "0 e"}},
        "faults": {"kinds": list(faults), **faults},
        "labels": {"box_files": True},
    }
    return plan_from({**texts, **keys}, folder)


def test_the_product_beside_a_cut_out_is_its_level(folder: Path) -> None:
    """Clear pixels give it; or a number, as the picture is encoded."""
    (wanted,) = plan_with(folder, {"pit": PIT}).faults.wanted
    made = wanted.recipe.which.make
    assert isinstance(made, CutOuts)
    ratios = [float(cut.value[5, 5, 0]) for cut in made.cuts]
    assert ratios == pytest.approx([0.2, 0.3], abs=1.3 * 0.5 / 127)  # half a code of both
    told = {**PIT, "surroundings": 0.25}
    (wanted,) = plan_with(folder, {"pit": told}).faults.wanted
    assert wanted.recipe.which.make.cuts[0].value[5, 5, 0] == pytest.approx(0.4, abs=1e-4)
    # IEC 61966-2-1: codes of 0.25 and 0.1 stand for 0.0508 and 0.0100
    (wanted,) = plan_with(folder, {"pit": {**told, "encoding": "srgb"}}).faults.wanted
    assert wanted.recipe.which.make.cuts[0].value[5, 5, 0] == pytest.approx(0.197, abs=1e-3)


def test_a_cut_out_arrives_in_image_and_mask(folder: Path) -> None:
    """6 x 6 elements of 90 µm at 75 µm a sample: 51.84 samples, at 0.2 or 0.3 of the white."""
    plan = plan_with(folder, {"pit": {**PIT, "count": 2, "turn": "0 deg"}, "gouge": GOUGE})
    made = item(plan, 0)
    pits = [each for each in made.labelled if each.placed.kind == "pit"]
    assert len(pits) == 2
    black, white = made.drawn.setup.camera.black_level_dn, np.median(made.image)
    for each in pits:
        assert each.outline is not None
        assert each.class_id == 32
        # lines side by side see each place once; the first and the last line do not
        if 0.5 < each.placed.pose.y_mm < 13.9 and abs(each.placed.pose.x_mm) < 6.8:
            assert each.cover_px == pytest.approx(51.84, rel=1e-4)
        inner = made.image[each.outline.place][2:-2, 2:-2]
        if min(inner.shape) > 1:
            wanted = 0.2 if each.placed.values["form"] % 2 == 0 else 0.3  # type: ignore[operator]
            share = (inner.mean() - black) / (white - black)
            # noise of over 4 samples, 2 % each, and the lens's skirts beyond two samples
            assert share == pytest.approx(wanted, abs=0.05)


def test_class_numbers_do_not_hang_on_other_kinds(folder: Path) -> None:
    """A user's own begin at 32, in the plan's order or as it says; built-in kinds keep theirs."""
    both = plan_with(folder, {"pit": PIT, "gouge": GOUGE, "hole": {}})
    assert {k.name: k.class_id for k in both.faults.kinds} == {"hole": 9, "pit": 32, "gouge": 33}
    alone = plan_with(folder, {"gouge": {**GOUGE, "class": 33}})
    assert {k.name: k.class_id for k in alone.faults.kinds} == {"gouge": 33}


def test_a_set_of_own_faults_goes_on_and_verifies(folder: Path, tmp_path: Path) -> None:
    """The plan in the set names the pictures from there; classes are those of the plan."""
    plan = plan_with(folder, {"pit": {**PIT, "count": 2}, "gouge": GOUGE}, count=3)
    where = tmp_path / "deep" / "set"
    make_set(plan, where, Alone())
    again = load_plan(where / "plan.toml")
    assert fingerprint(again) == fingerprint(plan)
    assert verify(where, 1).faults == ()
    assert (where / "labels" / "classes.txt").read_text("utf-8").split() == ["pit", "gouge"]
    told = json.loads((where / "annotations" / "train.json").read_text("utf-8"))
    assert {each["id"]: each["name"] for each in told["categories"]} == {33: "pit", 34: "gouge"}


def test_another_picture_is_another_plan(folder: Path) -> None:
    """The fingerprint hangs on what a file holds, not on its name."""
    before = fingerprint(plan_with(folder, {"pit": PIT}))
    write(folder / "pits" / "a.png", np.full((10, 12), 0.5), np.eye(10, 12), 16)
    assert fingerprint(plan_with(folder, {"pit": PIT})) != before


def test_an_image_does_not_hang_on_how_often_a_plan_is_read(folder: Path) -> None:
    """Same plan, same faults, same bytes."""
    faults = {"pit": {**PIT, "count": 1, "size": "0.5:2:log", "strength": "0.5:1.5"}}
    one, two = (plan_with(folder, faults) for _ in range(2))
    assert drawn(one, 4).faults == drawn(two, 4).faults
    assert_allclose(item(one, 4).image, item(two, 4).image, rtol=0, atol=0)


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ({"images": "none/*.png", "pixel_size": "9 um"}, 'pit.images: read "none/\\*.png", but no'),
        ({"images": 3, "pixel_size": "9 um"}, "pit.images: read 3, but expected files"),
        ({"images": "pits/*.png"}, "pit.pixel_size: nothing was read"),
        ({**PIT, "pixel_size": 9}, "pit.pixel_size: read 9"),
        ({**PIT, "values": "colour"}, "pit.values: read"),
        ({**PIT, "class": 7}, "pit.class: read 7"),
        ({**PIT, "strength": "-1:1"}, "strength: read -1, expected a factor from 0"),
        ({**PIT, "size": 0}, "size: read 0, expected a factor above 0"),
        ({**PIT, "diameter": "3 um"}, "pit.diameter: read"),
        ({**PIT, "values": "reflectance", "surroundings": 0.5}, "values are reflectances"),
        ({**PIT, **GOUGE}, "images and outline_mm"),
        ({**PIT, "images": "opaque.png"}, "no transparency"),
        ({**PIT, "images": "black.png"}, "shows no product beside the fault"),
        ({**PIT, "images": ["pits/a.png", "pits/a.png"]}, "a file twice"),
        ({"outline_mm": [[0, 0], [1, 1]], "change": 0.1}, "2 corners"),
        ({"outline_mm": "round", "change": 0.1}, "corners in millimetres"),
        ({"outline_mm": [[0, 0], [1, 0], [1, 1]]}, "pit.change: nothing was read"),
    ],
)
def test_a_faulty_kind_is_refused(folder: Path, table: dict[str, Any], said: str) -> None:
    """One sentence: key, what was read, what is expected."""
    write(folder / "opaque.png", np.full((4, 4), 0.5), np.ones((4, 4)), 8)
    write(folder / "black.png", np.eye(4), np.eye(4), 8)
    with pytest.raises(InputError, match=said) as told:
        plan_with(folder, {"pit": table})
    assert all(each.startswith("faults.pit") for each in told.value.faults)


def test_a_built_in_kind_is_not_replaced(folder: Path) -> None:
    """Its name is taken."""
    with pytest.raises(InputError, match="built-in kind"):
        plan_with(folder, {"spot": PIT})
