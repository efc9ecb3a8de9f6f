"""What is done for images beside the device: prepare them, judge their faults, draw scenes."""

from collections import OrderedDict
from dataclasses import dataclass, field
from typing import Any, NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from linesim.dataset.draw import Drawn, drawn
from linesim.dataset.feed.judged import judged
from linesim.dataset.feed.prepared import Prepared, prepared
from linesim.dataset.feed.seeing import Matrices, in_arrays
from linesim.dataset.feed.targets import Labels, labels_of
from linesim.dataset.item import item
from linesim.dataset.labels.backdrop import own_texture
from linesim.dataset.plan.plan import Plan
from linesim.metrics.detection.texture import Texture
from linesim.setup.arrays import ImageArray

Key = TypeVar("Key")
Value = TypeVar("Value")
KEPT = 32
"""Tables, and textures, of which whoever is told knows the last."""


class Ready(NamedTuple):
    """An image that waits for the device, and those of its matrices that are not there yet."""

    asked: Prepared
    across: dict[bytes, Any]
    along: dict[bytes, Any]

    @property
    def number(self) -> int:
        """Of the image."""
        return self.asked.index


class Whole(NamedTuple):
    """An image that the device does not carry, made without it."""

    number: int
    samples: NDArray[np.integer[Any]]  # shape (lines, width) or (lines, width, 3) [DN]
    full_scale_dn: int
    labels: Labels


class Scene(NamedTuple):
    """A scene, and its texture."""

    data: ImageArray
    texture: Texture | None


def keep(known: "OrderedDict[Key, Value]", key: Key, value: Value) -> None:
    """Keep what is new, and let go of the oldest: who tells and who is told forget alike."""
    known[key] = value
    if len(known) > KEPT:
        known.popitem(last=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class Helper:
    """One process's part of the work, for one who asks."""

    plan: Plan
    by_kernels: bool  # how the device takes matrices
    open_images: dict[int, tuple[Drawn, Prepared]] = field(default_factory=dict)
    samplers: "OrderedDict[bytes, Any]" = field(default_factory=OrderedDict)
    sent: "OrderedDict[bytes, None]" = field(default_factory=OrderedDict)
    textures: "OrderedDict[int, Texture | None]" = field(default_factory=OrderedDict)

    def prepare(self, index: int) -> Ready | Whole:
        """Prepare an image, or make it where the device does not carry it."""
        asked = drawn(self.plan, index)
        found = prepared(self.plan, asked)
        if found is None:
            return self._whole(index)
        made, matrices = found
        self.open_images[index] = asked, made
        ready = Ready(made, {}, {})
        for each in matrices:
            self._pack(each, ready)
        return ready

    def _pack(self, matrices: Matrices, ready: Ready) -> None:
        """Pack what was not sent yet."""
        across, along = matrices.keys
        if across not in self.samplers:
            keep(self.samplers, across, matrices.packed_across(by_kernels=self.by_kernels))
            ready.across[across] = in_arrays(self.samplers[across])
        if along not in self.sent:
            keep(self.sent, along, None)
            ready.along[along] = in_arrays(matrices.packed_along(self.samplers[across]))

    def judge(
        self, index: int, reported: ImageArray, new: tuple[Texture | None] | None
    ) -> Labels | Whole:
        """Label the faults of an image prepared here; or make it anew, if it nears its wells."""
        asked, made = self.open_images.pop(index)
        if new is not None:
            keep(self.textures, asked.scene, new[0])
        if not made.noise.is_far(float(reported[0])):
            return self._whole(index)
        own = self.textures[asked.scene]
        return labels_of(judged(self.plan.labels, asked, made, reported[1:], own))

    def _whole(self, index: int) -> Whole:
        made = item(self.plan, index)
        return Whole(index, made.image, made.full_scale_dn, labels_of(made.instances))

    def scene(self, scene: int) -> Scene:
        """Draw a scene."""
        return Scene(self.plan.scene(scene).data, own_texture(self.plan, scene))
