"""
A plan as a PyTorch data set: images and labels rendered when they are asked for, nothing on disk.

```python
from torch.utils.data import DataLoader
from linesim.dataset.torch_sets import ScanDataset, ScanStream, collate

train = ScanStream("plan.toml", "train", order=1)
loader = DataLoader(train, batch_size=8, num_workers=4, collate_fn=collate)
```

An image is a function of the plan, its index and the seed alone, whoever makes it: nothing is drawn
from the random state of Python, numpy or torch. What travels to a worker is the plan's path; the
worker reads it again, and refuses a plan that has changed in between. Another ``seed`` makes other
images from the same plan: one for each epoch, and no image comes twice.

Drawing a scene takes far longer than taking an image from it, and the last two are kept.
`ScanStream` therefore goes scene by scene; with `ScanDataset`, leave the shuffle off, or have few
scenes. Images of one size are needed where a batch is one array: do not vary the binning then.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from linesim.dataset.device import stations_of
from linesim.dataset.item import Instance, Item, item
from linesim.dataset.plan.plan import Plan, fingerprint
from linesim.dataset.plan.plan_file import load_plan
from linesim.dataset.plan.splits import SPLITS
from linesim.forward.device.choice import chosen, each_of
from linesim.setup.errors import InputError
from linesim.setup.shown import shown

HAVE_TORCH = find_spec("torch") is not None

if TYPE_CHECKING:
    import torch
    from torch.utils.data import Dataset, IterableDataset
elif HAVE_TORCH:
    from torch.utils.data import Dataset, IterableDataset
else:
    Dataset = IterableDataset = object  # refused where one is made

Target = dict[str, Any]
Sample = tuple["torch.Tensor", Target]
Indices = NDArray[np.int64]


@dataclass(frozen=True, kw_only=True)
class _Shots:
    """Images of one split of a plan file. Pickled, it is what was asked for, without the plan."""

    path: Path | None
    split: str
    count: int | None
    seed: int | None
    raw: bool
    device: str | None = None
    print_asked: str | None = None

    @cached_property
    def plan(self) -> Plan:
        """Read the plan where it is first needed."""
        plan = load_plan(self.path, count=self.count, seed=self.seed)
        if self.print_asked is not None and fingerprint(plan) != self.print_asked:
            msg = (
                f'plan "{self.path}" has changed since the data set was made of it; expected the '
                "same plan, files and versions in every worker"
            )
            raise InputError(msg)
        return plan

    @cached_property
    def print_sent(self) -> str:
        """Tell a worker which plan it has to find."""
        return self.print_asked or fingerprint(self.plan)

    @cached_property
    def indices(self) -> Indices:
        """Choose the images of the split; one scene has one split."""
        plan, each = self.plan, self.plan.scenes.images_each
        firsts = [k for k in range(0, plan.count, each) if plan.split(k) == self.split]
        found = (np.array(firsts, dtype=np.int64)[:, None] + np.arange(each)).ravel()
        return np.asarray(found[found < plan.count])

    def __getstate__(self) -> dict[str, Any]:
        asked = {
            key: getattr(self, key) for key in ("path", "split", "count", "seed", "raw", "device")
        }
        return {**asked, "print_asked": self.print_sent}

    def sample(self, index: int) -> Sample:
        """Render one image; it stays on its device, the labels lie here."""
        image, target = sample_of(item(self.plan, index, self.device), raw=self.raw)
        return image if self.device is None else image.to(self.device), target

    def walk(self, order: int | None) -> Indices:
        """Lay all images out scene by scene; scenes, and images in each, as they come or mixed."""
        runs = self.indices // self.plan.scenes.images_each
        scenes = runs % self.plan.scenes.count if self.plan.scenes.count else runs
        names, turn = np.unique(scenes, return_inverse=True)
        if order is None:
            return np.asarray(self.indices[np.argsort(turn, kind="stable")])
        stream = np.random.default_rng(order)
        turn = stream.permutation(len(names))[turn]
        return np.asarray(self.indices[np.lexsort((stream.random(len(turn)), turn))])


def _shots(
    path: str | Path | None,
    split: str,
    *,
    count: int | None,
    seed: int | None,
    raw: bool,
    device: str | None = None,
) -> _Shots:
    """Refuse what cannot be had, before any worker starts."""
    if not HAVE_TORCH:
        msg = 'this needs torch, not installed here; expected: pip install "linesim[torch]"'
        raise InputError(msg)
    if split not in SPLITS:
        msg = f"split: read {shown(split)}, but expected one of {', '.join(SPLITS)}"
        raise InputError(msg)
    whole = None if path is None else Path(path).resolve()
    found = _Shots(path=whole, split=split, count=count, seed=seed, raw=raw)
    if not len(found.indices):
        msg = (
            f'split: read "{split}", but none of the {found.plan.count} images belongs to it; '
            f"expected a larger count, fewer scenes.images_each or a larger splits.{split}"
        )
        raise InputError(msg)
    on = chosen(device, stations_of(found.plan)).device
    if on is not None and len(each_of(on)) > 1:
        msg = f'device: read "{on}", but images of a stream lie on one; expected one of them'
        raise InputError(msg)
    return replace(found, device=on)


class ScanDataset(Dataset):  # type: ignore[type-arg]  # no generic without torch
    """Images of one split, by place: a map-style data set."""

    def __init__(
        self,
        plan_path: str | Path | None,
        split: str,
        *,
        count: int | None = None,
        seed: int | None = None,
        raw: bool = False,
    ) -> None:
        self._shots = _shots(plan_path, split, count=count, seed=seed, raw=raw)

    def __len__(self) -> int:
        return len(self._shots.indices)

    def __getitem__(self, place: int) -> Sample:
        return self._shots.sample(int(self._shots.indices[place]))


class ScanStream(IterableDataset):  # type: ignore[type-arg]  # the same
    """
    Images of one split, scene by scene: an iterable-style data set.

    The workers of a DataLoader take one piece each of the same walk, of equal length to within one
    image, so that a scene is drawn by one or two of them.

    With a device ("cuda", "cuda:1", "cpu"; "auto": "cuda" where it serves) images are made there
    and stay there, the same but for a sample in a thousand, by 1 DN; the labels, worked out here,
    are the same. It takes no workers then.
    """

    def __init__(  # noqa: PLR0913 -- one argument an option
        self,
        plan_path: str | Path | None,
        split: str,
        *,
        count: int | None = None,
        seed: int | None = None,
        raw: bool = False,
        order: int | None = None,
        device: str | None = None,
    ) -> None:
        self._shots = _shots(plan_path, split, count=count, seed=seed, raw=raw, device=device)
        self._order = order

    def __iter__(self) -> Iterator[Sample]:
        from torch.utils.data import get_worker_info  # noqa: PLC0415 -- an extra

        worker, walk = get_worker_info(), self._shots.walk(self._order)
        if worker is not None and (self._shots.device or "cpu") != "cpu":
            msg = (
                f'device: read "{self._shots.device}" in a worker of a DataLoader, which cannot '
                "hand on what lies there; expected num_workers=0"
            )
            raise InputError(msg)
        one, of = (worker.id, worker.num_workers) if worker is not None else (0, 1)
        for index in walk[len(walk) * one // of : len(walk) * (one + 1) // of]:
            yield self._shots.sample(int(index))


def sample_of(made: Item, *, raw: bool = False) -> Sample:
    """Turn an image and its labels into tensors."""
    import torch  # noqa: PLC0415 -- an extra

    planes = (
        np.moveaxis(made.image, -1, 0) if made.image.ndim > made.mask.ndim else made.image[None]
    )
    whole = np.ascontiguousarray(planes, dtype=np.int32 if raw else np.float32)
    image = torch.from_numpy(whole if raw else whole / np.float32(made.full_scale_dn))
    return image, {
        **{key: torch.from_numpy(values) for key, values in _arrays(made).items()},
        "image_id": made.drawn.index + 1,
    }


def _arrays(made: Item) -> dict[str, NDArray[Any]]:
    faults, count = made.labelled, len(made.labelled)
    masks = np.zeros((count, *made.mask.shape), dtype=np.uint8)
    boxes, areas = np.zeros((count, 4), dtype=np.float32), np.zeros(count, dtype=np.float32)
    for k, fault in enumerate(faults):
        if fault.outline is not None:  # which `labelled` sees to
            left, top, width, height = fault.outline.box
            boxes[k] = left, top, left + width, top + height
            masks[k][fault.outline.place] = fault.outline.mask
            areas[k] = fault.outline.area_px
    return {
        "boxes": boxes,
        "labels": np.array([fault.class_id + 1 for fault in faults], dtype=np.int64),
        "masks": masks,
        "area": areas,
        "iscrowd": np.zeros(count, dtype=np.int64),
        "visible": np.array([fault.visible for fault in faults], dtype=np.bool_),
        "dprime": np.array([_dprime(fault) for fault in faults], dtype=np.float32),
    }


def _dprime(fault: Instance) -> float:
    return 0.0 if fault.strength is None else fault.strength.dprime


def collate(batch: Sequence[Sample]) -> tuple[list["torch.Tensor"], list[Target]]:
    """Batch images of any size and number of faults: lists, as detection networks take them."""
    return [image for image, _ in batch], [target for _, target in batch]
