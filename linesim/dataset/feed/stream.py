"""
Images of a plan from a device, one after the other, in the order in which they are asked for.

While the device is at work on some images, helpers prepare those that come next and judge the
faults of those before; scenes are drawn ahead, and lie on the device.
"""

from collections import OrderedDict, defaultdict, deque
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import partial
from itertools import groupby, islice
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from linesim.dataset.feed.helper import Ready, Whole, keep
from linesim.dataset.feed.processes import Answer, Helpers
from linesim.dataset.feed.scanned import Job, Scanned, scanned
from linesim.dataset.feed.seeing import Packed, brought
from linesim.dataset.feed.targets import Labels
from linesim.dataset.plan.plan import Plan
from linesim.forward.device.choice import on_device
from linesim.metrics.detection.texture import Texture
from linesim.setup.arrays import ImageArray

if TYPE_CHECKING:
    import torch


class Made(NamedTuple):
    """One image of a stream."""

    number: int
    samples: "torch.Tensor"  # shape (colours, lines, width); whole numbers, on the device [DN]
    full_scale_dn: int
    labels: Labels


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Scene:
    """A scene on the device, once it has come."""

    data: "list[torch.Tensor]" = field(default_factory=list)
    texture: list[Texture | None] = field(default_factory=list)


class _Open(NamedTuple):
    """An image on its way."""

    asked: Ready | Whole
    scene: _Scene | None
    image: "torch.Tensor | None"
    reported: "torch.Tensor | None"  # here, once ``done``
    done: "torch.cuda.Event | None"

    @property
    def number(self) -> int:
        """Of the image."""
        return self.asked.number


_Batch = list[_Open]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Feed:
    """What a stream has asked for, and what has come."""

    plan: Plan
    helpers: Helpers
    device: "torch.device"
    helper_of: dict[int, int] = field(default_factory=dict)
    answers: dict[tuple[str, int], Any] = field(default_factory=dict)
    scenes: OrderedDict[int, _Scene] = field(default_factory=OrderedDict)
    # of each helper, what it has told, and what it has been told
    across: defaultdict[int, OrderedDict[bytes, Any]] = field(
        default_factory=partial(defaultdict, OrderedDict)
    )
    along: defaultdict[int, OrderedDict[bytes, Any]] = field(
        default_factory=partial(defaultdict, OrderedDict)
    )
    textures: defaultdict[int, OrderedDict[int, None]] = field(
        default_factory=partial(defaultdict, OrderedDict)
    )

    def images(self, walk: Sequence[int]) -> Iterator[Made]:
        """
        Make images.

        Parameters
        ----------
        walk : sequence of int; their numbers

        Yields
        ------
        Made; in that order
        """
        batches: deque[_Batch] = deque()
        for batch in self._batches(walk):
            self._judge(batches[-1] if batches else [])  # which the device has done by now
            batches.append(batch)
            if len(batches) > self.helpers.waiting:
                yield from self._ended(batches.popleft())
        self._judge(batches[-1] if batches else [])
        for rest in batches:
            yield from self._ended(rest)

    def _batches(self, walk: Sequence[int]) -> Iterator[_Batch]:
        """Give the device some images at a time."""
        runs = [scene for scene, _ in groupby(map(self.plan.scenes.of_image, walk))]
        places, line, run = iter(enumerate(walk)), deque[int](), 0
        self._ask(line, islice(places, self.helpers.ahead))
        while line:
            batch = [line.popleft() for _ in range(min(self.helpers.together, len(line)))]
            self._ask(line, islice(places, len(batch)))
            found = [self._wait("prepare", index) for index in batch]
            first = run
            for scene in (each.asked.scene for each in found if isinstance(each, Ready)):
                run = next(k for k in range(run, len(runs)) if runs[k] == scene)
                self._draw(runs[first : run + 1 + self.helpers.drawers])
            yield self._begun(found)

    def _ask(self, line: deque[int], some: Iterable[tuple[int, int]]) -> None:
        """Have images prepared, by helpers in turn."""
        for place, index in some:
            self.helper_of[index] = place % self.helpers.preparers
            self.helpers.ask(self.helper_of[index], "prepare", index)
            line.append(index)

    def _draw(self, some: Sequence[int]) -> None:
        """Have scenes drawn that are not there; those used longest ago give way."""
        for scene in some:
            if scene not in self.scenes:
                self.scenes[scene] = _Scene()
                self.helpers.ask(0, "scene", scene)
            self.scenes.move_to_end(scene)
        while len(self.scenes) > len(some):
            self.scenes.popitem(last=False)

    def _wait(self, kind: str, number: int) -> Any:  # noqa: ANN401 -- whatever was asked for
        while (kind, number) not in self.answers:
            self._take(self.helpers.answer())
        return self.answers.pop((kind, number))

    def _take(self, found: Answer) -> None:
        if found.kind != "scene":
            self.answers[found.kind, found.number] = found.data
        elif found.number in self.scenes:
            scene, drawn = self.scenes[found.number], found.data
            with on_device(self.device):
                scene.data.append(_uploaded(drawn.data, self.device))
            scene.texture.append(drawn.texture)

    def _scene(self, number: int) -> _Scene:
        """Wait for a scene."""
        scene = self.scenes[number]
        while not scene.texture:
            self._take(self.helpers.answer())
        return scene

    def _begun(self, found: "list[Ready | Whole]") -> _Batch:
        """Give the device what it carries of some images."""
        ready = [each for each in found if isinstance(each, Ready)]
        scenes = {each.asked.scene: self._scene(each.asked.scene) for each in ready}
        with on_device(self.device):
            jobs = [self._job(each, scenes[each.asked.scene]) for each in ready]
            done = iter(scanned(jobs, self.device) if jobs else ())
            return [
                _fetched(each, scenes[each.asked.scene], next(done))
                if isinstance(each, Ready)
                else _Open(each, None, None, None, None)
                for each in found
            ]

    def _job(self, ready: Ready, scene: _Scene) -> Job:
        helper, asked = self.helper_of[ready.number], ready.asked
        across, along = self.across[helper], self.along[helper]
        for known, new in ((across, ready.across), (along, ready.along)):
            for key, part in new.items():
                keep(known, key, brought(part, self.device))
        lens, bare = (
            Packed(across[keys[0]], along[keys[1]], asked.shape[0])
            for keys in (asked.lens, asked.bare or asked.lens)
        )
        return Job(asked, scene.data[0], lens, bare)

    def _judge(self, batch: _Batch) -> None:
        """Send what the device tells of the faults of some images to whoever has prepared them."""
        for one in batch:
            self._judge_one(one)

    def _judge_one(self, one: _Open) -> None:
        if one.reported is None or one.scene is None or not isinstance(one.asked, Ready):
            return
        if one.done is not None:
            one.done.synchronize()
        helper, scene = self.helper_of[one.number], one.asked.asked.scene
        new = None if scene in self.textures[helper] else tuple(one.scene.texture)
        if new is not None:
            keep(self.textures[helper], scene, None)
        self.helpers.ask(helper, "judge", one.number, one.reported.numpy(), new)

    def _ended(self, batch: _Batch) -> Iterator[Made]:
        """Wait for the labels of some images."""
        for one in batch:
            self.helper_of.pop(one.number)
            made = one.asked if isinstance(one.asked, Whole) else self._wait("judge", one.number)
            if isinstance(made, Whole):
                image = _planes(made, self.device)
                yield Made(one.number, image, made.full_scale_dn, made.labels)
            elif isinstance(one.asked, Ready) and one.image is not None:
                yield Made(one.number, one.image, one.asked.asked.full_scale_dn, made)


def _uploaded(data: ImageArray, device: "torch.device") -> "torch.Tensor":
    """Bring a scene to the device; one that is kept here elsewhere is not written to."""
    import torch  # noqa: PLC0415 -- an extra

    on = torch.empty(data.shape, dtype=torch.float32, device=device)
    return on.copy_(torch.from_numpy(data))


def _fetched(asked: Ready, scene: _Scene, found: Scanned) -> _Open:
    """Begin to fetch what labels are judged by."""
    import torch  # noqa: PLC0415 -- an extra

    image = found.image[None]
    if found.reported.device.type != "cuda":
        return _Open(asked, scene, image, found.reported, None)
    here = torch.empty(found.reported.shape, dtype=found.reported.dtype, pin_memory=True)
    here.copy_(found.reported, non_blocking=True)
    done = torch.cuda.Event()  # type: ignore[no-untyped-call]  # torch gives no type
    done.record()
    return _Open(asked, scene, image, here, done)


def _planes(made: Whole, device: "torch.device") -> "torch.Tensor":
    """Bring an image that was made without the device there, colour by colour."""
    import torch  # noqa: PLC0415 -- an extra

    samples = made.samples
    planes = samples[None] if samples.ndim == 2 else np.moveaxis(samples, -1, 0)  # noqa: PLR2004 -- lines and samples alone
    return torch.from_numpy(np.ascontiguousarray(planes, dtype=np.int32)).to(device)
