"""The files of a set, read by libraries that this project did not write."""

import csv
import json
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import imagecodecs
import numpy as np
import pytest
import tifffile
from pycocotools import mask as coco_mask
from pycocotools.coco import COCO
from skimage.measure import regionprops

from linesim.dataset.item import Item
from linesim.dataset.make import make_set
from linesim.dataset.plan.plan import Plan
from linesim.dataset.plan.plan_file import load_plan, plan_from
from linesim.dataset.plan.splits import SPLITS
from linesim.workers.tasks import Alone

OneOf = Callable[[int], Item]

pytestmark = pytest.mark.filterwarnings("ignore:__array__ implementation:DeprecationWarning")
"""pycocotools 2.0.11 with numpy 2."""


def coco(folder: Path, split: str) -> COCO:
    """Load annotations with pycocotools."""
    return COCO(str(folder / "annotations" / f"{split}.json"))


def png(path: Path) -> np.ndarray:
    """Read a PNG."""
    return np.asarray(imagecodecs.png_decode(path.read_bytes()))


def regions(mask: np.ndarray) -> list[Any]:
    """Have scikit-image measure the one region of a mask."""
    measure: Any = regionprops  # it has no types
    return list(measure(mask))


def table(path: Path) -> list[dict[str, str]]:
    """Read a CSV file."""
    with path.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def annotated(folder: Path) -> list[tuple[str, COCO, dict[str, Any]]]:
    """List all images of a set with their split."""
    sets = [(split, coco(folder, split)) for split in SPLITS]
    return [(split, each, image) for split, each in sets for image in each.dataset["images"]]


def check_labels(folder: Path) -> int:
    """Hold every annotation against the mask of classes; give their number."""
    count = 0
    for split, read, image in annotated(folder):
        mask = png(folder / "masks" / split / f"{Path(image['file_name']).stem}.png")
        assert mask.shape == (image["height"], image["width"])
        drawn = np.zeros_like(mask)
        for each in read.loadAnns(read.getAnnIds(imgIds=image["id"])):
            own = read.annToMask(each).astype(bool)
            assert not drawn[own].any()  # no sample belongs to two
            drawn[own] = each["category_id"]
            (props,) = regions(own.astype(np.uint8))
            top, left, bottom, right = props.bbox
            assert each["area"] == props.area == own.sum() > 0
            assert each["bbox"] == [left, top, right - left, bottom - top]
            assert each["iscrowd"] == 0
            count += 1
        assert (drawn == mask).all()
    return count


def test_annotations_agree_with_the_masks(made: Path) -> None:
    """Pycocotools decodes each; area and box by scikit-image; the classes are those of the PNG."""
    assert check_labels(made) > 20


def test_areas_and_boxes_are_those_of_pycocotools(made: Path) -> None:
    """Its own area and box of each run-length mask."""
    for _, read, image in annotated(made):
        for each in read.loadAnns(read.getAnnIds(imgIds=image["id"])):
            assert coco_mask.area(each["segmentation"]) == each["area"]
            assert coco_mask.toBbox(each["segmentation"]).tolist() == each["bbox"]


def test_ids_count_from_one(made: Path) -> None:
    """Annotations 1, 2, 3 … in each file, images by their number, categories by their class."""
    numbers = []
    for split in SPLITS:
        read = coco(made, split).dataset
        ids = [each["id"] for each in read["annotations"]]
        assert ids == list(range(1, len(ids) + 1))
        named = {each["id"]: each["name"] for each in read["categories"]}
        assert named == {1: "pinhole", 2: "spot", 4: "scratch", 10: "hole"}  # of the plan alone
        numbers += [each["id"] for each in read["images"]]
    assert sorted(numbers) == list(range(1, 13))


def test_images_without_labels_are_there(made: Path) -> None:
    """They have an entry, a mask of zeros, an empty file of boxes, and the word good."""
    rows = {row["image"]: row for row in table(made / "images.csv")}
    empty = 0
    for split, read, image in annotated(made):
        stem = Path(image["file_name"]).stem
        boxes = (made / "labels" / split / f"{stem}.txt").read_text("utf-8")
        labels = read.getAnnIds(imgIds=image["id"])
        assert len(boxes.splitlines()) == len(labels)
        if rows[f"images/{split}/{stem}.png"]["label"] == "good":
            empty += 1
            assert boxes == ""
            assert labels == []
            assert not png(made / "masks" / split / f"{stem}.png").any()
    assert empty == 3


def test_box_files_say_the_same_boxes(made: Path) -> None:
    """Line of its class, middle and size as shares: turned back, they are the boxes of the JSON."""
    names = (made / "labels" / "classes.txt").read_text("utf-8").splitlines()
    for split, read, image in annotated(made):
        labels = read.loadAnns(read.getAnnIds(imgIds=image["id"]))
        path = made / "labels" / split / f"{Path(image['file_name']).stem}.txt"
        lines = path.read_text("utf-8").splitlines()
        size = np.array([image["width"], image["height"]] * 2)
        for line, each in zip(lines, labels, strict=True):
            number, *shares = line.split()
            assert names[int(number)] == read.cats[each["category_id"]]["name"]
            x, y, wide, high = np.array(shares, dtype=float) * size
            box = [x - wide / 2, y - high / 2, wide, high]
            # eight decimals of at most a hundred samples
            assert box == pytest.approx(each["bbox"], abs=2e-6)


def test_samples_are_as_delivered(made: Path) -> None:
    """16-bit files hold 12-bit numbers, the lowest bits; the table says so."""
    for row in table(made / "manifest.csv"):
        image = png(made / row["samples"])
        assert image.dtype == np.uint16
        assert image.shape == (int(row["height"]), int(row["width"]))
        assert row["full_scale_dn"] == "4095"
        assert 256 < image.max() <= 4095


def test_files_hold_what_the_item_is(made: Path, one_of: OneOf) -> None:
    """Image and mask of a file are those of `item`, to the last bit."""
    for index in (0, 7):
        one = one_of(index)
        name = f"{one.split}/{index:06d}.png"
        assert (png(made / "samples" / name) == one.image).all()
        assert (png(made / "images" / name) == one.shown).all()
        assert (png(made / "masks" / name) == one.mask).all()


def test_the_manifest_has_everything_drawn(made: Path) -> None:
    """Seed, hash of the station, each varied key; the table of faults each fault's numbers."""
    rows = table(made / "manifest.csv")
    assert [int(row["index"]) for row in rows] == list(range(12))
    assert {row["seed"] for row in rows} == {"5"}
    assert all(re.fullmatch("[0-9a-f]{64}", row["setup_sha256"]) for row in rows)
    assert len({row["setup_sha256"] for row in rows}) == 12
    assert {row["acquisition.binning"] for row in rows} == {"1x1", "2x2"}
    assert all(row["light.illuminance"].endswith(" lx") for row in rows)
    faults = table(made / "faults.csv")
    assert sum(int(row["faults"]) for row in rows) == len(faults)
    discs = [row for row in faults if row["kind"] == "pinhole"]
    assert all(60 <= float(row["diameter_um"]) <= 400 for row in discs)
    assert all((row["dprime"] != "") == (row["cover_px"] != "0.0") for row in faults)


def test_splits_share_no_scene(made: Path) -> None:
    """By the table, as a user would check it."""
    scenes: dict[str, set[str]] = {}
    for row in table(made / "manifest.csv"):
        scenes.setdefault(row["split"], set()).add(row["scene"])
    assert set(scenes) == set(SPLITS)
    assert sum(map(len, scenes.values())) == len(set.union(*scenes.values()))


def test_everything_says_that_it_is_simulated(made: Path) -> None:
    """Card, sets, images, tables, records."""
    assert "**Simulated.**" in (made / "README.md").read_text("utf-8")
    assert json.loads((made / "set.json").read_text("utf-8"))["simulated"] is True
    for _, read, image in annotated(made):
        assert read.dataset["info"]["simulated"] is True
        assert image["simulated"] is True
    for name in ("manifest.csv", "images.csv"):
        assert {row["simulated"] for row in table(made / name)} == {"true"}
    for path in (made / "records").rglob("*.json"):
        assert json.loads(path.read_text("utf-8"))["simulated"] is True


def test_names_work_on_every_system(made: Path) -> None:
    """No reserved character, no backslash, no absolute path, no pickle, nothing left over."""
    names = [path.relative_to(made).as_posix() for path in made.rglob("*") if path.is_file()]
    # reserved on Windows: < > : " / \ | ? * and control characters (from memory)
    assert [name for name in names if re.search(r'[<>:"\\|?*\x00-\x1f]|[. ]$', name)] == []
    endings = {".png", ".json", ".jsonl", ".csv", ".txt", ".toml", ".md", ".yaml", ".sha256"}
    assert {Path(name).suffix for name in names} == endings
    assert max(map(len, names)) < 60
    for name in names:
        if not name.endswith(".png"):
            text = (made / name).read_bytes()
            assert b"\r" not in text
            assert b"NaN" not in text
            assert str(made.parent).encode() not in text
            if name.endswith(("json", "csv")):
                assert b"images\\\\" not in text


def test_the_plan_in_the_set_is_the_plan(made: Path, plan: Plan) -> None:
    """It loads from where it lies, to the same values."""
    again = load_plan(made / "plan.toml")
    assert (again.count, again.seed, again.splits) == (plan.count, plan.seed, plan.splits)
    assert again.base == plan.base
    assert again.faults == plan.faults


def test_tiff_and_polygons(tmp_path: Path) -> None:
    """The other forms: TIFF that states its full scale, polygons that fill to the same masks."""
    plan = plan_from(
        {
            "count": 2,
            "scenes": {"kind": "flat"},
            "images": {"format": "tiff", "lines": 64, "good_share": 0.0},
            "vary": {"camera": {"pixels": 96, "bit_depth": 16}},
            "faults": {"kinds": ["spot", "scratch"], "count": 2},
            "labels": {"polygons": True, "least_signal": 0.0},
        }
    )
    make_set(plan, tmp_path / "set", Alone())
    path = next((tmp_path / "set" / "samples").rglob("*.tif"))
    with tifffile.TiffFile(path) as file:
        page = file.pages.first
        assert page.asarray().dtype == np.uint16
        assert page.tags["MaxSampleValue"].value == 65535
    read = [
        each for split in SPLITS for each in coco(tmp_path / "set", split).dataset["annotations"]
    ]
    assert any(isinstance(each["segmentation"], list) for each in read)
    assert check_labels(tmp_path / "set") >= 6


def test_many_labels_and_none(tmp_path: Path) -> None:
    """60 in one image, and an image without any, through pycocotools and back."""
    plan = plan_from(
        {
            "count": 2,
            "scenes": {"kind": "flat", "width": "22 mm", "height": "40 mm", "images_each": 1},
            "splits": {"train": 1.0},
            "images": {"good_share": 0.5, "length": "19.2 mm"},
            "vary": {"camera": {"pixels": 256}},
            "faults": {
                "kinds": ["pinhole"],
                "edge": "inside",
                "min_distance": "0.3 mm",
                "pinhole": {"count": 60, "diameter": "100 um:300 um", "change": -0.5},
            },
        }
    )
    make_set(plan, tmp_path / "set", Alone())
    assert check_labels(tmp_path / "set") == 60


def test_a_title_is_no_markup_in_the_card(plan_file: Path, tmp_path: Path) -> None:
    """Marks of HTML and Markdown stand in the card as they were typed: CommonMark's escapes."""
    plan = replace(load_plan(plan_file, count=1), title="<script>[a](b) *c* | $d$")
    made = make_set(plan, tmp_path / "set", Alone())
    head = (made.folder / "README.md").read_text("utf-8").splitlines()[0]
    assert head == r"# \<script\>\[a\](b) \*c\* \| \$d\$"
