"""Images that can be looked at: one linear law, written down, and laid out for loaders."""

import json
import tarfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import imagecodecs
import numpy as np
import pytest
from numpy.testing import assert_array_equal

from linesim.dataset.item import Item, item
from linesim.dataset.make import make_set
from linesim.dataset.plan.plan import Plan
from linesim.dataset.plan.plan_file import load_plan, plan_from
from linesim.dataset.record import record
from linesim.dataset.stretch import Law
from linesim.setup.errors import InputError
from linesim.workers.tasks import Alone

OneOf = Callable[[int], Item]


def flat(light: str, *, flicker: float = 0.0, **images: object) -> Plan:
    """Plan images of an even white in some light."""
    return plan_from(
        {
            "scenes": {"kind": "flat"},
            "images": {"lines": 64, "good_share": 1.0, **images},
            "vary": {"camera": {"pixels": 64}, "light": {"illuminance": light, "flicker": flicker}},
        }
    )


def png(path: Path) -> np.ndarray:
    """Read a PNG."""
    return np.asarray(imagecodecs.png_decode(path.read_bytes()))


def test_a_law_is_a_straight_line() -> None:
    """By hand: 32 is black, 532 white: 132 is 51 of 255, and beyond both ends it is cut."""
    law = Law(black_dn=32.0, white_dn=532.0, bits=8)
    samples = np.array([[0, 32, 132, 532, 4095]], dtype=np.uint16)
    assert_array_equal(law.shown(samples), np.array([[0, 0, 51, 255, 255]], dtype=np.uint8))
    assert replace(law, bits=16).shown(samples)[0, 2] == 13107


def test_noise_of_metal_that_mirrors_is_not_cut() -> None:
    """An even face gives its brightest number all over; of normal noise 3e-7 reach 5 sd above."""
    plan = plan_from(
        {
            "setup": "sheet_light.toml",
            "scenes": {"kind": "sheet"},
            "images": {"lines": 64, "good_share": 1.0},
        },
        Path(__file__).parents[2] / "sample_targets",
    )
    made = item(plan, 0)
    assert made.law is not None
    assert made.image.max() < made.drawn.setup.full_scale_dn
    assert np.mean(made.image > made.law.white_dn) < 1e-3
    assert made.shown.mean() > 200  # and little of the scale is left empty


@pytest.mark.parametrize("swing", [0.0, 0.1])
def test_noise_of_an_even_product_is_not_cut(swing: float) -> None:
    """
    Where all is as light as the brightest part, that is five spreads under white, not on it.

    The spread is that of the samples as they came out, lines of the lamp's top swing alone: its
    standard error is that of 64 columns and of a lamp's few lines, a tenth together. Of normal
    noise 3e-7 reach 5 spreads above.
    """
    plan = flat("40 klx", flicker=swing)
    made = item(plan, 0)
    assert made.law is not None
    assert np.mean(made.image > made.law.white_dn) < 1e-3
    lines = made.image.mean(axis=1)
    top = made.image[lines > np.quantile(lines, 0.9)] if swing else made.image
    assert (made.law.white_dn - top.mean()) / top.std() == pytest.approx(5, rel=0.2)
    assert made.shown.mean() > 200  # and little of the scale is left empty


def test_one_law_keeps_brightness() -> None:
    """
    In half the light white is half as bright, and in the brightest it nears the end of the scale.

    The mean of 4096 samples has a standard error well below a number; its own light is drawn.
    """
    plan = flat("6 klx:12 klx")
    images = [item(plan, index) for index in range(4)]
    lights = [float(made.drawn.setup.light.illuminance_lx or 0) for made in images]
    shown = [float(made.shown[8:-8].mean()) for made in images]
    assert max(lights) > 1.3 * min(lights)
    brightest = np.dot(shown, lights) / np.dot(lights, lights) * 12e3
    assert shown == pytest.approx([brightest * light / 12e3 for light in lights], abs=4)
    assert 200 < brightest < 245
    assert len({made.law for made in images}) == 1


def test_each_by_itself_is_as_bright_as_the_next() -> None:
    """The 99.9th percentile of each is white."""
    plan = flat("4 klx:40 klx", stretch="image")
    for index in range(3):
        made = item(plan, index)
        assert made.law is not None
        assert made.law.white_dn == np.percentile(made.image, 99.9)
        assert made.shown.max() == 255


def test_modes_of_the_camera_have_a_law_each(plan: Plan, one_of: OneOf) -> None:
    """Binning 2x2 gathers more light; both are stretched to what they can reach, and say so."""
    told = [record(plan, one_of(index)) for index in range(plan.count)]
    laws = {(each["drawn"]["acquisition.binning"], each["white_dn"]) for each in told}
    assert len(laws) == 2
    assert {each["black_dn"] for each in told} == {plan.base.camera.black_level_dn}


def test_the_law_in_the_record_makes_the_image_of_the_samples(made: Path) -> None:
    """Computed here from the two files: the middle of the product is neither black nor white."""
    for path in sorted(made.glob("records/*/*.json"))[::4]:
        told = json.loads(path.read_text("utf-8"))
        samples, image = png(made / told["samples"]).astype(float), png(made / told["image"])
        share = (samples - told["black_dn"]) / (told["white_dn"] - told["black_dn"])
        assert_array_equal(image, np.rint(255 * np.clip(share, 0, 1)))
        assert 20 < np.median(image) < 235


def test_without_a_stretch_images_are_the_samples(plan_file: Path, tmp_path: Path) -> None:
    """And no others are kept beside."""
    text = plan_file.read_text("utf-8").replace("[images]", '[images]\nstretch = "none"')
    (tmp_path / "plan.toml").write_text(text, "utf-8")
    (tmp_path / "station.toml").write_bytes((plan_file.parent / "station.toml").read_bytes())
    plan = load_plan(tmp_path / "plan.toml", count=1)
    make_set(plan, tmp_path / "set", Alone())
    assert_array_equal(
        png(tmp_path / "set" / "images" / "train" / "000000.png"), item(plan, 0).image
    )
    assert not (tmp_path / "set" / "samples").exists()


def test_bits_are_those_of_a_file() -> None:
    """Twelve bits in a file of sixteen would look black again."""
    with pytest.raises(InputError, match=r"images\.bits: read 12, but expected 8 or 16"):
        flat("10 klx", bits=12)


def test_loaders_find_images_labels_and_classes(made: Path) -> None:
    """Beside each image of each split a line of JSON, and a file of boxes under the same stem."""
    listed = (made / "data.yaml").read_text("utf-8").splitlines()
    for split in ("train", "val", "test"):
        assert f"{split}: images/{split}" in listed
        lines = (made / "images" / split / "metadata.jsonl").read_text("utf-8").splitlines()
        told = [json.loads(line) for line in lines]
        images = sorted(path.name for path in (made / "images" / split).glob("*.png"))
        assert [each["file_name"] for each in told] == images
        for each in told:
            boxes = made / "labels" / split / f"{Path(each['file_name']).stem}.txt"
            assert len(boxes.read_text("utf-8").splitlines()) == len(each["objects"]["bbox"])
    classes = (made / "labels" / "classes.txt").read_text("utf-8").splitlines()
    assert listed[listed.index("names:") + 1 :] == [
        f'  {k}: "{name}"' for k, name in enumerate(classes)
    ]


def test_folders_and_shards_hold_the_same_images(plan_file: Path, tmp_path: Path) -> None:
    """Every image once in a folder that names its labels, and once in a shard, mask beside it."""
    text = plan_file.read_text("utf-8").replace("[images]", "[images]\nfolders = true\nshards = 4")
    (tmp_path / "plan.toml").write_text(text, "utf-8")
    (tmp_path / "station.toml").write_bytes((plan_file.parent / "station.toml").read_bytes())
    made = tmp_path / "set"
    make_set(load_plan(tmp_path / "plan.toml", count=8), made, Alone())
    copies = {path.name: path for path in (made / "folders" / "images").rglob("*.png")}
    assert len(copies) == 8
    for path in (made / "records").rglob("*.json"):
        told = json.loads(path.read_text("utf-8"))
        kinds = {each["kind"] for each in told["faults"] if each["labelled"]}
        copy = copies[f"{path.stem}.png"]
        assert copy.read_bytes() == (made / told["image"]).read_bytes()
        assert (copy.parent.name == "good") == (not told["faults"])
        assert (copy.parent.name == "several") == (len(kinds) > 1)
        mask = made / "folders" / "masks" / copy.relative_to(made / "folders" / "images")
        assert mask.read_bytes() == (made / told["mask"]).read_bytes()
    assert [stem for path in sorted((made / "shards").glob("*.tar")) for stem in sharded(path)] == [
        path.stem for split in ("test", "train", "val") for path in copies_of(made, split)
    ]


def copies_of(made: Path, split: str) -> list[Path]:
    """List the images of a split in their order."""
    return sorted((made / "images" / split).glob("*.png"))


def sharded(path: Path) -> list[str]:
    """Name the images of a shard, each with image, mask and JSON side by side."""
    with tarfile.open(path) as tar:
        found = tar.getnames()
    assert len(found) <= 3 * 4
    stems = found[::3]
    assert found == [f"{one[:6]}{end}" for one in stems for end in (".png", ".mask.png", ".json")]
    return [one[:6] for one in stems]
