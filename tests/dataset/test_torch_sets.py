"""Plans as PyTorch data sets: what `item` makes, in any order, in any worker."""

import json
import pickle
from collections.abc import Callable
from importlib.metadata import version
from itertools import pairwise
from multiprocessing import get_all_start_methods
from pathlib import Path
from shutil import copy
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from linesim.dataset import torch_sets
from linesim.dataset.item import Item, item
from linesim.dataset.make import make_set
from linesim.dataset.plan.plan import Plan
from linesim.dataset.plan.plan_file import load_plan
from linesim.dataset.torch_sets import Sample, ScanDataset, ScanStream, collate, sample_of
from linesim.dataset.verify import verify
from linesim.setup.errors import InputError
from linesim.workers.tasks import Alone

torch = pytest.importorskip("torch", reason="the extra torch is not installed")
from torch.utils.data import DataLoader, default_collate  # noqa: E402 -- only where it is installed

OneOf = Callable[[int], Item]


def ids(samples: Any) -> list[int]:  # noqa: ANN401 -- any iterable of samples
    """Read the numbers of images, from 1."""
    return [target["image_id"] for _, target in samples]


def same(one: Any, two: Any) -> None:  # noqa: ANN401 -- two samples
    """Compare two samples to the last bit."""
    assert torch.equal(one[0], two[0])
    assert one[1].keys() == two[1].keys()
    for key, value in one[1].items():
        if key == "image_id":
            assert value == two[1][key]
        else:
            assert value.dtype == two[1][key].dtype
            assert torch.equal(value, two[1][key])


@pytest.fixture(scope="module")
def train(plan_file: Path) -> ScanDataset:
    """Take the images that train."""
    return ScanDataset(plan_file, "train")


@pytest.fixture(scope="module")
def rendered(train: ScanDataset) -> list[Sample]:
    """Render them all, in order, alone."""
    return [train[place] for place in range(len(train))]


def test_a_sample_is_the_image_over_its_full_scale(
    rendered: list[Sample], train: ScanDataset, plan: Plan, one_of: OneOf
) -> None:
    """12 bits: all shares of 4095; the images are those of the split, in order."""
    wanted = [k for k in range(plan.count) if plan.split(k) == "train"]
    assert ids(rendered) == [index + 1 for index in wanted]
    assert len(train) == len(wanted)
    for index, (image, _) in zip(wanted, rendered, strict=True):
        made = one_of(index)
        assert image.dtype == torch.float32
        assert image.shape == (1, *made.mask.shape)
        # a float32 is right to 2^-24 of itself; the product adds as much again
        assert_allclose(image[0].numpy() * np.float32(4095), made.image, rtol=2**-22, atol=0)


def test_labels_are_those_of_item(rendered: list[Sample], one_of: OneOf) -> None:
    """Every fault of the split: mask, box, class, area and strength."""
    faults = 0
    for _, target in rendered:
        made = one_of(target["image_id"] - 1)
        # masks are apart, so the classes of all add up to the mask of the image
        classes = (target["masks"] * target["labels"][:, None, None]).sum(dim=0)
        assert_array_equal(classes.numpy(), made.mask)
        assert_array_equal(target["area"].numpy(), target["masks"].sum(dim=(1, 2)).numpy())
        for k, fault in enumerate(made.labelled):
            lines, columns = np.nonzero(target["masks"][k].numpy())
            box = columns.min(), lines.min(), columns.max() + 1, lines.max() + 1
            assert_array_equal(target["boxes"][k].numpy(), box)
            assert fault.strength is not None
            assert target["dprime"][k] == np.float32(fault.strength.dprime)
            assert bool(target["visible"][k]) == fault.visible
            faults += 1
    assert faults >= 3


def test_raw_samples_are_delivered_numbers(plan_file: Path, one_of: OneOf) -> None:
    """12 bits stay 12 bits, as int32."""
    raw = ScanDataset(plan_file, "val", raw=True)
    image, target = raw[0]
    assert image.dtype == torch.int32
    assert_array_equal(image[0].numpy(), one_of(target["image_id"] - 1).image)


def test_an_image_without_faults_has_empty_labels(rendered: list[Sample]) -> None:
    """None of them loses its other dimensions; the dtypes stay."""
    image, target = next(sample for sample in rendered if not len(sample[1]["labels"]))
    shapes = {
        "boxes": ((0, 4), torch.float32),
        "labels": ((0,), torch.int64),
        "masks": ((0, *image.shape[1:]), torch.uint8),
        "area": ((0,), torch.float32),
        "iscrowd": ((0,), torch.int64),
        "visible": ((0,), torch.bool),
        "dprime": ((0,), torch.float32),
    }
    assert {key: (tuple(target[key].shape), target[key].dtype) for key in shapes} == shapes


def test_colour_comes_as_three_planes(tmp_path: Path) -> None:
    """The planes are those of the image, red first."""
    (tmp_path / "plan.toml").write_text(
        'count = 8\n[images]\nlines = 24\n[scenes]\nkind = "flat"\n'
        '[vary]\ncamera.kind = ["three-line"]\ncamera.line_spacing = ["30 um"]\n'
        "camera.pixels = [32]\n[splits]\ntrain = 1.0\n",
        "utf-8",
    )
    colours = ScanDataset(tmp_path / "plan.toml", "train", raw=True)
    image, target = colours[1]
    made = item(load_plan(tmp_path / "plan.toml"), target["image_id"] - 1)
    assert image.shape == (3, 24, 32)
    assert_array_equal(image.numpy().transpose(1, 2, 0), made.image)


@pytest.mark.nightly
def test_workers_and_order_change_nothing(
    rendered: list[Sample], plan_file: Path, train: ScanDataset
) -> None:
    """Two spawned workers, a shuffled order, a pickled copy: the same samples, bit for bit."""
    alone = {target["image_id"]: (image, target) for image, target in rendered}
    loader = DataLoader(
        train,
        batch_size=2,
        shuffle=True,
        generator=torch.Generator().manual_seed(1),
        num_workers=2,
        multiprocessing_context="spawn",
        collate_fn=collate,
    )
    got = [sample for images, targets in loader for sample in zip(images, targets, strict=True)]
    assert sorted(ids(got)) == sorted(alone)
    assert ids(got) != sorted(alone)
    for sample in got:
        same(sample, alone[sample[1]["image_id"]])
    same(pickle.loads(pickle.dumps(train))[0], train[0])  # noqa: S301 -- our own, as workers do
    state = np.random.get_state(legacy=False)["state"]["key"].copy(), torch.get_rng_state()  # noqa: NPY002 -- the global one
    ScanDataset(plan_file, "train")[1]
    assert_array_equal(np.random.get_state(legacy=False)["state"]["key"], state[0])  # noqa: NPY002 -- the same
    assert torch.equal(torch.get_rng_state(), state[1])


def test_workers_of_a_stream_share_its_images(rendered: list[Sample], plan_file: Path) -> None:
    """Two have each image once between them; mixed, scenes stay together."""
    stream = ScanStream(plan_file, "train", order=3)
    walked = ids(stream)
    assert sorted(walked) == sorted(ids(rendered))
    assert walked != sorted(walked)
    assert walked == ids(ScanStream(plan_file, "train", order=3))
    scenes = [(number - 1) // 2 for number in walked]  # images_each is 2
    assert sum(one != two for one, two in pairwise(scenes)) == (len(set(scenes)) - 1)
    half = len(walked) // 2
    for worker, part in enumerate((walked[:half], walked[half:])):
        with pytest.MonkeyPatch.context() as patch:
            # what torch tells the process of a worker
            told = SimpleNamespace(id=worker, num_workers=2)
            patch.setattr("torch.utils.data.get_worker_info", lambda told=told: told)
            assert ids(stream) == part


@pytest.mark.nightly
@pytest.mark.skipif("fork" not in get_all_start_methods(), reason="this system does not fork")
@pytest.mark.filterwarnings("ignore:.*fork:DeprecationWarning")  # Python 3.12, of threads it has
def test_forked_workers_give_a_stream_once(rendered: list[Sample], plan_file: Path) -> None:
    """Each image comes once, and as it comes alone."""
    stream = ScanStream(plan_file, "train", order=3)
    loader = DataLoader(stream, batch_size=None, num_workers=2, multiprocessing_context="fork")
    alone = {target["image_id"]: (image, target) for image, target in rendered}
    got = list(loader)
    assert sorted(ids(got)) == sorted(alone)
    for sample in got:
        same(sample, alone[sample[1]["image_id"]])


def test_images_of_one_size_make_one_array(rendered: list[Sample]) -> None:
    """Only labels need lists: pixels batch by torch's own way."""
    one = [sample for sample in rendered if sample[0].shape[2] == 96][:2]
    images, targets = collate(one)
    assert default_collate(images).shape == (2, 1, 96, 96)
    assert [target["image_id"] for target in targets] == ids(one)


def test_another_seed_or_count_is_another_set(plan_file: Path, train: ScanDataset) -> None:
    """As --seed and --count of the command."""
    other = ScanDataset(plan_file, "train", seed=6)
    assert other[0][0].shape != train[0][0].shape or not torch.equal(other[0][0], train[0][0])
    more = ScanDataset(plan_file, "train", count=200)
    assert len(more) > len(train)
    same(more[0], train[0])
    with pytest.raises(IndexError):
        train[len(train)]


def test_a_worker_refuses_a_changed_plan(plan_file: Path, tmp_path: Path) -> None:
    """What it would render is not what was asked for."""
    for file in plan_file.parent.iterdir():
        (tmp_path / file.name).write_bytes(file.read_bytes())
    path = tmp_path / plan_file.name
    sent = pickle.dumps(ScanDataset(path, "train"))
    path.write_text(path.read_text("utf-8").replace("seed = 5", "seed = 7"), "utf-8")
    with pytest.raises(InputError, match="has changed since"):
        pickle.loads(sent)[0]  # noqa: S301 -- our own, as workers do


def test_refusals(plan_file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """One sentence: what was read, what is expected."""
    with pytest.raises(InputError, match=r'split: read "training", but expected one of train, val'):
        ScanDataset(plan_file, "training")
    with pytest.raises(InputError, match="none of the 1 images belongs to it"):
        ScanStream(plan_file, "val", count=1)
    monkeypatch.setattr(torch_sets, "HAVE_TORCH", False)
    with pytest.raises(InputError, match=r'pip install "linesim\[torch\]"'):
        ScanDataset(plan_file, "train")


MOST_SHARE = 1e-3
"""Of samples 1 DN off: K mean|d|, see tests/studies/test_on_a_device.py; some 10⁻⁴ here."""


def test_an_image_has_the_same_labels(plan: Plan, one_of: OneOf) -> None:
    """Masks to the sample, and of the samples few are a step off."""
    off, count = 0, 0
    for index in (1, 4, 7):
        found, known = item(plan, index, "cpu"), one_of(index)
        apart = np.abs(found.image.astype(np.int64) - known.image)
        off, count = off + int(np.count_nonzero(apart)), count + apart.size
        assert apart.max() <= 1
        assert_array_equal(found.mask, known.mask)
        assert [each.visible for each in found.instances] == [
            each.visible for each in known.instances
        ]
    assert off <= MOST_SHARE * count


def test_a_set_says_what_made_it_and_is_made_again_so(plan_file: Path, tmp_path: Path) -> None:
    """In its own file, in each record, on the card; and it is gone on with as it began."""
    plan, folder = load_plan(plan_file, count=3), tmp_path / "set"
    make_set(plan, folder, Alone(), device="cpu")
    by = {"device": "cpu", "torch": version("torch")}
    for path in (folder / "set.json", *folder.glob("records/*/*.json")):
        assert json.loads(path.read_text("utf-8"))["rendered_on"] == by
    assert f"images by torch {by['torch']} on cpu" in (folder / "README.md").read_text("utf-8")
    assert verify(folder, again=1).faults == ()
    with pytest.raises(InputError, match=r"^--resume: .* by torch .* on cpu, and numpy is asked"):
        make_set(plan, folder, Alone(), resume=True)


def test_several_devices_make_the_same_set(plan_file: Path, tmp_path: Path) -> None:
    """Images are dealt over them; no file says which made it, so the list of all hashes is one."""
    plan = load_plan(plan_file, count=3)
    for devices in ("cpu", "cpu,cpu"):
        make_set(plan, tmp_path / devices, Alone(), device=devices)
    one, other = (tmp_path / devices / "files.sha256" for devices in ("cpu", "cpu,cpu"))
    assert one.read_text("utf-8") == other.read_text("utf-8")
    with pytest.raises(InputError, match=r'^device: read "cpu,cpu", but images of a stream'):
        ScanStream(plan_file, "val", device="cpu,cpu")


def test_what_a_plan_draws_is_not_carried(plan_file: Path, tmp_path: Path) -> None:
    """Where it is drawn for some image alone too, and before a folder is made."""
    text = plan_file.read_text("utf-8").replace(
        "[faults]", 'transport.skew = ["0 deg", "0.1 deg"]\n[faults]'
    )
    skewed = tmp_path / "skewed.toml"
    skewed.write_text(text, "utf-8")
    copy(plan_file.parent / "station.toml", tmp_path)
    with pytest.raises(InputError, match=r"^transport\.skew: read 0\.1 deg, but the torch path"):
        make_set(load_plan(skewed), tmp_path / "set", Alone(), device="cpu")
    assert not (tmp_path / "set").exists()


def test_a_stream_feeds_from_a_device(plan_file: Path, one_of: OneOf) -> None:
    """Its images lie there, its labels are those of numpy."""
    stream = ScanStream(plan_file, "val", raw=True, device="cpu")
    for image, target in stream:
        known, labels = sample_of(one_of(target["image_id"] - 1), raw=True)
        assert image.device.type == "cpu"
        assert int((image - known).abs().max()) <= 1
        assert float((image != known).float().mean()) <= MOST_SHARE
        for key in ("boxes", "labels", "masks", "area", "visible"):
            assert torch.equal(target[key], labels[key])


def test_a_worker_of_a_loader_has_no_device(
    plan_file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It could not hand its images on."""
    monkeypatch.setattr(torch.cuda, "is_available", lambda: True)
    monkeypatch.setattr(torch.cuda, "device_count", lambda: 1)
    stream = ScanStream(plan_file, "val", device="cuda")
    with pytest.raises(InputError, match=r'device: read "cuda" in a worker .* num_workers=0'):
        next(iter(DataLoader(stream, num_workers=1, batch_size=None)))
