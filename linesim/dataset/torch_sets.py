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
from linesim.dataset.feed.processes import MOST_WORKERS, lend_helpers
from linesim.dataset.feed.stream import Feed
from linesim.dataset.feed.targets import image_of, labels_of, target_of
from linesim.dataset.item import Item, item
from linesim.dataset.plan.plan import Plan, fingerprint
from linesim.dataset.plan.plan_file import load_plan
from linesim.dataset.plan.splits import SPLITS
from linesim.forward.device.choice import chosen, each_of, there
from linesim.forward.device.launch import kernels_run_on
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
        """Render one image."""
        return sample_of(item(self.plan, index), raw=self.raw)

    def fed(self, walk: Indices, workers: int) -> Iterator[Sample]:
        """Make images on the device, where they stay; the labels lie here."""
        on = there(self.device or "cpu")
        with lend_helpers(self.read, workers, by_kernels=kernels_run_on(on)) as helpers:
            feed = Feed(plan=self.plan, helpers=helpers, device=on)
            for made in feed.images([int(index) for index in walk]):
                lines, width = made.samples.shape[-2:]
                image = image_of(made.samples, made.full_scale_dn, raw=self.raw)
                yield image, target_of(made.labels, (lines, width), made.number)

    def read(self) -> Plan:
        """Give the plan, read anew where this was sent."""
        return self.plan

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


def _workers(asked: int, device: str | None) -> int:
    """Refuse a number of processes that cannot be had."""
    if asked != 0 and (device is None or not 2 <= asked <= MOST_WORKERS):  # noqa: PLR2004 -- one draws scenes
        msg = (
            f"workers: read {asked}, but expected 0 (this process alone), or 2 to {MOST_WORKERS} "
            "processes beside a device"
        )
        raise InputError(msg)
    return asked


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

    With a device ("cuda", "cuda:1", "cpu"; "auto": "cuda" where it serves) faults are painted and
    images scanned there, where they stay: the same but for a sample in a thousand, by 1 DN, with
    the same labels and a d' that agrees to 10⁻⁵. What the device does not carry is made beside it
    as without one. A loader has no workers then; ``workers`` processes of its own draw scenes,
    prepare images and judge labels while the device is at work (0: this process alone). A program
    that asks for them keeps its start behind ``if __name__ == "__main__":``, as for a loader's.
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
        workers: int = 0,
    ) -> None:
        self._shots = _shots(plan_path, split, count=count, seed=seed, raw=raw, device=device)
        self._order, self._workers = order, _workers(workers, device)

    def __iter__(self) -> Iterator[Sample]:
        from torch.utils.data import get_worker_info  # noqa: PLC0415 -- an extra

        worker, walk = get_worker_info(), self._shots.walk(self._order)
        on = self._shots.device
        if worker is not None and on is not None and (on != "cpu" or self._workers):
            msg = (
                f'device: read "{on}" in a worker of a DataLoader, which cannot hand on what lies '
                "there, or have processes of its own; expected num_workers=0"
            )
            raise InputError(msg)
        one, of = (worker.id, worker.num_workers) if worker is not None else (0, 1)
        own = walk[len(walk) * one // of : len(walk) * (one + 1) // of]
        if self._shots.device is not None:
            yield from self._shots.fed(own, self._workers)
        else:
            yield from (self._shots.sample(int(index)) for index in own)


def sample_of(made: Item, *, raw: bool = False) -> Sample:
    """Turn an image and its labels into tensors."""
    import torch  # noqa: PLC0415 -- an extra

    planes = (
        np.moveaxis(made.image, -1, 0) if made.image.ndim > made.mask.ndim else made.image[None]
    )
    samples = torch.from_numpy(np.ascontiguousarray(planes, dtype=np.int32))
    shape = made.mask.shape[0], made.mask.shape[1]
    target = target_of(labels_of(made.instances), shape, made.drawn.index)
    return image_of(samples, made.full_scale_dn, raw=raw), target


def collate(batch: Sequence[Sample]) -> tuple[list["torch.Tensor"], list[Target]]:
    """Batch images of any size and number of faults: lists, as detection networks take them."""
    return [image for image, _ in batch], [target for _, target in batch]
