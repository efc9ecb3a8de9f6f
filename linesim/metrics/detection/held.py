"""Tables that go along with the numbers of a station and of what is searched there."""

from abc import ABC, abstractmethod
from dataclasses import fields, is_dataclass, replace
from typing import TypeVar

import numpy as np

Part = TypeVar("Part")


class Held(ABC):
    """A table: what changes numbers leaves it as it is."""

    __slots__ = ()

    @property
    @abstractmethod
    def frame(self) -> object:
        """Give what tells it from other tables."""


def widened(part: Part) -> Part:
    """Give every number two more axes, for frequencies across and along."""
    if part is None or isinstance(part, Held):
        return part
    if is_dataclass(part) and not isinstance(part, type):
        changes = {each.name: widened(getattr(part, each.name)) for each in fields(part)}
        return replace(part, **changes)
    if isinstance(part, tuple):
        return tuple(map(widened, part))  # type: ignore[return-value]
    return np.asarray(part)[..., None, None]  # type: ignore[return-value]
